//! Comparisons of a part that changed in nothing but its moisture.
//!
//! Truth: air of 30 to 70 % and 16 to 26 C, drawn for each stage and for the time before the first; wood that goes to what its air gives
//! by a share drawn from a half to all of the way, from where it was. What air gives is by the newer equation (Wood Handbook 4-6,
//! Glass et al. 2014; values in the table below computed from it apart from the program, which knows only 4-5), times a share of
//! its own for each board. E falls by a species' share (Eq. 5-3 of the Handbook, 1.0 to 2.4 % for each percent of moisture) times a
//! board's; thickness and width swell by a species' shrinkage; loss moves by a share that may have either sign. Takes scatter as in
//! `comparison`, scale, thermometer and hygrometer are off by what the program takes them to be.

use ringwright::analysis::{repeatability_of, stage_knowing};
use ringwright::compare::{Comparison, Verdict, compare};
use ringwright::part::PartDescription;
use ringwright::uncertainty::{Cause, Figure};

use super::comparison::{Shop, TAKES};
use super::dice::Dice;
use super::row::Row;

/// Equilibrium moisture (%) by Eq. 4-6 at 15.6, 21.1 and 26.7 C.
const HUMIDITIES: [f64; 6] = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7];
const CELSIUS: [f64; 3] = [15.6, 21.1, 26.7];
const PERCENT: [[f64; 6]; 3] = [
    [4.599, 6.266, 7.941, 9.712, 11.675, 13.978],
    [4.430, 6.051, 7.683, 9.411, 11.330, 13.586],
    [4.261, 5.835, 7.424, 9.109, 10.983, 13.189],
];

const FIGURES: [&str; 6] = ["mass", "loss", "stiffness_by_mass", "bending_stiffness", "pitch", "power_drawn"];
/// Figures of a flat blank with sizes.
const OF_BLANKS: [&str; 2] = ["bending_stiffness", "power_drawn"];

/// Linear between the values of the table.
fn given_by_air((celsius, humidity): (f64, f64)) -> f64 {
    let place = |grid: &[f64], x: f64| {
        let i = (1..grid.len() - 1).find(|i| x < grid[*i]).unwrap_or(grid.len() - 1) - 1;
        (i, (x - grid[i]) / (grid[i + 1] - grid[i]))
    };
    let ((t, s), (h, q)) = (place(&CELSIUS, celsius), place(&HUMIDITIES, humidity));
    let at = |t: usize| PERCENT[t][h] * (1.0 - q) + PERCENT[t][h + 1] * q;
    0.01 * (at(t) * (1.0 - s) + at(t + 1) * s)
}

/// A board's own answers to moisture.
struct Board {
    takes_up: f64,
    modulus_lost: f64,
    swells: f64,
    loss_moves: f64,
    wood: f64,
}

impl Board {
    fn drawn(dice: &mut Dice) -> Self {
        Self {
            takes_up: dice.log(0.85, 1.0),
            modulus_lost: dice.log(1.0, 2.4) * (0.3 * dice.normal()).exp(),
            swells: dice.log(0.55, 1.4),
            loss_moves: 1.0 + 3.0 * dice.normal(),
            wood: dice.log(0.93, 1.0),
        }
    }
}

fn air(dice: &mut Dice) -> (f64, f64) {
    (16.0 + 10.0 * dice.uniform(0.0, 1.0), 0.3 + 0.4 * dice.uniform(0.0, 1.0))
}

/// A part in two stages between which only moisture and `stiffer` (a factor of EI) changed: without sizes, and as a blank with sizes.
fn compared(dice: &mut Dice, takes: usize, stiffer: f64) -> [Comparison; 2] {
    let (board, shop) = (Board::drawn(dice), Shop::drawn(dice, 1.0));
    let mut wet = board.takes_up * given_by_air(air(dice));
    let before = air(dice);
    let mut stages = Vec::new();
    for (place, air) in [before, air(dice)].into_iter().enumerate() {
        wet += (0.5 + 0.5 * dice.uniform(0.0, 1.0)) * (board.takes_up * given_by_air(air) - wet);
        let ei = ((board.swells - board.modulus_lost) * (wet - 0.09)).exp() * if place == 1 { stiffer } else { 1.0 };
        let mass = board.wood * (1.0 + wet) / 1.09 + 1.0 - board.wood;
        let loss = (board.loss_moves * (wet - 0.09)).exp();
        let mut list = shop.takes(dice, takes, ((ei / mass).sqrt(), loss));
        for take in &mut list {
            take.bending_stiffness = take.bending_stiffness.as_ref().map(|k| k.times(mass));
        }
        let part = PartDescription {
            temperature: Some(Figure::new(air.0 + dice.normal(), 1.0, Cause::Temperature)),
            humidity: Some(Figure::new(air.1 + 0.03 * dice.normal(), 0.03, Cause::Humidity)),
            mass: Some(Figure::new(0.2 * mass + 1e-3 * dice.normal(), 1e-3, Cause::Mass)),
            length: Some(Figure::exact(0.8)),
            ..PartDescription::default()
        };
        stages.push((list, part));
    }
    let known = repeatability_of(&stages[0].0).and(repeatability_of(&stages[1].0));
    [false, true].map(|sizes| {
        let stage = |name: &str, (takes, part): &(Vec<_>, PartDescription)| {
            let mut stage = stage_knowing(name, takes, Some(part), known);
            stage.bending_stiffness = stage.bending_stiffness.filter(|_| sizes);
            stage
        };
        compare(&stage("a", &stages[0]), &stage("b", &stages[1]), &[])
    })
}

/// Shares called different and mean half-widths (of the logarithm), by figures, then by takes.
fn found(pairs: usize, seed: u64, stiffer: f64) -> Vec<[(f64, f64); TAKES.len()]> {
    let mut sums = vec![[(0.0, 0.0); TAKES.len()]; FIGURES.len()];
    let mut dice = Dice::new(seed);
    for (place, takes) in TAKES.into_iter().enumerate() {
        for _ in 0..pairs {
            let comparisons = compared(&mut dice, takes, stiffer);
            for (sum, figure) in sums.iter_mut().zip(FIGURES) {
                let comparison = &comparisons[usize::from(OF_BLANKS.contains(&figure))];
                let Some(row) = comparison.whole.iter().find(|r| r.code == figure) else { continue };
                let different = !matches!(row.ratio.verdict, Verdict::NotToldApart { .. });
                sum[place].0 += f64::from(different) / pairs as f64;
                sum[place].1 += 0.5 * (row.ratio.high / row.ratio.low).ln() / pairs as f64;
            }
        }
    }
    sums
}

pub fn measure(pairs: usize) -> Vec<Row> {
    let listed = |of: &[(f64, f64)], which: fn(&(f64, f64)) -> f64| {
        let shares: Vec<String> = of.iter().map(|s| format!("{:.1}", 100.0 * which(s))).collect();
        format!("{} %", shares.join(", "))
    };
    let mut rows = Vec::new();
    let (same, stiffer) = (found(pairs, 11, 1.0), found(pairs, 12, 1.2));
    for (place, figure) in FIGURES.iter().enumerate() {
        rows.push(Row {
            figure: format!("{figure}, unchanged but for 30 to 70 % of humidity"),
            wanted: "at most 6.5 % at 1, 2, 3, 5 takes".into(),
            measured: format!("{}; half-widths {}", listed(&same[place], |s| s.0), listed(&same[place], |s| s.1)),
            met: same[place].iter().all(|s| s.0 <= 0.065),
        });
    }
    for place in [2, 3] {
        rows.push(Row {
            figure: format!("{}, 20 % more in other air", FIGURES[place]),
            wanted: "at least 90 % at 1, 2, 3, 5 takes".into(),
            measured: listed(&stiffer[place], |s| s.0),
            met: stiffer[place].iter().all(|s| s.0 >= 0.9),
        });
    }
    rows
}
