//! Joining the results of groups of taps of one long recording.

use super::mode::{Mode, ModeReason, student_factor};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// One list of modes from several groups (modes, number of taps): inverse-variance means of what at least half of the
/// groups found; where the groups scatter more than their uncertainties allow, the scatter counts.
pub(super) fn merge(mut groups: Vec<(Vec<Mode>, usize)>) -> Vec<Mode> {
    if groups.len() <= 1 {
        return groups.pop().map(|g| g.0).unwrap_or_default();
    }
    let total = groups.len();
    let mut pool: Vec<Mode> = groups.into_iter().flat_map(|g| g.0).collect();
    pool.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
    let mut joined = Vec::new();
    let mut at = 0;
    while at < pool.len() {
        let first = &pool[at];
        let width = 0.5 * first.damping_ratio * first.frequency_hz;
        let end = (at + 1..pool.len())
            .find(|i| {
                let gap = pool[*i].frequency_hz - pool[*i - 1].frequency_hz;
                gap > (5.0 * pool[*i].frequency_hz_u.hypot(pool[*i - 1].frequency_hz_u)).max(width)
            })
            .unwrap_or(pool.len());
        if 2 * (end - at) >= total {
            joined.push(mean(&pool[at..end]));
        }
        at = end;
    }
    let strongest = joined.iter().map(|m| m.level_full_scale_db).fold(f64::NEG_INFINITY, f64::max);
    joined.iter_mut().for_each(|m| m.level_db = m.level_full_scale_db - strongest);
    joined
}

fn mean(same: &[Mode]) -> Mode {
    let weighted = |value: &dyn Fn(&Mode) -> (f64, f64)| {
        let weights: f64 = same.iter().map(|m| value(m).1.powi(-2)).sum();
        let mean = same.iter().map(|m| value(m).0 * value(m).1.powi(-2)).sum::<f64>() / weights;
        let freedom = same.len() as f64 - 1.0;
        let chi2: f64 = same.iter().map(|m| ((value(m).0 - mean) / value(m).1).powi(2)).sum();
        let limit = ChiSquared::new(freedom.max(1.0)).map_or(f64::INFINITY, |c| c.inverse_cdf(0.99));
        let differ = freedom > 0.0 && chi2 > limit;
        let student = student_factor(freedom);
        let factor = if differ { (chi2 / freedom).sqrt() * student } else { 1.0 };
        (mean, weights.powf(-0.5) * factor, differ)
    };
    let strongest = same.iter().max_by(|a, b| a.level_full_scale_db.total_cmp(&b.level_full_scale_db));
    let mut mode = strongest.unwrap_or(&same[0]).clone();
    let (frequency, frequency_u, differ_f) = weighted(&|m| (m.frequency_hz, m.frequency_hz_u));
    let (damping, damping_u, differ_d) = weighted(&|m| (m.damping_ratio, m.damping_ratio_u));
    (mode.frequency_hz, mode.frequency_hz_u) = (frequency, frequency_u);
    (mode.damping_ratio, mode.damping_ratio_u) = (damping, damping_u);
    mode.taps_used = same.iter().map(|m| m.taps_used).sum();
    mode.per_tap = same.iter().flat_map(|m| m.per_tap.iter().copied()).collect();
    mode.reasons = Vec::new();
    for reason in same.iter().flat_map(|m| &m.reasons) {
        let known = mode.reasons.iter().any(|r: &ModeReason| r.code() == reason.code());
        if !known && *reason != ModeReason::SingleTap {
            mode.reasons.push(*reason);
        }
    }
    if (differ_f || differ_d) && !mode.reasons.contains(&ModeReason::TapsDiffer) {
        mode.reasons.push(ModeReason::TapsDiffer);
    }
    mode
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::modes::Envelope;

    fn mode(hz: f64, hz_u: f64, damping: f64) -> Mode {
        Mode {
            frequency_hz: hz,
            frequency_hz_u: hz_u,
            damping_ratio: damping,
            damping_ratio_u: 0.01 * damping,
            level_db: 0.0,
            level_full_scale_db: -20.0,
            taps_used: 3,
            decay_seen_db: 40.0,
            reasons: Vec::new(),
            envelope: Envelope::default(),
            per_tap: vec![(hz, damping); 3],
        }
    }

    /// Weights 100 and 25: mean 100.02, uncertainty 1/sqrt(125); 0.1 apart is no more than their uncertainties allow.
    #[test]
    fn groups_are_their_weighted_mean() {
        let joined = merge(vec![(vec![mode(100.0, 0.1, 0.01)], 3), (vec![mode(100.1, 0.2, 0.01)], 3)]);
        let [one] = &joined[..] else { panic!("{joined:?}") };
        assert!((one.frequency_hz - 100.02).abs() < 1e-9);
        assert!((one.frequency_hz_u - (1.0f64 / 125.0).sqrt()).abs() < 1e-9);
        assert_eq!((one.taps_used, one.per_tap.len(), one.reasons.len()), (6, 6, 0));
    }

    /// 1 Hz apart at 0.1 Hz each: chi-squared 50 with one degree of freedom, so the scatter counts, with Student's factor.
    #[test]
    fn groups_that_differ_say_so() {
        let joined = merge(vec![(vec![mode(100.0, 0.1, 0.02)], 3), (vec![mode(101.0, 0.1, 0.02)], 3)]);
        let [one] = &joined[..] else { panic!("{joined:?}") };
        assert!((one.frequency_hz - 100.5).abs() < 1e-9);
        let expected = 0.1 / 2f64.sqrt() * 50f64.sqrt() * student_factor(1.0);
        assert!((one.frequency_hz_u / expected - 1.0).abs() < 1e-9, "{} {expected}", one.frequency_hz_u);
        assert_eq!(one.reasons, [ModeReason::TapsDiffer]);
    }

    #[test]
    fn what_few_groups_hear_is_left_out() {
        let groups = || vec![mode(100.0, 0.1, 0.01)];
        let mut third = groups();
        third.push(Mode { level_full_scale_db: -30.0, ..mode(250.0, 0.1, 0.01) });
        let heard: Vec<f64> =
            merge(vec![(groups(), 1), (groups(), 1), (third.clone(), 1)]).iter().map(|m| m.frequency_hz).collect();
        assert_eq!(heard.len(), 1, "{heard:?}");
        // Of two groups one is half of them; levels are told under the strongest.
        let levels: Vec<f64> = merge(vec![(groups(), 1), (third, 1)]).iter().map(|m| m.level_db).collect();
        assert_eq!(levels, [0.0, -10.0]);
    }
}
