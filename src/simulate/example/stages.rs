//! The bent side and the rims of the demonstration, stage by stage, as frames.

use super::chance::as_in_wood;
use super::woods::{laminated_side, plain_side};
use crate::part::LiningKind;
use crate::plan::{Layer, RIM_BAND_HZ, RimWish, SIDE_BRACE, joined, side_section};
use crate::rim::{Outline, Plane, Rim, RimMode, RimPiece, Section};

pub const OUTLINE: &str = "parlour";
const ELEMENTS: usize = 200;
/// Depth of the sides (m): even in the bent side, from tail to neck in the rims; `bench.toml` has the mean.
pub const DEPTH_M: f64 = 0.095;
const TAPER_M: (f64, f64) = (0.098, 0.092);
const BLOCK_M: f64 = 20e-3;
/// Damping ratios at low frequencies: the plies' own, and what joints add (assumed).
const PLAIN: f64 = 0.0052;
const LAMINATED: f64 = 0.0058;
const BRACED: f64 = 0.0082;
/// Stuck on one after the other (g): what `measure` advises, 4 % of the lightest modal mass at the spot (49, 94, 45, 87 and 270 g),
/// and twice that, in pieces that a shop has.
const LIGHT_G: &[f64] = &[2.0, 4.0];
const MIDDLING_G: &[f64] = &[4.0, 8.0];
const HEAVY_G: &[f64] = &[10.0, 20.0];

/// Modes that are looked for, and the band in which takes hold them (Hz).
const MODES: usize = 36;
pub const BAND_HZ: (f64, f64) = (40.0, 1200.0);

/// A stage of a part in the demonstration, as its frame model has it.
#[derive(Debug, Clone)]
pub struct ExampleStage {
    pub part: &'static str,
    pub stage: &'static str,
    pub rim: Rim,
    /// Of the modes in the plane by number, the mean over holdings; a mass stuck on leaves a mode's as it is.
    pub damping_ratios: Vec<f64>,
    /// Where it is tapped: name, node, and the masses (g) that are stuck on there, one after the other.
    pub stations: Vec<(&'static str, usize, &'static [f64])>,
}

impl ExampleStage {
    fn new(
        part: &'static str,
        stage: &'static str,
        rim: Rim,
        even: f64,
        stations: Vec<(&'static str, usize, &'static [f64])>,
    ) -> Option<Self> {
        let hz = rim.modes(Plane::In, MODES)?.into_iter().map(|m| (m.frequency_hz, even));
        let damping_ratios = as_in_wood(&format!("{part}, {stage}"), hz);
        Some(Self { part, stage, rim, damping_ratios, stations })
    }

    /// Modes in the plane by number, each with its damping ratio.
    pub fn all_modes(&self) -> Vec<(RimMode, f64)> {
        let modes = self.rim.modes(Plane::In, MODES).unwrap_or_default();
        modes.into_iter().zip(self.damping_ratios.iter().copied()).collect()
    }

    /// Modes in the plane that the takes hold, with a mass (kg) stuck on at a node: each with its damping ratio.
    pub fn modes(&self, node: usize, added_kg: f64) -> Vec<(RimMode, f64)> {
        let loaded = if added_kg > 0.0 { self.rim.clone().with_mass(node, added_kg) } else { self.rim.clone() };
        let modes = loaded.modes(Plane::In, MODES).unwrap_or_default();
        let both = modes.into_iter().zip(self.damping_ratios.iter().copied());
        both.filter(|(m, _)| (BAND_HZ.0..BAND_HZ.1).contains(&m.frequency_hz)).collect()
    }
}

/// Every bent side and rim of the demonstration.
pub fn example_stages() -> Vec<ExampleStage> {
    // The outline is one of our own and the plies are sound: the tests see that nothing is missing.
    stages().unwrap_or_default()
}

fn stages() -> Option<Vec<ExampleStage>> {
    let outline = Outline::named(OUTLINE).ok()?;
    let bout = outline.station("lower bout")?;
    let half: Vec<(f64, f64)> = (0..=100).map(|i| outline.at(f64::from(i) / 200.0)).collect();
    let mut all = Vec::new();
    for (stage, layers, even, masses_g) in
        [("bent", plain_side(1.0), PLAIN, LIGHT_G), ("laminated", laminated_side(1.0), LAMINATED, MIDDLING_G)]
    {
        let rim = Rim::open(&half, &side_section(&layers, DEPTH_M)?);
        let stations = vec![("lower-bout", (200.0 * bout).round() as usize, masses_g)];
        all.push(ExampleStage::new("left-side", stage, rim, even, stations)?);
    }
    for (part, stage, layers, even, loaded) in [
        ("rim", "plain", plain_side(1.0), PLAIN, Some(LIGHT_G)),
        ("rim", "laminated", laminated_side(1.0), LAMINATED, Some(MIDDLING_G)),
        ("rim", "braced", laminated_side(1.0), BRACED, Some(HEAVY_G)),
        // Two earlier guitars of the same pattern, their walnut a little softer and stiffer.
        ("rim-1", "braced", laminated_side(0.96), 1.05 * BRACED, None),
        ("rim-2", "braced", laminated_side(1.03), 0.97 * BRACED, None),
    ] {
        let rim = tapered(&layers, &outline, stage == "braced")?;
        let mut stations: Vec<(&str, usize, &'static [f64])> = vec![("lower-bout", rim.node_at(bout), &[])];
        // Masses go on the middle line, where a rim does not slide sideways.
        stations.extend(loaded.map(|masses_g| ("tail", rim.node_at(0.0), masses_g)));
        all.push(ExampleStage::new(part, stage, rim, even, stations)?);
    }
    Some(all)
}

/// A rim whose depth falls evenly from tail to neck; braced with blocks, kerfed linings and a side brace at either waist.
fn tapered(layers: &[Layer], outline: &Outline, braced: bool) -> Option<Rim> {
    let waist = outline.station("waist")?;
    let height_m = outline.at(0.5).1 - outline.at(0.0).1;
    let section_at = |share: f64| -> Option<Section> {
        let up = (outline.at(share).1 - outline.at(0.0).1) / height_m;
        let depth_m = TAPER_M.0 + (TAPER_M.1 - TAPER_M.0) * up;
        let side = side_section(layers, depth_m)?;
        if !braced {
            return Some(side);
        }
        let wish = RimWish {
            outline: outline.clone(),
            depth_m,
            block_m: Some(BLOCK_M),
            linings: LiningKind::Kerfed,
            held: false,
            braces: vec![waist, 1.0 - waist],
            brace: SIDE_BRACE,
            band_hz: RIM_BAND_HZ,
            stations: Vec::new(),
        };
        let (lined, pieces) = joined(&side, layers.iter().map(|l| l.thickness_m).sum(), &wish);
        let here = |p: &&RimPiece| [-1.0, 0.0, 1.0].iter().any(|turn| (p.from..p.to).contains(&(share + turn)));
        Some(pieces.iter().rev().find(here).map_or(lined, |p| p.section))
    };
    let piece = |i: usize| -> Option<RimPiece> {
        let (from, to) = (i as f64 / ELEMENTS as f64, (i + 1) as f64 / ELEMENTS as f64);
        Some(RimPiece { from, to, section: section_at(0.5 * (from + to))? })
    };
    let pieces: Vec<RimPiece> = (0..ELEMENTS).map(piece).collect::<Option<_>>()?;
    Some(Rim::closed(outline, ELEMENTS, &side_section(layers, DEPTH_M)?, &pieces))
}
