//! The search for numberings: a scan over what wood can be, then the best of it refined.

use rayon::prelude::*;

use super::alignment::align_score;
use super::blank_modes::BlankModes;
use super::numbering::{DEVIATION, Numbering, refine};
use super::plate::{Constants, Size};
use super::tone::Tone;
use super::wood::{ACROSS, ACROSS_RANGE, POISSON, SHEAR, SHEAR_RANGE, SPEED_M_S};

/// Points of the grid over each ratio: 30 % apart, so that every mode can be told from its like at the next point.
const ACROSS_POINTS: usize = 11;
const SHEAR_POINTS: usize = 9;
/// Steps of the scan: ln of the speed of sound; parts of a grid step in each ratio (1.5 % of a twist's frequency, 2 % of a
/// crosswise mode's).
const STEP_SPEED: f64 = 0.005;
const SHEAR_PARTS: usize = 8;
const ACROSS_PARTS: usize = 6;
/// Places of the scan that are looked at more closely, and starts in E across that are refined from each.
const PLACES: usize = 24;
const STARTS_ACROSS: usize = 4;
/// Any speed of sound does to solve the grid: frequencies go with it.
const REFERENCE_SPEED: f64 = 4500.0;

/// A mode's numbers and ln of its frequency at the reference speed.
type GridMode = ((usize, usize), f64);

/// The blank's modes at some ratios of the moduli; all frequencies scale with the speed of sound along the grain.
struct Grid {
    across: Vec<f64>,
    shear: Vec<f64>,
    /// For each across ratio and shear ratio.
    modes: Vec<Vec<Vec<GridMode>>>,
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
    shear: Between,
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
        let solve = |across: f64, shear: f64| -> Vec<GridMode> {
            let blank = BlankModes::new(size, &constants_of(size, REFERENCE_SPEED, across, shear), below);
            blank.modes.iter().map(|m| (m.across_length, m.across_width)).zip(blank.hz.iter().map(|f| f.ln())).collect()
        };
        let modes = across.par_iter().map(|a| shear.par_iter().map(|s| solve(*a, *s)).collect()).collect();
        Self { across, shear, modes }
    }

    /// ln of the frequencies at the reference speed between four grid points, ascending: of the modes that exist at all of them.
    fn at(&self, across: Between, shear: Between) -> Vec<f64> {
        let corner = |i: usize, j: usize| &self.modes[across.point + i][shear.point + j];
        let find =
            |modes: &[GridMode], numbers: (usize, usize)| modes.iter().find(|(n, _)| *n == numbers).map(|(_, f)| *f);
        let mut logs: Vec<f64> = corner(0, 0)
            .iter()
            .filter_map(|(numbers, f)| {
                let along_shear = |i: usize, first: f64| {
                    Some(first * (1.0 - shear.share) + find(corner(i, 1), *numbers)? * shear.share)
                };
                let near = along_shear(0, *f)?;
                let far = along_shear(1, find(corner(1, 0), *numbers)?)?;
                Some(near * (1.0 - across.share) + far * across.share)
            })
            .collect();
        logs.sort_by(f64::total_cmp);
        logs
    }

    /// What is known of the ratios before a blank is tapped (log density, up to a constant).
    fn prior(&self, across: Between, shear: Between) -> f64 {
        let square = |value: f64, (median, spread): (f64, f64)| ((value / median).ln() / spread).powi(2);
        -0.5 * (square(across.of(&self.across), ACROSS) + square(shear.of(&self.shear), SHEAR))
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
    let mut starts = Vec::new();
    for place in scan(&grid, &heard) {
        for across in best_across(&grid, &heard, &place) {
            starts.push(constants_of(size, place.speed, across.of(&grid.across), place.shear.of(&grid.shear)));
        }
    }
    starts.into_par_iter().filter_map(|start| refine(size, tones, start, None)).collect()
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
        .map(|i| Place { score: scores[i], speed: speeds[i], shear })
        .collect()
}

/// The crosswise modes move with E across alone, of which the scan looks at few values: the best of all of them.
fn best_across(grid: &Grid, heard: &Heard, place: &Place) -> Vec<Between> {
    let mut all: Vec<(f64, Between)> = Between::all(ACROSS_POINTS, ACROSS_PARTS)
        .map(|across| {
            let score = heard.score(&grid.at(across, place.shear), place.speed) + grid.prior(across, place.shear);
            (score, across)
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut best: Vec<(f64, Between)> = Vec::new();
    for (score, across) in all {
        let near = |b: &(f64, Between)| (across.of(&grid.across) / b.1.of(&grid.across)).ln().abs() < 0.1;
        if score.is_finite() && !best.iter().any(near) {
            best.push((score, across));
            if best.len() == STARTS_ACROSS {
                break;
            }
        }
    }
    best.into_iter().map(|(_, across)| across).collect()
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
