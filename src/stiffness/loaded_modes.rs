//! The modes of one station tapped with several masses stuck on: which is which.

use super::added_mass::{AddedMassError, EffectiveMass, LoadedTone, effective_mass};
use super::no_modal_mass::NoModalMass;
use super::station_masses::{Shifted, solve};
use crate::part::HELD_ANEW_FREQUENCY;
use crate::uncertainty::{Cause, Figure, Scope, Source};

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
    pub added: Figure,
    pub tones: Vec<StationTone>,
}

/// A mode of the bare part at a station, and what the masses tell of it.
#[derive(Debug, Clone, PartialEq)]
pub struct StationResult {
    pub tone: StationTone,
    pub effective: Result<EffectiveMass, NoModalMass>,
}

/// A mass lowers a mode by at most this share between one take and the next heavier one.
const MOST_SHIFT: f64 = 0.12;
/// No shift is trusted to better than this (relative), so that one very clear mode does not outweigh the others' share in the
/// common unknowns.
const SHIFT_TRUST: f64 = 2e-3;
/// What modes that were not heard may still do to a modal mass (relative, standard uncertainty): little but to the highest mode,
/// whose unheard neighbour above is missed. Of the order of the largest error against the exact ring and finite elements.
const UNHEARD_MODES: f64 = 0.01;
const UNHEARD_ABOVE: f64 = 0.05;
/// Shifts that miss the common law by more than this (relative, root mean square) come from wrong masses.
const CONTRADICTION: f64 = 0.04;
/// What one light mass alone reads is off by dm/M over the relative spacing of the modes, nearly (0.6 to 1.2 times that for the
/// modes of a free ring, exact); by more than this many times it, something else is wrong.
const MOST_BENT: f64 = 2.0;
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
    // Modes that a single mass was on: place, and what `effective_mass` says of them.
    let mut one_mass: Vec<(usize, f64, AddedMassError)> = Vec::new();
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
            Err(NoModalMass::Lost)
        } else {
            effective_mass(&followed).map_err(|e| {
                if let AddedMassError::OneMass { about_kg, .. } = e {
                    one_mass.push((results.len(), about_kg, e.clone()));
                }
                e.into()
            })
        };
        results.push(StationResult { tone: *tone, effective });
        paths.push(if lost { Vec::new() } else { path });
        all_followed.push(followed);
    }
    // The second mass serves all modes: what the lightest one needs is said of all.
    if let Some((_, _, lightest)) = one_mass.iter().min_by(|a, b| a.1.total_cmp(&b.1)) {
        one_mass.iter().for_each(|(place, ..)| results[*place].effective = Err(lightest.clone().into()));
    }
    // One loaded mode cannot be two.
    for i in 0..results.len() {
        for j in i + 1..results.len() {
            if !paths[i].is_empty() && paths[i].iter().zip(&paths[j]).any(|(a, b)| a == b) {
                for k in [i, j] {
                    results[k].effective = Err(NoModalMass::TooClose);
                }
            }
        }
    }
    // The masses are the same for all modes: wrong for most of them, they are wrong for all.
    let bends_up = NoModalMass::Shifts(AddedMassError::BendsUp);
    let contradicted = results.iter().filter(|r| r.effective.as_ref().is_err_and(|why| *why == bends_up)).count();
    let followed = results.iter().filter(|r| r.effective.is_ok()).count() + contradicted;
    if contradicted > 0 && 2 * contradicted >= followed {
        results.iter_mut().filter(|r| r.effective.is_ok()).for_each(|r| r.effective = Err(bends_up.clone()));
    }
    together(&mut results, &all_followed);
    Ok(results)
}

/// Why a station's modes have no modal mass: the reason that most of those without one share; `None` if each has its mass.
pub fn why_no_mass(results: &[StationResult]) -> Option<&NoModalMass> {
    let reasons = || results.iter().filter_map(|r| r.effective.as_ref().err());
    // The first of those that are equally frequent.
    reasons().rev().max_by_key(|why| reasons().filter(|other| other == why).count())
}

/// Modes that were followed through every mass, solved together: what the mass does to one mode depends on the others.
fn together(results: &mut [StationResult], followed: &[Vec<LoadedTone>]) {
    let count = results.len();
    let ok: Vec<bool> = results.iter().map(|r| r.effective.is_ok()).collect();
    if ok.iter().filter(|o| **o).count() < 2 {
        return;
    }
    // Frequency and uncertainty without mass, of every mode: one that was lost still moves the others.
    let bare: Vec<(f64, f64)> = results
        .iter()
        .map(|r| match &r.effective {
            Ok(e) => (e.frequency.value, e.frequency.u_95()),
            Err(_) => (r.tone.frequency_hz, r.tone.frequency_hz_u),
        })
        .collect();
    let tau = std::f64::consts::TAU;
    let loaded: Vec<(usize, &LoadedTone)> = (0..count)
        .filter(|m| ok[*m])
        .flat_map(|mode| followed[mode].iter().filter(|t| t.added.value > 0.0).map(move |t| (mode, t)))
        .collect();
    let masses_of = |bare_hz: &dyn Fn(usize) -> f64, tone_hz: &dyn Fn(usize) -> f64, added: &dyn Fn(usize) -> f64| {
        let omegas: Vec<f64> = (0..count).map(|m| tau * bare_hz(m)).collect();
        let shifted: Vec<Shifted> = loaded
            .iter()
            .enumerate()
            .map(|(row, (mode, t))| {
                let gap = (1.0 - (t.frequency_hz / bare[*mode].0).powi(2)).abs().max(1e-9);
                let told =
                    (t.frequency_hz_u / t.frequency_hz).hypot(bare[*mode].1 / bare[*mode].0).hypot(HELD_ANEW_FREQUENCY);
                let relative_u = (2.0 * told / gap).hypot(SHIFT_TRUST);
                Shifted { mode: *mode, added_kg: added(row), omega: tau * tone_hz(row), relative_u }
            })
            .collect();
        solve(&omegas, &shifted)
    };
    let (f0, f, d) = (|m: usize| bare[m].0, |r: usize| loaded[r].1.frequency_hz, |r: usize| loaded[r].1.added.value);
    let Some((centre, missed)) = masses_of(&f0, &f, &d) else { return };
    // The lightest mass alone reads M high, the more the closer the other modes lie; more than that no part explains.
    let spacing = |mode: usize| {
        let others = (0..count).filter(|m| *m != mode).map(|m| (bare[m].0 - bare[mode].0).abs());
        others.fold(f64::INFINITY, f64::min) / bare[mode].0
    };
    let too_far = |mode: usize| {
        let own = loaded.iter().filter(|(m, _)| *m == mode).map(|(_, tone)| tone);
        own.min_by(|a, b| a.added.value.total_cmp(&b.added.value)).is_some_and(|tone| {
            let straight = tone.added.value / ((bare[mode].0 / tone.frequency_hz).powi(2) - 1.0);
            (straight / centre[mode] - 1.0).abs() > MOST_BENT * tone.added.value / centre[mode] / spacing(mode)
        })
    };
    let odd: Vec<usize> = (0..count).filter(|m| ok[*m] && too_far(*m)).collect();
    if missed > CONTRADICTION || 2 * odd.len() > ok.iter().filter(|o| **o).count() {
        for result in results.iter_mut().filter(|r| r.effective.is_ok()) {
            result.effective = Err(NoModalMass::NoOneMotion);
        }
        return;
    }
    for mode in odd {
        results[mode].effective = Err(NoModalMass::FollowsNoMass);
    }
    // What one change of the input does to all masses together.
    let mut parts: Vec<Vec<(Source, f64)>> = vec![Vec::new(); count];
    let mut squares = vec![0.0; count];
    for m in 0..count {
        let Some((moved, _)) = masses_of(&|k| bare[k].0 + if k == m { bare[k].1 } else { 0.0 }, &f, &d) else { return };
        squares.iter_mut().zip(moved.iter().zip(&centre)).for_each(|(s, (a, b))| *s += (a - b).powi(2));
    }
    for row in 0..loaded.len() {
        let shifted = |k: usize| f(k) + if k == row { loaded[k].1.frequency_hz_u } else { 0.0 };
        let Some((moved, _)) = masses_of(&f0, &shifted, &d) else { return };
        squares.iter_mut().zip(moved.iter().zip(&centre)).for_each(|(s, (a, b))| *s += (a - b).powi(2));
    }
    let mut push = |source: Source, moved: Vec<f64>| {
        for (parts, (a, b)) in parts.iter_mut().zip(moved.iter().zip(&centre)) {
            parts.push((source.clone(), a - b));
        }
    };
    // The same mass is on in all modes: each of its sources moves them together.
    let mut sources: Vec<Source> = loaded.iter().flat_map(|(_, t)| t.added.parts().map(|(s, _)| s.clone())).collect();
    sources.sort();
    sources.dedup();
    for source in sources {
        let heavier =
            |k: usize| d(k) + loaded[k].1.added.parts().find(|(s, _)| **s == source).map_or(0.0, |(_, part)| part);
        let Some((moved, _)) = masses_of(&f0, &f, &heavier) else { return };
        push(source, moved);
    }
    // Each take holds the part anew, which shifts all of its modes alike.
    let Some((moved, _)) = masses_of(&|k| bare[k].0 * (1.0 + HELD_ANEW_FREQUENCY), &f, &d) else { return };
    push(held_anew(0.0), moved);
    let mut distinct: Vec<f64> = loaded.iter().map(|(_, t)| t.added.value).collect();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup_by(|a, b| (*a / *b - 1.0).abs() < 0.02);
    for mass in &distinct {
        let shifted =
            |k: usize| f(k) * (1.0 + if (d(k) / mass - 1.0).abs() < 0.02 { HELD_ANEW_FREQUENCY } else { 0.0 });
        let Some((moved, _)) = masses_of(&f0, &shifted, &d) else { return };
        push(held_anew(*mass), moved);
    }
    for mode in 0..count {
        let Ok(effective) = &mut results[mode].effective else { continue };
        let mut own = std::mem::take(&mut parts[mode]);
        own.push((Cause::FrequencyShift.into(), squares[mode].sqrt()));
        let share = if mode + 1 == count { UNHEARD_ABOVE } else { UNHEARD_MODES };
        own.push((Cause::ModesOutsideBand.into(), share * centre[mode]));
        effective.modal_mass = Figure::with_parts(centre[mode], own);
        effective.stiffness =
            Figure::combine(&[&effective.modal_mass, &effective.frequency], |x| x[0] * (tau * x[1]).powi(2));
    }
}

/// Holding the part anew for the takes with a mass (kg) on, or without one.
fn held_anew(mass_kg: f64) -> Source {
    Source::from(Cause::HeldAnewFrequency).within(Scope::LoadTenthGram((1e4 * mass_kg).round() as u32))
}

fn loaded(added: &Figure, tone: &StationTone) -> LoadedTone {
    LoadedTone { added: added.clone(), frequency_hz: tone.frequency_hz, frequency_hz_u: tone.frequency_hz_u }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::Ring;
    use crate::uncertainty::COVERAGE_95;

    const RING: Ring =
        Ring { radius_m: 0.235, bending_stiffness_n_m2: 1.1, mass_per_length_kg_m: 0.14, damping_ratio: 0.008 };

    /// A take of the ring with a mass on; what the label says may differ from what sits there.
    fn take(labelled_kg: f64, true_kg: f64, change: impl Fn(usize, f64) -> Option<f64>) -> StationTake {
        let tones = RING
            .modes_with_mass(true_kg)
            .into_iter()
            .take(6)
            .enumerate()
            .filter_map(|(i, (f, _))| change(i, f))
            .map(|f| StationTone {
                frequency_hz: f,
                frequency_hz_u: 1e-6 * f,
                damping_ratio: 0.008,
                damping_ratio_u: 1e-5,
                level_db: 0.0,
            })
            .collect();
        let added = if labelled_kg == 0.0 {
            Figure::exact(0.0)
        } else {
            Figure::new(labelled_kg, 5e-5, Cause::AddedMass(format!("{labelled_kg}").into()))
        };
        StationTake { added, tones }
    }

    fn check(takes: &[StationTake], least: usize) {
        let results = follow_modes(takes).unwrap_or_else(|e| panic!("{e}"));
        let truths = RING.modes_with_mass(0.0);
        let mut told = 0;
        for result in &results {
            let Ok(e) = &result.effective else { continue };
            told += 1;
            let near = |t: &&(f64, f64)| (t.0 / result.tone.frequency_hz - 1.0).abs() < 5e-3;
            let (f, mass) = truths.iter().find(near).expect("one of the ring's modes");
            let off = (e.modal_mass.value - mass).abs();
            assert!(
                off < 1.3 * COVERAGE_95 * e.modal_mass.u(),
                "{f}: {} ± {} of {mass}",
                e.modal_mass.value,
                e.modal_mass.u()
            );
        }
        assert!(told >= least, "{told} modes told");
    }

    #[test]
    fn masses_lie_in_their_intervals_whatever_goes_wrong() {
        let plain = |_: usize, f: f64| Some(f);
        check(&[take(0.0, 0.0, plain), take(5e-3, 5e-3, plain), take(1e-2, 1e-2, plain)], 6);
        // Held anew, a part in a thousand lower or higher in one take.
        for drift in [0.9994, 1.0006] {
            let moved = |_: usize, f: f64| Some(f * drift);
            check(&[take(0.0, 0.0, plain), take(5e-3, 5e-3, moved), take(1e-2, 1e-2, plain)], 5);
            check(&[take(0.0, 0.0, plain), take(5e-3, 5e-3, plain), take(1e-2, 1e-2, moved)], 5);
        }
        // The second mode is not heard in one of the takes, or in none.
        let lost = |i: usize, f: f64| (i != 1).then_some(f);
        check(&[take(0.0, 0.0, plain), take(5e-3, 5e-3, lost), take(1e-2, 1e-2, plain)], 4);
        check(&[take(0.0, 0.0, lost), take(5e-3, 5e-3, lost), take(1e-2, 1e-2, lost)], 4);
    }

    /// One piece, in one take or in several: the modes are listed, without a mass, and all say the same.
    #[test]
    fn one_mass_gives_no_modal_mass() {
        let plain = |_: usize, f: f64| Some(f);
        let one = || take(5e-3, 5e-3, plain);
        for takes in [vec![take(0.0, 0.0, plain), one()], vec![take(0.0, 0.0, plain), one(), one(), one()]] {
            let results = follow_modes(&takes).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(results.len(), 6);
            let why = why_no_mass(&results).expect("a reason");
            // 5 g is 5 % of the ring's lightest mode, nearly.
            assert!(why.to_string().contains("a second, different mass, about 2.5 g"), "{why}");
            assert!(results.iter().all(|r| r.effective.as_ref().is_err_and(|w| w == why)), "{results:?}");
        }
        let two =
            follow_modes(&[take(0.0, 0.0, plain), one(), take(1e-2, 1e-2, plain)]).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(why_no_mass(&two), None);
    }

    #[test]
    fn wrong_labels_are_told() {
        let plain = |_: usize, f: f64| Some(f);
        let results = follow_modes(&[take(0.0, 0.0, plain), take(1e-2, 5e-3, plain), take(1.5e-2, 1e-2, plain)]);
        let results = results.unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(results.len(), 6);
        for result in results {
            let why = result.effective.expect_err("5 g labelled 10 g");
            assert!(why.to_string().contains("labelled right"), "{why}");
        }
        // The heavier one labelled as too heavy bends the other way, as a heavy mass does; only all modes together tell.
        let results = follow_modes(&[take(0.0, 0.0, plain), take(5e-3, 5e-3, plain), take(2e-2, 1e-2, plain)]);
        let results = results.unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(results.len(), 6);
        for result in results {
            let why = result.effective.expect_err("10 g labelled 20 g");
            assert!(why.to_string().contains("labelled right"), "{why}");
        }
    }

    /// What each take's holding does to the masses is what comes out when that take is held otherwise.
    #[test]
    fn holding_is_told_take_by_take() {
        let plain = |_: usize, f: f64| Some(f);
        let moved = |_: usize, f: f64| Some(f * (1.0 + HELD_ANEW_FREQUENCY));
        let masses = |takes: &[StationTake]| -> Vec<Figure> {
            let results = follow_modes(takes).unwrap_or_else(|e| panic!("{e}"));
            results.into_iter().map(|r| r.effective.unwrap_or_else(|e| panic!("{e}")).modal_mass).collect()
        };
        let bare = || take(0.0, 0.0, plain);
        let here = masses(&[bare(), take(5e-3, 5e-3, plain), take(1e-2, 1e-2, plain)]);
        let part =
            |mass: &Figure, source: &str| mass.parts().find(|(s, _)| s.to_string() == source).map_or(0.0, |(_, p)| p);
        for (mode, mass) in here.iter().enumerate() {
            let unheard = if mode + 1 == here.len() { UNHEARD_ABOVE } else { UNHEARD_MODES };
            assert!((part(mass, "modes outside the band") / mass.value / unheard - 1.0).abs() < 1e-9);
            // Frequencies known to a millionth, shifts of hundredths: some ten-thousandths of the mass.
            let moved = part(mass, "frequency shift") / mass.value;
            assert!((1e-6..1e-2).contains(&moved), "{moved}");
        }
        for (source, takes) in [
            ("held anew without mass", [take(0.0, 0.0, moved), take(5e-3, 5e-3, plain), take(1e-2, 1e-2, plain)]),
            ("held anew with 5.0 g", [bare(), take(5e-3, 5e-3, moved), take(1e-2, 1e-2, plain)]),
            ("held anew with 10.0 g", [bare(), take(5e-3, 5e-3, plain), take(1e-2, 1e-2, moved)]),
        ] {
            let there = masses(&takes);
            assert_eq!(there.len(), here.len());
            for (here, there) in here.iter().zip(there) {
                let (part, change) = (part(here, source), there.value - here.value);
                assert!((part - change).abs() < 0.05 * change.abs() + 1e-5 * here.value, "{source}: {part} {change}");
            }
        }
    }
}
