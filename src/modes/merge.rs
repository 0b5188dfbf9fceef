//! Joining the results of groups of taps of one long recording.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::mode::{Mode, ModeReason};
use crate::uncertainty::{Cause, Figure};

/// One list of modes from several groups (modes, number of taps): inverse-variance means of what at least half of the
/// groups found; where the groups scatter more than their uncertainties allow, the scatter counts.
pub(super) fn merge(mut groups: Vec<(Vec<Mode>, usize)>) -> Vec<Mode> {
    if groups.len() <= 1 {
        return groups.pop().map(|g| g.0).unwrap_or_default();
    }
    let total = groups.len();
    let mut pool: Vec<Mode> = groups.into_iter().flat_map(|g| g.0).collect();
    pool.sort_by(|a, b| a.frequency.value.total_cmp(&b.frequency.value));
    let mut joined = Vec::new();
    let mut at = 0;
    while at < pool.len() {
        let first = &pool[at];
        let width = 0.5 * first.damping_ratio.value * first.frequency.value;
        let end = (at + 1..pool.len())
            .find(|i| {
                let (own, before) = (&pool[*i].frequency, &pool[*i - 1].frequency);
                own.value - before.value > (5.0 * own.u_95().hypot(before.u_95())).max(width)
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
    let weighted = |value: &dyn Fn(&Mode) -> &Figure| {
        let weights: f64 = same.iter().map(|m| value(m).u_95().powi(-2)).sum();
        let freedom = same.len() as f64 - 1.0;
        let mean = same.iter().map(|m| value(m).value * value(m).u_95().powi(-2)).sum::<f64>() / weights;
        let chi2: f64 = same.iter().map(|m| ((value(m).value - mean) / value(m).u_95()).powi(2)).sum();
        let limit = ChiSquared::new(freedom.max(1.0)).map_or(f64::INFINITY, |c| c.inverse_cdf(0.99));
        let differ = freedom > 0.0 && chi2 > limit;
        // The groups tell the whole variance, not what of it is beyond their own: see `interval`.
        let ratio = chi2 / freedom;
        // Each group of taps is off by its own: of one cause, what the groups are off by is independent.
        let mut joint = Figure::exact(mean);
        for own in same.iter().map(value) {
            let share = own.u_95().powi(-2) / weights;
            for (source, part) in own.contributions() {
                joint = joint.plus_uncertainty_with_dof(share * part.size.abs(), source.clone(), part.dof);
            }
        }
        if !differ {
            return (joint, false);
        }
        let (beyond, dof) = (joint.u_95() * (ratio - 1.0).sqrt(), freedom * (1.0 - 1.0 / ratio).powi(2));
        (joint.plus_uncertainty_with_dof(beyond, Cause::TapGroups, dof), true)
    };
    let strongest = same.iter().max_by(|a, b| a.level_full_scale_db.total_cmp(&b.level_full_scale_db));
    let mut mode = strongest.unwrap_or(&same[0]).clone();
    let (frequency, differ_f) = weighted(&|m| &m.frequency);
    let (damping_ratio, differ_d) = weighted(&|m| &m.damping_ratio);
    (mode.frequency, mode.damping_ratio) = (frequency, damping_ratio);
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
    use crate::uncertainty::student_factor;

    fn mode(hz: f64, hz_u: f64, damping: f64) -> Mode {
        Mode {
            frequency: Figure::new(hz, hz_u, Cause::Noise),
            damping_ratio: Figure::new(damping, 0.01 * damping, Cause::Noise),
            level_db: 0.0,
            level_full_scale_db: -20.0,
            taps_used: 3,
            decay_seen_db: 40.0,
            reasons: Vec::new(),
            envelope: Envelope::default(),
            per_tap: vec![Some((hz, damping)); 3],
        }
    }

    /// Weights 100 and 25: mean 100.02, uncertainty 1/sqrt(125); 0.1 apart is no more than their uncertainties allow.
    #[test]
    fn groups_are_their_weighted_mean() {
        let joined = merge(vec![(vec![mode(100.0, 0.1, 0.01)], 3), (vec![mode(100.1, 0.2, 0.01)], 3)]);
        let [one] = &joined[..] else { panic!("{joined:?}") };
        assert!((one.frequency.value - 100.02).abs() < 1e-9);
        assert!((one.frequency.u() - (1.0f64 / 125.0).sqrt()).abs() < 1e-9);
        assert_eq!((one.taps_used, one.per_tap.len(), one.reasons.len()), (6, 6, 0));
    }

    /// 1 Hz apart at 0.1 Hz each: chi-squared 50 with one degree of freedom, so the scatter counts, with Student's factor.
    #[test]
    fn groups_that_differ_say_so() {
        let joined = merge(vec![(vec![mode(100.0, 0.1, 0.02)], 3), (vec![mode(101.0, 0.1, 0.02)], 3)]);
        let [one] = &joined[..] else { panic!("{joined:?}") };
        assert!((one.frequency.value - 100.5).abs() < 1e-9);
        let expected = 0.1 / 2f64.sqrt() * 50f64.sqrt() * student_factor(1.0);
        assert!((one.frequency.u_95() / expected - 1.0).abs() < 1e-6, "{} {expected}", one.frequency.u_95());
        assert_eq!(one.reasons, [ModeReason::TapsDiffer]);
    }

    #[test]
    fn what_few_groups_hear_is_left_out() {
        let groups = || vec![mode(100.0, 0.1, 0.01)];
        let mut third = groups();
        third.push(Mode { level_full_scale_db: -30.0, ..mode(250.0, 0.1, 0.01) });
        let heard: Vec<f64> =
            merge(vec![(groups(), 1), (groups(), 1), (third.clone(), 1)]).iter().map(|m| m.frequency.value).collect();
        assert_eq!(heard.len(), 1, "{heard:?}");
        // Of two groups one is half of them; levels are told under the strongest.
        let levels: Vec<f64> = merge(vec![(groups(), 1), (third, 1)]).iter().map(|m| m.level_db).collect();
        assert_eq!(levels, [0.0, -10.0]);
    }
}
