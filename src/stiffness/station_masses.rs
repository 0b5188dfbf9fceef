//! Modal masses of all modes at a station together, from the shifts that stuck-on masses make.
//!
//! A single mode's shift is a straight line only for masses so light that the other modes do not feel them. Taken together
//! the modes obey one exact law: with a mass d stuck on, the part vibrates at the frequencies w at which
//! 1/d = w^2 H(w), H the receptance of the bare part at the station, a sum over its modes
//! H = sum 1/(M_n (w_n^2 - w^2)) - 1/(M_0 w^2) + R.
//! That is linear in every 1/M_n, in 1/M_0 (the rigid motion) and in R (the modes above), so it is solved by least squares.

use nalgebra::{DMatrix, DVector};

/// One mode seen with one mass stuck on: which bare mode it comes from, the mass (kg), its angular frequency (rad/s), and the
/// relative standard uncertainty of its shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shifted {
    pub mode: usize,
    pub added_kg: f64,
    pub omega: f64,
    pub relative_u: f64,
}

/// The rigid motion's share, 1/M_0, before the takes are looked at: between none and four times (a free bar's end) the
/// modes' own, so about their mean with as much doubt. The same for what lies above the band.
const RIGID_DOUBT: f64 = 1.5;

/// Modal mass (kg) of each bare mode that was followed, and the root mean square by which the shifts miss (relative).
///
/// `omegas` are all bare modes' angular frequencies: one that could not be followed still moves its neighbours, and is given
/// about their mass with as much doubt. `None` if there is no solution with positive masses.
pub(super) fn solve(omegas: &[f64], shifted: &[Shifted]) -> Option<(Vec<f64>, f64)> {
    let n = omegas.len();
    // In units of the first estimate of 1/M, so that all columns are of one size.
    let first: f64 = shifted.iter().map(|s| ((omegas[s.mode] / s.omega).powi(2) - 1.0) / s.added_kg).sum::<f64>()
        / shifted.len() as f64;
    let highest = omegas.iter().copied().fold(0.0, f64::max);
    let unfollowed: Vec<usize> = (0..n).filter(|m| !shifted.iter().any(|s| s.mode == *m)).collect();
    let rows = shifted.len() + unfollowed.len() + 2;
    let mut design = DMatrix::zeros(rows, n + 2);
    let mut target = DVector::zeros(rows);
    for (row, s) in shifted.iter().enumerate() {
        let squared = s.omega * s.omega;
        // 1/d is matched to within the uncertainty of the shift.
        let weight = s.added_kg / s.relative_u.max(1e-6);
        for (k, omega) in omegas.iter().enumerate() {
            design[(row, k)] = weight * first * squared / (omega * omega - squared);
        }
        design[(row, n)] = -weight * first;
        design[(row, n + 1)] = weight * first * squared / (highest * highest);
        target[row] = weight / s.added_kg;
    }
    design[(rows - 2, n)] = 1.0 / RIGID_DOUBT;
    target[rows - 2] = 0.5 / RIGID_DOUBT;
    design[(rows - 1, n + 1)] = 1.0 / RIGID_DOUBT;
    target[rows - 1] = 0.5 / RIGID_DOUBT;
    for (row, mode) in unfollowed.iter().enumerate() {
        design[(shifted.len() + row, *mode)] = 1.0;
        target[shifted.len() + row] = 1.0;
    }
    let solution = design.clone().svd(true, true).solve(&target, 1e-12).ok()?;
    let left = &target - &design * &solution;
    let missed: f64 = shifted.iter().enumerate().map(|(row, s)| (left[row] * s.relative_u.max(1e-6)).powi(2)).sum();
    let missed = (missed / shifted.len() as f64).sqrt();
    let masses: Vec<f64> = solution.iter().take(n).map(|inverse| 1.0 / (inverse * first)).collect();
    let followed = |m: usize| !unfollowed.contains(&m);
    (0..n).all(|m| !followed(m) || masses[m].is_finite() && masses[m] > 0.0).then_some((masses, missed))
}
