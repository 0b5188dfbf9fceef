//! The modes of one station tapped with several masses stuck on: which is which.

use super::added_mass::{AddedMassError, EffectiveMass, LoadedTone, effective_mass};
use crate::part::Measured;

/// A mode of one take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationTone {
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
    pub damping_ratio: f64,
    pub damping_ratio_u: f64,
    pub level_db: f64,
}

/// The modes of one take and the mass that was stuck on.
#[derive(Debug, Clone, PartialEq)]
pub struct StationTake {
    pub added: Measured,
    pub tones: Vec<StationTone>,
}

/// A mode of the bare part at a station, and what the masses tell of it.
#[derive(Debug, Clone, PartialEq)]
pub struct StationResult {
    pub tone: StationTone,
    pub effective: Result<EffectiveMass, String>,
}

/// A mass lowers a mode by at most this share between one take and the next heavier one.
const MOST_SHIFT: f64 = 0.12;
/// Modes weaker than this (dB re the strongest) are not followed.
const WEAKEST_DB: f64 = -35.0;

/// Follows each mode of the bare part through the takes with more and more mass.
///
/// # Errors
/// If there is no take without, or none with a mass.
pub fn follow_modes(takes: &[StationTake]) -> Result<Vec<StationResult>, AddedMassError> {
    let mut order: Vec<&StationTake> = takes.iter().filter(|t| !t.tones.is_empty()).collect();
    order.sort_by(|a, b| a.added.value.total_cmp(&b.added.value));
    let Some(bare) = order.iter().find(|t| t.added.value == 0.0) else {
        return Err(AddedMassError::NoBare);
    };
    if order.last().is_none_or(|t| t.added.value == 0.0) {
        return Err(AddedMassError::NoLoaded);
    }
    let loudest = bare.tones.iter().map(|t| t.level_db).fold(f64::NEG_INFINITY, f64::max);
    let mut results = Vec::new();
    let mut paths: Vec<Vec<usize>> = Vec::new();
    for tone in bare.tones.iter().filter(|t| t.level_db > loudest + WEAKEST_DB) {
        let mut followed = Vec::new();
        let mut path = Vec::new();
        let mut last: (f64, f64) = (0.0, tone.frequency_hz);
        let mut lost = false;
        for take in &order {
            if take.added.value == 0.0 {
                // Other takes without mass: the same mode within its uncertainty, or a thousandth.
                let near = |t: &&StationTone| {
                    let allowed = (4.0 * t.frequency_hz_u.hypot(tone.frequency_hz_u)).max(2e-3 * tone.frequency_hz);
                    (t.frequency_hz - tone.frequency_hz).abs() < allowed
                };
                if let Some(t) = take.tones.iter().filter(near).min_by(|a, b| {
                    (a.frequency_hz - tone.frequency_hz).abs().total_cmp(&(b.frequency_hz - tone.frequency_hz).abs())
                }) {
                    followed.push(loaded(&take.added, t));
                }
                continue;
            }
            let heavier = take.added.value > last.0 * 1.02;
            let reach = if heavier { MOST_SHIFT } else { 2e-3 };
            let near = |t: &(usize, &StationTone)| {
                t.1.frequency_hz < last.1 * 1.001 && t.1.frequency_hz > last.1 * (1.0 - reach)
            };
            let Some((place, found)) =
                take.tones.iter().enumerate().filter(near).max_by(|a, b| a.1.frequency_hz.total_cmp(&b.1.frequency_hz))
            else {
                lost = true;
                break;
            };
            followed.push(loaded(&take.added, found));
            path.push(place);
            last = (take.added.value, found.frequency_hz);
        }
        let effective = if lost {
            Err("not found again with the mass on".to_owned())
        } else {
            effective_mass(&followed).map_err(|e| e.to_string())
        };
        results.push(StationResult { tone: *tone, effective });
        paths.push(if lost { Vec::new() } else { path });
    }
    // One loaded mode cannot be two.
    for i in 0..results.len() {
        for j in i + 1..results.len() {
            if !paths[i].is_empty() && paths[i].iter().zip(&paths[j]).any(|(a, b)| a == b) {
                for k in [i, j] {
                    results[k].effective =
                        Err("two modes lie so close that they cannot be told apart with the mass on".into());
                }
            }
        }
    }
    Ok(results)
}

fn loaded(added: &Measured, tone: &StationTone) -> LoadedTone {
    LoadedTone { added: added.clone(), frequency_hz: tone.frequency_hz, frequency_hz_u: tone.frequency_hz_u }
}
