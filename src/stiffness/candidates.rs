//! The search for numberings: a scan over what wood can be, the best of it led to where the tones fit best on a coarse grid, and the best
//! of those refined with the plate itself.

use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use super::alignment::{align, align_score};
use super::blank_modes::BlankModes;
use super::numbering::{DEVIATION, Numbering, refine};
use super::plate::{Constants, Size};
use super::tone::Tone;
use super::wood::{ACROSS, ACROSS_RANGE, POISSON, SHEAR, SHEAR_RANGE, SPEED_M_S};

/// Points of the grid over each ratio: 30 % apart, so that every mode can be told from its like at the next point.
const ACROSS_POINTS: usize = 12;
const SHEAR_POINTS: usize = 9;
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
/// Any speed of sound does to solve the grid: frequencies go with it.
const REFERENCE_SPEED: f64 = 4500.0;

/// The blank's modes at some ratios of the moduli; all frequencies scale with the speed of sound along the grain.
struct Grid {
    across: Vec<f64>,
    shear: Vec<f64>,
    /// For each across ratio and shear ratio: ln of the frequency of each mode at the reference speed, by the mode's numbers in one order
    /// for all points; `None` above the band.
    logs: Vec<Vec<Vec<Option<f64>>>>,
}

/// A place between grid points: the one below and the share of the way to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Between {
    point: usize,
    share: f64,
}

impl Between {
    /// All places of a range of points, so many to a step.
    fn all(points: usize, parts: usize) -> impl Iterator<Item = Self> + Clone {
        (0..(points - 1) * parts + 1).map(move |i| {
            let point = (i / parts).min(points - 2);
            Self { point, share: (i - point * parts) as f64 / parts as f64 }
        })
    }

    /// So many steps on, not beyond the ends.
    fn moved(self, steps: f64, points: usize) -> Self {
        let at = (self.point as f64 + self.share + steps).clamp(0.0, (points - 1) as f64);
        let point = (at as usize).min(points - 2);
        Self { point, share: at - point as f64 }
    }

    /// The value there, geometrically.
    fn of(self, points: &[f64]) -> f64 {
        points[self.point].powf(1.0 - self.share) * points[self.point + 1].powf(self.share)
    }
}

/// A place of the scan and how well the tones fit there.
#[derive(Debug, Clone, Copy)]
struct Place {
    score: f64,
    speed: f64,
    across: Between,
    shear: Between,
}

/// A mode between grid points: ln of its frequency, and how that moves with a grid step of each ratio.
#[derive(Debug, Clone, Copy)]
struct GridMode {
    log: f64,
    by_across: f64,
    by_shear: f64,
}

fn geometric(low: f64, high: f64, points: usize) -> Vec<f64> {
    let step = (high / low).ln() / (points - 1) as f64;
    (0..points).map(|i| low * (step * i as f64).exp()).collect()
}

fn constants_of(size: &Size, speed: f64, across: f64, shear: f64) -> Constants {
    let along_pa = size.density_kg_m3() * speed * speed;
    Constants { along_pa, across_pa: across * along_pa, shear_pa: shear * along_pa, poisson: POISSON.0 }
}

impl Grid {
    fn new(size: &Size, highest_hz: f64) -> Self {
        let across = geometric(*ACROSS_RANGE.start(), *ACROSS_RANGE.end(), ACROSS_POINTS);
        let shear = geometric(*SHEAR_RANGE.start(), *SHEAR_RANGE.end(), SHEAR_POINTS);
        // At the lowest speed the most modes lie in the band.
        let below = highest_hz * REFERENCE_SPEED / SPEED_M_S.start();
        let points: Vec<(f64, f64)> = across.iter().flat_map(|a| shear.iter().map(move |s| (*a, *s))).collect();
        let solved: Vec<BlankModes> = points
            .par_iter()
            .map(|(a, s)| BlankModes::new(size, &constants_of(size, REFERENCE_SPEED, *a, *s), below))
            .collect();
        let numbers = |b: &BlankModes| b.modes.iter().map(|m| (m.across_length, m.across_width)).collect::<Vec<_>>();
        let mut all: Vec<(usize, usize)> = solved.iter().flat_map(numbers).collect();
        all.sort_unstable();
        all.dedup();
        let logs_of = |b: &BlankModes| {
            let mut logs = vec![None; all.len()];
            for (numbers, hz) in numbers(b).iter().zip(&b.hz) {
                logs[all.binary_search(numbers).expect("all numbers are there")] = Some(hz.ln());
            }
            logs
        };
        let logs: Vec<Vec<Option<f64>>> = solved.iter().map(logs_of).collect();
        Self { across, shear, logs: logs.chunks(SHEAR_POINTS).map(<[_]>::to_vec).collect() }
    }

    /// The modes between four grid points, ascending: those that exist at all of them.
    fn modes(&self, across: Between, shear: Between) -> Vec<GridMode> {
        let corner = |i: usize, j: usize| &self.logs[across.point + i][shear.point + j];
        let corners = corner(0, 0).iter().zip(corner(0, 1)).zip(corner(1, 0).iter().zip(corner(1, 1)));
        let mut modes: Vec<GridMode> = corners
            .filter_map(|((a, b), (c, d))| {
                let (a, b, c, d) = ((*a)?, (*b)?, (*c)?, (*d)?);
                let (near, far) = (a + (b - a) * shear.share, c + (d - c) * shear.share);
                Some(GridMode {
                    log: near + (far - near) * across.share,
                    by_across: far - near,
                    by_shear: (b - a) * (1.0 - across.share) + (d - c) * across.share,
                })
            })
            .collect();
        modes.sort_by(|a, b| a.log.total_cmp(&b.log));
        modes
    }

    /// ln of the frequencies at the reference speed there, ascending.
    fn at(&self, across: Between, shear: Between) -> Vec<f64> {
        self.modes(across, shear).iter().map(|m| m.log).collect()
    }

    /// What is known of the ratios before a blank is tapped (log density, up to a constant).
    fn prior(&self, across: Between, shear: Between) -> f64 {
        let square = |value: f64, (median, spread): (f64, f64)| ((value / median).ln() / spread).powi(2);
        -0.5 * (square(across.of(&self.across), ACROSS) + square(shear.of(&self.shear), SHEAR))
    }

    /// ln of the ratio between neighbouring points: across, shear.
    fn steps(&self) -> (f64, f64) {
        ((self.across[1] / self.across[0]).ln(), (self.shear[1] / self.shear[0]).ln())
    }

    /// By least squares from a place to where the tones fit best, as the grid sees them.
    fn led_from(&self, heard: &Heard, place: &Place) -> Place {
        let (step_across, step_shear) = self.steps();
        let mut at = *place;
        for _ in 0..COARSE_ROUNDS {
            let shift = (at.speed / REFERENCE_SPEED).ln();
            let inside = |m: &GridMode| m.log + shift > heard.band.0 && m.log + shift < heard.band.1;
            let modes: Vec<GridMode> = self.modes(at.across, at.shear).into_iter().filter(inside).collect();
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
            let known =
                |value: f64, (median, spread): (f64, f64), step: f64| ((median / value).ln() / step, spread / step);
            let (off, spread) = known(at.across.of(&self.across), ACROSS, step_across);
            add(Vector3::new(0.0, 1.0, 0.0), off, spread);
            let (off, spread) = known(at.shear.of(&self.shear), SHEAR, step_shear);
            add(Vector3::new(0.0, 0.0, 1.0), off, spread);
            let Some(step) = normal.try_inverse().map(|inverse| inverse * right) else { break };
            // No farther than the grid's own steps, over which the modes are straight.
            let step = step.map(|s| s.clamp(-1.0, 1.0));
            at.speed *= step[0].clamp(-0.05, 0.05).exp();
            at.across = at.across.moved(step[1], ACROSS_POINTS);
            at.shear = at.shear.moved(step[2], SHEAR_POINTS);
        }
        at.score = heard.score(&self.at(at.across, at.shear), at.speed) + self.prior(at.across, at.shear);
        // Where the alignment jumped to and fro the place itself may be better.
        if at.score > place.score { at } else { *place }
    }
}

/// The tones as the scan looks at them, with room for the grid's steps.
struct Heard {
    /// ln of the frequencies, their standard deviations, and ln of the band's limits.
    logs: Vec<f64>,
    spread: Vec<f64>,
    band: (f64, f64),
}

impl Heard {
    fn new(tones: &[Tone]) -> Self {
        let logs: Vec<f64> = tones.iter().map(|t| t.frequency_hz.ln()).collect();
        let band = (logs[0] - 0.03, logs[logs.len() - 1] + 0.03);
        Self { logs, spread: tones.iter().map(|t| t.relative_u().hypot(1.3 * DEVIATION)).collect(), band }
    }

    /// How well the tones fit expected frequencies; minus infinity where far too few are expected.
    fn score(&self, reference: &[f64], speed: f64) -> f64 {
        let shift = (speed / REFERENCE_SPEED).ln();
        let inside = |f: &f64| *f > self.band.0 && *f < self.band.1;
        let expected: Vec<f64> = reference.iter().map(|f| f + shift).filter(inside).collect();
        if 2 * expected.len() < self.logs.len() {
            return f64::NEG_INFINITY;
        }
        align_score(&self.logs, &self.spread, &expected)
    }
}

/// The best numberings, refined, in no order.
pub(super) fn candidates(size: &Size, tones: &[Tone]) -> Vec<Numbering> {
    let heard = Heard::new(tones);
    let grid = Grid::new(size, heard.band.1.exp());
    let led: Vec<Place> = scan(&grid, &heard)
        .into_par_iter()
        .flat_map_iter(|place| best_across(&grid, &heard, &place))
        .map(|start| grid.led_from(&heard, &start))
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
    use super::*;

    #[test]
    fn places_go_evenly_from_end_to_end() {
        let values: Vec<f64> = Between::all(3, 4).map(|b| b.of(&[1.0, 2.0, 4.0])).collect();
        assert_eq!(values.len(), 9);
        for (i, value) in values.iter().enumerate() {
            assert!((value.log2() - 0.25 * i as f64).abs() < 1e-12, "{values:?}");
        }
    }

    fn blank(constants: &Constants) -> (Size, Vec<f64>) {
        let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };
        (size, BlankModes::new(&size, constants, 400.0).hz)
    }

    /// Between the grid's points the frequencies are those of the plate within the spread that the scan allows for (0.8 %; two modes
    /// that cross between the points are the farthest off).
    #[test]
    fn the_grid_gives_the_plates_frequencies_between_its_points() {
        let size = blank(&Constants { along_pa: 1e10, across_pa: 1e9, shear_pa: 1e9, poisson: POISSON.0 }).0;
        let grid = Grid::new(&size, 250.0);
        for (across, shear) in [((2, 0.0), (3, 0.0)), ((2, 0.5), (3, 0.25)), ((5, 1.0), (7, 1.0))] {
            let between = |(point, share)| Between { point, share };
            let (across, shear) = (between(across), between(shear));
            let constants = constants_of(&size, REFERENCE_SPEED, across.of(&grid.across), shear.of(&grid.shear));
            let truth = BlankModes::new(&size, &constants, 400.0).hz;
            let got = grid.at(across, shear);
            let below = truth.iter().take_while(|f| **f < 350.0).count();
            assert!(below > 5 && got.len() >= below, "{below} {}", got.len());
            for (truth, got) in truth.iter().take_while(|f| **f < 350.0).zip(&got) {
                assert!((truth.ln() - got).abs() < 0.008, "{truth} {}", got.exp());
            }
        }
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
