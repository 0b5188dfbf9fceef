//! The blank's modes over a coarse grid of its moduli's ratios, straight in between: what a search looks at a hundred thousand times.

use rayon::prelude::*;

use super::alignment::align_score;
use super::blank_modes::BlankModes;
use super::numbering::DEVIATION;
use super::plate::{Constants, Size};
use super::tone::Tone;
use super::wood::{ACROSS, ACROSS_RANGE, POISSON, SHEAR, SHEAR_RANGE, SPEED_M_S};

/// Points of the grid over each ratio: 30 % apart, so that every mode can be told from its like at the next point.
pub(super) const ACROSS_POINTS: usize = 12;
pub(super) const SHEAR_POINTS: usize = 9;
/// Any speed of sound does to solve the grid: frequencies go with it.
pub(super) const REFERENCE_SPEED: f64 = 4500.0;

/// The blank's modes at some ratios of the moduli; all frequencies scale with the speed of sound along the grain.
pub(super) struct Grid {
    pub(super) across: Vec<f64>,
    pub(super) shear: Vec<f64>,
    /// For each across ratio and shear ratio: ln of the frequency of each mode at the reference speed, by the mode's numbers in one order
    /// for all points; `None` above the band.
    pub(super) logs: Vec<Vec<Vec<Option<f64>>>>,
}

/// A place between grid points: the one below and the share of the way to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Between {
    pub(super) point: usize,
    pub(super) share: f64,
}

impl Between {
    /// All places of a range of points, so many to a step.
    pub(super) fn all(points: usize, parts: usize) -> impl Iterator<Item = Self> + Clone {
        (0..(points - 1) * parts + 1).map(move |i| {
            let point = (i / parts).min(points - 2);
            Self { point, share: (i - point * parts) as f64 / parts as f64 }
        })
    }

    /// So many steps on, not beyond the ends.
    pub(super) fn moved(self, steps: f64, points: usize) -> Self {
        let at = (self.point as f64 + self.share + steps).clamp(0.0, (points - 1) as f64);
        let point = (at as usize).min(points - 2);
        Self { point, share: at - point as f64 }
    }

    /// The value there, geometrically.
    pub(super) fn of(self, points: &[f64]) -> f64 {
        points[self.point].powf(1.0 - self.share) * points[self.point + 1].powf(self.share)
    }
}

/// A mode between grid points: ln of its frequency, and how that moves with a grid step of each ratio.
#[derive(Debug, Clone, Copy)]
pub(super) struct GridMode {
    pub(super) log: f64,
    pub(super) by_across: f64,
    pub(super) by_shear: f64,
}

pub(super) fn geometric(low: f64, high: f64, points: usize) -> Vec<f64> {
    let step = (high / low).ln() / (points - 1) as f64;
    (0..points).map(|i| low * (step * i as f64).exp()).collect()
}

pub(super) fn constants_of(size: &Size, speed: f64, across: f64, shear: f64) -> Constants {
    let along_pa = size.density_kg_m3() * speed * speed;
    Constants { along_pa, across_pa: across * along_pa, shear_pa: shear * along_pa, poisson: POISSON.0 }
}

impl Grid {
    pub(super) fn new(size: &Size, highest_hz: f64) -> Self {
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
    pub(super) fn modes(&self, across: Between, shear: Between) -> Vec<GridMode> {
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
    pub(super) fn at(&self, across: Between, shear: Between) -> Vec<f64> {
        self.modes(across, shear).iter().map(|m| m.log).collect()
    }

    /// What is known of the ratios before a blank is tapped (log density, up to a constant).
    pub(super) fn prior(&self, across: Between, shear: Between) -> f64 {
        let square = |value: f64, (median, spread): (f64, f64)| ((value / median).ln() / spread).powi(2);
        -0.5 * (square(across.of(&self.across), ACROSS) + square(shear.of(&self.shear), SHEAR))
    }

    /// ln of the ratio between neighbouring points: across, shear.
    pub(super) fn steps(&self) -> (f64, f64) {
        ((self.across[1] / self.across[0]).ln(), (self.shear[1] / self.shear[0]).ln())
    }
}

/// The tones as the scan looks at them, with room for the grid's steps.
pub(super) struct Heard {
    /// ln of the frequencies, their standard deviations, and ln of the band's limits.
    pub(super) logs: Vec<f64>,
    pub(super) spread: Vec<f64>,
    pub(super) band: (f64, f64),
}

impl Heard {
    pub(super) fn new(tones: &[Tone]) -> Self {
        let logs: Vec<f64> = tones.iter().map(|t| t.frequency_hz.ln()).collect();
        let band = (logs[0] - 0.03, logs[logs.len() - 1] + 0.03);
        Self { logs, spread: tones.iter().map(|t| t.relative_u().hypot(1.3 * DEVIATION)).collect(), band }
    }

    /// How well the tones fit expected frequencies; minus infinity where far too few are expected.
    pub(super) fn score(&self, reference: &[f64], speed: f64) -> f64 {
        let shift = (speed / REFERENCE_SPEED).ln();
        let inside = |f: &f64| *f > self.band.0 && *f < self.band.1;
        let expected: Vec<f64> = reference.iter().map(|f| f + shift).filter(inside).collect();
        if 2 * expected.len() < self.logs.len() {
            return f64::NEG_INFINITY;
        }
        align_score(&self.logs, &self.spread, &expected)
    }
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

    /// Between the grid's points the frequencies are those of the plate within the spread that the scan allows for (0.8 %; two modes
    /// that cross between the points are the farthest off).
    #[test]
    fn the_grid_gives_the_plates_frequencies_between_its_points() {
        let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };
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
}
