//! The boards of the demonstration, as they truly are; what the maker reads off them stands in `bench.toml`. The side and the rims made
//! of them have the same woods (`tests/outside/fem/demo_rim.py`).

use crate::simulate::Blank;
use crate::stiffness::{Constants, Size};

/// A flat blank of the demonstration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExampleBlank {
    pub part: &'static str,
    pub blank: Blank,
    /// Readings of the thickness (mm), as the calliper showed them, and the mass (g) on the kitchen scale.
    pub thickness_mm: &'static str,
    pub scale_g: f64,
}

/// Length and width (m): the maker's rule shows 760 and 112 mm.
const LENGTH_M: f64 = 0.7601;
const WIDTH_M: f64 = 0.1121;
const WALNUT_M: f64 = 1.912e-3;
const RIGHT_WALNUT_M: f64 = 1.894e-3;
const MAPLE_M: f64 = 1.409e-3;

/// Black walnut, cut on the quarter: E near the Wood Handbook's (11.6 GPa and a tenth for shear), across and shear near its
/// ratios 0.106 and 0.085, density at 12 % moisture 616 kg/m3.
const WALNUT: Wood =
    Wood { along_pa: 12.3e9, across_pa: 1.29e9, shear_pa: 1.03e9, poisson: 0.48, density_kg_m3: 616.0 };
/// The next board of the same stack, a little softer and lighter.
const RIGHT_WALNUT: Wood =
    Wood { along_pa: 11.8e9, across_pa: 1.25e9, shear_pa: 1.00e9, poisson: 0.48, density_kg_m3: 605.0 };
/// Sugar maple: E 13.9 GPa with the Handbook's tenth for shear, ratios 0.132 and 0.111, 706 kg/m3.
const MAPLE: Wood =
    Wood { along_pa: 13.2e9, across_pa: 1.78e9, shear_pa: 1.47e9, poisson: 0.424, density_kg_m3: 706.0 };
/// Damping ratios of bending along, across, and twist: of the order published for walnut along the grain (loss factor 0.008 to
/// 0.013, from memory), about twice that across.
const WALNUT_DAMPING: [f64; 3] = [0.0048, 0.0105, 0.0078];
const MAPLE_DAMPING: [f64; 3] = [0.0055, 0.0115, 0.0086];

#[derive(Clone, Copy)]
struct Wood {
    along_pa: f64,
    across_pa: f64,
    shear_pa: f64,
    poisson: f64,
    density_kg_m3: f64,
}

impl Wood {
    fn blank(&self, thickness_m: f64, damping: [f64; 3]) -> Blank {
        let mass_kg = self.density_kg_m3 * LENGTH_M * WIDTH_M * thickness_m;
        Blank {
            size: Size { length_m: LENGTH_M, width_m: WIDTH_M, thickness_m, mass_kg },
            constants: Constants {
                along_pa: self.along_pa,
                across_pa: self.across_pa,
                shear_pa: self.shear_pa,
                poisson: self.poisson,
            },
            damping,
        }
    }
}

/// The flat blanks, in the order of the bench.
pub fn example_blanks() -> [ExampleBlank; 3] {
    let of = |part, wood: &Wood, thickness_m, damping, thickness_mm| {
        let blank = wood.blank(thickness_m, damping);
        ExampleBlank { part, blank, thickness_mm, scale_g: (1e3 * blank.size.mass_kg).round() }
    };
    [
        of("left-blank", &WALNUT, WALNUT_M, WALNUT_DAMPING, "1.88 1.91 1.90 1.92"),
        of("right-blank", &RIGHT_WALNUT, RIGHT_WALNUT_M, WALNUT_DAMPING, "1.91 1.89 1.88 1.90"),
        of("maple-ply", &MAPLE, MAPLE_M, MAPLE_DAMPING, "1.40 1.39 1.42 1.40"),
    ]
}
