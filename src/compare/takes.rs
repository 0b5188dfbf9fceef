//! Modes of a stage, joined over its takes.

use super::repeatability::Repeatability;
use super::same_mode::{DAMPING, FREQUENCY, Quantity, StageMode, readings, same_modes};
use super::scatter::{Mean, Spread, means};
use crate::uncertainty::{Figure, Scope, Source};

/// Modes of several takes of one stage and station joined: means, with what the takes' own scatter says (`scatter::means`).
///
/// Holding the part anew moves all modes of a take together, so it is one source for all modes of the stage; what each mode does
/// beside that is its own.
pub fn merge_takes(stage: &str, takes: &[Vec<StageMode>]) -> Vec<StageMode> {
    merge_takes_knowing(stage, takes, &Repeatability::of_takes(takes))
}

/// The same with what is known of the scatter: these takes' own, and what the shop's other takes add to it.
pub fn merge_takes_knowing(stage: &str, takes: &[Vec<StageMode>], known: &Repeatability) -> Vec<StageMode> {
    let groups = same_modes(takes);
    let scope = Scope::Stage(stage.into());
    let joined = |of: &Quantity, known: &Spread| -> Vec<Figure> {
        let measured = |(place, mean): (usize, Mean)| {
            let own = Source::from(of.own.clone()).within(Scope::Mode(place)).within(scope.clone());
            let held = Source::from(of.held.clone()).within(scope.clone());
            // Of few takes each keeps its own Student's t: the effective degrees of freedom of both together held the truth in 91 %.
            Figure::with_parts(mean.value, [(held, mean.held.size_95()), (own, mean.own.size_95())])
        };
        means(&readings(&groups, of), of.assumed, known).into_iter().enumerate().map(measured).collect()
    };
    let frequencies = joined(&FREQUENCY, &known.frequency);
    let dampings = joined(&DAMPING, &known.damping);
    let each = groups.iter().zip(frequencies.into_iter().zip(dampings));
    each.map(|(group, (frequency, damping_ratio))| StageMode {
        frequency,
        damping_ratio,
        level_db: group.iter().map(|g| g.1.level_db).sum::<f64>() / group.len() as f64,
        name: group.iter().find_map(|g| g.1.name.clone()),
        taps: group.iter().map(|g| g.1.taps).sum(),
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_FREQUENCY};
    use crate::uncertainty::Cause;

    fn mode(hz: f64, u: f64, damping: f64) -> StageMode {
        StageMode {
            frequency: Figure::new(hz, u, Cause::Noise),
            damping_ratio: Figure::new(damping, 0.01 * damping, Cause::Noise),
            level_db: -6.0,
            name: None,
            taps: 5,
        }
    }

    /// Weights of 0.1^2 + 0.1^2 and 0.2^2 + 0.1^2 Hz^2: the mean; what was read by these shares.
    #[test]
    fn two_takes_are_their_weighted_mean() {
        let takes = [vec![mode(100.0, 0.1, 0.01)], vec![mode(100.1, 0.2, 0.012)]];
        let [joined] = &merge_takes("plain", &takes)[..] else { panic!("one mode") };
        let share = 0.05 / (0.05 + 0.02);
        assert!((joined.frequency.value - (100.1 - 0.1 * share)).abs() < 1e-4, "{:?}", joined.frequency);
        let part = |source: &str| joined.frequency.parts().find(|(s, _)| s.to_string() == source).expect(source).1;
        let own = (share * 0.1f64).hypot((1.0 - share) * 0.2);
        assert!((part("frequency, mode 1, plain") / own - 1.0).abs() < 1e-3, "{:?}", joined.frequency);
        // One mode alone: its scatter, half of 0.001 each way, is the take's. (6 x 0.001^2 + 5e-7)/7; t(7) = 2.36462.
        let held = ((6.0 * 1e-6 + 5e-7) / 7.0f64).sqrt() * 2.364_62 / 1.959_964 * share.hypot(1.0 - share);
        assert!((part("held anew, plain") / held / 100.0 - 1.0).abs() < 2e-3, "{:?}", joined.frequency);
        assert_eq!((joined.taps, joined.level_db), (10, -6.0));
    }

    /// What was heard in one take is off by as much as a part held anew may be.
    #[test]
    fn a_lone_take_carries_what_holding_anew_does() {
        let [joined] = &merge_takes("plain", &[vec![mode(100.0, 0.1, 0.01)]])[..] else { panic!("one mode") };
        assert_eq!(joined.frequency.value, 100.0);
        // The assumption is worth six degrees of freedom: t(6) = 2.44691 (table).
        let held = 2.446_91 / 1.959_964;
        assert!((joined.frequency.u() / 0.1f64.hypot(100.0 * HUNG_AGAIN_FREQUENCY * held) - 1.0).abs() < 1e-5);
        assert!((joined.damping_ratio.u() / 1e-4f64.hypot(0.01 * HUNG_AGAIN_DAMPING * held) - 1.0).abs() < 1e-5);
    }

    /// 1 % apart is one mode, more is two; within one take two modes stay two; what one of three takes hears is left out.
    #[test]
    fn what_is_one_mode_and_what_is_not() {
        let count = |takes: &[Vec<StageMode>]| merge_takes("plain", takes).len();
        let one = |hz| vec![mode(hz, 1e-3, 0.01)];
        assert_eq!(count(&[one(100.0), one(100.99)]), 1);
        assert_eq!(count(&[one(100.0), one(101.01)]), 2);
        // Four of their uncertainties, where those are larger: 4 x 0.5 x sqrt 2 is 2.83.
        let unsure = |hz| vec![mode(hz, 0.5, 0.01)];
        assert_eq!(count(&[unsure(100.0), unsure(102.8)]), 1);
        assert_eq!(count(&[unsure(100.0), unsure(102.9)]), 2);
        assert_eq!(count(&[vec![mode(100.0, 1e-3, 0.01), mode(100.2, 1e-3, 0.01)]]), 2);
        assert_eq!(count(&[one(100.0), one(100.0), one(150.0)]), 1);
        assert_eq!(count(&[one(100.0), one(150.0)]), 2);
        assert_eq!(count(&[one(100.0), one(100.0), one(200.0), one(200.0)]), 2);
    }

    /// Two modes 0.5 % apart stay two when the part hung again shifts all of its modes by as much: 100.5 Hz of the one take is not 100.5
    /// Hz of the other.
    #[test]
    fn a_take_that_shifts_as_a_whole_keeps_its_modes_apart() {
        let take = |shift: f64| -> Vec<StageMode> {
            [100.0, 100.5, 150.0, 210.0, 290.0].map(|hz| mode(hz * (1.0 + shift), 1e-3, 0.01)).into()
        };
        let joined = merge_takes("plain", &[take(0.0), take(0.005)]);
        let hz: Vec<f64> = joined.iter().map(|m| (100.0 * m.frequency.value).round() / 100.0).collect();
        for (got, expected) in hz.iter().zip([100.25, 100.75, 150.375, 210.525, 290.725]) {
            assert!((got - expected).abs() < 0.01, "{hz:?}");
        }
        assert_eq!(hz.len(), 5);
    }
}
