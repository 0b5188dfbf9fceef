//! Stiffness of wood whose grain is at an angle to the blank's length.

use nalgebra::Matrix3;

use super::plate::Constants;

/// Compliance (1/Pa) in the blank's axes, of strains along, across and in shear: S' = T^T S T with T the stresses' transformation
/// (Lekhnitskii; any textbook of composites, from memory, checked against another program in `tests/outside/fem/odd_blanks.py`).
pub(super) fn compliance(constants: &Constants, grain_rad: f64) -> Matrix3<f64> {
    let (s, c) = grain_rad.sin_cos();
    let coupled = -constants.poisson / constants.along_pa;
    let own = Matrix3::new(
        1.0 / constants.along_pa,
        coupled,
        0.0,
        coupled,
        1.0 / constants.across_pa,
        0.0,
        0.0,
        0.0,
        1.0 / constants.shear_pa,
    );
    let turn = stress_turn(s, c);
    turn.transpose() * own * turn
}

fn stress_turn(s: f64, c: f64) -> Matrix3<f64> {
    Matrix3::new(c * c, s * s, 2.0 * c * s, s * s, c * c, -2.0 * c * s, -c * s, c * s, c * c - s * s)
}

/// E of the blank along its length, 1/S11' (Pa): what bends as a strip, whatever the grain's angle.
pub(super) fn along_length(constants: &Constants, grain_rad: f64) -> f64 {
    1.0 / compliance(constants, grain_rad)[(0, 0)]
}

/// Bending stiffnesses per width (N m) in the blank's axes: D11, D22, D12, D66, D16, D26. `None` for constants of no wood.
pub(super) fn bending(constants: &Constants, grain_rad: f64, thickness_m: f64) -> Option<[f64; 6]> {
    let d = compliance(constants, grain_rad).try_inverse()? * (thickness_m.powi(3) / 12.0);
    Some([d[(0, 0)], d[(1, 1)], d[(0, 1)], d[(2, 2)], d[(0, 2)], d[(1, 2)]])
}

/// The constants that give a blank the same compliance along, across and in shear at another angle of the grain: where a fit at that
/// angle begins. `None` if no wood does.
pub(super) fn same_compliance(constants: &Constants, from_rad: f64, to_rad: f64) -> Option<Constants> {
    let was = compliance(constants, from_rad);
    let nu = constants.poisson;
    // Each diagonal entry is linear in 1/E_L, 1/E_C and 1/G.
    let column = |own: Matrix3<f64>| {
        let turn = stress_turn(to_rad.sin(), to_rad.cos());
        let new = turn.transpose() * own * turn;
        [new[(0, 0)], new[(1, 1)], new[(2, 2)]]
    };
    let along = column(Matrix3::new(1.0, -nu, 0.0, -nu, 0.0, 0.0, 0.0, 0.0, 0.0));
    let across = column(Matrix3::new(0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0));
    let shear = column(Matrix3::new(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0));
    let system = Matrix3::from_fn(|row, at| [along, across, shear][at][row]);
    let own = system.try_inverse()? * nalgebra::Vector3::new(was[(0, 0)], was[(1, 1)], was[(2, 2)]);
    own.iter().all(|v| *v > 0.0).then(|| Constants {
        along_pa: 1.0 / own[0],
        across_pa: 1.0 / own[1],
        shear_pa: 1.0 / own[2],
        poisson: nu,
    })
}

#[cfg(test)]
mod tests {
    use super::super::plate::bending_stiffnesses;
    use super::*;

    const WOOD: Constants = Constants { along_pa: 12e9, across_pa: 1e9, shear_pa: 0.9e9, poisson: 0.4 };

    /// cos^4/E_L + sin^4/E_C + sin^2 cos^2 (1/G - 2 nu/E_L) by hand at 10 degrees: 10.58/12 less, E 8.67 GPa.
    #[test]
    fn a_strip_at_an_angle_by_hand() {
        let (s, c) = 10f64.to_radians().sin_cos();
        let by_hand = c.powi(4) / 12e9 + s.powi(4) / 1e9 + s * s * c * c * (1.0 / 0.9e9 - 0.8 / 12e9);
        assert!((along_length(&WOOD, 10f64.to_radians()) * by_hand - 1.0).abs() < 1e-12);
        let [d11, d22, d12, d66, d16, d26] = bending(&WOOD, 0.0, 2e-3).expect("wood");
        for (got, want) in [d11, d22, d12, d66].into_iter().zip(bending_stiffnesses(&WOOD, 2e-3)) {
            assert!((got / want - 1.0).abs() < 1e-12, "{got} {want}");
        }
        assert!(d16.abs() < 1e-12 * d11 && d26.abs() < 1e-12 * d11);
        let again = same_compliance(&WOOD, 0.0, 0.1).and_then(|w| same_compliance(&w, 0.1, 0.0)).expect("wood");
        assert!((again.along_pa / 12e9 - 1.0).abs() < 1e-9 && (again.shear_pa / 0.9e9 - 1.0).abs() < 1e-9);
    }
}
