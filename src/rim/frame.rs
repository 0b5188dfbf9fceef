//! Frame elements: bending with shear (Timoshenko) and rotary inertia, stretch, and torsion with warping.
//!
//! Stiffness after Przemieniecki, Theory of Matrix Structural Analysis; consistent mass of the slender beam with its rotary
//! inertia (textbook matrices, from memory; checked by rings, arcs and bars). Torsion after Vlasov: a strip as deep as a side
//! twists unevenly around a rim, and then its edges bend; without that, tones out of the plane come out a tenth to a third low.

use nalgebra::SMatrix;

use super::sheet::Sheet;
use super::shell::Wall;

/// What a stretch of rim is made of, along its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Bending stiffness in the plane of the rim (the side's own, small) and out of it (its depth's, large) (N m2).
    pub in_plane_n_m2: f64,
    pub out_of_plane_n_m2: f64,
    /// Torsional stiffness (N m2), stretching stiffness (N), shear stiffness (N).
    pub torsion_n_m2: f64,
    /// Stiffness against twist that changes along the length (N m4): the edges of a deep strip bend then.
    pub warping_n_m4: f64,
    pub stretch_n: f64,
    pub shear_n: f64,
    pub mass_per_length_kg_m: f64,
    /// Rotary inertia per length (kg m) about the axis across the rim's plane, and about the one in it.
    pub rotary_in_plane_kg_m: f64,
    pub rotary_out_of_plane_kg_m: f64,
    /// As a sheet, if it is to bow between held edges.
    pub sheet: Option<Sheet>,
    /// As a shell, if the rim is to be one; then only the mass is still read of the beam.
    pub wall: Option<Wall>,
}

impl Section {
    /// An upright strip of some thickness and depth (m), of even wood along its length: moduli in Pa, density in kg/m3.
    pub fn strip(thickness_m: f64, depth_m: f64, along_pa: f64, shear_pa: f64, density_kg_m3: f64) -> Self {
        let area = thickness_m * depth_m;
        let (thin, deep) = (depth_m * thickness_m.powi(3) / 12.0, thickness_m * depth_m.powi(3) / 12.0);
        Self {
            in_plane_n_m2: along_pa * thin,
            out_of_plane_n_m2: along_pa * deep,
            // A thin strip: G b h^3/3, with the ends' share (Roark).
            torsion_n_m2: 4.0 * shear_pa * thin * (1.0 - 0.63 * thickness_m / depth_m),
            // Across the depth z the strip bends by z times the change of twist: E h^3/12 times b^3/12 (Vlasov).
            warping_n_m4: along_pa * thin * depth_m.powi(2) / 12.0,
            stretch_n: along_pa * area,
            shear_n: shear_pa * area * 5.0 / 6.0,
            mass_per_length_kg_m: density_kg_m3 * area,
            rotary_in_plane_kg_m: density_kg_m3 * thin,
            rotary_out_of_plane_kg_m: density_kg_m3 * deep,
            sheet: None,
            wall: None,
        }
    }

    /// The same as a shell.
    pub fn with_wall(self, wall: &Wall) -> Self {
        Self { mass_per_length_kg_m: wall.mass_per_length_kg_m(), wall: Some(*wall), ..self }
    }

    /// The same where the rim curves by so much (1/m). Beams do not know it.
    pub(super) fn curved(&self, curvature: f64) -> Self {
        self.wall.map_or(*self, |wall| self.with_wall(&wall.curved(curvature)))
    }
}

pub(super) type Six = SMatrix<f64, 6, 6>;
pub(super) type Eight = SMatrix<f64, 8, 8>;
type Four = SMatrix<f64, 4, 4>;

/// Integrals over an element of length l of products of the cubic shapes of (value, slope) at both ends: of the second
/// derivatives, of the first, and of the shapes themselves.
pub(super) fn bent(l: f64) -> Four {
    sheared(l, 0.0)
}

/// The first of these with shear: `phi` is 12 EI/(GA l^2).
fn sheared(l: f64, phi: f64) -> Four {
    let (near, far) = ((4.0 + phi) * l * l, (2.0 - phi) * l * l);
    #[rustfmt::skip]
    let entries = [
        12.0,    6.0 * l, -12.0,    6.0 * l,
        6.0 * l, near,    -6.0 * l, far,
        -12.0,  -6.0 * l,  12.0,   -6.0 * l,
        6.0 * l, far,     -6.0 * l, near,
    ];
    Four::from_row_slice(&entries) / ((1.0 + phi) * l.powi(3))
}

pub(super) fn sloped(l: f64) -> Four {
    #[rustfmt::skip]
    let entries = [
        36.0,    3.0 * l,     -36.0,    3.0 * l,
        3.0 * l, 4.0 * l * l, -3.0 * l, -l * l,
        -36.0,  -3.0 * l,      36.0,   -3.0 * l,
        3.0 * l, -l * l,      -3.0 * l, 4.0 * l * l,
    ];
    Four::from_row_slice(&entries) / (30.0 * l)
}

pub(super) fn moved(l: f64) -> Four {
    #[rustfmt::skip]
    let entries = [
        156.0,     22.0 * l,     54.0,     -13.0 * l,
        22.0 * l,  4.0 * l * l,  13.0 * l, -3.0 * l * l,
        54.0,      13.0 * l,     156.0,    -22.0 * l,
        -13.0 * l, -3.0 * l * l, -22.0 * l, 4.0 * l * l,
    ];
    Four::from_row_slice(&entries) * (l / 420.0)
}

/// Bending of a beam element: stiffness and mass for (deflection, slope) at both ends.
fn bending(stiffness: f64, shear: f64, mass: f64, rotary: f64, l: f64) -> (Four, Four) {
    let phi = 12.0 * stiffness / (shear * l * l);
    (stiffness * sheared(l, phi), mass * moved(l) + rotary * sloped(l))
}

/// Adds a small matrix to a larger one at these places, with these signs.
pub(super) fn put<const N: usize, const M: usize>(
    into: &mut SMatrix<f64, N, N>,
    small: &SMatrix<f64, M, M>,
    places: [usize; M],
    signs: [f64; M],
) {
    for i in 0..M {
        for j in 0..M {
            into[(places[i], places[j])] += signs[i] * signs[j] * small[(i, j)];
        }
    }
}

/// Stiffness and mass of an element in the plane of the rim: (x, y, turn) at both ends, in the rim's axes; `along`: its unit
/// direction.
pub(super) fn in_plane(section: &Section, length: f64, along: (f64, f64)) -> (Six, Six) {
    let s = section;
    let (bend_k, bend_m) = bending(s.in_plane_n_m2, s.shear_n, s.mass_per_length_kg_m, s.rotary_in_plane_kg_m, length);
    let (mut k, mut m) = (Six::zeros(), Six::zeros());
    put(&mut k, &bend_k, [1, 2, 4, 5], [1.0; 4]);
    put(&mut m, &bend_m, [1, 2, 4, 5], [1.0; 4]);
    let pair = |same: f64, other: f64| SMatrix::<f64, 2, 2>::new(same, other, other, same);
    put(&mut k, &(pair(1.0, -1.0) * (s.stretch_n / length)), [0, 3], [1.0; 2]);
    put(&mut m, &(pair(2.0, 1.0) * (s.mass_per_length_kg_m * length / 6.0)), [0, 3], [1.0; 2]);
    let (c, s) = along;
    let block = SMatrix::<f64, 3, 3>::new(c, s, 0.0, -s, c, 0.0, 0.0, 0.0, 1.0);
    let mut turn = Six::zeros();
    turn.fixed_view_mut::<3, 3>(0, 0).copy_from(&block);
    turn.fixed_view_mut::<3, 3>(3, 3).copy_from(&block);
    (turn.transpose() * k * turn, turn.transpose() * m * turn)
}

/// The same out of the plane: (height, turn about x, turn about y, change of twist along the length) at both ends.
pub(super) fn out_of_plane(section: &Section, length: f64, along: (f64, f64)) -> (Eight, Eight) {
    let s = section;
    let (bend_k, bend_m) =
        bending(s.out_of_plane_n_m2, s.shear_n, s.mass_per_length_kg_m, s.rotary_out_of_plane_kg_m, length);
    let polar = s.rotary_in_plane_kg_m + s.rotary_out_of_plane_kg_m;
    let (mut k, mut m) = (Eight::zeros(), Eight::zeros());
    // Own axes: height, turn about the element (twist), turn about the normal; the slope is minus the last.
    put(&mut k, &bend_k, [0, 2, 4, 6], [1.0, -1.0, 1.0, -1.0]);
    put(&mut m, &bend_m, [0, 2, 4, 6], [1.0, -1.0, 1.0, -1.0]);
    put(&mut k, &(s.torsion_n_m2 * sloped(length) + s.warping_n_m4 * bent(length)), [1, 3, 5, 7], [1.0; 4]);
    put(&mut m, &(polar * moved(length)), [1, 3, 5, 7], [1.0; 4]);
    let (c, s) = along;
    let block = SMatrix::<f64, 3, 3>::new(1.0, 0.0, 0.0, 0.0, c, s, 0.0, -s, c);
    let mut turn = Eight::identity();
    turn.fixed_view_mut::<3, 3>(0, 0).copy_from(&block);
    turn.fixed_view_mut::<3, 3>(4, 4).copy_from(&block);
    (turn.transpose() * k * turn, turn.transpose() * m * turn)
}
