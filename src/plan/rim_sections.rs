//! What a rim's side is made of from stretch to stretch: plies, linings, blocks and braces, as sections of the rim's model.

use super::forecast::{Glue, Ply, layers_of};
use super::laminate::{Laminate, Layer, laminate, stiffness_matrix};
use crate::part::{LiningKind, RimBuild};
use crate::rim::{Bar, Leaf, LightWood, Lining, Outline, Rim, RimPiece, Section, Sheet, Shell, Wall, places_on};

/// What the rim is to be.
#[derive(Debug, Clone, PartialEq)]
pub struct RimWish {
    pub outline: Outline,
    /// Depth of the sides (m).
    pub depth_m: f64,
    /// Thickness of neck and tail block (m); none without.
    pub block_m: Option<f64>,
    /// Strips along both edges for the plates to be glued to.
    pub linings: LiningKind,
    /// The plates hold the sides' edges; else the rim is free.
    pub held: bool,
    /// Side braces, between the linings or from plate to plate without them: their shares of the way around, and what they are.
    pub braces: Vec<f64>,
    pub brace: Bar,
    /// Names, and shares of the way around.
    pub stations: Vec<(String, f64)>,
    /// Over which the mobility is averaged (Hz).
    pub band_hz: (f64, f64),
}

impl RimWish {
    /// A free rim as a part's description has it, with the usual braces, on an outline.
    ///
    /// # Errors
    /// A sentence if a brace stands nowhere on the outline.
    pub fn of_build(
        build: &RimBuild,
        outline: Outline,
        stations: Vec<(String, f64)>,
        band_hz: (f64, f64),
    ) -> Result<Self, String> {
        let braces = build.braces.as_deref().map_or(Ok(Vec::new()), |names| places_on(&outline, names))?;
        Ok(Self {
            depth_m: build.depth_m,
            block_m: build.block_m,
            linings: build.linings,
            held: false,
            braces: braces.iter().flat_map(|(_, share)| [*share, 1.0 - share]).collect(),
            brace: SIDE_BRACE,
            stations,
            band_hz,
            outline,
        })
    }
}

/// The band that a plan averages over (Hz).
pub const RIM_BAND_HZ: (f64, f64) = (80.0, 1000.0);
pub(super) const ELEMENTS: usize = 200;
const BLOCK_LENGTH_M: f64 = 60e-3;
const LIGHT: LightWood = LightWood { along_pa: 9e9, shear_pa: 0.7e9, density_kg_m3: 470.0 };
/// How much softer it is across its grain (common practice, no source).
const ACROSS: f64 = 12.0;

/// Sizes and woods of what is glued inside a rim, as assumed where nobody says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Joinery {
    /// Thickness and height of a lining (m), and its wood.
    pub lining_m: (f64, f64),
    pub lining: LightWood,
    /// Length of a block along the rim (m), and its wood.
    pub block_length_m: f64,
    pub block: LightWood,
}

/// Linings 6 by 14 mm, blocks 60 mm long, of light hardwood (common practice, no source).
pub const JOINERY: Joinery =
    Joinery { lining_m: (6e-3, 14e-3), lining: LIGHT, block_length_m: BLOCK_LENGTH_M, block: LIGHT };

/// A usual side brace, of light softwood (common practice, no source).
pub const SIDE_BRACE: Bar = Bar { width_m: 8e-3, height_m: 5e-3, along_pa: 10e9, density_kg_m3: 400.0 };

/// A side of some layers, upright: `None` if the layers are not sound.
pub fn side_section(layers: &[Layer], depth_m: f64) -> Option<Section> {
    let glued = laminate(layers)?;
    let total: f64 = layers.iter().map(|l| l.thickness_m).sum();
    let mean = |of: &dyn Fn(&Layer) -> f64| layers.iter().map(|l| of(l) * l.thickness_m).sum::<f64>() / total;
    let section =
        Section::strip(total, depth_m, mean(&|l| l.along_pa), mean(&|l| l.shear_pa), mean(&|l| l.density_kg_m3));
    Some(Section {
        in_plane_n_m2: glued.strip_along * depth_m,
        torsion_n_m2: 4.0 * glued.d[(2, 2)] * depth_m,
        warping_n_m4: glued.strip_along * depth_m.powi(3) / 12.0,
        sheet: Some(sheet_of(&glued)),
        ..section.with_wall(&Wall::even(&Shell::side(&layers.iter().map(leaf).collect::<Vec<_>>()), depth_m))
    })
}

/// A layer in the side's axes.
pub(super) fn leaf(layer: &Layer) -> Leaf {
    Leaf {
        thickness_m: layer.thickness_m,
        stiffness_pa: stiffness_matrix(layer),
        through_pa: layer.shear_pa,
        density_kg_m3: layer.density_kg_m3,
    }
}

/// The same, its bending so many times as stiff: by what a shop's laminations were worth.
pub(super) fn as_the_shop_makes_it(side: &Section, factor: f64) -> Section {
    Section {
        in_plane_n_m2: factor * side.in_plane_n_m2,
        torsion_n_m2: factor * side.torsion_n_m2,
        warping_n_m4: factor * side.warping_n_m4,
        sheet: side.sheet.map(|s| Sheet { bending: s.bending.map(|d| factor * d), ..s }),
        wall: side.wall.map(|w| Wall::even(&w.middle.bent_by(factor), w.depth_m)),
        ..*side
    }
}

/// A laminate as a sheet that bends about its own neutral axis: D - B A^-1 B (the reduced bending stiffness of laminates, Ashton).
fn sheet_of(glued: &Laminate) -> Sheet {
    let bending = glued.a.try_inverse().map_or(glued.d, |inverse| glued.d - glued.b * inverse * glued.b);
    let parts = |m: &nalgebra::Matrix3<f64>| [m[(0, 0)], m[(0, 1)], m[(1, 1)], m[(2, 2)]];
    Sheet { bending: parts(&bending), stretching: parts(&glued.a), mass_per_area_kg_m2: glued.mass_per_area }
}

/// Neck and tail blocks, linings and braces added to a side so thick, as pieces over the whole rim.
pub fn joined(side: &Section, thickness_m: f64, wish: &RimWish) -> (Section, Vec<RimPiece>) {
    joined_of(side, thickness_m, wish, &JOINERY)
}

/// The same, of other sizes and woods.
pub fn joined_of(side: &Section, thickness_m: f64, wish: &RimWish, joinery: &Joinery) -> (Section, Vec<RimPiece>) {
    // Of a side that is no shell nothing else can be said.
    let Some(wall) = side.wall else { return (*side, Vec::new()) };
    let shell = wall.middle;
    let (thick, high) = joinery.lining_m;
    let lining = |kerfed| Lining { thickness_m: thick, high_m: high, kerfed, wood: joinery.lining };
    let lined_wall = match wish.linings {
        LiningKind::None => wall,
        LiningKind::Kerfed => Wall::lined(&shell, wish.depth_m, &lining(true)),
        LiningKind::Solid => Wall::lined(&shell, wish.depth_m, &lining(false)),
    };
    // What runs along the edges stands still where they are held: their sheet is the side's.
    let lined = side.with_wall(&lined_wall);
    let mut pieces: Vec<RimPiece> = wish.braces.iter().map(|share| brace(&lined, thickness_m, wish, *share)).collect();
    if let Some(block) = wish.block_m {
        // The grain of blocks runs up their depth.
        let LightWood { along_pa, shear_pa, density_kg_m3 } = joinery.block;
        let sheet = Sheet::upright(block, along_pa, along_pa / ACROSS, shear_pa, density_kg_m3);
        let blocked = Wall::blocked(&shell, wish.depth_m, block, &joinery.block);
        let sheet = side.sheet.map(|s| s.beside(&sheet));
        let of = |wall: &Wall| Section { sheet, ..side.with_wall(wall) };
        let limp = lined_wall.weighing(&blocked);
        let length_m = joinery.block_length_m;
        let into_m = lined_wall.into_block_m(block, &joinery.block).min(0.45 * length_m);
        for (long_m, section) in [(length_m, of(&limp)), (length_m - 2.0 * into_m, of(&blocked))] {
            let half = 0.5 * long_m / wish.outline.length_m();
            pieces.extend([0.0, 0.5].map(|middle| RimPiece { from: middle - half, to: middle + half, section }));
        }
    }
    (lined, pieces)
}

/// A side brace as the one element that it stands in: between the linings, if there are any.
fn brace(side: &Section, thickness_m: f64, wish: &RimWish, share: f64) -> RimPiece {
    let element = (share.rem_euclid(1.0) * ELEMENTS as f64).floor();
    let spread = wish.brace.width_m * ELEMENTS as f64 / wish.outline.length_m();
    let braced = side.wall.map_or(*side, |wall| side.with_wall(&wall.braced(&wish.brace, spread)));
    let sheet = side.sheet.map(|sheet| sheet.braced(thickness_m, &wish.brace, spread));
    let section = Section { sheet, ..braced };
    RimPiece { from: element / ELEMENTS as f64, to: (element + 1.0) / ELEMENTS as f64, section }
}

pub(super) fn total(layers: &[Layer]) -> f64 {
    layers.iter().map(|l| l.thickness_m).sum()
}

/// The rim of some plies, with its blocks, linings and braces or without them. `None` if a layer is not sound.
pub fn rim_of(plies: &[Ply], glue: Option<(&Glue, f64)>, wish: &RimWish, with_joints: bool) -> Option<Rim> {
    let layers = layers_of(plies, glue);
    let side = side_section(&layers, wish.depth_m)?;
    let (section, pieces) = if with_joints { joined(&side, total(&layers), wish) } else { (side, Vec::new()) };
    Some(made(wish, &section, &pieces))
}

/// The rim of a section and pieces, free or with its edges held.
pub(super) fn made(wish: &RimWish, section: &Section, pieces: &[RimPiece]) -> Rim {
    let rim = Rim::closed(&wish.outline, ELEMENTS, section, pieces);
    if wish.held { rim.held(wish.depth_m) } else { rim }
}
