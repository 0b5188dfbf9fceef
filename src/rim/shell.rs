//! The layers of a rim's side as a thin shell: what stretching, bending and both together take, about the side's middle surface.
//!
//! Classical lamination theory (Jones, Mechanics of Composite Materials), with the transverse shear of the bending along the rim
//! and the inertia of the layers, each about the same surface.

use nalgebra::Matrix3;

/// A layer of the wall, in the axes 1 along the rim, 2 up its depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leaf {
    pub thickness_m: f64,
    /// Stress over strain (Pa): 11, 22 and shear, with 12 beside the diagonal.
    pub stiffness_pa: Matrix3<f64>,
    /// Shear modulus between the length and the thickness (Pa).
    pub through_pa: f64,
    pub density_kg_m3: f64,
}

impl Leaf {
    /// A leaf of wood: modulus along the rim and up its depth, shear modulus (Pa), contraction up the depth per strain along.
    pub fn wood(thickness_m: f64, along_pa: f64, up_pa: f64, shear_pa: f64, poisson: f64, density_kg_m3: f64) -> Self {
        let free = 1.0 - poisson * poisson * up_pa / along_pa;
        let both = poisson * up_pa / free;
        let stiffness_pa = Matrix3::new(along_pa / free, both, 0.0, both, up_pa / free, 0.0, 0.0, 0.0, shear_pa);
        Self { thickness_m, stiffness_pa, through_pa: shear_pa, density_kg_m3 }
    }
}

/// Stiffness and inertia of the layers over some stretch of wall, per area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shell {
    /// Stretching (N/m), coupling (N) and bending (N m) about the middle surface of the side.
    pub stretch: Matrix3<f64>,
    pub couple: Matrix3<f64>,
    pub bend: Matrix3<f64>,
    /// Third moments of the stiffness along and up (N m2), for places where the rim curves.
    pub third_n_m2: [f64; 2],
    /// Transverse shear of the bending along the rim (N/m).
    pub through_n_m: f64,
    /// Mass per area, its first moment and its second about the same surface (kg/m2, kg/m, kg).
    pub mass: [f64; 3],
    /// From the middle surface to the outer face and to the inner one (m); inwards is above 0.
    pub outside_m: f64,
    pub inside_m: f64,
}

/// Share of the thickness that works in shear (Reissner).
const SHEAR_SHARE: f64 = 5.0 / 6.0;

impl Shell {
    /// A side of leaves, the outermost first.
    pub fn side(leaves: &[Leaf]) -> Self {
        let total: f64 = leaves.iter().map(|l| l.thickness_m).sum();
        let zero = Matrix3::zeros();
        let (stretch, couple, bend, face_m) = (zero, zero, zero, -0.5 * total);
        let bare = Self {
            stretch,
            couple,
            bend,
            third_n_m2: [0.0; 2],
            through_n_m: 0.0,
            mass: [0.0; 3],
            outside_m: face_m,
            inside_m: face_m,
        };
        leaves.iter().fold(bare, |shell, leaf| shell.with_inside(leaf))
    }

    /// The same with a leaf glued to its inner face.
    pub fn with_inside(&self, leaf: &Leaf) -> Self {
        let (from, to) = (self.inside_m, self.inside_m + leaf.thickness_m);
        let (one, two, three) = (to - from, 0.5 * (to * to - from * from), (to.powi(3) - from.powi(3)) / 3.0);
        let q = &leaf.stiffness_pa;
        let moments = [one, two, three];
        Self {
            stretch: self.stretch + q * one,
            couple: self.couple + q * two,
            bend: self.bend + q * three,
            third_n_m2: [0, 1].map(|i| self.third_n_m2[i] + 0.25 * (to.powi(4) - from.powi(4)) * q[(i, i)]),
            through_n_m: self.through_n_m + SHEAR_SHARE * leaf.through_pa * one,
            mass: std::array::from_fn(|i| self.mass[i] + leaf.density_kg_m3 * moments[i]),
            outside_m: self.outside_m,
            inside_m: to,
        }
    }

    /// Bending about the shell's own neutral surface: D - B A^-1 B. `None` if it does not resist stretching.
    pub fn own_bend(&self) -> Option<Matrix3<f64>> {
        Some(self.bend - self.couple * self.stretch.try_inverse()? * self.couple)
    }

    /// The same, its bending about the neutral surface so many times as stiff.
    pub fn bent_by(&self, factor: f64) -> Self {
        let own = self.own_bend().unwrap_or(self.bend);
        Self { bend: self.bend + (factor - 1.0) * own, ..*self }
    }

    /// The same, its own resistance to twist (that of a broad sheet) made that of a band so high (m) and thick: the ends of a stubby
    /// rectangle carry less (Roark, J of a rectangle).
    pub fn stubby(&self, high_m: f64, thickness_m: f64) -> Self {
        let (a, b) = (high_m.max(thickness_m), high_m.min(thickness_m));
        let whole = a * b.powi(3) * (1.0 / 3.0 - 0.21 * b / a * (1.0 - (b / a).powi(4) / 12.0));
        let share = whole / (high_m * thickness_m.powi(3) / 3.0);
        let own = self.bend[(2, 2)] - self.couple[(2, 2)].powi(2) / self.stretch[(2, 2)];
        let mut stubby = *self;
        stubby.bend[(2, 2)] -= (1.0 - share) * own;
        stubby
    }

    pub(super) fn thickness_m(&self) -> f64 {
        self.inside_m - self.outside_m
    }

    /// The same where the rim curves by so much (1/m, towards its inner face): a line inside is shorter, so it is strained more along
    /// the rim and weighs less; to the first order, of stretching to the second.
    fn curved(&self, curvature: f64) -> Self {
        let mut curved = *self;
        for (row, sign) in [(0, 1.0), (1, -1.0)] {
            let c = sign * curvature;
            curved.stretch[(row, row)] +=
                c * self.couple[(row, row)] + (if row == 0 { c * c } else { 0.0 }) * self.bend[(row, row)];
            curved.couple[(row, row)] += c * self.bend[(row, row)];
            curved.bend[(row, row)] += c * self.third_n_m2[row];
        }
        curved.mass[0] -= curvature * self.mass[1];
        curved.mass[1] -= curvature * self.mass[2];
        curved
    }

    /// Bending along the rim about the neutral line of that direction alone (N m).
    pub(super) fn strip(&self) -> f64 {
        self.bend[(0, 0)] - self.couple[(0, 0)].powi(2) / self.stretch[(0, 0)]
    }
}

/// The wall of a rim at one place along it: a shell over the middle of the depth, and another along both edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    pub depth_m: f64,
    pub middle: Shell,
    pub edge: Shell,
    /// How high the bands along the edges are (m); 0 without.
    pub edge_m: f64,
}

impl Wall {
    /// An even wall.
    pub fn even(shell: &Shell, depth_m: f64) -> Self {
        Self { depth_m, middle: *shell, edge: *shell, edge_m: 0.0 }
    }

    /// The same where the rim curves by so much (1/m). Free edges carry less of a twist than the sheet between them.
    pub(super) fn curved(&self, curvature: f64) -> Self {
        let free = self.edge_m == 0.0;
        let of = |shell: &Shell| {
            let shell = if free { shell.stubby(self.depth_m, shell.thickness_m()) } else { *shell };
            shell.curved(curvature)
        };
        Self { middle: of(&self.middle), edge: of(&self.edge), ..*self }
    }

    /// With a leaf glued inside, between the bands along the edges.
    pub fn with_middle_inside(&self, leaf: &Leaf) -> Self {
        let middle = self.middle.with_inside(leaf);
        let edge = if self.edge_m > 0.0 { self.edge } else { middle };
        Self { middle, edge, ..*self }
    }

    pub(super) fn mass_per_length_kg_m(&self) -> f64 {
        let bands = 2.0 * self.edge_m;
        self.middle.mass[0] * (self.depth_m - bands) + self.edge.mass[0] * bands
    }

    /// The bands of the upper half: from and to above mid-depth (m), and their shell.
    pub(super) fn bands(&self) -> impl Iterator<Item = (f64, f64, &Shell)> {
        let top = 0.5 * self.depth_m;
        let under = top - self.edge_m;
        [(0.0, under, &self.middle), (under, top, &self.edge)].into_iter().filter(|(from, to, _)| to > from)
    }
}
