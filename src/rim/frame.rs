//! Frame elements: bending with shear (Timoshenko) and rotary inertia, stretch and torsion.
//!
//! Stiffness after Przemieniecki, Theory of Matrix Structural Analysis; consistent mass of the slender beam with its rotary
//! inertia (textbook matrices, from memory; checked by rings, arcs and bars).

/// What a stretch of rim is made of, along its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Bending stiffness in the plane of the rim (the side's own, small) and out of it (its depth's, large) (N m2).
    pub in_plane_n_m2: f64,
    pub out_of_plane_n_m2: f64,
    /// Torsional stiffness (N m2), stretching stiffness (N), shear stiffness (N).
    pub torsion_n_m2: f64,
    pub stretch_n: f64,
    pub shear_n: f64,
    pub mass_per_length_kg_m: f64,
    /// Rotary inertia per length (kg m) about the axis across the rim's plane, and about the one in it.
    pub rotary_in_plane_kg_m: f64,
    pub rotary_out_of_plane_kg_m: f64,
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
            stretch_n: along_pa * area,
            shear_n: shear_pa * area * 5.0 / 6.0,
            mass_per_length_kg_m: density_kg_m3 * area,
            rotary_in_plane_kg_m: density_kg_m3 * thin,
            rotary_out_of_plane_kg_m: density_kg_m3 * deep,
        }
    }

    /// Two stretches side by side that bend together but do not slide as one (linings, kerfed).
    pub fn beside(&self, other: &Self) -> Self {
        Self {
            in_plane_n_m2: self.in_plane_n_m2 + other.in_plane_n_m2,
            out_of_plane_n_m2: self.out_of_plane_n_m2 + other.out_of_plane_n_m2,
            torsion_n_m2: self.torsion_n_m2 + other.torsion_n_m2,
            stretch_n: self.stretch_n + other.stretch_n,
            shear_n: self.shear_n + other.shear_n,
            mass_per_length_kg_m: self.mass_per_length_kg_m + other.mass_per_length_kg_m,
            rotary_in_plane_kg_m: self.rotary_in_plane_kg_m + other.rotary_in_plane_kg_m,
            rotary_out_of_plane_kg_m: self.rotary_out_of_plane_kg_m + other.rotary_out_of_plane_kg_m,
        }
    }
}

pub(super) type Six = [[f64; 6]; 6];

/// Bending of a beam element: 4 by 4 stiffness and mass for (deflection, slope) at both ends.
fn bending(stiffness: f64, shear: f64, mass: f64, rotary: f64, length: f64) -> ([[f64; 4]; 4], [[f64; 4]; 4]) {
    let l = length;
    let phi = 12.0 * stiffness / (shear * l * l);
    let k = stiffness / ((1.0 + phi) * l.powi(3));
    let (near, far) = ((4.0 + phi) * l * l, (2.0 - phi) * l * l);
    let stiff = [
        [12.0, 6.0 * l, -12.0, 6.0 * l],
        [6.0 * l, near, -6.0 * l, far],
        [-12.0, -6.0 * l, 12.0, -6.0 * l],
        [6.0 * l, far, -6.0 * l, near],
    ]
    .map(|row| row.map(|v| k * v));
    let (m, r) = (mass * l / 420.0, rotary / (30.0 * l));
    let carried = [
        [156.0, 22.0 * l, 54.0, -13.0 * l],
        [22.0 * l, 4.0 * l * l, 13.0 * l, -3.0 * l * l],
        [54.0, 13.0 * l, 156.0, -22.0 * l],
        [-13.0 * l, -3.0 * l * l, -22.0 * l, 4.0 * l * l],
    ];
    let turned = [
        [36.0, 3.0 * l, -36.0, 3.0 * l],
        [3.0 * l, 4.0 * l * l, -3.0 * l, -l * l],
        [-36.0, -3.0 * l, 36.0, -3.0 * l],
        [3.0 * l, -l * l, -3.0 * l, 4.0 * l * l],
    ];
    let mut inert = [[0.0; 4]; 4];
    for i in 0..4 {
        for j in 0..4 {
            inert[i][j] = m * carried[i][j] + r * turned[i][j];
        }
    }
    (stiff, inert)
}

/// Stiffness and mass of an element in the plane of the rim: (x, y, turn) at both ends, in the rim's axes; `along`: its unit
/// direction.
pub(super) fn in_plane(section: &Section, length: f64, along: (f64, f64)) -> (Six, Six) {
    let s = section;
    let (bend_k, bend_m) = bending(s.in_plane_n_m2, s.shear_n, s.mass_per_length_kg_m, s.rotary_in_plane_kg_m, length);
    let (stretch, weight) = (s.stretch_n / length, s.mass_per_length_kg_m * length / 6.0);
    let place = [1, 2, 4, 5];
    let (mut k, mut m) = ([[0.0; 6]; 6], [[0.0; 6]; 6]);
    for (i, row) in place.iter().enumerate() {
        for (j, column) in place.iter().enumerate() {
            k[*row][*column] = bend_k[i][j];
            m[*row][*column] = bend_m[i][j];
        }
    }
    for (i, j, sign, share) in [(0, 0, 1.0, 2.0), (3, 3, 1.0, 2.0), (0, 3, -1.0, 1.0), (3, 0, -1.0, 1.0)] {
        k[i][j] = sign * stretch;
        m[i][j] = share * weight;
    }
    let (c, s) = along;
    let block = [[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]];
    (turned(&k, &block), turned(&m, &block))
}

/// The same out of the plane: (height, turn about x, turn about y) at both ends.
pub(super) fn out_of_plane(section: &Section, length: f64, along: (f64, f64)) -> (Six, Six) {
    let s = section;
    let (bend_k, bend_m) =
        bending(s.out_of_plane_n_m2, s.shear_n, s.mass_per_length_kg_m, s.rotary_out_of_plane_kg_m, length);
    let twist = s.torsion_n_m2 / length;
    let polar = (s.rotary_in_plane_kg_m + s.rotary_out_of_plane_kg_m) * length / 6.0;
    // Own axes: height, turn about the element (twist), turn about the normal; the slope is minus the last.
    let place = [0, 2, 3, 5];
    let sign = [1.0, -1.0, 1.0, -1.0];
    let (mut k, mut m) = ([[0.0; 6]; 6], [[0.0; 6]; 6]);
    for (i, row) in place.iter().enumerate() {
        for (j, column) in place.iter().enumerate() {
            k[*row][*column] = sign[i] * sign[j] * bend_k[i][j];
            m[*row][*column] = sign[i] * sign[j] * bend_m[i][j];
        }
    }
    for (i, j, sign, share) in [(1, 1, 1.0, 2.0), (4, 4, 1.0, 2.0), (1, 4, -1.0, 1.0), (4, 1, -1.0, 1.0)] {
        k[i][j] = sign * twist;
        m[i][j] = share * polar;
    }
    let (c, s) = along;
    let block = [[1.0, 0.0, 0.0], [0.0, c, s], [0.0, -s, c]];
    (turned(&k, &block), turned(&m, &block))
}

/// T' A T with T the same 3 by 3 block for both ends.
fn turned(own: &Six, block: &[[f64; 3]; 3]) -> Six {
    let mut out = [[0.0; 6]; 6];
    for (i, row) in out.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            for p in 0..3 {
                for q in 0..3 {
                    *value += block[p][i % 3] * own[3 * (i / 3) + p][3 * (j / 3) + q] * block[q][j % 3];
                }
            }
        }
    }
    out
}
