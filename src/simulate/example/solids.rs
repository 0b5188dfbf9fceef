//! The bent side and the rims of the demonstration as elastic bodies in finite elements: their modes, with what is stuck on them.
//!
//! `tests/outside/fem/demo_rim.py` writes the table, with other code and no theory of beams or shells. A point mass is added here, in
//! the space of the body's own modes, its motions as a free body among them.

use nalgebra::{DMatrix, SymmetricEigen};

const TABLE: &str = include_str!("solids.csv");

/// Spots of the table, in its order.
pub const SPOTS: [&str; 2] = ["lower-bout", "tail"];

/// A mode of a body, of unit modal mass (kg), as it moves at a spot at mid-depth (1/sqrt(kg)).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolidMode {
    pub frequency_hz: f64,
    pub outwards: f64,
    pub along: f64,
}

/// A body of the table: those movements that are alike above and below mid-depth.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    pub mass_kg: f64,
    /// Each with its movement at every spot, outwards and along; a free body's own motions first, at 0 Hz.
    modes: Vec<(f64, [[f64; 2]; SPOTS.len()])>,
}

impl Solid {
    /// Of a part in a stage; `None` if the table has no such body.
    pub fn of(part: &str, stage: &str) -> Option<Self> {
        let lines = TABLE.lines().map(|l| l.split(',').collect::<Vec<_>>());
        let (mut mass_kg, mut modes) = (None, Vec::new());
        for cells in lines.filter(|c| c.len() == 8 && c[0] == part && c[1] == stage) {
            let number = |i: usize| cells[i].parse::<f64>().ok();
            if cells[2] == "mass_kg" {
                mass_kg = number(3);
            } else {
                modes.push((number(3)?, [[number(4)?, number(5)?], [number(6)?, number(7)?]]));
            }
        }
        Some(Self { mass_kg: mass_kg?, modes })
    }

    /// The elastic modes at a spot, with a mass (kg) stuck on there that follows outwards and along.
    pub fn modes(&self, spot: usize, added_kg: f64) -> Vec<SolidMode> {
        let count = self.modes.len();
        let shape = |i: usize, way: usize| self.modes[i].1[spot][way];
        let mass = DMatrix::from_fn(count, count, |i, j| {
            let moved: f64 = [0, 1].map(|way| shape(i, way) * shape(j, way)).iter().sum();
            f64::from(i == j) + added_kg * moved
        });
        // Unit masses and a positive one added: always positive definite.
        let Some(inverse) = mass.cholesky().and_then(|c| c.l().try_inverse()) else { return Vec::new() };
        let stiffness = DMatrix::from_fn(count, count, |i, j| if i == j { self.modes[i].0.powi(2) } else { 0.0 });
        let eigen = SymmetricEigen::new(&inverse * stiffness * inverse.transpose());
        let shares = inverse.transpose() * &eigen.eigenvectors;
        let at = |number: usize, way: usize| (0..count).map(|i| shape(i, way) * shares[(i, number)]).sum();
        let mut modes: Vec<SolidMode> = (0..count)
            .map(|number| SolidMode {
                frequency_hz: eigen.eigenvalues[number].max(0.0).sqrt(),
                outwards: at(number, 0),
                along: at(number, 1),
            })
            .filter(|m| m.frequency_hz > 3.0)
            .collect();
        modes.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
        modes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bodies_have_the_masses_and_motions_of_free_ones() {
        for (part, stage) in [("left-side", "bent"), ("left-side", "laminated"), ("rim", "plain"), ("rim", "braced")] {
            let solid = Solid::of(part, stage).unwrap_or_else(|| panic!("{part}, {stage}"));
            let rigid: Vec<_> = solid.modes.iter().filter(|m| m.0 == 0.0).collect();
            assert_eq!(rigid.len(), 3, "{part}, {stage}");
            // Two motions of the whole, 1/mass each, and a turn: at any spot no less than the two, whichever way it faces.
            for spot in 0..SPOTS.len() {
                let sum: f64 = rigid.iter().flat_map(|m| m.1[spot]).map(|v| v * v).sum();
                assert!(sum * solid.mass_kg >= 2.0 - 1e-3, "{part}, {stage}: {sum}");
            }
        }
    }

    /// A mass lowers each mode, by half of mass over modal mass as long as it is small (Rayleigh).
    #[test]
    fn a_small_mass_lowers_modes_as_rayleigh_has_it() {
        let solid = Solid::of("rim", "plain").expect("it is in the table");
        let (bare, loaded) = (solid.modes(1, 0.0), solid.modes(1, 1e-5));
        for (a, b) in bare.iter().zip(&loaded).take(10) {
            let expected = 0.5e-5 * (a.outwards * a.outwards + a.along * a.along);
            let lowered = 1.0 - b.frequency_hz / a.frequency_hz;
            assert!((lowered - expected).abs() < 0.02 * expected + 1e-8, "{a:?} {b:?} {expected}");
        }
    }
}
