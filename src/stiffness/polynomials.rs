//! Orthonormal Legendre polynomials of one parity, and what a plate's energy needs of them.

use nalgebra::{DMatrix, DVector};

/// Derivative of orthonormal Legendre polynomials in themselves: p_i' = sum over k < i, i - k odd, of
/// sqrt((2i+1)(2k+1)) p_k, on -1..1.
pub(super) fn derivative(terms: usize) -> DMatrix<f64> {
    DMatrix::from_fn(terms, terms, |k, i| {
        if i > k && (i - k) % 2 == 1 { (((2 * i + 1) * (2 * k + 1)) as f64).sqrt() } else { 0.0 }
    })
}

/// The polynomials of one parity.
pub(super) fn parity_indices(terms: usize, odd: usize) -> Vec<usize> {
    (odd..terms).step_by(2).collect()
}

/// Integrals over the products of one parity, along one direction of length `side_m`.
pub(super) struct Side {
    /// <p'' p''>, <p p''>, <p' p'>, <p''' p'''>.
    pub(super) second: DMatrix<f64>,
    pub(super) mixed: DMatrix<f64>,
    pub(super) first: DMatrix<f64>,
    /// Coefficients of the first, second and third derivative: of the other parity, of this one, of the other.
    pub(super) slopes: [DMatrix<f64>; 3],
    /// Values of this parity's polynomials, and of the other's, at the upper end.
    pub(super) ends: [DVector<f64>; 2],
    pub(super) side_m: f64,
}

impl Side {
    pub(super) fn new(terms: usize, odd: usize, side_m: f64) -> Self {
        let d = derivative(terms) * (2.0 / side_m);
        let d2 = &d * &d;
        let d3 = &d2 * &d;
        let keep = parity_indices(terms, odd);
        let other = parity_indices(terms, 1 - odd);
        let to = |m: &DMatrix<f64>, rows: &[usize]| m.select_rows(rows).select_columns(keep.iter());
        let end = |kept: &[usize]| DVector::from_iterator(kept.len(), kept.iter().map(|n| (*n as f64 + 0.5).sqrt()));
        let slopes = [to(&d, &other), to(&d2, &keep), to(&d3, &other)];
        let ends = [end(&keep), end(&other)];
        let pick = |m: DMatrix<f64>| m.select_rows(keep.iter()).select_columns(keep.iter());
        Self {
            second: pick(d2.transpose() * &d2),
            mixed: pick(d2),
            first: pick(d.transpose() * &d),
            slopes,
            ends,
            side_m,
        }
    }

    pub(super) fn len(&self) -> usize {
        self.second.nrows()
    }
}
