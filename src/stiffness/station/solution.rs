//! The solution of a spot's problem, and how well the readings agree with it.

use nalgebra::DMatrix;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::holding::Holding;

/// All unknowns of a spot as its takes have them.
pub(super) struct Solution {
    pub x: Vec<f64>,
    /// By unknown and row: how much the unknown is moved by one standard uncertainty of the row.
    pub moved: DMatrix<f64>,
    pub rows: Vec<RowOf>,
    pub holding: Holding,
    pub chi_squared: f64,
    /// Readings more than free unknowns.
    pub dof: f64,
}

/// What a row of the problem says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum RowOf {
    Reading(usize),
    /// What is expected of an unknown.
    Expected(usize),
}

/// Takes that differ by more than so many times what holding anew is expected to do differ for another reason.
const MOST_HELD: f64 = 2.5;

impl Solution {
    /// The chance that readings which obey the law lie as far from it as these; none where the takes differ too much.
    pub fn chance(&self) -> f64 {
        if self.holding.times_expected > MOST_HELD {
            return 0.0;
        }
        if self.dof > 0.0 { ChiSquared::new(self.dof).map_or(0.0, |c| c.sf(self.chi_squared)) } else { 1.0 }
    }
}
