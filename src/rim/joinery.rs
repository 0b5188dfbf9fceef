//! What is glued inside a rim's sides, as parts of its shell: linings along both edges, blocks, braces.

use super::sheet::Bar;
use super::shell::{Leaf, Shell, Wall};

/// Wood of linings, blocks and braces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightWood {
    /// Moduli along the grain and of shear (Pa); density (kg/m3).
    pub along_pa: f64,
    pub shear_pa: f64,
    pub density_kg_m3: f64,
}

/// A strip along each edge, of some thickness, so high (m).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lining {
    pub thickness_m: f64,
    pub high_m: f64,
    pub kerfed: bool,
    pub wood: LightWood,
}

/// How much softer such wood is across its grain, its contraction across per strain along, and its rolling shear over its shear
/// (common practice, no source).
const ACROSS: f64 = 12.0;
const POISSON: f64 = 0.37;
const ROLLING: f64 = 0.2;
/// Kerfed linings: cuts so wide, one every so much, down to a web that is glued to the side; they are open to the inside of the
/// guitar (common practice; the reversed kind, which has its web inside, is stiffer).
const KERF_M: f64 = 1.5e-3;
const PITCH_M: f64 = 8e-3;
const WEB_M: f64 = 1e-3;

/// See [`Wall::into_block_m`].
const INTO_BLOCK: f64 = 0.95;
const INTO_BLOCK_LINED: f64 = 0.5;
const INTO_BLOCK_MOST: f64 = 2.0;

impl LightWood {
    /// Its grain along the rim.
    fn lying(&self, thickness_m: f64) -> Leaf {
        let across = self.along_pa / ACROSS;
        Leaf::wood(thickness_m, self.along_pa, across, self.shear_pa, POISSON, self.density_kg_m3)
    }

    /// Its grain up the depth.
    fn upright(&self, thickness_m: f64) -> Leaf {
        let across = self.along_pa / ACROSS;
        let leaf = Leaf::wood(thickness_m, across, self.along_pa, self.shear_pa, POISSON / ACROSS, self.density_kg_m3);
        Leaf { through_pa: ROLLING * self.shear_pa, ..leaf }
    }
}

/// By how much (m) the blocks between the kerfs make the web thicker, for stretching and bending alike: from a period of side, web
/// and blocks in plane stress by finite elements (`tests/outside/fem/kerfs.py`, `kerfs.csv`). The blocks' height and the side's thickness
/// hardly matter: the formula is within 5 % of all of them there, which is a hundredth of a millimetre.
fn web_and_blocks_m(wood: &LightWood) -> f64 {
    0.433e-3 * (wood.shear_pa / wood.along_pa).powf(0.26)
}

impl Wall {
    /// A side with linings along both its edges.
    pub fn lined(side: &Shell, depth_m: f64, lining: &Lining) -> Self {
        let leaf = lining.wood.lying(lining.thickness_m);
        let edge = if lining.kerfed && lining.thickness_m > 2.0 * WEB_M {
            let web_m = WEB_M + web_and_blocks_m(&lining.wood);
            let share = 1.0 - KERF_M / PITCH_M;
            let rest_m = lining.thickness_m - web_m;
            let wood_m = WEB_M + share * (lining.thickness_m - WEB_M);
            // Up the depth the blocks are whole.
            let mut blocks = Leaf {
                thickness_m: rest_m,
                density_kg_m3: leaf.density_kg_m3 * (wood_m - web_m) / rest_m,
                through_pa: 0.0,
                ..leaf
            };
            let up_pa = share * leaf.stiffness_pa[(1, 1)];
            blocks.stiffness_pa.fill(0.0);
            blocks.stiffness_pa[(1, 1)] = up_pa;
            let webbed = side.with_inside(&Leaf { thickness_m: web_m, ..leaf });
            webbed.stubby(lining.high_m, webbed.thickness_m()).with_inside(&blocks)
        } else {
            let both = side.with_inside(&leaf);
            both.stubby(lining.high_m, both.thickness_m())
        };
        Self { depth_m, middle: *side, edge, edge_m: lining.high_m.min(0.45 * depth_m) }
    }

    /// A side with a block of some thickness (m) over its whole depth, its grain up; linings end at it.
    pub fn blocked(side: &Shell, depth_m: f64, thickness_m: f64, wood: &LightWood) -> Self {
        Self::even(&side.with_inside(&wood.upright(thickness_m)), depth_m)
    }

    /// The same stiffness, weighing as another.
    pub fn weighing(&self, other: &Self) -> Self {
        let as_heavy = |shell: &Shell, other: &Shell| Shell { mass: other.mass, ..*shell };
        Self { middle: as_heavy(&self.middle, &other.middle), edge: as_heavy(&self.edge, &other.middle), ..*self }
    }

    /// How far (m) into a block this wall bends on as if the block were not there: stress must spread through the soft grain of its end.
    ///
    /// A strip on an elastic bed gives the length, (D thickness/E)^(1/4); its factors are fitted to solids (the even rims of
    /// `tests/outside/fem/rims_built.csv`): linings end at the block, and the more they carried the farther it has to go.
    pub fn into_block_m(&self, block_m: f64, wood: &LightWood) -> f64 {
        let bands = 2.0 * self.edge_m / self.depth_m;
        let strip = self.middle.strip() * (1.0 - bands) + self.edge.strip() * bands;
        let bed = (strip * block_m * ACROSS / wood.along_pa).powf(0.25);
        let stiffer = (self.edge.strip() / self.middle.strip()).ln();
        bed * (INTO_BLOCK + INTO_BLOCK_LINED * stiffer).min(INTO_BLOCK_MOST)
    }

    /// With an upright bar glued on between the linings, or over the whole depth without them, spread over the stretch that it stands
    /// for. `share` is the bar's width over that of the stretch.
    pub fn braced(&self, bar: &Bar, share: f64) -> Self {
        let wood = LightWood { along_pa: bar.along_pa, shear_pa: bar.shear_pa(), density_kg_m3: bar.density_kg_m3 };
        let leaf = wood.upright(bar.height_m);
        let spread = Leaf {
            stiffness_pa: leaf.stiffness_pa * share,
            through_pa: leaf.through_pa * share,
            density_kg_m3: leaf.density_kg_m3 * share,
            ..leaf
        };
        self.with_middle_inside(&spread)
    }
}
