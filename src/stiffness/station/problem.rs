//! All modes of a spot, all its takes and all that is unknown about them in one least-squares problem.

use nalgebra::{DMatrix, DVector};

use super::holding::holding;
use super::law::{Law, Reading};
use super::solution::{RowOf, Solution};

/// The problem: readings and the law. What is expected of the unknowns are rows like the readings.
pub(super) struct Problem {
    pub law: Law,
    pub readings: Vec<Reading>,
    /// Where to begin: ln of the bare modes' angular frequencies and 1/M in units of the law's scale.
    pub start: Vec<(f64, f64)>,
}

/// 1/M of a mode that was followed under no mass, in units of the mean of those that were: as much with as much doubt, by judgement.
const LOST: f64 = 0.7;
/// 1/M of any other is not known beforehand to better than so many times their mean.
const WIDE: f64 = 10.0;
const MOST_STEPS: usize = 25;
const SETTLED: f64 = 1e-7;

impl Problem {
    /// Whether a mode was followed under a mass.
    pub fn is_followed(&self, mode: usize) -> bool {
        self.readings.iter().any(|r| r.mode == mode && self.law.masses.kg[r.take] > 0.0)
    }

    /// Standard uncertainty of a mode's 1/M (in units of the law's scale) if the unknowns are these, and holding anew does so many times
    /// what is expected.
    pub fn u_of_inverse(&self, x: &[f64], mode: usize, held: f64) -> Option<f64> {
        let layout = &self.law.layout;
        let mut expected = self.expected();
        expected[layout.modes..layout.modes + layout.takes].iter_mut().for_each(|e| e.2 = held);
        let (jacobian, _) = self.rows(x, &expected);
        let inverse = (jacobian.transpose() * jacobian).cholesky()?.inverse();
        let place = layout.inverse(mode);
        Some(inverse[(place, place)].sqrt())
    }

    /// What is expected of each unknown that is not free: where it stands, its value, its standard uncertainty.
    fn expected(&self) -> Vec<(usize, f64, f64)> {
        let layout = &self.law.layout;
        let modes = (0..layout.modes).map(|m| {
            let (value, u) = if self.is_followed(m) { (1.0, WIDE) } else { (LOST, LOST) };
            (layout.inverse(m), value, u)
        });
        modes.chain((layout.held(0)..layout.len()).map(|i| (i, 0.0, 1.0))).collect()
    }

    /// `None` where it does not settle.
    pub fn solve(&self) -> Option<Solution> {
        let layout = self.law.layout;
        let mut x = vec![0.0; layout.len()];
        for (mode, (omega, inverse)) in self.start.iter().enumerate() {
            x[layout.omega(mode)] = *omega;
            x[layout.inverse(mode)] = *inverse;
        }
        let mut expected = self.expected();
        let x = self.settle(x, &expected)?;
        // How much holding anew does here, seen from these takes, and all again with it.
        let (jacobian, residuals) = self.rows(&x, &expected);
        let first_held = self.readings.len() + layout.modes;
        let held: Vec<(usize, usize)> = (0..layout.takes).map(|t| (first_held + t, layout.held(t))).collect();
        let holding = holding(&jacobian, &residuals, &held)?;
        for (_, _, u) in &mut expected[layout.modes..layout.modes + layout.takes] {
            *u = holding.times_expected;
        }
        let x = self.settle(x, &expected)?;
        let (jacobian, residuals) = self.rows(&x, &expected);
        let normal = (jacobian.transpose() * &jacobian).cholesky()?;
        let moved = normal.solve(&jacobian.transpose());
        let rows = (0..self.readings.len()).map(RowOf::Reading);
        let rows = rows.chain(expected.iter().map(|e| RowOf::Expected(e.0))).collect();
        // The wide rows only keep the problem solvable; they say nothing.
        let wide = expected.iter().filter(|e| e.2 == WIDE).count() as f64;
        Some(Solution {
            x,
            moved,
            rows,
            holding,
            chi_squared: residuals.norm_squared(),
            dof: (residuals.len() - layout.len()) as f64 - wide,
        })
    }

    fn rows(&self, x: &[f64], expected: &[(usize, f64, f64)]) -> (DMatrix<f64>, DVector<f64>) {
        let count = self.readings.len() + expected.len();
        let mut jacobian = DMatrix::zeros(count, x.len());
        let mut residuals = DVector::zeros(count);
        for (i, reading) in self.readings.iter().enumerate() {
            let row = self.law.row(x, reading);
            residuals[i] = row.residual;
            row.slopes.iter().for_each(|(column, slope)| jacobian[(i, *column)] += slope);
        }
        for (i, (column, value, u)) in expected.iter().enumerate() {
            residuals[self.readings.len() + i] = (x[*column] - value) / u;
            jacobian[(self.readings.len() + i, *column)] = 1.0 / u;
        }
        (jacobian, residuals)
    }

    /// Gauss and Newton's steps, each halved until it helps.
    fn settle(&self, mut x: Vec<f64>, expected: &[(usize, f64, f64)]) -> Option<Vec<f64>> {
        let (mut jacobian, mut residuals) = self.rows(&x, expected);
        for _ in 0..MOST_STEPS {
            let normal = (jacobian.transpose() * &jacobian).cholesky()?;
            let step = normal.solve(&(jacobian.transpose() * &residuals));
            let before = residuals.norm_squared();
            let mut length = 1.0;
            loop {
                let tried: Vec<f64> = x.iter().zip(step.iter()).map(|(x, s)| x - length * s).collect();
                let there = self.rows(&tried, expected);
                let after = there.1.norm_squared();
                if after <= before * (1.0 + 1e-9) + 1e-9 {
                    x = tried;
                    (jacobian, residuals) = there;
                    if before - after < SETTLED * (1.0 + after) {
                        return Some(x);
                    }
                    break;
                }
                length *= 0.5;
                if length < 1e-3 {
                    return after.is_finite().then_some(x);
                }
            }
        }
        Some(x)
    }
}
