//! The bent side and the rims of the demonstration, stage by stage, as solid bodies.

use super::chance::as_in_wood;
use super::solids::{SPOTS, Solid, SolidMode};

pub const OUTLINE: &str = "parlour";
/// Depth of the sides (m): even in the bent side; the rims' falls from 98 mm at the tail to 92 mm at the neck. `bench.toml` has the mean.
pub const DEPTH_M: f64 = 0.095;
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
const MODES: usize = 60;
pub const BAND_HZ: (f64, f64) = (40.0, 1200.0);

/// A stage of a part in the demonstration, as finite elements have it.
#[derive(Debug, Clone)]
pub struct ExampleStage {
    pub part: &'static str,
    pub stage: &'static str,
    pub solid: Solid,
    /// Of the modes in the plane by number, the mean over holdings; a mass stuck on leaves a mode's as it is.
    pub damping_ratios: Vec<f64>,
    /// Where it is tapped: name, and the masses (g) that are stuck on there, one after the other.
    pub stations: Vec<(&'static str, &'static [f64])>,
}

impl ExampleStage {
    fn new(
        part: &'static str,
        stage: &'static str,
        even: f64,
        stations: Vec<(&'static str, &'static [f64])>,
    ) -> Option<Self> {
        let solid = Solid::of(part, stage)?;
        let hz = solid.modes(0, 0.0).into_iter().take(MODES).map(|m| (m.frequency_hz, even));
        let damping_ratios = as_in_wood(&format!("{part}, {stage}"), hz);
        Some(Self { part, stage, solid, damping_ratios, stations })
    }

    /// Modes in the plane by number at a spot, with a mass (kg) stuck on there: each with its damping ratio.
    pub fn all_modes(&self, station: &str, added_kg: f64) -> Vec<(SolidMode, f64)> {
        let spot = SPOTS.iter().position(|s| *s == station);
        let modes = spot.map_or(Vec::new(), |spot| self.solid.modes(spot, added_kg));
        modes.into_iter().zip(self.damping_ratios.iter().copied()).collect()
    }

    /// Those that the takes hold.
    pub fn modes(&self, station: &str, added_kg: f64) -> Vec<(SolidMode, f64)> {
        let mut modes = self.all_modes(station, added_kg);
        modes.retain(|(m, _)| (BAND_HZ.0..BAND_HZ.1).contains(&m.frequency_hz));
        modes
    }
}

/// Every bent side and rim of the demonstration.
pub fn example_stages() -> Vec<ExampleStage> {
    // All of them are in the table: the tests see that nothing is missing.
    stages().unwrap_or_default()
}

fn stages() -> Option<Vec<ExampleStage>> {
    let mut all = Vec::new();
    for (stage, even, masses_g) in [("bent", PLAIN, LIGHT_G), ("laminated", LAMINATED, MIDDLING_G)] {
        all.push(ExampleStage::new("left-side", stage, even, vec![("lower-bout", masses_g)])?);
    }
    for (part, stage, even, loaded) in [
        ("rim", "plain", PLAIN, Some(LIGHT_G)),
        ("rim", "laminated", LAMINATED, Some(MIDDLING_G)),
        ("rim", "braced", BRACED, Some(HEAVY_G)),
        // Two earlier guitars of the same pattern, their walnut a little softer and stiffer.
        ("rim-1", "braced", 1.05 * BRACED, None),
        ("rim-2", "braced", 0.97 * BRACED, None),
    ] {
        let mut stations: Vec<(&str, &'static [f64])> = vec![("lower-bout", &[])];
        // Masses go on the middle line, where a rim does not slide sideways.
        stations.extend(loaded.map(|masses_g| ("tail", masses_g)));
        all.push(ExampleStage::new(part, stage, even, stations)?);
    }
    Some(all)
}
