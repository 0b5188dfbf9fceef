//! What stuck-on masses tell of the spots that were tapped with and without them.

use super::lowest_mode::lowest_is_known;
use super::spot_motion::{NO_MOBILITY_ACROSS, motion_of};
use super::stage::{StageTake, bare_of, mobility_of};
use crate::loss::{Mobility, PowerRatios, TopEdge, compliance, power_ratios};
use crate::part::{Deflection, PartDescription};
use crate::stiffness::{MassAdvice, StationResult, StationTake, static_stiffness, station_masses};
use crate::uncertainty::{Figure, student_factor_one_sided};

/// A spot that was tapped with and without added masses.
#[derive(Debug, Clone, Default)]
pub struct SpotFindings {
    /// Part, stage and station; where the bench lies is left out.
    pub station: String,
    /// Added masses (kg), 0 for none, ascending.
    pub added_kg: Vec<f64>,
    /// Why nothing (or no modal mass) is known, in words.
    pub error: Option<String>,
    /// Modes of the bare part, by frequency.
    pub results: Vec<StationResult>,
    /// Whether it may slide along as it moves to and fro: what holds for all its motion is then only a limit for that across.
    pub may_slide: bool,
    /// Which masses would do, for the strongest mode.
    pub advice: Option<MassAdvice>,
    /// The same, if a modal mass is missing or not known well.
    pub advice_if_wanted: Option<MassAdvice>,
    /// The mobility, where a modal mass is known.
    pub mobility: Option<Mobility>,
    /// Where it may slide: a band (Hz) and what the mean of the mobility's real part across is at most there (m/(N s), one-sided 95 %).
    pub mean_mobility_at_most: Option<((f64, f64), f64)>,
    /// How far the spot gives under a push across (m/N), rigid motion left out; or why that is not known, in words.
    pub compliance: Option<Result<Figure, String>>,
    /// Stiffness from a weight and a dial (N/m).
    pub static_stiffness: Option<Figure>,
    /// The power that it draws, against the first spot.
    pub power: Option<PowerDrawn>,
}

/// Power drawn from an edge of given force, relative to a baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerDrawn {
    pub baseline: String,
    pub ratios: PowerRatios,
}

/// What a station's place is called: part, stage and station name it; where the bench lies does not.
pub fn station_name(place: &str) -> String {
    let names: Vec<&str> = place.split('/').filter(|n| !n.is_empty()).collect();
    names[names.len().saturating_sub(3)..].join("/")
}

/// The spots among some takes that were tapped with a mass stuck on, in the order in which they come first. `part_at`: the part that a
/// place is on, where it is described.
pub fn spots<'a, 'p>(
    takes: impl IntoIterator<Item = &'a StageTake>,
    part_at: impl Fn(&str) -> Option<&'p PartDescription>,
    deflection: Option<&Deflection>,
) -> Vec<SpotFindings> {
    let mut places: Vec<(&str, Vec<StageTake>)> = Vec::new();
    for take in takes {
        let place = take.station.place.as_str();
        match places.iter_mut().find(|(known, _)| *known == place) {
            Some((_, known)) => known.push(take.clone()),
            None => places.push((place, vec![take.clone()])),
        }
    }
    places.retain(|(_, takes)| takes.iter().any(StageTake::is_loaded));
    // One weight on one place: it cannot belong to several.
    let deflection = deflection.filter(|_| places.len() == 1);
    places.into_iter().map(|(place, takes)| spot(place, &takes, part_at(place), deflection)).collect()
}

fn spot(
    place: &str,
    of_stage: &[StageTake],
    part: Option<&PartDescription>,
    deflection: Option<&Deflection>,
) -> SpotFindings {
    let motion = &motion_of(place, part);
    let takes: &[StationTake] = &of_stage.iter().map(StageTake::at_station).collect::<Vec<_>>();
    let mut added_kg: Vec<f64> = takes.iter().map(|t| t.added.value).collect();
    added_kg.sort_by(f64::total_cmp);
    added_kg.dedup();
    let known = SpotFindings {
        station: station_name(place),
        added_kg,
        may_slide: motion.may_slide,
        static_stiffness: deflection.map(|d| static_stiffness(&d.weight, &d.reading)),
        ..SpotFindings::default()
    };
    match station_masses(takes, motion) {
        Err(error) => SpotFindings { error: Some(error.to_string()), ..known },
        Ok(found) => {
            let known = SpotFindings { advice: found.advice, advice_if_wanted: found.advice_if_wanted(), ..known };
            match mobility_of(&found, place, part) {
                // All motion moves at least as readily as that across alone.
                Ok(of_all) if motion.may_slide => SpotFindings {
                    mean_mobility_at_most: Some((of_all.band_hz, at_most_95(&of_all.mean_real(of_all.band_hz)))),
                    results: found.modes,
                    error: Some(format!("no mobility and no power drawn: {NO_MOBILITY_ACROSS}")),
                    ..known
                },
                Ok(mobility) => {
                    let lowest = lowest_is_known(place, &bare_of(of_stage), &found.modes, part);
                    let compliance = Some(lowest.map(|()| compliance(&mobility)));
                    SpotFindings { results: found.modes, mobility: Some(mobility), compliance, ..known }
                }
                Err(why) => SpotFindings { results: found.modes, error: Some(why), ..known },
            }
        }
    }
}

/// One-sided 95 % limit.
fn at_most_95(figure: &Figure) -> f64 {
    figure.value + student_factor_one_sided(figure.dof()) * figure.u()
}

/// Sets the power that each spot draws against the first of them.
pub fn against_first(spots: &mut [SpotFindings]) {
    let Some((first, rest)) = spots.split_first_mut() else { return };
    let Some(baseline) = &first.mobility else { return };
    for spot in rest {
        let ratios = spot.mobility.as_ref().and_then(|own| power_ratios(baseline, own, &TopEdge::Unknown));
        spot.power = ratios.map(|ratios| PowerDrawn { baseline: first.station.clone(), ratios });
    }
}
