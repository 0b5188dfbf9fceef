//! What the plies and the joints of a stage lead to expect, set beside what was measured.

use crate::compare::Comparison;
use crate::part::{PartDescription, RimBuild};
use crate::plan::{Glue, Ply, RIM_BAND_HZ, RimRatios, RimWish, find_glue, forecast, rim_ratios};
use crate::rim::Outline;

/// What plies are glued with where nothing is said.
const USUAL_GLUE: &str = "epoxy";
const USUAL_FILM_M: f64 = 1e-4;

/// The plain board, and the plies of the stage that is compared with it, outermost first.
pub struct Plies<'a> {
    pub alone: &'a Ply,
    pub glued: &'a [Ply],
}

fn usual_glue() -> Result<(&'static Glue, f64), String> {
    find_glue(USUAL_GLUE).map(|glue| (glue, USUAL_FILM_M))
}

/// How stiff: by the best route that was measured.
fn stiffness_code(comparison: &Comparison) -> Option<&'static str> {
    let measured = |code: &str| comparison.whole.iter().any(|r| r.code == code);
    ["bending_stiffness", "stiffness_by_mass"].into_iter().find(|code| measured(code))
}

/// A side by itself: lamination theory.
pub fn predict_plies(comparison: &mut Comparison, plain: &PartDescription, other: &PartDescription, plies: &Plies<'_>) {
    let Ok(forecast) = usual_glue().and_then(|glue| forecast(plies.alone, plies.glued, Some(glue))) else { return };
    // A forecast is for a given area: of a side that was trimmed meanwhile the mass and EI say nothing of it.
    let trimmed = [(&plain.length, &other.length), (&plain.width, &other.width)]
        .iter()
        .any(|(a, b)| a.as_ref().zip(b.as_ref()).is_some_and(|(a, b)| (a.value / b.value - 1.0).abs() > 0.01));
    if trimmed {
        comparison.notes.push("its size changed: what the plies foretell of it is left out".into());
        return;
    }
    if let Some(code) = stiffness_code(comparison) {
        comparison.foretell(code, &forecast.stiffness_ratio);
    }
    comparison.foretell("mass", &forecast.mass_ratio);
    comparison.foretell("power_drawn", &forecast.power_ratio);
    comparison.notes.push(format!(
        "foretold: from the plies, glued with {USUAL_GLUE} of {} mm as is usual; power drawn as by an endless strip",
        1e3 * USUAL_FILM_M
    ));
}

/// A whole rim: the model of its wall (or why there is none), plies, blocks, linings and braces.
pub fn predict_rim(
    comparison: &mut Comparison,
    outline: Result<Outline, String>,
    station: &str,
    plies: &Plies<'_>,
    build: &RimBuild,
) {
    match outline.and_then(|outline| ratios(comparison, outline, station, plies, build)) {
        Ok((ratios, placed)) => {
            if let Some(code) = stiffness_code(comparison) {
                comparison.foretell(code, &ratios.stiffness);
            }
            comparison.foretell("mass", &ratios.mass);
            if let (true, Some(power)) = (placed, ratios.power.first()) {
                comparison.foretell("power_drawn", power);
            }
            comparison.notes.push(format!(
                "foretold: by the model of the rim's wall, free in the air, its plies glued with {USUAL_GLUE} of {} mm as is usual; blocks and \
                 linings of light hardwood",
                1e3 * USUAL_FILM_M
            ));
        }
        Err(why) => comparison.notes.push(format!("nothing is foretold of this rim: {why}")),
    }
}

/// The ratios, and whether the station lies on the outline.
fn ratios(
    comparison: &Comparison,
    outline: Outline,
    station: &str,
    plies: &Plies<'_>,
    build: &RimBuild,
) -> Result<(RimRatios, bool), String> {
    let share = outline.station(station);
    let stations = share.map(|s| (station.to_owned(), s)).into_iter().collect();
    let wish = RimWish::of_build(build, outline, stations, comparison.power_band_hz.unwrap_or(RIM_BAND_HZ))?;
    let ratios = rim_ratios(plies.alone, plies.glued, Some(usual_glue()?), &wish, build.joined())?;
    Ok((ratios, share.is_some()))
}
