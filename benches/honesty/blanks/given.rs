//! What the library gave for a tapped plate, against its truth.

use ringwright::part::Departures;
use ringwright::stiffness::{BlankNote, BlankResult, Modulus, odd_blank};
use ringwright::uncertainty::Figure;

use super::tapped::{Plate, READ_WITHIN, Tapped};
use crate::row::Row;

const NAMES: [&str; 4] = ["E of the blank along its length", "E along the grain", "E across", "G"];

pub struct Given {
    notes: Vec<BlankNote>,
    /// For the names above: given value over the truth less 1, half-width and the least half-width that the sizes' readings
    /// allow, both relative.
    figures: [Option<[f64; 3]>; 4],
    /// Whether enough tones were heard that the figure should be given.
    due: [bool; 4],
}

/// Powers with which length, width, thickness and mass enter a modulus at given frequencies: bending along, across, twist (thin plates).
const POWERS: [[f64; 4]; 4] =
    [[3.0, -1.0, -3.0, 1.0], [3.0, -1.0, -3.0, 1.0], [-1.0, 3.0, -3.0, 1.0], [1.0, 1.0, -3.0, 1.0]];

impl Given {
    /// `truth`: of the names above (Pa).
    pub fn new(plate: &Plate, truth: [f64; 4], tapped: &Tapped, departures: &Departures) -> Self {
        let BlankResult { along_length, along, across, shear, notes, .. } =
            odd_blank(&tapped.sizes, departures, &tapped.tones, &tapped.levels_db);
        let mut figures = [None; 4];
        for (i, (figure, given)) in figures.iter_mut().zip([&along_length, &along, &across, &shear]).enumerate() {
            *figure = given.as_ref().map(|g: &Figure| {
                let readings =
                    (0..4).map(|k| (POWERS[i][k] * READ_WITHIN[k] / plate.sizes[k]).powi(2)).sum::<f64>().sqrt();
                [g.value / truth[i] - 1.0, g.half_95() / truth[i], 1.96 * readings]
            });
        }
        let enough = tapped.tones.len() >= 6 && tapped.heard_of(0) >= 2;
        let due = [enough, enough, enough && tapped.heard_of(2) >= 3, enough && tapped.heard_of(1) >= 3];
        Self { notes, figures, due }
    }

    /// As [`Self::trace`], with what the blank is.
    pub fn trace_odd(&self, index: usize, odd: &str, plate: &Plate, tapped: &Tapped, all: bool) {
        if all || self.sure_and_wrong() {
            println!("  {odd}:");
        }
        self.trace(index, plate, tapped, all);
    }

    /// Whether a note speaks against the figures.
    fn doubted(&self, figure: usize) -> bool {
        let which = [Modulus::Along, Modulus::Along, Modulus::Across, Modulus::Shear][figure];
        self.notes.iter().any(|note| note.speaks_against(which))
    }

    /// A figure without doubt that is off by more than 2.5 half-widths.
    fn sure_and_wrong(&self) -> bool {
        let far = |(i, f): (usize, &Option<[f64; 3]>)| {
            f.is_some_and(|[off, half, _]| off.abs() > 2.5 * half && !self.doubted(i))
        };
        self.figures.iter().enumerate().any(far)
    }

    pub fn trace(&self, index: usize, plate: &Plate, tapped: &Tapped, all: bool) {
        for (i, name) in NAMES.iter().enumerate() {
            match self.figures[i] {
                Some([off, half, least]) if off.abs() > 2.5 * half || all => println!(
                    "  {index}: {name} off {:+.1} %, half-width {:.1} % (sizes {:.1} %), {} tones, families {:?}, ratios {:.3} {:.3}, {:?}",
                    100.0 * off,
                    100.0 * half,
                    100.0 * least,
                    tapped.tones.len(),
                    [0, 1, 2].map(|f| tapped.heard_of(f)),
                    plate.moduli[1] / plate.moduli[0],
                    plate.moduli[2] / plate.moduli[0],
                    self.notes
                ),
                None if self.due[i] => {
                    println!("  {index}: {name} withheld, {} tones: {:?}", tapped.tones.len(), self.notes)
                }
                _ => {}
            }
        }
    }
}

pub fn rows(all: &[Given]) -> Vec<Row> {
    let mut rows = Vec::new();
    for (i, name) in NAMES.iter().enumerate() {
        let due = all.iter().filter(|g| g.due[i]);
        let given = due.clone().filter(|g| g.figures[i].is_some()).count();
        rows.push(Row::at_least(format!("{name} given"), given, due.count(), 0.95));
        let figures: Vec<[f64; 3]> = all.iter().filter_map(|g| g.figures[i]).collect();
        let held = figures.iter().filter(|[off, half, _]| off.abs() <= *half).count();
        rows.push(Row::coverage(format!("{name} held"), held, figures.len()));
        let far = figures.iter().filter(|[off, half, _]| off.abs() > 2.5 * half).count();
        rows.push(Row::at_most(format!("{name} missed by 2.5 half-widths"), far, figures.len(), 0.001));
        let mut ratios: Vec<f64> = figures.iter().map(|[_, half, least]| half / least).collect();
        ratios.sort_by(f64::total_cmp);
        let at = |share: f64| ratios.get((share * ratios.len() as f64) as usize).copied().unwrap_or(f64::NAN);
        rows.push(Row {
            figure: format!("{name}, half-width over what the sizes allow, median"),
            wanted: "at most 1.3".into(),
            measured: format!("{:.2} (95 % within {:.2})", at(0.5), at(0.95)),
            met: at(0.5) <= 1.3,
        });
    }
    rows
}

/// Rows of odd blanks: what is given without doubt, and what is sure and wrong; of blanks that are `nearly` as they should be, more is asked.
pub fn odd_rows(all: &[Given], nearly: bool) -> Vec<Row> {
    let mut rows = Vec::new();
    for (i, name) in NAMES.iter().enumerate() {
        let due = all.iter().filter(|g| g.due[i]);
        let given = due.clone().filter(|g| g.figures[i].is_some()).count();
        rows.push(Row::at_least(format!("{name} given"), given, due.count(), if nearly { 0.9 } else { 0.0 }));
        let sure: Vec<[f64; 3]> = all.iter().filter(|g| !g.doubted(i)).filter_map(|g| g.figures[i]).collect();
        let held = sure.iter().filter(|[off, half, _]| off.abs() <= *half).count();
        rows.push(Row::coverage(format!("{name} held, no doubt said"), held, sure.len()));
        let far = sure.iter().filter(|[off, half, _]| off.abs() > 2.5 * half).count();
        rows.push(Row::at_most(format!("{name} missed by 2.5 half-widths, no doubt said"), far, sure.len(), 0.001));
        let mut halves: Vec<f64> = sure.iter().map(|[_, half, _]| 100.0 * half).collect();
        halves.sort_by(f64::total_cmp);
        let at = |share: f64| halves.get((share * halves.len() as f64) as usize).copied().unwrap_or(f64::NAN);
        rows.push(Row {
            figure: format!("{name}, half-width, median"),
            wanted: "shown".into(),
            measured: format!("{:.1} % (95 % within {:.1} %)", at(0.5), at(0.95)),
            met: true,
        });
    }
    rows
}
