//! Modes of a stage, joined over its takes.

use super::verdict::TAPS;
use crate::modes::student_factor;
use crate::part::{HELD_ANEW_DAMPING, HELD_ANEW_FREQUENCY, Measured};

/// A mode of a stage, joined over its takes.
#[derive(Debug, Clone, PartialEq)]
pub struct StageMode {
    pub frequency: Measured,
    pub damping_ratio: Measured,
    pub level_db: f64,
    pub name: Option<String>,
    pub taps: usize,
}

/// Two takes' modes are one if they lie within this share of the frequency, or four uncertainties.
pub(super) const SAME_MODE: f64 = 4e-3;

/// Modes of several takes of one stage and station joined: means, with the scatter between the takes where it is larger than
/// what each take says of itself (a part held anew is not quite the same).
pub fn merge_takes(stage: &str, takes: &[Vec<StageMode>]) -> Vec<StageMode> {
    let mut all: Vec<(usize, &StageMode)> =
        takes.iter().enumerate().flat_map(|(t, modes)| modes.iter().map(move |m| (t, m))).collect();
    all.sort_by(|a, b| a.1.frequency.value.total_cmp(&b.1.frequency.value));
    let mut joined: Vec<StageMode> = Vec::new();
    let mut at = 0;
    while at < all.len() {
        let mut group: Vec<(usize, &StageMode)> = vec![all[at]];
        while let Some(next) = all.get(at + group.len()) {
            let last = group[group.len() - 1].1;
            let allowed = (SAME_MODE * last.frequency.value).max(4.0 * last.frequency.u().hypot(next.1.frequency.u()));
            let close = next.1.frequency.value - last.frequency.value < allowed;
            if !close || group.iter().any(|g| g.0 == next.0) {
                break;
            }
            group.push(*next);
        }
        at += group.len();
        // What most takes do not hear is left out.
        if 2 * group.len() < takes.len() {
            continue;
        }
        let number = joined.len() + 1;
        let mean = |value: &dyn Fn(&StageMode) -> &Measured, what: &str, held_anew: f64| {
            let n = group.len() as f64;
            let weights: f64 = group.iter().map(|g| value(g.1).u().powi(-2)).sum();
            let mean = group.iter().map(|g| value(g.1).value * value(g.1).u().powi(-2)).sum::<f64>() / weights;
            let within = weights.powf(-0.5);
            let between = if n > 1.0 {
                let plain = group.iter().map(|g| value(g.1).value).sum::<f64>() / n;
                let variance = group.iter().map(|g| (value(g.1).value - plain).powi(2)).sum::<f64>() / (n - 1.0);
                (variance / n).sqrt()
            } else {
                0.0
            };
            // What was heard once was held once, however many takes there are.
            let u = if group.len() == 1 {
                within.hypot(held_anew * mean)
            } else {
                within.hypot(between * student_factor(n - 1.0))
            };
            Measured::new(mean, u, &format!("{TAPS}: {what} of mode {number}, {stage}"))
        };
        joined.push(StageMode {
            frequency: mean(&|m| &m.frequency, "frequency", HELD_ANEW_FREQUENCY),
            damping_ratio: mean(&|m| &m.damping_ratio, "damping", HELD_ANEW_DAMPING),
            level_db: group.iter().map(|g| g.1.level_db).sum::<f64>() / group.len() as f64,
            name: group.iter().find_map(|g| g.1.name.clone()),
            taps: group.iter().map(|g| g.1.taps).sum(),
        });
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(hz: f64, u: f64, damping: f64) -> StageMode {
        StageMode {
            frequency: Measured::new(hz, u, "taps"),
            damping_ratio: Measured::new(damping, 0.01 * damping, "taps"),
            level_db: -6.0,
            name: None,
            taps: 5,
        }
    }

    /// Weights 100 and 25: mean 100.02; own uncertainty 1/sqrt(125); between the takes 0.1/sqrt(2) of deviation, over sqrt(2), times
    /// Student's factor for one degree of freedom.
    #[test]
    fn two_takes_are_their_weighted_mean() {
        let takes = [vec![mode(100.0, 0.1, 0.01)], vec![mode(100.1, 0.2, 0.012)]];
        let [joined] = &merge_takes("plain", &takes)[..] else { panic!("one mode") };
        assert!((joined.frequency.value - 100.02).abs() < 1e-9, "{:?}", joined.frequency);
        let between = 0.05 * student_factor(1.0);
        assert!((joined.frequency.u() - (1.0f64 / 125.0).sqrt().hypot(between)).abs() < 1e-9, "{:?}", joined.frequency);
        assert_eq!((joined.taps, joined.level_db), (10, -6.0));
        // Of three the deviation is 0.1, over two degrees of freedom.
        let takes = [100.0, 100.1, 100.2].map(|hz| vec![mode(hz, 0.1, 0.01)]);
        let [joined] = &merge_takes("plain", &takes)[..] else { panic!("one mode") };
        let expected = 0.1 / 3f64.sqrt() * 1f64.hypot(student_factor(2.0));
        assert!((joined.frequency.u() - expected).abs() < 1e-9, "{:?}", joined.frequency);
    }

    /// What was heard in one take is off by as much as a part held anew may be.
    #[test]
    fn a_lone_take_carries_what_holding_anew_does() {
        let [joined] = &merge_takes("plain", &[vec![mode(100.0, 0.1, 0.01)]])[..] else { panic!("one mode") };
        assert_eq!(joined.frequency.value, 100.0);
        assert!((joined.frequency.u() - 0.1f64.hypot(100.0 * HELD_ANEW_FREQUENCY)).abs() < 1e-9);
        assert!((joined.damping_ratio.u() - 1e-4f64.hypot(0.01 * HELD_ANEW_DAMPING)).abs() < 1e-12);
    }

    /// 0.4 % apart is one mode, more is two; within one take two modes stay two; what one of three takes hears is left out.
    #[test]
    fn what_is_one_mode_and_what_is_not() {
        let count = |takes: &[Vec<StageMode>]| merge_takes("plain", takes).len();
        let one = |hz| vec![mode(hz, 1e-3, 0.01)];
        assert_eq!(count(&[one(100.0), one(100.39)]), 1);
        assert_eq!(count(&[one(100.0), one(100.41)]), 2);
        // Four of their uncertainties, where those are larger: 4 x 0.3 x sqrt 2 is 1.7.
        let unsure = |hz| vec![mode(hz, 0.3, 0.01)];
        assert_eq!(count(&[unsure(100.0), unsure(101.6)]), 1);
        assert_eq!(count(&[unsure(100.0), unsure(101.8)]), 2);
        assert_eq!(count(&[vec![mode(100.0, 1e-3, 0.01), mode(100.2, 1e-3, 0.01)]]), 2);
        assert_eq!(count(&[one(100.0), one(100.0), one(150.0)]), 1);
        assert_eq!(count(&[one(100.0), one(150.0)]), 2);
        assert_eq!(count(&[one(100.0), one(100.0), one(200.0), one(200.0)]), 2);
    }
}
