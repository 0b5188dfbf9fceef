//! The modes of one station tapped with several masses stuck on: which is which.

use super::added_mass::{AddedMassError, EffectiveMass, LoadedTone, effective_mass};
use super::station_masses::{Shifted, solve};
use crate::part::{Measured, Source};

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
/// No shift is trusted to better than this (relative), so that one very clear mode does not outweigh the others' share in the
/// common unknowns.
const SHIFT_TRUST: f64 = 2e-3;
/// What modes that were not heard may still do to a modal mass (relative, standard uncertainty): the lowest and highest mode of
/// the band have unheard neighbours, the others do not. Of the order of the errors against finite elements (tests/outside).
const INNER_MODE: f64 = 0.003;
const EDGE_MODE: f64 = 0.01;
/// The same with one mass only, where the common unknowns are guessed.
const ONE_MASS: f64 = 0.02;
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
    let mut all_followed: Vec<Vec<LoadedTone>> = Vec::new();
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
        all_followed.push(followed);
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
    together(&mut results, &all_followed);
    Ok(results)
}

/// Modes that were followed through every mass, solved together: what the mass does to one mode depends on the others.
fn together(results: &mut [StationResult], followed: &[Vec<LoadedTone>]) {
    let places: Vec<usize> = (0..results.len()).filter(|i| results[*i].effective.is_ok()).collect();
    if places.len() < 2 {
        return;
    }
    let bare: Vec<(f64, f64)> = places
        .iter()
        .filter_map(|i| results[*i].effective.as_ref().ok().map(|e| (e.frequency.value, e.frequency.u())))
        .collect();
    let tau = std::f64::consts::TAU;
    // One input for each bare frequency, each loaded frequency, each mass.
    let loaded: Vec<(usize, &LoadedTone)> = places
        .iter()
        .enumerate()
        .flat_map(|(mode, place)| followed[*place].iter().filter(|t| t.added.value > 0.0).map(move |t| (mode, t)))
        .collect();
    let masses_of = |bare: &dyn Fn(usize) -> f64, tone: &dyn Fn(usize) -> f64, added: &dyn Fn(usize) -> f64| {
        let omegas: Vec<f64> = (0..places.len()).map(|m| tau * bare(m)).collect();
        let shifted: Vec<Shifted> = loaded
            .iter()
            .enumerate()
            .map(|(row, (mode, t))| {
                let gap = (1.0 - (t.frequency_hz / self::bare_of(&places, results, *mode)).powi(2)).abs().max(1e-9);
                let u = 2.0 * (t.frequency_hz_u / t.frequency_hz).hypot(self::bare_u_of(&places, results, *mode)) / gap;
                Shifted { mode: *mode, added_kg: added(row), omega: tau * tone(row), relative_u: u.hypot(SHIFT_TRUST) }
            })
            .collect();
        solve(&omegas, &shifted)
    };
    let (f0, f, d) = (|m: usize| bare[m].0, |r: usize| loaded[r].1.frequency_hz, |r: usize| loaded[r].1.added.value);
    let Some(centre) = masses_of(&f0, &f, &d) else { return };
    let mut parts: Vec<Vec<(Source, f64)>> = vec![Vec::new(); places.len()];
    let mut squares = vec![0.0; places.len()];
    for m in 0..places.len() {
        let moved = masses_of(&|k| if k == m { bare[k].0 + bare[k].1 } else { bare[k].0 }, &f, &d);
        let Some(moved) = moved else { return };
        squares.iter_mut().zip(moved.iter().zip(&centre)).for_each(|(s, (a, b))| *s += (a - b).powi(2));
    }
    for row in 0..loaded.len() {
        let shifted = |k: usize| f(k) + if k == row { loaded[k].1.frequency_hz_u } else { 0.0 };
        let Some(moved) = masses_of(&f0, &shifted, &d) else { return };
        squares.iter_mut().zip(moved.iter().zip(&centre)).for_each(|(s, (a, b))| *s += (a - b).powi(2));
    }
    // The same mass is on in all modes: each of its sources moves them together.
    let mut sources: Vec<Source> = loaded.iter().flat_map(|(_, t)| t.added.parts().map(|(s, _)| s.clone())).collect();
    sources.sort();
    sources.dedup();
    for source in sources {
        let heavier =
            |k: usize| d(k) + loaded[k].1.added.parts().find(|(s, _)| **s == source).map_or(0.0, |(_, part)| part);
        let Some(moved) = masses_of(&f0, &f, &heavier) else { return };
        for (parts, (a, b)) in parts.iter_mut().zip(moved.iter().zip(&centre)) {
            parts.push((source.clone(), a - b));
        }
    }
    let distinct = {
        let mut all: Vec<f64> = loaded.iter().map(|(_, t)| t.added.value).collect();
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a / *b - 1.0).abs() < 0.02);
        all.len()
    };
    for (mode, place) in places.iter().enumerate() {
        let Ok(effective) = &mut results[*place].effective else { continue };
        let mut own = std::mem::take(&mut parts[mode]);
        own.push((Source::from("frequency shift"), squares[mode].sqrt()));
        // What a mode of its own line says beyond that: how far its neighbours outside the band may pull it.
        let edge = mode == 0 || mode + 1 == places.len();
        let share = if distinct == 1 {
            ONE_MASS
        } else if edge {
            EDGE_MODE
        } else {
            INNER_MODE
        };
        own.push((Source::from("modes outside the band"), share * centre[mode]));
        effective.modal_mass = Measured::with_parts(centre[mode], own);
        effective.stiffness =
            Measured::combine(&[&effective.modal_mass, &effective.frequency], |x| x[0] * (tau * x[1]).powi(2));
    }
}

fn bare_of(places: &[usize], results: &[StationResult], mode: usize) -> f64 {
    results[places[mode]].tone.frequency_hz
}

fn bare_u_of(places: &[usize], results: &[StationResult], mode: usize) -> f64 {
    let tone = &results[places[mode]].tone;
    tone.frequency_hz_u / tone.frequency_hz
}

fn loaded(added: &Measured, tone: &StationTone) -> LoadedTone {
    LoadedTone { added: added.clone(), frequency_hz: tone.frequency_hz, frequency_hz_u: tone.frequency_hz_u }
}
