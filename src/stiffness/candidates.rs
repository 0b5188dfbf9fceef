//! The search for numberings: a scan over what wood can be, the best of it led to where the tones fit best on a coarse grid, and the best
//! of those refined with the plate itself.

use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use super::alignment::align;
use super::grid::{
    ACROSS_POINTS, Between, Grid, GridMode, Heard, REFERENCE_SPEED, SHEAR_POINTS, constants_of, geometric,
};
use super::numbering::{Numbering, refine};
use super::plate::Size;
use super::tone::Tone;
use super::wood::{ACROSS, SHEAR, SPEED_M_S};

/// Steps of the scan: ln of the speed of sound; parts of a grid step in each ratio (1.5 % of a twist's frequency, 2 % of a
/// crosswise mode's).
const STEP_SPEED: f64 = 0.005;
const SHEAR_PARTS: usize = 8;
const ACROSS_PARTS: usize = 6;
/// Places of the scan that are looked at more closely, and starts in E across from each.
const PLACES: usize = 40;
const STARTS_ACROSS: usize = 6;
/// Rounds of least squares on the grid.
const COARSE_ROUNDS: usize = 5;
/// Starts that are refined with the plate: those whose score on the grid (log likelihood) lies within this of the best, so many at most.
const BEHIND: f64 = 30.0;
const REFINED: usize = 32;
/// A place of the scan and how well the tones fit there.
#[derive(Debug, Clone, Copy)]
struct Place {
    score: f64,
    speed: f64,
    across: Between,
    shear: Between,
}

/// By least squares from a place to where the tones fit best, as the grid sees them.
fn led_from(grid: &Grid, heard: &Heard, place: &Place) -> Place {
    let (step_across, step_shear) = grid.steps();
    let mut at = *place;
    for _ in 0..COARSE_ROUNDS {
        let shift = (at.speed / REFERENCE_SPEED).ln();
        let inside = |m: &GridMode| m.log + shift > heard.band.0 && m.log + shift < heard.band.1;
        let modes: Vec<GridMode> = grid.modes(at.across, at.shear).into_iter().filter(inside).collect();
        if 2 * modes.len() < heard.logs.len() {
            break;
        }
        let expected: Vec<f64> = modes.iter().map(|m| m.log + shift).collect();
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        let mut add = |row: Vector3<f64>, off: f64, deviation: f64| {
            let weight = 1.0 / (deviation * deviation);
            normal += weight * row * row.transpose();
            right += weight * off * row;
        };
        for (i, k) in align(&heard.logs, &heard.spread, &expected).matches.iter().enumerate() {
            if let Some(k) = k {
                let row = Vector3::new(1.0, modes[*k].by_across, modes[*k].by_shear);
                add(row, heard.logs[i] - expected[*k], heard.spread[i]);
            }
        }
        let known = |value: f64, (median, spread): (f64, f64), step: f64| ((median / value).ln() / step, spread / step);
        let (off, spread) = known(at.across.of(&grid.across), ACROSS, step_across);
        add(Vector3::new(0.0, 1.0, 0.0), off, spread);
        let (off, spread) = known(at.shear.of(&grid.shear), SHEAR, step_shear);
        add(Vector3::new(0.0, 0.0, 1.0), off, spread);
        let Some(step) = normal.try_inverse().map(|inverse| inverse * right) else { break };
        // No farther than the grid's own steps, over which the modes are straight.
        let step = step.map(|s| s.clamp(-1.0, 1.0));
        at.speed *= step[0].clamp(-0.05, 0.05).exp();
        at.across = at.across.moved(step[1], ACROSS_POINTS);
        at.shear = at.shear.moved(step[2], SHEAR_POINTS);
    }
    at.score = heard.score(&grid.at(at.across, at.shear), at.speed) + grid.prior(at.across, at.shear);
    // Where the alignment jumped to and fro the place itself may be better.
    if at.score > place.score { at } else { *place }
}

/// The best numberings, refined, in no order.
pub(super) fn candidates(size: &Size, tones: &[Tone]) -> Vec<Numbering> {
    let heard = Heard::new(tones);
    let grid = Grid::new(size, heard.band.1.exp());
    let led: Vec<Place> = scan(&grid, &heard)
        .into_par_iter()
        .flat_map_iter(|place| best_across(&grid, &heard, &place))
        .map(|start| led_from(&grid, &heard, &start))
        .collect();
    let refined = |place: Place| {
        let (across, shear) = (place.across.of(&grid.across), place.shear.of(&grid.shear));
        refine(size, tones, constants_of(size, place.speed, across, shear), None)
    };
    distinct(&grid, led).into_par_iter().filter_map(refined).collect()
}

/// The places whose score comes close to the best, each once.
fn distinct(grid: &Grid, mut places: Vec<Place>) -> Vec<Place> {
    places.sort_by(|a, b| b.score.total_cmp(&a.score));
    let least = places.first().map_or(f64::NEG_INFINITY, |p| p.score - BEHIND);
    let near = |a: f64, b: f64, by: f64| (a / b).ln().abs() < by;
    let mut distinct: Vec<Place> = Vec::new();
    for place in places.into_iter().take_while(|p| p.score >= least) {
        let same = |other: &Place| {
            near(place.speed, other.speed, 0.003)
                && near(place.shear.of(&grid.shear), other.shear.of(&grid.shear), 0.02)
                && near(place.across.of(&grid.across), other.across.of(&grid.across), 0.04)
        };
        if !distinct.iter().any(same) {
            distinct.push(place);
            if distinct.len() == REFINED {
                break;
            }
        }
    }
    distinct
}

/// The best places of the scan, each the best of its neighbourhood.
fn scan(grid: &Grid, heard: &Heard) -> Vec<Place> {
    let shears = Between::all(SHEAR_POINTS, SHEAR_PARTS);
    let ratios: Vec<(Between, Between)> =
        Between::all(ACROSS_POINTS, 1).flat_map(|across| shears.clone().map(move |shear| (across, shear))).collect();
    let mut found: Vec<Place> =
        ratios.into_par_iter().flat_map_iter(|(across, shear)| peaks(grid, heard, across, shear)).collect();
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut best: Vec<Place> = Vec::new();
    for place in found {
        let near = |other: &Place| {
            let (a, b) = (place.shear.of(&grid.shear), other.shear.of(&grid.shear));
            (place.speed / other.speed).ln().abs() < 0.012 && (a / b).ln().abs() < 0.08
        };
        if !best.iter().any(near) {
            best.push(place);
            if best.len() == PLACES {
                break;
            }
        }
    }
    best
}

/// The speeds of sound at which the tones fit better than at the next ones, for some ratios of the moduli.
fn peaks(grid: &Grid, heard: &Heard, across: Between, shear: Between) -> Vec<Place> {
    let (low, high) = (*SPEED_M_S.start(), *SPEED_M_S.end());
    let reference = grid.at(across, shear);
    let prior = grid.prior(across, shear);
    let speeds = geometric(low, high, ((high / low).ln() / STEP_SPEED) as usize);
    let scores: Vec<f64> = speeds.iter().map(|speed| heard.score(&reference, *speed) + prior).collect();
    let at = |i: usize| scores.get(i).copied().unwrap_or(f64::NEG_INFINITY);
    (0..scores.len())
        .filter(|i| at(*i).is_finite() && at(*i) >= at(i.wrapping_sub(1)) && at(*i) >= at(i + 1))
        .map(|i| Place { score: scores[i], speed: speeds[i], across, shear })
        .collect()
}

/// The crosswise modes move with E across alone, of which the scan looks at few values: the best of all of them.
fn best_across(grid: &Grid, heard: &Heard, place: &Place) -> Vec<Place> {
    let mut all: Vec<Place> = Between::all(ACROSS_POINTS, ACROSS_PARTS)
        .map(|across| {
            let score = heard.score(&grid.at(across, place.shear), place.speed) + grid.prior(across, place.shear);
            Place { score, across, ..*place }
        })
        .collect();
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut best: Vec<Place> = Vec::new();
    for place in all {
        let near = |b: &Place| (place.across.of(&grid.across) / b.across.of(&grid.across)).ln().abs() < 0.1;
        if place.score.is_finite() && !best.iter().any(near) {
            best.push(place);
            if best.len() == STARTS_ACROSS {
                break;
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::blank_modes::BlankModes;
    use super::super::plate::Constants;
    use super::super::wood::POISSON;
    use super::*;

    fn blank(constants: &Constants) -> (Size, Vec<f64>) {
        let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };
        (size, BlankModes::new(&size, constants, 400.0).hz)
    }

    /// At the right ratios, the speed of sound is among the peaks, and no two peaks are neighbours.
    #[test]
    fn peaks_of_the_scan_hold_the_truth() {
        let place = |point| Between { point, share: 0.0 };
        let (across, shear) = (place(3), place(3));
        let size = blank(&Constants { along_pa: 1e10, across_pa: 1e9, shear_pa: 1e9, poisson: POISSON.0 }).0;
        let grid = Grid::new(&size, 250.0);
        let truth = constants_of(&size, 4200.0, across.of(&grid.across), shear.of(&grid.shear));
        let tones: Vec<Tone> = BlankModes::new(&size, &truth, 250.0)
            .hz
            .iter()
            .filter(|f| (50.0..250.0).contains(*f))
            .map(|f| Tone { frequency_hz: *f, frequency_hz_u: 1e-4 * f })
            .collect();
        let heard = Heard::new(&tones);
        let found = peaks(&grid, &heard, across, shear);
        let best = found.iter().max_by(|a, b| a.score.total_cmp(&b.score)).expect("a peak");
        assert!((best.speed / 4200.0).ln().abs() < STEP_SPEED, "{}", best.speed);
        assert!(found.len() > 1);
        assert!(found.windows(2).all(|w| (w[1].speed / w[0].speed).ln() > 1.5 * STEP_SPEED));
        // The scan of all ratios puts it first, and its places lie apart.
        let places = scan(&grid, &heard);
        assert!(places.len() > 1);
        let ratio = |p: &Place| p.shear.of(&grid.shear);
        assert!(
            (places[0].speed / 4200.0).ln().abs() < 0.012
                && (ratio(&places[0]) / truth.shear_pa * truth.along_pa).ln().abs() < 0.08
        );
        for (i, a) in places.iter().enumerate() {
            assert!(
                places[..i]
                    .iter()
                    .all(|b| { (a.speed / b.speed).ln().abs() >= 0.012 || (ratio(a) / ratio(b)).ln().abs() >= 0.08 })
            );
        }
    }
}
