//! The modes of a flat blank of wood: a thin plate's, less what thickness and free edges take.

use std::f64::consts::{PI, TAU};

use super::plate::{Constants, PlateMode, Size, bending_stiffnesses, free_plate_modes};

/// A blank of some constants: its stiffnesses (free edges allowed for), its modes, and their frequencies (Hz).
pub(super) struct BlankModes {
    pub stiffnesses: [f64; 4],
    pub modes: Vec<PlateMode>,
    pub hz: Vec<f64>,
}

impl BlankModes {
    /// All modes up to a frequency, and somewhat above.
    pub(super) fn new(size: &Size, constants: &Constants, below_hz: f64) -> Self {
        let mut stiffnesses = bending_stiffnesses(constants, size.thickness_m);
        stiffnesses[3] *= edge_factor(size);
        let modes = free_plate_modes(&stiffnesses, size, terms(size, constants, below_hz), 1.05 * below_hz);
        let hz = modes.iter().map(|m| m.frequency_hz(constants, &stiffnesses, size.thickness_m)).collect();
        Self { stiffnesses, modes, hz }
    }
}

/// Polynomials along length and width that describe all modes up to a frequency.
fn terms(size: &Size, constants: &Constants, below_hz: f64) -> (usize, usize) {
    let stiffness = bending_stiffnesses(constants, size.thickness_m);
    let per_area = size.mass_kg / (size.length_m * size.width_m);
    let lines = |d: f64, side: f64| (TAU * below_hz * (per_area / d).sqrt()).sqrt() * side / PI;
    let along = lines(stiffness[0], size.length_m);
    // The twist family crosses the band with more lines than bending does.
    let twist = 2.0 * below_hz * size.length_m * size.width_m
        / (2.0
            * size.thickness_m
            * (constants.shear_pa * size.length_m * size.width_m * size.thickness_m / size.mass_kg).sqrt());
    let wide = lines(stiffness[1], size.width_m);
    let count = |lines: f64| lines.ceil().clamp(2.0, 40.0) as usize;
    (count(along.max(twist.min(1.3 * along))) + 8, count(wide) + 5)
}

/// What the free edges take from the twisting stiffness: a strip's torsion constant is b h^3/3 (1 - 0.63 h/b) (Saint-Venant;
/// in the standard textbooks of elasticity), and likewise for the other pair of edges.
pub(super) fn edge_factor(size: &Size) -> f64 {
    1.0 - 0.63 * size.thickness_m * (1.0 / size.width_m + 1.0 / size.length_m)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Saint-Venant's series for a rectangular bar, b h^3/3 (1 - 192/pi^5 (h/b) sum tanh((2k+1) pi b/(2h))/(2k+1)^5)
    /// (Timoshenko and Goodier, Theory of Elasticity, from memory); a long strip, whose ends do not matter.
    #[test]
    fn free_edges_agree_with_saint_venant() {
        for slenderness in [10.0, 53.0] {
            let size = Size { length_m: 1e6, width_m: 0.12, thickness_m: 0.12 / slenderness, mass_kg: 0.1 };
            let sum: f64 =
                (0..20).map(|k| f64::from(2 * k + 1)).map(|n| (n * PI * slenderness / 2.0).tanh() / n.powi(5)).sum();
            let exact = 1.0 - 192.0 / PI.powi(5) / slenderness * sum;
            // 0.63 is 0.6302 rounded.
            assert!((edge_factor(&size) - exact).abs() < 3e-4 / slenderness, "{slenderness}");
        }
    }
}
