//! Symmetric banded matrices: Cholesky factors and the lowest modes of a pair, by block Lanczos.

use nalgebra::{DMatrix, SymmetricEigen};

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

    pub(super) fn size(&self) -> usize {
        self.size
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

/// Vectors that are made at once: a free body has three motions of its own, all at frequency 0, and rings have pairs.
const BLOCK: usize = 4;
/// The space may grow to this many times the number of modes.
const MOST: usize = 20;
/// Residual of a shape, relative; the square root of what its frequency may be wrong by.
const CONVERGED: f64 = 1e-6;

/// The lowest `count` pairs of stiffness x = omega^2 mass x, shapes of unit modal mass; `shift` (rad^2/s^2, above 0) keeps a free
/// body's stiffness solvable. `None` if it cannot be factored or does not converge.
///
/// Block Lanczos on (stiffness + shift mass)^-1 mass with all vectors kept orthogonal (Grimes, Lewis and Simon 1994, from memory;
/// checked by a chain's exact frequencies): it finds modes of equal frequency, of which rings have pairs.
pub(super) fn lowest_modes(
    stiffness: &Banded,
    mass: &Banded,
    count: usize,
    shift: f64,
) -> Option<Vec<(f64, Vec<f64>)>> {
    let size = stiffness.size;
    let factor = stiffness.plus(shift, mass).cholesky()?;
    // Any start does that is poor in no mode: fixed pseudo-random numbers.
    let mut state = 0x2545_f491_4f6c_dd1du64;
    let mut random = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    let most = (MOST * count).min(size);
    let mut space = Space { mass, vectors: Vec::new(), images: Vec::new() };
    while space.vectors.len() < BLOCK.min(size) {
        let start = (0..size).map(|_| random()).collect();
        space.join(start);
    }
    // Columns of the projected operator.
    let mut columns: Vec<Vec<f64>> = Vec::new();
    let mut wanted = (2 * count).min(most);
    loop {
        let (done, known) = (columns.len(), space.vectors.len());
        for at in done..known {
            let mut next = space.images[at].clone();
            factor.solve(&mut next);
            columns.push(space.join(next));
        }
        let dim = columns.len();
        let grown = space.vectors.len() > dim;
        if dim < wanted && grown {
            continue;
        }
        let entry = |i: usize, j: usize| columns[j].get(i).copied().unwrap_or(0.0);
        let eigen = SymmetricEigen::new(DMatrix::from_fn(dim, dim, |i, j| 0.5 * (entry(i, j) + entry(j, i))));
        // The lowest modes have the largest values.
        let mut order: Vec<usize> = (0..dim).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
        order.truncate(count);
        let left = |number: usize| -> f64 {
            let shape = eigen.eigenvectors.column(number);
            let beyond = |row: usize| (0..dim).map(|j| entry(row, j) * shape[j]).sum::<f64>().powi(2);
            (dim..space.vectors.len()).map(beyond).sum::<f64>().sqrt() / eigen.eigenvalues[number].abs()
        };
        if order.iter().all(|number| left(*number) < CONVERGED) {
            let pair = |number: &usize| {
                let mut shape = vec![0.0; size];
                for (vector, weight) in space.vectors.iter().zip(eigen.eigenvectors.column(*number).iter()) {
                    shape.iter_mut().zip(vector).for_each(|(s, v)| *s += weight * v);
                }
                (1.0 / eigen.eigenvalues[*number] - shift, shape)
            };
            return Some(order.iter().map(pair).collect());
        }
        if dim >= most || !grown {
            return None;
        }
        wanted = (dim + dim / 4).min(most);
    }
}

/// Vectors that are orthonormal by the mass, each with the mass times it.
struct Space<'a> {
    mass: &'a Banded,
    vectors: Vec<Vec<f64>>,
    images: Vec<Vec<f64>>,
}

impl Space<'_> {
    /// Takes in what of a vector lies outside: shares along all vectors, the new one last, if it adds any.
    fn join(&mut self, mut vector: Vec<f64>) -> Vec<f64> {
        let mut shares = vec![0.0; self.vectors.len()];
        let image = self.mass.times(&vector);
        let whole = dot(&vector, &image).sqrt();
        // Once more for what rounding left.
        for _ in 0..2 {
            for ((share, own), image) in shares.iter_mut().zip(&self.vectors).zip(&self.images) {
                let part = dot(image, &vector);
                *share += part;
                vector.iter_mut().zip(own).for_each(|(v, o)| *v -= part * o);
            }
        }
        let image = self.mass.times(&vector);
        let rest = dot(&vector, &image).sqrt();
        if rest > 1e-12 * whole {
            shares.push(rest);
            self.vectors.push(vector.iter().map(|v| v / rest).collect());
            self.images.push(image.iter().map(|v| v / rest).collect());
        }
        shares
    }
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
