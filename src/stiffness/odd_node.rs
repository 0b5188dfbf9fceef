//! A blank's moduli, Poisson's ratio and bow fitted together at one angle of the grain.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::alignment::align;
use super::numbering::{DEVIATION, SHEAR_SCATTER, after};
use super::odd_plate::{OddMode, OddPlate};
use super::plate::{Constants, Size};
use super::tone::Tone;
use super::turned::{bending, same_compliance};
use super::wood::{ACROSS, POISSON, SHEAR};

/// Solutions at each angle; and what a tone without a mode costs (in squares of deviations).
const ROUNDS: usize = 2;
const UNMATCHED: f64 = 16.0;
/// ln E_L, ln E_C, ln G, Poisson's ratio, and the square of the curvature over that of [`CURVED`].
pub(super) const UNKNOWNS: usize = 5;
/// A curvature (1/m) of some 20 mm over 760 mm.
pub(super) const CURVED: f64 = 8.0 * 0.02 / (0.76 * 0.76);

/// What is known of the square of the curvature before any reading, in that of [`CURVED`]: hardly anything (40 mm over 760 mm has 4).
const WIDE: f64 = 6.0;
/// The fit at one angle, straight about the constants where the plate was solved.
pub(super) struct Node {
    pub(super) grain_rad: f64,
    pub(super) constants: Constants,
    pub(super) curvature_squared: f64,
    /// A row for each tone with a mode: derivatives of ln f, what is missing, relative u and the scatter of the shear term.
    rows: Vec<([f64; UNKNOWNS], f64, f64)>,
    /// Relative change of the first crosswise mode's omega^2 by the square of the curvature.
    pub(super) by_curvature_squared: f64,
    pub(super) unmatched: usize,
}

/// What a node's equations give with some deviation of the wood from the plate.
pub(super) struct Solved {
    pub(super) step: DVector<f64>,
    pub(super) covariance: DMatrix<f64>,
    pub(super) misfit: f64,
    /// Root mean square of the tones' misfit over what was expected.
    pub(super) ratio: f64,
}

pub(super) struct Problem<'a> {
    pub(super) size: &'a Size,
    pub(super) tones: &'a [Tone],
    pub(super) plate: &'a OddPlate,
    /// Of each product of bars: what thickness takes, and shear's part of it.
    pub(super) thickness: &'a [((usize, usize), f64, f64)],
    pub(super) highest: f64,
}

impl Problem<'_> {
    pub(super) fn node(
        &self,
        (from_rad, from, curvature_squared): (f64, Constants, f64),
        grain_rad: f64,
    ) -> Option<Node> {
        let mut constants = same_compliance(&from, from_rad, grain_rad)?;
        let mut curvature_squared = curvature_squared;
        let mut node = self.straight(constants, grain_rad, curvature_squared)?;
        for _ in 1..ROUNDS {
            let solved = node.solve(DEVIATION)?;
            constants = after(&constants, &solved.step, 0.08);
            let most = 4.0 * CURVED * CURVED;
            curvature_squared = (curvature_squared + solved.step[4] * CURVED * CURVED).clamp(0.0, most);
            node = self.straight(constants, grain_rad, curvature_squared)?;
        }
        Some(node)
    }

    /// The plate of some constants beside the tones.
    fn straight(&self, constants: Constants, grain_rad: f64, curvature_squared: f64) -> Option<Node> {
        let modes = self.plate.modes(&constants, grain_rad, curvature_squared, self.highest)?;
        let taken = |mode: &OddMode| {
            let (mut weight, mut all, mut shear) = (0.0, 0.0, 0.0);
            for (number, share) in &mode.shares {
                if let Some((_, of_all, of_shear)) = self.thickness.iter().find(|t| t.0 == *number) {
                    weight += share;
                    all += share * of_all;
                    shear += share * of_shear;
                }
            }
            if weight > 0.0 { (all / weight, shear / weight) } else { (0.0, 0.0) }
        };
        let takes: Vec<(f64, f64)> = modes.iter().map(taken).collect();
        let mut order: Vec<(f64, usize)> = modes
            .iter()
            .zip(&takes)
            .enumerate()
            .map(|(k, (m, t))| (0.5 * (m.omega_squared / (1.0 + t.0)).ln() - TAU.ln(), k))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let lowest = (0.97 * self.tones[0].frequency_hz).ln();
        order.retain(|(log, _)| *log > lowest);
        if order.is_empty() {
            return None;
        }
        let measured: Vec<f64> = self.tones.iter().map(|t| t.frequency_hz.ln()).collect();
        let spread: Vec<f64> = self.tones.iter().map(|t| t.relative_u().hypot(DEVIATION)).collect();
        let expected: Vec<f64> = order.iter().map(|o| o.0).collect();
        let matches = align(&measured, &spread, &expected).matches;
        let derivatives = derivatives(&constants, grain_rad, self.size.thickness_m)?;
        let mut rows = Vec::new();
        for (i, at) in matches.iter().enumerate() {
            let Some(at) = at else { continue };
            let (log, k) = order[*at];
            let mode = &modes[k];
            let by =
                |d: &[f64; 6]| d.iter().zip(mode.slopes).map(|(d, s)| d * s).sum::<f64>() * 0.5 / mode.omega_squared;
            let mut row = [0.0; UNKNOWNS];
            for (slot, d) in row.iter_mut().zip(&derivatives) {
                *slot = by(d);
            }
            row[4] = 0.5 * mode.by_curvature_squared / mode.omega_squared * CURVED * CURVED;
            rows.push((row, measured[i] - log, self.tones[i].relative_u().hypot(0.5 * SHEAR_SCATTER * takes[k].1)));
        }
        let unmatched = self.tones.len() - rows.len();
        let first = |m: &&OddMode| m.shares.iter().any(|(number, share)| number.1 == 2 && *share > 0.5);
        let by_curvature_squared = modes.iter().find(first).map_or(0.0, |m| m.by_curvature_squared / m.omega_squared);
        let whole = Node { grain_rad, constants, curvature_squared, rows, by_curvature_squared, unmatched };
        (whole.rows.len() > UNKNOWNS).then_some(whole)
    }
}

/// Of the six stiffnesses by ln E_L, ln E_C, ln G and Poisson's ratio.
fn derivatives(constants: &Constants, grain_rad: f64, thickness_m: f64) -> Option<[[f64; 6]; 4]> {
    let mut all = [[0.0; 6]; 4];
    for (p, derivative) in all.iter_mut().enumerate() {
        let moved = |by: f64| {
            let mut step = DVector::zeros(4);
            step[p] = by;
            bending(&after(constants, &step, 1.0), grain_rad, thickness_m)
        };
        let (up, down) = (moved(1e-4)?, moved(-1e-4)?);
        for (slot, (u, d)) in derivative.iter_mut().zip(up.iter().zip(down)) {
            *slot = (u - d) / 2e-4;
        }
    }
    Some(all)
}

impl Node {
    pub(super) fn solve(&self, deviation: f64) -> Option<Solved> {
        let n = self.rows.len();
        let mut design = DMatrix::zeros(n + 4, UNKNOWNS);
        let mut target = DVector::zeros(n + 4);
        for (row, (slopes, missing, own)) in self.rows.iter().enumerate() {
            let sigma = own.hypot(deviation);
            slopes.iter().enumerate().for_each(|(p, s)| design[(row, p)] = s / sigma);
            target[row] = missing / sigma;
        }
        let c = &self.constants;
        for (row, p, (median, spread), now) in
            [(n, 1, ACROSS, c.across_pa / c.along_pa), (n + 1, 2, SHEAR, c.shear_pa / c.along_pa)]
        {
            design[(row, p)] = 1.0 / spread;
            design[(row, 0)] = -1.0 / spread;
            target[row] = (median / now).ln() / spread;
        }
        design[(n + 2, 3)] = 1.0 / POISSON.1;
        target[n + 2] = (POISSON.0 - c.poisson) / POISSON.1;
        // Hardly anything beforehand of the bow, so that the equations can be solved: what is known of it comes in later.
        design[(n + 3, 4)] = 1.0 / WIDE;
        target[n + 3] = -self.curvature_squared / CURVED / CURVED / WIDE;
        let covariance = (design.transpose() * &design).try_inverse()?;
        let step = &covariance * design.transpose() * &target;
        let left = &target - &design * &step;
        let tones = left.rows(0, n).norm_squared();
        Some(Solved {
            ratio: (tones / (n as f64 - 4.0).max(1.0)).sqrt(),
            misfit: left.norm_squared() + UNMATCHED * self.unmatched as f64,
            step,
            covariance,
        })
    }
}
