//! Classical lamination theory: plies glued face to face, about the laminate's true neutral axis.
//!
//! Jones, Mechanics of Composite Materials; Kaw, Mechanics of Composite Materials (2nd ed.), chapter 4.

use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// One layer, in SI units: a wood ply, a glue line or a fibre layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    pub thickness_m: f64,
    pub along_pa: f64,
    pub across_pa: f64,
    pub shear_pa: f64,
    /// Contraction across per strain along.
    pub poisson: f64,
    pub density_kg_m3: f64,
    /// Grain to the length of the part (rad).
    pub angle_rad: f64,
    /// Loss factors along, across and in shear.
    pub loss: [f64; 3],
}

/// What a laminate is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Laminate {
    /// Stretching, coupling and bending stiffness about the middle plane (N/m, N, N m).
    pub a: Matrix3<f64>,
    pub b: Matrix3<f64>,
    pub d: Matrix3<f64>,
    /// Bending stiffness of a strip, per width (N m), along and across: 1/d11 and 1/d22 of the inverted stiffness.
    pub strip_along: f64,
    pub strip_across: f64,
    pub mass_per_area: f64,
    /// Loss factor of bending along, by strain energy.
    pub loss_along: f64,
}

/// Q-bar: stress over strain of a layer in the part's axes.
pub fn stiffness_matrix(layer: &Layer) -> Matrix3<f64> {
    let transform = strain_transform(layer.angle_rad);
    transform.transpose() * own_stiffness(layer) * transform
}

/// The same in the layer's own axes.
fn own_stiffness(layer: &Layer) -> Matrix3<f64> {
    let nu_back = layer.poisson * layer.across_pa / layer.along_pa;
    let beside = 1.0 - layer.poisson * nu_back;
    let coupled = layer.poisson * layer.across_pa / beside;
    Matrix3::new(
        layer.along_pa / beside,
        coupled,
        0.0,
        coupled,
        layer.across_pa / beside,
        0.0,
        0.0,
        0.0,
        layer.shear_pa,
    )
}

/// Engineering strains in the part's axes to those in the layer's.
fn strain_transform(angle: f64) -> Matrix3<f64> {
    let (s, c) = angle.sin_cos();
    Matrix3::new(c * c, s * s, s * c, s * s, c * c, -s * c, -2.0 * s * c, 2.0 * s * c, c * c - s * s)
}

/// Glues layers together, the first outermost. `None` without a layer, or with one that has no thickness or stiffness.
pub fn laminate(layers: &[Layer]) -> Option<Laminate> {
    let sound = |l: &Layer| {
        let positive = [l.thickness_m, l.along_pa, l.across_pa, l.shear_pa, l.density_kg_m3];
        positive.iter().all(|v| v.is_finite() && *v > 0.0)
            && l.angle_rad.is_finite()
            && l.poisson.powi(2) * l.across_pa < l.along_pa
    };
    if layers.is_empty() || !layers.iter().all(sound) {
        return None;
    }
    let total: f64 = layers.iter().map(|l| l.thickness_m).sum();
    let mut bottom = -0.5 * total;
    let (mut a, mut b, mut d) = (Matrix3::zeros(), Matrix3::zeros(), Matrix3::zeros());
    let mut places = Vec::new();
    for layer in layers {
        let top = bottom + layer.thickness_m;
        let q = stiffness_matrix(layer);
        a += q * (top - bottom);
        b += q * (top * top - bottom * bottom) * 0.5;
        d += q * (top.powi(3) - bottom.powi(3)) / 3.0;
        places.push((bottom, top));
        bottom = top;
    }
    let mut whole = Matrix6::zeros();
    whole.fixed_view_mut::<3, 3>(0, 0).copy_from(&a);
    whole.fixed_view_mut::<3, 3>(0, 3).copy_from(&b);
    whole.fixed_view_mut::<3, 3>(3, 0).copy_from(&b);
    whole.fixed_view_mut::<3, 3>(3, 3).copy_from(&d);
    let compliance = whole.try_inverse()?;
    // A moment along alone: how each layer is strained, and what share of the energy it holds.
    let bent: Vector6<f64> = compliance.column(3).into_owned();
    let (at_middle, curvature) = (bent.fixed_rows::<3>(0).into_owned(), bent.fixed_rows::<3>(3).into_owned());
    let (mut energy, mut lost) = (0.0, 0.0);
    for (layer, (bottom, top)) in layers.iter().zip(&places) {
        let (q, transform) = (own_stiffness(layer), strain_transform(layer.angle_rad));
        // The energy is quadratic in z: two Gauss points are exact.
        let (middle, half) = (0.5 * (top + bottom), 0.5 * (top - bottom));
        for side in [-1.0, 1.0] {
            let z = middle + side * half / 3f64.sqrt();
            let strain: Vector3<f64> = transform * (at_middle + curvature * z);
            let stress = q * strain;
            for axis in 0..3 {
                let share = half * strain[axis] * stress[axis];
                energy += share;
                lost += layer.loss[axis] * share;
            }
        }
    }
    Some(Laminate {
        strip_along: 1.0 / compliance[(3, 3)],
        strip_across: 1.0 / compliance[(4, 4)],
        mass_per_area: layers.iter().map(|l| l.density_kg_m3 * l.thickness_m).sum(),
        loss_along: lost / energy,
        a,
        b,
        d,
    })
}

/// How a glue line that gives way in shear weakens two plies, after Ross, Kerwin and Ungar (1959; from memory), the glue's own
/// stretching left out: stiffness over that of a perfect joint, and the loss factor that the glue adds.
///
/// `stretch`: E times thickness of the two plies (N/m); `own`: the plies' bending stiffnesses together, each about its own
/// middle (N m); `distance`: between their middles (m); `glue`: thickness (m), shear modulus (Pa), loss factor; `wave_number`
/// of the bending wave (rad/m).
pub fn glue_line(stretch: [f64; 2], own: f64, distance: f64, glue: (f64, f64, f64), wave_number: f64) -> (f64, f64) {
    let (thickness, shear, loss) = glue;
    let together = stretch[0] * stretch[1] / (stretch[0] + stretch[1]);
    let joined = together * distance * distance;
    // s/(s + 1) with a complex s = g (1 + i loss).
    let g = shear / (thickness * wave_number * wave_number * together);
    let below = (1.0 + g).powi(2) + (g * loss).powi(2);
    let real = own + joined * (g * (1.0 + g) + (g * loss).powi(2)) / below;
    let imaginary = joined * g * loss / below;
    (real / (own + joined), imaginary / real)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An isotropic layer without contraction: a plain beam.
    fn plain(thickness_m: f64, along_pa: f64, density_kg_m3: f64, loss: f64) -> Layer {
        Layer {
            thickness_m,
            along_pa,
            across_pa: along_pa,
            shear_pa: 0.5 * along_pa,
            poisson: 0.0,
            density_kg_m3,
            angle_rad: 0.0,
            loss: [loss; 3],
        }
    }

    /// EI = sum E (t^3/12 + t (z - z_n)^2) of a composite beam, summed apart from this code.
    #[test]
    fn two_plies_and_a_glue_line_are_a_composite_beam() {
        let outer = plain(2.25e-3, 12e9, 1100.0, 0.008);
        let inner = plain(2.0e-3, 10e9, 830.0, 0.012);
        let glue = plain(0.15e-3, 3e9, 1150.0, 0.05);
        for (layers, stiffness, mass, loss) in [
            (vec![outer], 11.390625, 2.475, 0.008),
            (vec![outer, inner], 69.938941, 4.135, 0.010085878),
            (vec![outer, glue, inner], 77.546737, 4.3075, 0.010113333),
        ] {
            let got = laminate(&layers).expect("sound layers");
            assert!((got.strip_along / stiffness - 1.0).abs() < 1e-8, "{}", got.strip_along);
            assert!((got.mass_per_area / mass - 1.0).abs() < 1e-12);
            assert!((got.loss_along / loss - 1.0).abs() < 1e-6, "{}", got.loss_along);
        }
        assert_eq!(laminate(&[]), None);
        assert_eq!(laminate(&[Layer { thickness_m: 0.0, ..outer }]), None);
    }

    /// Strip stiffness 1/d11 of two equal plies, along, crossed and 15 degrees apart (computed apart from this code).
    #[test]
    fn a_crossed_ply_costs_two_thirds() {
        let ply = |degrees: f64| Layer {
            thickness_m: 2e-3,
            along_pa: 12.6e9,
            across_pa: 0.132 * 12.6e9,
            shear_pa: 0.111 * 12.6e9,
            poisson: 0.424,
            density_kg_m3: 700.0,
            angle_rad: degrees.to_radians(),
            loss: [0.01; 3],
        };
        for (degrees, d11, strip) in [(0.0, 68.8334, 67.2), (90.0, 38.9598, 21.3988), (15.0, 65.5705, 56.7164)] {
            let got = laminate(&[ply(0.0), ply(degrees)]).expect("sound layers");
            assert!((got.d[(0, 0)] / d11 - 1.0).abs() < 1e-5, "{degrees}: {}", got.d[(0, 0)]);
            assert!((got.strip_along / strip - 1.0).abs() < 1e-5, "{degrees}: {}", got.strip_along);
        }
    }
}
