//! Flat blanks: the moduli that are given, and those withheld.
//!
//! Truth: frequencies of plates by finite elements (scikit-fem, or Hermite beams' products in numpy, with the shear of thick plates by Ritz's method; `tests/outside/fem`).
//! Neither knows the plate of the library. A maker's readings, missed tones and tones that are not the blank's are drawn.
//!
//! `RINGWRIGHT_TRACE=1` prints each blank that lies far out, `all` every one; `RINGWRIGHT_BLANK=n` looks at one alone.

mod given;
mod odd;
mod tables;
mod tapped;

use rayon::prelude::*;

use ringwright::part::Departures;

use crate::row::Row;
use given::Given;
pub use odd::{all, bowed, grain, knot, nearly, wedged};
use tapped::{Plate, Tapped};

/// Uniform blanks of the tables: 500 of them, read and tapped anew in each round.
pub fn uniform(parts: usize) -> Vec<Row> {
    let plates = tables::plates();
    rows(parts, |index| plates[index % plates.len()].clone(), 0)
}

/// Wide woods: E across and G in all ratios to E along that wood has, panels as well as sides; 240 of them.
pub fn wide(parts: usize) -> Vec<Row> {
    let plates = tables::woods();
    rows(parts, |index| plates[index % plates.len()].clone(), 500_000)
}

fn rows(parts: usize, plate: impl Fn(usize) -> Plate + Sync, seed: u64) -> Vec<Row> {
    let given = each(parts, |index, trace| {
        let plate = plate(index);
        let tapped = Tapped::new(&plate, seed + index as u64);
        let [along, across, shear] = plate.moduli;
        let given = Given::new(&plate, [along, along, across, shear], &tapped, &Departures::default());
        if let Some(all) = trace {
            given.trace(index, &plate, &tapped, all);
        }
        given
    });
    given::rows(&given)
}

/// Every blank, or the one that is asked for; `of` is told whether to trace, and then whether those that are well off too.
fn each(parts: usize, of: impl Fn(usize, Option<bool>) -> Given + Sync) -> Vec<Given> {
    let only: Option<usize> = std::env::var("RINGWRIGHT_BLANK").ok().and_then(|v| v.parse().ok());
    let trace = std::env::var("RINGWRIGHT_TRACE").ok().map(|trace| trace == "all" || only.is_some());
    let wanted = (0..parts).into_par_iter().filter(|index| only.is_none_or(|o| o == *index));
    wanted.map(|index| of(index, trace)).collect()
}
