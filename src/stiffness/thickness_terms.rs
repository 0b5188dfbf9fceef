//! What a plate's thickness takes from a mode's stiffness: shear through the thickness, and what free edges lose in twist.
//!
//! First order in the square of the thickness, from the thin plate's own shape (Reissner and Mindlin's theory; derived here, and
//! checked against their equations solved by themselves, `tests/outside/fem/plates_thick.py`):
//!
//! omega^2 falls by [int Q_x^2/S_x + Q_y^2/S_y dA + edges at +-b/2: int (M^2 l_y/D_k - 2 n Q_x M/S_x) dx + edges at +-a/2: int
//! (M^2 l_x/D_k - 2 n Q_y M/S_y) dy]/(int rho h w^2 dA),
//! Q_x = D_x w_xxx + (D_1 + 2 D_k) w_xyy, Q_y = D_y w_yyy + (D_1 + 2 D_k) w_xxy, M = 2 D_k w_xy, S = kappa G h, kappa 5/6,
//! l_y = sqrt(D_k/S_x), l_x = sqrt(D_k/S_y), n the outward sign. The edges' first term is Saint-Venant's loss of a strip in torsion.

use nalgebra::DMatrix;

use super::polynomials::Side;

/// The integrals of one mode, over the plate's mean w^2 and its mass per area.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct ThicknessTerms {
    /// <w_xxx^2>, <w_xxx w_xyy>, <w_xyy^2>; and the same with x and y exchanged.
    along: [f64; 3],
    across: [f64; 3],
    /// At the edges along the length: w_xy^2, w_xxx w_xy, w_xyy w_xy; at the ends: w_xy^2, w_yyy w_xy, w_xxy w_xy.
    edges: [f64; 3],
    ends: [f64; 3],
}

/// Of the shear modulus in the plane: the one through the thickness for bending along the grain (it lies above or below as the
/// blank is sawn), and for bending across it (rolling shear; Wood Handbook, table of elastic ratios, hardwoods G_RT/G_LR 0.15 to
/// 0.42, from memory).
const THROUGH: (f64, f64) = (1.0, 0.25);
const KAPPA: f64 = 5.0 / 6.0;

impl ThicknessTerms {
    /// Of a shape (coefficients, rows along the length) of one parity in each direction.
    pub(super) fn new(shape: &DMatrix<f64>, along: &Side, width: &Side, per_area: f64) -> Self {
        let ([x1, x2, x3], [y1, y2, y3]) = (&along.slopes, &width.slopes);
        let (xxx, yyy) = (x3 * shape, shape * y3.transpose());
        let (xyy, xxy) = (x1 * shape * y2.transpose(), x2 * shape * y1.transpose());
        let xy = x1 * shape * y1.transpose();
        let squares = |a: &DMatrix<f64>, b: &DMatrix<f64>| [a.dot(a), a.dot(b), b.dot(b)].map(|v| v / per_area);
        // Two edges, each over the plate's area: 2/side for one in units where the other direction is 2 long.
        let by_width = 4.0 / width.side_m / per_area;
        let by_length = 4.0 / along.side_m / per_area;
        let twist = &xy * &width.ends[1];
        let at_edge = [twist.clone(), &xxx * &width.ends[0], &xyy * &width.ends[0]].map(|v| by_width * v.dot(&twist));
        let twist = xy.tr_mul(&along.ends[1]);
        let at_end =
            [twist.clone(), yyy.tr_mul(&along.ends[0]), xxy.tr_mul(&along.ends[0])].map(|v| by_length * v.dot(&twist));
        Self { along: squares(&xxx, &xyy), across: squares(&yyy, &xxy), edges: at_edge, ends: at_end }
    }

    /// What omega^2 falls by (rad^2/s^2), for stiffnesses D_x, D_y, D_1, D_k (N m) and the shear modulus in the plane (Pa).
    pub(super) fn shear(&self, stiffnesses: &[f64; 4], shear_pa: f64, thickness_m: f64) -> f64 {
        let [d_x, d_y, d_1, d_k] = *stiffnesses;
        let coupled = d_1 + 2.0 * d_k;
        let one = |bending: f64, inside: &[f64; 3], edge: &[f64; 3], through: f64| {
            let stiff = KAPPA * through * shear_pa * thickness_m;
            let forces =
                bending * bending * inside[0] + 2.0 * bending * coupled * inside[1] + coupled * coupled * inside[2];
            let moment = 2.0 * d_k;
            let crossed = moment * (bending * edge[1] + coupled * edge[2]);
            forces / stiff + moment * moment * edge[0] * (d_k / stiff).sqrt() / d_k - 2.0 * crossed / stiff
        };
        one(d_x, &self.along, &self.edges, THROUGH.0) + one(d_y, &self.across, &self.ends, THROUGH.1)
    }
}

#[cfg(test)]
mod tests {
    use super::super::plate::{Constants, Size, bending_stiffnesses, free_plate_modes};
    use super::*;

    /// A long strip in twist: the free edges take 0.630 h/b of its stiffness (Saint-Venant's torsion constant b h^3/3 (1 - 0.630 h/b),
    /// the standard textbooks of elasticity); Reissner and Mindlin's edge makes that 2/sqrt(10) = 0.632.
    #[test]
    fn free_edges_agree_with_saint_venant() {
        let (width_m, thickness_m) = (0.03, 2e-3);
        let constants = Constants { along_pa: 12e9, across_pa: 1.2e9, shear_pa: 1e9, poisson: 0.4 };
        let size = Size { length_m: 3.0, width_m, thickness_m, mass_kg: 0.1 };
        let stiffnesses = bending_stiffnesses(&constants, thickness_m);
        let modes = free_plate_modes(&stiffnesses, &size, (16, 6), 60.0);
        let twist = modes.iter().find(|m| (m.across_length, m.across_width) == (1, 1)).expect("the first twist");
        let (_, shear) = twist.thickness_terms(&constants, &stiffnesses, thickness_m);
        assert!((shear / (thickness_m / width_m) / 0.630 - 1.0).abs() < 0.02, "{}", shear / (thickness_m / width_m));
    }

    /// Standing waves sin(px) sin(qy) far from any edge, isotropic in its plane: the first term of Mindlin's equation, omega^2 less by
    /// D^2 k^4/(rho h) (p^2/S_x + q^2/S_y), k^2 = p^2 + q^2.
    #[test]
    fn far_from_edges_it_is_mindlins_first_term() {
        let (p, q, per_area) = (20.0f64, 35.0f64, 1.4);
        let (p2, q2) = (p * p, q * q);
        let terms = ThicknessTerms {
            along: [p2 * p2 * p2, p2 * p2 * q2, p2 * q2 * q2].map(|v| v / per_area),
            across: [q2 * q2 * q2, q2 * q2 * p2, q2 * p2 * p2].map(|v| v / per_area),
            ..Default::default()
        };
        let (thickness_m, shear_pa) = (2e-3, 1e9);
        let d = 9.0;
        let got = terms.shear(&[d, d, 0.3 * d, 0.35 * d], shear_pa, thickness_m);
        let s = 5.0 / 6.0 * shear_pa * thickness_m;
        let expected = d * d * (p2 + q2).powi(2) * (p2 / s + q2 / (0.25 * s)) / per_area;
        assert!((got / expected - 1.0).abs() < 1e-12, "{got} {expected}");
    }

    /// The edges' terms as they stand at the top of this file, with numbers.
    #[test]
    fn edges_by_hand() {
        let terms = ThicknessTerms { edges: [3.0, 5.0, 7.0], ends: [2.0, 11.0, 13.0], ..Default::default() };
        let (d_x, d_y, d_1, d_k) = (10.0, 2.0, 0.5, 1.5);
        // S_x = 5/6 1e6 1.2e-3 = 1000 N/m, S_y = 250 N/m; M = 2 D_k w_xy.
        let got = terms.shear(&[d_x, d_y, d_1, d_k], 1e6, 1.2e-3);
        let edges = 9.0 * 3.0 * (1.5f64 / 1000.0).sqrt() / 1.5 - 2.0 * 3.0 * (10.0 * 5.0 + 3.5 * 7.0) / 1000.0;
        let ends = 9.0 * 2.0 * (1.5f64 / 250.0).sqrt() / 1.5 - 2.0 * 3.0 * (2.0 * 11.0 + 3.5 * 13.0) / 250.0;
        assert!((got - edges - ends).abs() < 1e-12, "{got} {}", edges + ends);
    }
}
