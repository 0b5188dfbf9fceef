//! The wall of a rim as a thin sheet: what it takes to bow it and to stretch it.

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

/// An upright bar of wood that is glued to the side: a side brace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    pub width_m: f64,
    /// How far it stands out from the side (m).
    pub height_m: f64,
    pub along_pa: f64,
    pub density_kg_m3: f64,
}

/// How much softer than along the grain such wood is in shear (common practice, no source).
const SHEAR: f64 = 14.0;

impl Bar {
    pub(super) fn shear_pa(&self) -> f64 {
        self.along_pa / SHEAR
    }
}
