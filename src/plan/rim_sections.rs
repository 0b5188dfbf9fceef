//! What a rim's side is made of from stretch to stretch: plies, linings, blocks and braces, as sections of the rim's model.

use super::laminate::{Laminate, Layer, laminate};
use crate::part::LiningKind;
use crate::rim::{Bar, Outline, Rim, RimPiece, Section, Sheet};

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
    /// Side braces, from plate to plate: their shares of the way around, and what they are.
    pub braces: Vec<f64>,
    pub brace: Bar,
    /// Names, and shares of the way around.
    pub stations: Vec<(String, f64)>,
    /// Over which the mobility is averaged (Hz).
    pub band_hz: (f64, f64),
}

/// The band that a plan averages over (Hz).
pub const RIM_BAND_HZ: (f64, f64) = (80.0, 1000.0);
pub(super) const ELEMENTS: usize = 200;
/// Linings 6 by 14 mm, blocks 60 mm long, of light hardwood (common practice, no source): E (Pa), G (Pa), density (kg/m3).
const LINING_M: (f64, f64) = (6e-3, 14e-3);
const KERF_WEB_M: f64 = 1e-3;
const BLOCK_LENGTH_M: f64 = 60e-3;
const LIGHT: (f64, f64, f64) = (9e9, 0.7e9, 470.0);
/// How much softer it is across its grain (common practice, no source).
const ACROSS: f64 = 12.0;
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
        ..section
    })
}

/// The same, its bending so many times as stiff: by what a shop's laminations were worth.
pub(super) fn as_the_shop_makes_it(side: &Section, factor: f64) -> Section {
    Section {
        in_plane_n_m2: factor * side.in_plane_n_m2,
        torsion_n_m2: factor * side.torsion_n_m2,
        warping_n_m4: factor * side.warping_n_m4,
        sheet: side.sheet.map(|s| Sheet { bending: s.bending.map(|d| factor * d), ..s }),
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
    let (young, shear, density) = LIGHT;
    let (thick, high) = LINING_M;
    let lined = match wish.linings {
        LiningKind::None => *side,
        LiningKind::Kerfed => {
            let web = Section::strip(KERF_WEB_M, high, young, shear, density * thick / KERF_WEB_M);
            side.edged(&web, wish.depth_m - high)
        }
        LiningKind::Solid => side.edged(&Section::strip(thick, high, young, shear, density), wish.depth_m - high),
    };
    let mut pieces: Vec<RimPiece> = wish.braces.iter().map(|share| brace(&lined, thickness_m, wish, *share)).collect();
    if let Some(block) = wish.block_m {
        // The grain of blocks runs up their depth.
        let sheet = Sheet::upright(block, young, young / ACROSS, shear, density);
        let block = Section { sheet: Some(sheet), ..Section::strip(block, wish.depth_m, young, shear, density) };
        let blocked = lined.beside(&block);
        let half = 0.5 * BLOCK_LENGTH_M / wish.outline.length_m();
        pieces.extend([0.0, 0.5].map(|middle| RimPiece { from: middle - half, to: middle + half, section: blocked }));
    }
    (lined, pieces)
}

/// A side brace as the one element that it stands in.
fn brace(side: &Section, thickness_m: f64, wish: &RimWish, share: f64) -> RimPiece {
    let element = (share.rem_euclid(1.0) * ELEMENTS as f64).floor();
    let spread = wish.brace.width_m * ELEMENTS as f64 / wish.outline.length_m();
    let mut section = *side;
    section.sheet = side.sheet.map(|sheet| sheet.braced(thickness_m, &wish.brace, spread));
    section.mass_per_length_kg_m += spread * wish.brace.density_kg_m3 * wish.brace.height_m * wish.depth_m;
    RimPiece { from: element / ELEMENTS as f64, to: (element + 1.0) / ELEMENTS as f64, section }
}

pub(super) fn total(layers: &[Layer]) -> f64 {
    layers.iter().map(|l| l.thickness_m).sum()
}

/// The rim of a section and pieces, free or with its edges held.
pub(super) fn made(wish: &RimWish, section: &Section, pieces: &[RimPiece]) -> Rim {
    let rim = Rim::closed(&wish.outline, ELEMENTS, section, pieces);
    if wish.held { rim.held(wish.depth_m) } else { rim }
}
