//! Ratios, intervals and verdicts against known truth and published statistics.

use ringwright::compare::{Ratio, Stage, StageMode, Verdict, compare, merge_takes};
use ringwright::loss::{Mobility, StationMode};
use ringwright::modes::{COVERAGE_95, student_factor};
use ringwright::uncertainty::{Figure, mean_of_readings};

use super::Dice;

/// Student's t of two-sided 95 % for 1, 2, 3, 4, 9 and 19 degrees of freedom, from published tables: 12.70620, 4.30265,
/// 3.18245, 2.77645, 2.26216, 2.09302; normal quantile 1.959964.
#[test]
fn student_factors_agree_with_tables() {
    for (freedom, t) in
        [(1.0, 12.70620), (2.0, 4.30265), (3.0, 3.18245), (4.0, 2.77645), (9.0, 2.26216), (19.0, 2.09302)]
    {
        assert!((student_factor(freedom) * COVERAGE_95 - t).abs() < 1e-5, "{freedom}");
    }
}

/// Welch's test, worked example (project reference, computed apart from this crate): (0.0101 0.0098 0.0104 0.0099 0.0102) against
/// (0.0088 0.0091 0.0086): difference 0.00124667, 95 % interval 0.00075264 to 0.00174069. The effective
/// degrees of freedom are Welch's, and so is the interval.
#[test]
fn intervals_hold_those_of_welch() {
    let a = mean_of_readings(&[0.0101, 0.0098, 0.0104, 0.0099, 0.0102], 0.0, "taps of a");
    let b = mean_of_readings(&[0.0088, 0.0091, 0.0086], 0.0, "taps of b");
    let difference = Figure::combine(&[&a, &b], |x| x[0] - x[1]);
    assert!((difference.value - 0.001_246_67).abs() < 1e-8);
    let half = difference.half_95();
    let welch = 0.5 * (0.001_740_69 - 0.000_752_64);
    assert!((half / welch - 1.0).abs() < 1e-3, "{half} {welch}");
    assert_eq!(Ratio::new(&a, &b, 5).map(|r| r.verdict), Some(Verdict::Smaller));
}

/// A thousand pairs of stages with two to five takes each, whose part is held anew every time: the 95 % interval of the ratio holds
/// the true ratio in at least 93 % of cases; nothing changed is called a change in at most 5 %; a change of stiffness by 3 %
/// (frequency 1.5 %) is found in nine of ten.
#[test]
fn ratios_hold_the_truth() {
    let mut dice = Dice::new(5);
    let (mut held, mut false_alarms, mut found, mut shown) = (0, 0, 0, 0);
    const RUNS: usize = 1000;
    for run in 0..RUNS {
        let changed = run % 2 == 0;
        let truth = if changed { 1.03f64.sqrt() } else { 1.0 };
        // Held anew, a part's frequency moves by two parts in a thousand, its damping by five in a hundred.
        let (of_frequency, of_damping) = (2e-3, 0.05);
        let takes = 2 + run % 4;
        let mut stage = |name: &str, factor: f64| {
            let lists: Vec<Vec<StageMode>> = (0..takes)
                .map(|_| {
                    [187.3, 342.0, 561.0]
                        .iter()
                        .map(|f| StageMode {
                            frequency: Figure::new(f * factor * (1.0 + of_frequency * dice.normal()), 1e-4 * f, "f"),
                            damping_ratio: Figure::new(0.008 * (1.0 + of_damping * dice.normal()), 4e-5, "z"),
                            level_db: -f / 50.0,
                            name: None,
                            taps: 5,
                        })
                        .collect()
                })
                .collect();
            Stage { name: name.into(), modes: merge_takes(name, &lists), ..Stage::default() }
        };
        let (a, b) = (stage("a", 1.0), stage("b", truth));
        let result = compare(&a, &b, &[]);
        let row = |code: &str| result.pairs.first().and_then(|(_, rows)| rows.iter().find(|r| r.code == code));
        let Some(frequency) = row("frequency_hz") else { continue };
        shown += 1;
        held += usize::from(frequency.ratio.low < truth && truth < frequency.ratio.high);
        let told = !matches!(frequency.ratio.verdict, Verdict::NotToldApart { .. });
        if changed {
            found += usize::from(told && takes >= 4);
        } else {
            false_alarms += usize::from(told);
        }
    }
    let of_four_or_more = (0..RUNS).filter(|r| r % 2 == 0 && 2 + r % 4 >= 4).count();
    println!(
        "shown {shown}, held {held}, false alarms {false_alarms} of {}, found {found} of {of_four_or_more}",
        RUNS / 2
    );
    assert!(shown * 100 >= RUNS * 97, "{shown}");
    assert!(held * 100 >= shown * 93, "{held} of {shown}");
    assert!(false_alarms * 100 <= RUNS / 2 * 5, "{false_alarms}");
    assert!(found * 10 >= of_four_or_more * 9, "{found} of {of_four_or_more}");
}

/// The same ring twice, but in one stage a mode was never heard: the part has not changed, and the power's interval must say so.
#[test]
fn a_mode_that_was_not_heard_is_no_change() {
    let stage = |name: &str, skip: Option<usize>| {
        let heard: Vec<f64> = [62.0, 118.0, 191.0, 280.0, 386.0, 508.0]
            .into_iter()
            .enumerate()
            .filter(|(i, _)| Some(*i) != skip)
            .map(|(_, f)| f)
            .collect();
        let station = heard.iter().map(|f| StationMode {
            frequency: Figure::new(*f, 1e-3, format!("f {f} {name}")),
            damping_ratio: Figure::new(0.008, 1e-5, format!("z {f} {name}")),
            modal_mass: Figure::new(0.1, 2e-3, format!("m {f} {name}")),
        });
        let take = heard.iter().map(|f| StageMode {
            frequency: Figure::new(*f, 1e-3, "f"),
            damping_ratio: Figure::new(0.008, 1e-5, "z"),
            level_db: -f / 50.0,
            name: None,
            taps: 5,
        });
        let modes = merge_takes(name, &[take.collect()]);
        Stage { name: name.into(), modes, mobility: Mobility::new(station.collect()), takes: 1, ..Stage::default() }
    };
    for skip in [1, 3] {
        for (a, b) in [(None, Some(skip)), (Some(skip), None)] {
            let result = compare(&stage("a", a), &stage("b", b), &[]);
            let power = result.whole.iter().find(|r| r.code == "power_drawn").expect("both have a mobility");
            assert!(power.ratio.low < 1.0 && power.ratio.high > 1.0, "{skip}: {:?}", power.ratio);
        }
    }
}

/// The example of the individuals chart in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (flow rates of ten
/// batches): centre 50.81, limits 45.8159 and 55.8041. Numbers from memory; the mean and the mean range were summed by hand.
#[test]
fn control_limits_are_those_of_the_handbook() {
    let flows = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1].map(|flow| (flow, 0.0));
    let chart = ringwright::compare::Chart::new("flow".into(), ("", 1.0), &flows, (50.0, 0.0)).expect("ten are enough");
    assert!((chart.centre - 50.81).abs() < 1e-9);
    assert!((chart.low - 45.8159).abs() < 1e-4 && (chart.high - 55.8041).abs() < 1e-4, "{chart:?}");
}
