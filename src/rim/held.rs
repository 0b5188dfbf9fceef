//! A side whose both edges are held by the plates: no longer a frame but a sheet that bows between them, stiffened by its curve.
//!
//! Finite strips (Cheung, Finite Strip Method in Structural Analysis; matrices derived here): across the depth z the sheet moves as
//! sin(k z), k = pi/depth, along the rim as frame elements do. That is exact for edges that are hinged, held in the plane of the
//! rim and free to slide across it (the "shear diaphragm" of shell theory). One half wave over the depth: its higher ones lie far
//! above.

use nalgebra::SMatrix;

use super::frame::{Eight, bent, moved, put, sloped};
use super::sheet::Sheet;

/// Stiffness and mass of an element: (x, y, turn, slide across the depth) at both ends, in the rim's axes, the movement at mid-depth.
pub(super) fn strip(sheet: &Sheet, depth_m: f64, length: f64, along: (f64, f64)) -> (Eight, Eight) {
    let k = std::f64::consts::PI / depth_m;
    let [d11, d12, d22, d66] = sheet.bending;
    let [a11, a12, a22, a66] = sheet.stretching;
    // Integral of a shape times the second derivative of another, by parts.
    let mut curved = -sloped(length);
    curved[(0, 1)] -= 1.0;
    curved[(2, 3)] += 1.0;
    let bow = d11 * bent(length) - d12 * k * k * (curved + curved.transpose())
        + d22 * k.powi(4) * moved(length)
        + 4.0 * d66 * k * k * sloped(length);
    // Linear shapes: products of themselves, of their slopes, and of slope (row) and shape (column).
    let both = SMatrix::<f64, 2, 2>::new(2.0, 1.0, 1.0, 2.0) * (length / 6.0);
    let slopes = SMatrix::<f64, 2, 2>::new(1.0, -1.0, -1.0, 1.0) / length;
    let mixed = SMatrix::<f64, 2, 2>::new(-0.5, -0.5, 0.5, 0.5);
    let (mut stiff, mut mass) = (Eight::zeros(), Eight::zeros());
    // Own axes at each end: along, outward, turn, slide.
    put(&mut stiff, &bow, [1, 2, 5, 6], [1.0; 4]);
    put(&mut stiff, &(a11 * slopes + a66 * k * k * both), [0, 4], [1.0; 2]);
    put(&mut stiff, &(a22 * k * k * both + a66 * slopes), [3, 7], [1.0; 2]);
    let cross = a66 * k * mixed.transpose() - a12 * k * mixed;
    for (i, row) in [0, 4].into_iter().enumerate() {
        for (j, column) in [3, 7].into_iter().enumerate() {
            stiff[(row, column)] += cross[(i, j)];
            stiff[(column, row)] += cross[(i, j)];
        }
    }
    put(&mut mass, &moved(length), [1, 2, 5, 6], [1.0; 4]);
    put(&mut mass, &both, [0, 4], [1.0; 2]);
    put(&mut mass, &both, [3, 7], [1.0; 2]);
    // The mean of sin^2 over the depth.
    let half = 0.5 * depth_m;
    let (c, s) = along;
    let block = SMatrix::<f64, 2, 2>::new(c, s, -s, c);
    let mut turn = Eight::identity();
    turn.fixed_view_mut::<2, 2>(0, 0).copy_from(&block);
    turn.fixed_view_mut::<2, 2>(4, 4).copy_from(&block);
    let turned = |m: Eight, factor: f64| turn.transpose() * m * turn * factor;
    (turned(stiff, half), turned(mass, half * sheet.mass_per_area_kg_m2))
}

#[cfg(test)]
mod tests {
    use super::super::sheet::Bar;
    use super::*;

    /// A bar as wide as its stretch makes a sheet of two layers: composite beam, E1 = E2 gives one beam of the whole thickness.
    #[test]
    fn a_brace_of_the_same_wood_makes_the_side_thicker() {
        let side = Sheet::upright(2e-3, 10e9, 0.6e9, 0.7e9, 600.0);
        let bar = Bar { width_m: 8e-3, height_m: 5e-3, along_pa: 10e9, density_kg_m3: 400.0 };
        let braced = side.braced(2e-3, &bar, 1.0);
        assert!((braced.bending[2] / (10e9 * 7e-3f64.powi(3) / 12.0) - 1.0).abs() < 1e-12);
        assert!((braced.mass_per_area_kg_m2 - 3.2).abs() < 1e-12);
        assert_eq!(braced.bending[0], side.bending[0]);
    }
}
