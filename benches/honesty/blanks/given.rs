//! What the library gave for a tapped plate, against its truth.

use ringwright::stiffness::{BlankNote, BlankResult, blank_from_heard};
use ringwright::uncertainty::Figure;

use super::tapped::{Plate, READ_WITHIN, Tapped};
use crate::row::Row;

const NAMES: [&str; 3] = ["E along", "E across", "G"];

pub struct Given {
    notes: Vec<BlankNote>,
    /// For along, across, shear: given value over the truth less 1, half-width and the least half-width that the sizes' readings
    /// allow, both relative.
    figures: [Option<[f64; 3]>; 3],
    /// Whether enough tones were heard that the figure should be given.
    due: [bool; 3],
}

/// Powers with which length, width, thickness and mass enter a modulus at given frequencies: bending along, across, twist (thin plates).
const POWERS: [[f64; 4]; 3] = [[3.0, -1.0, -3.0, 1.0], [-1.0, 3.0, -3.0, 1.0], [1.0, 1.0, -3.0, 1.0]];

impl Given {
    pub fn new(plate: &Plate, tapped: &Tapped) -> Self {
        let BlankResult { along, across, shear, notes, .. } =
            blank_from_heard(&tapped.sizes, &tapped.tones, &tapped.levels_db);
        let mut figures = [None; 3];
        for (i, (figure, given)) in figures.iter_mut().zip([&along, &across, &shear]).enumerate() {
            *figure = given.as_ref().map(|g: &Figure| {
                let readings =
                    (0..4).map(|k| (POWERS[i][k] * READ_WITHIN[k] / plate.sizes[k]).powi(2)).sum::<f64>().sqrt();
                [g.value / plate.moduli[i] - 1.0, g.half_95() / plate.moduli[i], 1.96 * readings]
            });
        }
        let enough = tapped.tones.len() >= 6 && tapped.heard_of(0) >= 2;
        let due = [enough, enough && tapped.heard_of(2) >= 3, enough && tapped.heard_of(1) >= 3];
        Self { notes, figures, due }
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
