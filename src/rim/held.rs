//! A side whose both edges are held by the plates: no longer a frame but a sheet that bows between them, stiffened by its curve.
//!
//! Finite strips (Cheung, Finite Strip Method in Structural Analysis; matrices derived here): across the depth z the sheet moves as
//! sin(k z), k = pi/depth, along the rim as frame elements do. That is exact for edges that are hinged, held in the plane of the
//! rim and free to slide across it (the "shear diaphragm" of shell theory). One half wave over the depth: its higher ones lie far
//! above.

use nalgebra::SMatrix;

use super::frame::{Eight, bent, moved, put, sloped};

/// Stiffness of a thin sheet per width: 11 along the rim, 22 across its depth, 12 both, 66 shear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Bending, 11, 12, 22, 66 (N m).
    pub bending: [f64; 4],
    /// Stretching, 11, 12, 22, 66 (N/m).
    pub stretching: [f64; 4],
    pub mass_per_area_kg_m2: f64,
}

impl Sheet {
    /// Two sheets that bow together but do not slide as one.
    pub fn beside(&self, other: &Self) -> Self {
        let sum = |a: [f64; 4], b: [f64; 4]| std::array::from_fn(|i| a[i] + b[i]);
        Self {
            bending: sum(self.bending, other.bending),
            stretching: sum(self.stretching, other.stretching),
            mass_per_area_kg_m2: self.mass_per_area_kg_m2 + other.mass_per_area_kg_m2,
        }
    }

    /// An even sheet of a wood whose grain runs up the depth, or of anything else with these moduli (Pa); no contraction.
    pub fn upright(thickness_m: f64, up_pa: f64, around_pa: f64, shear_pa: f64, density_kg_m3: f64) -> Self {
        let (thin, thick) = (thickness_m.powi(3) / 12.0, thickness_m);
        Self {
            bending: [around_pa * thin, 0.0, up_pa * thin, shear_pa * thin],
            stretching: [around_pa * thick, 0.0, up_pa * thick, shear_pa * thick],
            mass_per_area_kg_m2: density_kg_m3 * thick,
        }
    }

    /// With a bar glued on that runs up the depth, spread over the stretch that it stands for: bending about the true neutral axis
    /// of the two. `share` is the bar's width over that of the stretch.
    pub fn braced(&self, thickness_m: f64, bar: &Bar, share: f64) -> Self {
        let (own, added) = (self.stretching[2], share * bar.along_pa * bar.height_m);
        let apart = 0.5 * (thickness_m + bar.height_m);
        let up = share * bar.along_pa * bar.height_m.powi(3) / 12.0 + own * added / (own + added) * apart * apart;
        let mut braced = *self;
        braced.bending[2] += up;
        braced.stretching[2] += added;
        braced.mass_per_area_kg_m2 += share * bar.density_kg_m3 * bar.height_m;
        braced
    }
}

/// A bar of wood that is glued to the side from plate to plate: a side brace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    pub width_m: f64,
    /// How far it stands out from the side (m).
    pub height_m: f64,
    pub along_pa: f64,
    pub density_kg_m3: f64,
}

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
