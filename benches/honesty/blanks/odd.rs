//! Odd blanks: the grain at an angle, bowed, wedged, with a knot, all of it together, and nearly none of it.
//!
//! Truth: shallow shells by Ritz's method with the grain at any angle and fields of thickness, stiffness and density
//! (`tests/outside/fem/odd_blanks.py`). Half of the makers read the angle (within 1 degree), half the bow (within 1 mm).

use ringwright::part::Departures;
use ringwright::uncertainty::{Cause, Figure};

use super::each;
use super::given::{self, Given};
use super::tables::{self, Odd};
use super::tapped::Tapped;
use crate::dice::Dice;
use crate::row::Row;

pub fn grain(parts: usize) -> Vec<Row> {
    measured(parts, 0)
}

pub fn bowed(parts: usize) -> Vec<Row> {
    measured(parts, 1)
}

pub fn wedged(parts: usize) -> Vec<Row> {
    measured(parts, 2)
}

pub fn knot(parts: usize) -> Vec<Row> {
    measured(parts, 3)
}

pub fn all(parts: usize) -> Vec<Row> {
    measured(parts, 4)
}

pub fn nearly(parts: usize) -> Vec<Row> {
    measured(parts, 5)
}

fn measured(parts: usize, kind: usize) -> Vec<Row> {
    let blanks = tables::odd(kind);
    let given = each(parts, |index, trace| {
        let odd = &blanks[index % blanks.len()];
        let seed = 1_000_000 * (kind as u64 + 1) + index as u64;
        let tapped = Tapped::new(&odd.plate, seed);
        let [along, across, shear] = odd.plate.moduli;
        let truth = [odd.along_length_pa, along, across, shear];
        let given = Given::new(&odd.plate, truth, &tapped, &read(odd, seed));
        if let Some(all) = trace {
            let wedge = odd.wedge.map(|w| 100.0 * w);
            let told = format!("grain {:.1}, bow {:.1} mm, wedge {wedge:.1?} %", odd.grain_deg, 1e3 * odd.bow_m);
            given.trace_odd(index, &told, &odd.plate, &tapped, all);
        }
        given
    });
    given::odd_rows(&given, kind == 5)
}

/// What the maker read beside the sizes.
fn read(odd: &Odd, seed: u64) -> Departures {
    let mut dice = Dice::new(70_000_000 + seed);
    let mut of = |value: f64, u: f64, cause: Cause| {
        let read = Figure::new(value + u * dice.normal(), u, cause);
        (dice.uniform(0.0, 1.0) < 0.5).then_some(read)
    };
    Departures {
        grain_deg: of(odd.grain_deg, 1.0, Cause::GrainAngle),
        bow: of(odd.bow_m, 1e-3, Cause::Bow),
        wedge: odd.wedge,
        ..Departures::default()
    }
}
