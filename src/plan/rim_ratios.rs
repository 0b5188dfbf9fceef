//! What a rim's stage is worth, times the plain rim: to stand beside what was measured.

use super::forecast::{Glue, Ply, forecast};
use super::rim_sections::RimWish;
use super::rim_stages::{MODEL_TONES, RimStage, rim_stages};
use crate::uncertainty::{Cause, Figure};

/// Ratios of a stage to the plain rim.
#[derive(Debug, Clone, PartialEq)]
pub struct RimRatios {
    pub mass: Figure,
    /// From the tones, squared, times the mass: the mean over the tones that a tap makes sound.
    pub stiffness: Figure,
    /// At each station.
    pub power: Vec<Figure>,
}

/// Tones that a tap on a rim makes sound (Hz).
const HEARD_HZ: (f64, f64) = (40.0, 1200.0);

/// The laminated rim, or with `joined` the one with its blocks, linings and braces, times the plain one.
///
/// # Errors
/// A sentence if a section has no stiffness.
pub fn rim_ratios(
    plain: &Ply,
    plies: &[Ply],
    glue: Option<(&Glue, f64)>,
    wish: &RimWish,
    joined: bool,
) -> Result<RimRatios, String> {
    let stages = rim_stages(plain, plies, glue, wish, None)?;
    let glued = forecast(plain, plies, glue)?;
    let (before, after) = (&stages[0], &stages[if joined { 2 } else { 1 }]);
    let mass = Figure::combine(&[&after.mass, &before.mass], |x| x[0] / x[1]);
    let (squared, differ) = tones_squared(before, after).ok_or("the rim has no tone that could be heard")?;
    let stiffness = squared * mass.value;
    // What is not known of the plies' stiffness the rim's does not know either.
    let scaled = glued.stiffness_ratio.map(|v| stiffness * v / glued.stiffness_ratio.value);
    Ok(RimRatios {
        // The model's lacks are much the same in both stages, though not quite; not so those of joints, of which the first has none.
        stiffness: scaled
            .plus_uncertainty(if joined { 2.0 } else { 1.0 } * MODEL_TONES * stiffness, Cause::RimModel)
            .plus_uncertainty(differ * stiffness, Cause::TonesDiffer),
        power: after.power.iter().map(|p| p.given_force.clone()).collect(),
        mass,
    })
}

/// Square of the ratio of the tones, the mean over those heard in both, and the standard deviation of its logarithm.
fn tones_squared(before: &RimStage, after: &RimStage) -> Option<(f64, f64)> {
    let heard = |hz: f64| (HEARD_HZ.0..HEARD_HZ.1).contains(&hz);
    let logs: Vec<f64> = before
        .modes
        .iter()
        .zip(&after.modes)
        .filter(|(a, b)| heard(a.frequency_hz) && heard(b.frequency_hz))
        .map(|(a, b)| 2.0 * (b.frequency_hz / a.frequency_hz).ln())
        .collect();
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    let variance = logs.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (logs.len() > 1).then(|| (mean.exp(), variance.sqrt()))
}
