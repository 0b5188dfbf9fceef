//! Symmetric banded matrices: Cholesky factors and the lowest modes of a pair, by subspace iteration.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use crate::lanes::dot;

/// The lower band of a symmetric matrix.
#[derive(Debug, Clone)]
pub(super) struct Banded {
    size: usize,
    /// Entries beside the diagonal.
    reach: usize,
    /// Row by row: entries (row, row - reach) to (row, row).
    rows: Vec<f64>,
}

impl Banded {
    pub(super) fn new(size: usize, reach: usize) -> Self {
        Self { size, reach, rows: vec![0.0; size * (reach + 1)] }
    }

    fn at(&self, row: usize, column: usize) -> usize {
        row * (self.reach + 1) + self.reach - (row - column)
    }

    /// Adds to an entry and its mirror image.
    pub(super) fn add(&mut self, i: usize, j: usize, value: f64) {
        if j <= i {
            let at = self.at(i, j);
            self.rows[at] += value;
        }
    }

    /// `self + factor other`.
    pub(super) fn plus(&self, factor: f64, other: &Self) -> Self {
        let rows = self.rows.iter().zip(&other.rows).map(|(a, b)| a + factor * b).collect();
        Self { rows, ..*self }
    }

    pub(super) fn times(&self, x: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; self.size];
        for row in 0..self.size {
            let first = row.saturating_sub(self.reach);
            let band = &self.rows[self.at(row, first)..=self.at(row, row)];
            let mut sum = 0.0;
            for (offset, value) in band.iter().enumerate() {
                let column = first + offset;
                sum += value * x[column];
                if column < row {
                    out[column] += value * x[row];
                }
            }
            out[row] += sum;
        }
        out
    }

    /// The lower Cholesky factor; `None` if the matrix is not positive definite.
    pub(super) fn cholesky(&self) -> Option<Self> {
        let mut factor = self.clone();
        for row in 0..self.size {
            let first = row.saturating_sub(self.reach);
            for column in first..=row {
                let start = first.max(column.saturating_sub(self.reach));
                let (a, b) = (factor.at(row, start), factor.at(column, start));
                let count = column - start;
                let sum: f64 =
                    factor.rows[a..a + count].iter().zip(&factor.rows[b..b + count]).map(|(x, y)| x * y).sum();
                let place = factor.at(row, column);
                let rest = factor.rows[place] - sum;
                factor.rows[place] = if column == row {
                    if rest.is_nan() || rest <= 0.0 {
                        return None;
                    }
                    rest.sqrt()
                } else {
                    rest / factor.rows[factor.at(column, column)]
                };
            }
        }
        Some(factor)
    }

    /// Solves with this Cholesky factor, in place.
    pub(super) fn solve(&self, x: &mut [f64]) {
        for row in 0..self.size {
            let first = row.saturating_sub(self.reach);
            let band = &self.rows[self.at(row, first)..self.at(row, row)];
            let sum: f64 = band.iter().zip(&x[first..row]).map(|(l, v)| l * v).sum();
            x[row] = (x[row] - sum) / self.rows[self.at(row, row)];
        }
        for row in (0..self.size).rev() {
            let first = row.saturating_sub(self.reach);
            x[row] /= self.rows[self.at(row, row)];
            let value = x[row];
            let band = &self.rows[self.at(row, first)..self.at(row, row)];
            for (entry, l) in x[first..row].iter_mut().zip(band) {
                *entry -= l * value;
            }
        }
    }
}

const MOST_ROUNDS: usize = 60;
const CONVERGED: f64 = 1e-9;

/// The lowest `count` pairs of stiffness x = omega^2 mass x, shapes of unit modal mass; `shift` (rad^2/s^2, above 0) keeps a free
/// body's stiffness solvable. `None` if it cannot be factored or does not converge.
///
/// Subspace iteration (Bathe, Finite Element Procedures): it finds modes of equal frequency, of which rings have pairs.
pub(super) fn lowest_modes(
    stiffness: &Banded,
    mass: &Banded,
    count: usize,
    shift: f64,
) -> Option<Vec<(f64, Vec<f64>)>> {
    let size = stiffness.size;
    let width = (2 * count).min(count + 8).min(size);
    let factor = stiffness.plus(shift, mass).cholesky()?;
    // Any start does that is poor in no mode: fixed pseudo-random numbers.
    let mut state = 0x2545_f491_4f6c_dd1du64;
    let mut random = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    let mut basis: Vec<Vec<f64>> = (0..width).map(|_| (0..size).map(|_| random()).collect()).collect();
    let mut last = vec![f64::INFINITY; width];
    for _ in 0..MOST_ROUNDS {
        let images: Vec<Vec<f64>> = basis.iter().map(|v| mass.times(v)).collect();
        let solved: Vec<Vec<f64>> = images
            .iter()
            .map(|v| {
                let mut x = v.clone();
                factor.solve(&mut x);
                x
            })
            .collect();
        // (K + shift M) X = M B, so the projected stiffness is X' M B.
        let heavy: Vec<Vec<f64>> = solved.iter().map(|v| mass.times(v)).collect();
        let project = |a: &[Vec<f64>], b: &[Vec<f64>]| DMatrix::from_fn(width, width, |i, j| dot(&a[i], &b[j]));
        let (k, m) = (project(&solved, &images), project(&solved, &heavy));
        let lower = (0.5 * (&m + m.transpose())).cholesky()?;
        let inverse = lower.l().try_inverse()?;
        let reduced = &inverse * (0.5 * (&k + k.transpose())) * inverse.transpose();
        let eigen = SymmetricEigen::new(reduced);
        let mut order: Vec<usize> = (0..width).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
        let turn = inverse.transpose() * &eigen.eigenvectors;
        basis = order
            .iter()
            .map(|&column| {
                let weights: DVector<f64> = turn.column(column).into_owned();
                let mut out = vec![0.0; size];
                for (vector, weight) in solved.iter().zip(weights.iter()) {
                    out.iter_mut().zip(vector).for_each(|(o, v)| *o += weight * v);
                }
                out
            })
            .collect();
        let values: Vec<f64> = order.iter().map(|i| eigen.eigenvalues[*i]).collect();
        let still = values.iter().zip(&last).take(count).all(|(a, b)| (a - b).abs() < CONVERGED * a.abs());
        last = values;
        if still {
            return Some(last.iter().take(count).zip(basis).map(|(v, x)| (v - shift, x)).collect());
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A chain of n equal masses and springs, ends free: omega_k = 2 sin(k pi/(2 n)).
    #[test]
    fn a_chain_has_its_frequencies() {
        let n = 40;
        let (mut k, mut m) = (Banded::new(n, 1), Banded::new(n, 1));
        for i in 0..n {
            m.add(i, i, 1.0);
            if i > 0 {
                k.add(i, i, 1.0);
                k.add(i - 1, i - 1, 1.0);
                k.add(i, i - 1, -1.0);
            }
        }
        let modes = lowest_modes(&k, &m, 6, 1e-3).expect("it converges");
        assert_eq!(modes.len(), 6);
        for (index, (value, shape)) in modes.iter().enumerate() {
            let expected = (2.0 * (index as f64 * std::f64::consts::PI / (2 * n) as f64).sin()).powi(2);
            assert!((value - expected).abs() < 1e-9, "{index}: {value} {expected}");
            assert!((dot(shape, shape) - 1.0).abs() < 1e-9);
        }
        assert!(k.plus(-1.0, &m).cholesky().is_none());
    }
}
