//! Comparisons of a part that did not change, and of one that did.
//!
//! Truth: frequencies and damping ratios drawn here, of ten modes that are moved in every take by what holding the part anew does: all of a
//! take by one share, or each mode by its own, and by the reading's noise. How much a shop's takes scatter is drawn log-normally
//! (factor 1.5) about what the program assumes, or set.

use std::path::Path;

use ringwright::analysis::{StageTake, repeatability_of, stage_knowing};
use ringwright::compare::{Comparison, Repeatability, Stage, StageMode, Verdict, compare};
use ringwright::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_FREQUENCY, station_of};
use ringwright::uncertainty::{Cause, Figure};

use super::dice::Dice;
use super::row::Row;

/// Modes of a side between 80 and 1100 Hz.
const MODES_HZ: [f64; 10] = [82.0, 131.0, 190.0, 262.0, 345.0, 440.0, 545.0, 664.0, 790.0, 930.0];
/// The readings' own standard uncertainties (relative): of frequency, of damping, and of EI by a take's fit.
const READ: (f64, f64, f64) = (3e-5, 0.01, 2e-3);
pub(super) const TAKES: [usize; 4] = [1, 2, 3, 5];
/// Headline figures.
const FIGURES: [&str; 5] = ["loss", "stiffness_by_mass", "bending_stiffness", "pitch", "power_drawn"];
/// Figures of a flat blank with sizes.
const OF_BLANKS: [&str; 2] = ["bending_stiffness", "power_drawn"];

/// How a shop's takes scatter.
#[derive(Clone, Copy)]
pub(super) struct Shop {
    /// Standard deviations (of the logarithm) of frequency and damping.
    frequency: f64,
    damping: f64,
    /// Share of the variance that all modes of a take have in common.
    shared: f64,
}

impl Shop {
    fn times(factor: f64, shared: f64) -> Self {
        Self { frequency: factor * HUNG_AGAIN_FREQUENCY, damping: factor * HUNG_AGAIN_DAMPING, shared }
    }

    pub(super) fn drawn(dice: &mut Dice, shared: f64) -> Self {
        let factor = |dice: &mut Dice| (1.5f64.ln() * dice.normal()).exp();
        Self { frequency: factor(dice) * HUNG_AGAIN_FREQUENCY, damping: factor(dice) * HUNG_AGAIN_DAMPING, shared }
    }

    /// A take of a part whose frequencies and damping ratios are so many times the plain one's.
    fn take(self, dice: &mut Dice, (frequency, damping): (f64, f64)) -> StageTake {
        let held = (self.frequency * dice.normal(), self.damping * dice.normal());
        let (all, alone) = (self.shared.sqrt(), (1.0 - self.shared).sqrt());
        let mut moved = 0.0;
        let mut mode = |hz: &f64| {
            let off = all * held.0 + alone * self.frequency * dice.normal();
            moved += off / MODES_HZ.len() as f64;
            let f = hz * frequency * (off + READ.0 * dice.normal()).exp();
            let off = all * held.1 + alone * self.damping * dice.normal();
            let zeta = 0.01 * damping * (off + READ.1 * dice.normal()).exp();
            StageMode {
                frequency: Figure::new(f, READ.0 * f, Cause::Noise),
                damping_ratio: Figure::new(zeta, READ.1 * zeta, Cause::Noise),
                level_db: -hz / 50.0,
                name: None,
                taps: 5,
            }
        };
        let modes = MODES_HZ.iter().map(&mut mode).collect();
        // EI goes by the squares of the frequencies.
        let ei = 3.0 * frequency.powi(2) * (2.0 * moved + READ.2 * dice.normal()).exp();
        let bending_stiffness = Some(Figure::new(ei, READ.2 * ei, Cause::PlateFit));
        StageTake { station: station_of(Path::new("waist/take-01.wav")), modes, bending_stiffness, recorded: None }
    }

    pub(super) fn takes(self, dice: &mut Dice, takes: usize, changed: (f64, f64)) -> Vec<StageTake> {
        (0..takes).map(|_| self.take(dice, changed)).collect()
    }

    /// What a diary of eight other spots with two takes each has learned.
    fn diary(self, dice: &mut Dice) -> Repeatability {
        (0..8).map(|_| repeatability_of(&self.takes(dice, 2, (1.0, 1.0)))).sum()
    }
}

/// A pair of stages, with and without sizes, and what is known of the shop beside them.
fn compared(
    dice: &mut Dice,
    shop: Shop,
    takes: usize,
    changed: (f64, f64),
    elsewhere: Repeatability,
) -> [Comparison; 2] {
    let (a, b) = (shop.takes(dice, takes, (1.0, 1.0)), shop.takes(dice, takes, changed));
    let known = repeatability_of(&a).and(repeatability_of(&b)).and(elsewhere);
    [false, true].map(|sizes| {
        let stage = |name: &str, takes: &[StageTake]| -> Stage {
            let mut stage = stage_knowing(name, takes, None, known);
            stage.mass = Some(Figure::exact(0.2));
            stage.mass_per_length = Some(Figure::exact(0.25));
            stage.bending_stiffness = stage.bending_stiffness.filter(|_| sizes);
            stage
        };
        compare(&stage("a", &a), &stage("b", &b), &[])
    })
}

/// Whether a figure is called different, the width of its interval (of the logarithm) and the advice; `None` if it is not given.
fn said(comparisons: &[Comparison; 2], figure: &str) -> Option<(bool, f64, Option<usize>)> {
    let comparison = &comparisons[usize::from(OF_BLANKS.contains(&figure))];
    let row = comparison.whole.iter().find(|r| r.code == figure)?;
    let different = !matches!(row.ratio.verdict, Verdict::NotToldApart { .. });
    Some((different, (row.ratio.high / row.ratio.low).ln(), row.ratio.verdict.more_takes()))
}

/// Shares of pairs (by figures, then by takes) that are called different, and the mean widths.
fn found(
    pairs: usize,
    seed: u64,
    shop: impl Fn(&mut Dice) -> Shop,
    changed: (f64, f64),
    learned: bool,
) -> [[(f64, f64); TAKES.len()]; FIGURES.len()] {
    let mut sums = [[(0.0, 0.0); TAKES.len()]; FIGURES.len()];
    let mut dice = Dice::new(seed);
    for (place, takes) in TAKES.into_iter().enumerate() {
        for _ in 0..pairs {
            let shop = shop(&mut dice);
            let elsewhere = if learned { shop.diary(&mut dice) } else { Repeatability::default() };
            let comparisons = compared(&mut dice, shop, takes, changed, elsewhere);
            for (sum, figure) in sums.iter_mut().zip(FIGURES) {
                // A figure that is not given is no alarm, and finds nothing.
                let Some((different, width, _)) = said(&comparisons, figure) else { continue };
                sum[place].0 += f64::from(different) / pairs as f64;
                sum[place].1 += width / pairs as f64;
            }
        }
    }
    sums
}

/// A row of shares at one, two, three and five takes.
fn row(figure: String, wanted: &str, of: &[(f64, f64)], met: bool) -> Row {
    let shares: Vec<String> = of.iter().map(|(share, _)| format!("{:.1}", 100.0 * share)).collect();
    Row { figure, wanted: wanted.into(), measured: format!("{} %", shares.join(", ")), met }
}

pub fn measure(pairs: usize) -> Vec<Row> {
    let mut rows = Vec::new();
    let same = (1.0, 1.0);
    for (how, shared) in [("shared", 1.0), ("each mode its own", 0.0)] {
        for learned in [false, true] {
            let how = format!("{how}{}", if learned { ", learned" } else { "" });
            let drawn = found(pairs, 1, |dice| Shop::drawn(dice, shared), same, learned);
            let worse = found(pairs, 2, |_| Shop::times(1.5, shared), same, learned);
            let twice = found(pairs, 3, |_| Shop::times(2.0, shared), same, learned);
            for (place, figure) in FIGURES.iter().enumerate() {
                let (all, met) = (&drawn[place], drawn[place].iter().all(|s| s.0 <= 0.065));
                rows.push(row(format!("{figure}, unchanged, {how}"), "at most 6.5 % at 1, 2, 3, 5 takes", all, met));
                // Falling, as far as so many pairs show.
                let (all, chance) = (&worse[place], 2.0 * (2.0 * 0.1 * 0.9 / pairs as f64).sqrt());
                let met = all.iter().all(|s| s.0 <= 0.12) && all.windows(2).all(|w| w[1].0 <= w[0].0 + chance);
                let name = format!("{figure}, unchanged, shop 1.5 times as bad, {how}");
                rows.push(row(name, "at most 12 %, falling", all, met));
                let all = &twice[place];
                let widths: Vec<String> = all.iter().map(|w| format!("{:.2}", 50.0 * w.1)).collect();
                rows.push(Row {
                    figure: format!("{figure}, half-width, shop twice as bad, {how}"),
                    wanted: "falling with takes".into(),
                    measured: format!("{} %", widths.join(", ")),
                    met: all.windows(2).all(|w| w[1].1 < w[0].1),
                });
            }
            let at_least =
                |shares: &[(f64, f64)], least: &[f64]| shares.iter().zip(least).all(|(s, l)| s.0 >= l - 1e-9);
            let louder = found(pairs, 4, |_| Shop::times(0.03 / HUNG_AGAIN_DAMPING, shared), (1.0, 1.1), learned);
            let (wanted, least) = if learned {
                ("at least 52, 82, 93 % at 1, 2, 3 takes", [0.52, 0.82, 0.93])
            } else {
                ("at least 40, 75, 88 % at 1, 2, 3 takes", [0.40, 0.75, 0.88])
            };
            rows.push(row(format!("loss, 10 % more, {how}"), wanted, &louder[0], at_least(&louder[0], &least)));
            let stiffer = found(pairs, 5, |_| Shop::times(1.0, shared), (1.03f64.sqrt(), 1.0), learned);
            for place in [1, 2] {
                let met = at_least(&stiffer[place], &[1.0; TAKES.len()]);
                rows.push(row(format!("{}, 3 % more, {how}", FIGURES[place]), "always", &stiffer[place], met));
            }
        }
    }
    rows.push(advice(pairs));
    rows
}

/// How often a difference of the size seen is found after as many more takes as were advised.
fn advice(pairs: usize) -> Row {
    let mut dice = Dice::new(6);
    let shop = Shop::times(1.0, 1.0);
    let (mut advised, mut shown) = (0, 0);
    for _ in 0..pairs {
        let change = (1.0, dice.log(1.02, 1.1));
        let first = compared(&mut dice, shop, 2, change, Repeatability::default());
        let Some((_, _, Some(more))) = said(&first, "loss") else { continue };
        let Some(seen) = first[0].whole.iter().find(|r| r.code == "loss").map(|r| r.ratio.value) else { continue };
        advised += 1;
        let again = compared(&mut dice, shop, 2 + more, (1.0, seen), Repeatability::default());
        shown += usize::from(said(&again, "loss").is_some_and(|s| s.0));
    }
    let mut row = Row::at_least("loss: advised takes show what was seen", shown, advised, 0.85);
    row.wanted = "about 90 % (85 to 97 %)".into();
    row.met &= shown as f64 <= 0.97 * advised as f64;
    row
}
