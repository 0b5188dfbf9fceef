//! Flat tops: runs of samples held at one extreme value, the mark of an overloaded input.

use crate::lanes::{highest, least_step};

/// A run of samples stuck at an extreme.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlatTop {
    /// First sample of the run.
    pub start: usize,
    /// Number of samples in it.
    pub count: usize,
    /// Magnitude at which it is stuck (full scale = 1).
    pub level: f32,
}

/// Finds flat tops while the samples pass by.
///
/// A run counts when at least `LEAST_RUN` neighbours are equal to the bit and the signal enters or leaves it steeply: the
/// rounded crest of a quiet, coarsely quantised sine is left by a single step and is not a flat top. At digital full
/// scale (8-bit: 127/128) two neighbours are enough.
#[derive(Debug)]
pub(super) struct FlatTopFinder {
    index: usize,
    previous: f32,
    run_start: usize,
    run_count: usize,
    before_run: f32,
    peak: f32,
    quantum: f32,
    /// Samples that sit exactly at the peak so far.
    at_peak: Vec<usize>,
    found: Vec<FlatTop>,
}

impl Default for FlatTopFinder {
    fn default() -> Self {
        Self {
            index: 0,
            previous: 0.0,
            run_start: 0,
            run_count: 0,
            before_run: 0.0,
            peak: 0.0,
            quantum: f32::INFINITY,
            at_peak: Vec::new(),
            found: Vec::new(),
        }
    }
}

/// Samples that are passed over together where all are low.
const PIECE: usize = 32;
const LEAST_RUN: usize = 3;
const FULL_SCALE: f32 = 0.99;
/// A steep flank: the sample beside the run is lower by this fraction of its level.
const STEEP: f32 = 0.01;
/// Only runs this close to the recording's peak are overloads; lower ones are chance.
const NEAR_PEAK: f32 = 0.98;
/// Steps this fine (share of the peak) make a repeated peak no chance.
const FINE: f32 = 1e-3;
/// Enough for hundreds of clipped taps; the count beyond it tells nothing new.
const MOST_RUNS: usize = 100_000;

impl FlatTopFinder {
    pub(super) fn push(&mut self, samples: &[f32]) {
        for piece in samples.chunks(PIECE) {
            if !self.pass_over(piece) {
                self.look_at(piece);
            }
        }
    }

    /// Passes over a piece that lies so far below the peak that nothing in it can matter; false if it must be looked at.
    fn pass_over(&mut self, piece: &[f32]) -> bool {
        let low = NEAR_PEAK * self.peak;
        let [.., before, last] = piece else { return false };
        if highest(piece) >= low || self.previous.abs() >= low {
            return false;
        }
        let quantum = least_step(piece).min(least_step(&[self.previous, piece[0]]));
        self.quantum = self.quantum.min(quantum);
        (self.before_run, self.previous) = (*before, *last);
        self.run_count = 1;
        self.index += piece.len();
        self.run_start = self.index - 1;
        true
    }

    fn look_at(&mut self, samples: &[f32]) {
        let (mut previous, mut quantum) = (self.previous, self.quantum);
        let (mut run_count, mut peak) = (self.run_count, self.peak);
        for &sample in samples {
            if sample == previous {
                run_count += 1;
            } else {
                // The cheap test first: a run of one sample is the rule.
                if run_count >= 2 {
                    (self.previous, self.quantum, self.run_count, self.peak) = (previous, quantum, run_count, peak);
                    self.run_start = self.index - run_count;
                    self.close_run(sample);
                }
                quantum = quantum.min((sample - previous).abs());
                self.before_run = previous;
                run_count = 1;
            }
            let level = sample.abs();
            if level >= peak {
                if level > peak {
                    self.at_peak.clear();
                    peak = level;
                }
                if self.at_peak.len() < MOST_RUNS {
                    self.at_peak.push(self.index);
                }
            }
            previous = sample;
            self.index += 1;
        }
        (self.previous, self.quantum, self.run_count, self.peak) = (previous, quantum, run_count, peak);
        self.run_start = self.index - run_count;
    }

    fn close_run(&mut self, after: f32) {
        let level = self.previous.abs();
        if level < NEAR_PEAK * self.peak || level < 1e-3 {
            return;
        }
        let full = level >= FULL_SCALE;
        let sign = self.previous.signum();
        let flank = |beside: f32| level - sign * beside;
        let steep = flank(self.before_run).max(flank(after)) > (STEEP * level).max(2.5 * self.quantum);
        let long_enough = self.run_count >= LEAST_RUN || full;
        if long_enough && steep && self.found.len() < MOST_RUNS {
            self.found.push(FlatTop { start: self.run_start, count: self.run_count, level });
        }
    }

    /// All flat tops near the recording's peak.
    pub(super) fn finish(mut self) -> Vec<FlatTop> {
        let (peak, after) = (self.peak, self.before_run);
        self.close_run(after);
        self.found.retain(|top| top.level >= NEAR_PEAK * peak);
        // Finely quantised sound does not meet its own peak again and again, unless something holds it there.
        if self.at_peak.len() >= LEAST_RUN && self.quantum < FINE * peak && peak > 1e-3 {
            for &start in &self.at_peak {
                if !self.found.iter().any(|top| (top.start..top.start + top.count).contains(&start)) {
                    self.found.push(FlatTop { start, count: 1, level: peak });
                }
            }
            self.found.sort_by_key(|top| top.start);
        }
        self.found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat_tops(samples: impl Iterator<Item = f32>) -> Vec<FlatTop> {
        let mut finder = FlatTopFinder::default();
        finder.push(&samples.collect::<Vec<f32>>());
        finder.finish()
    }

    #[test]
    fn clipped_sine_is_found_and_counted() {
        let wave = (0..480).map(|n| (1.5 * (n as f32 * 0.13).sin()).clamp(-1.0, 1.0));
        let tops = flat_tops(wave);
        assert!(tops.len() > 10, "{tops:?}");
        assert!(tops.iter().all(|t| t.level == 1.0 && t.count >= 2));
    }

    #[test]
    fn single_samples_held_at_the_peak_are_found() {
        let wave = (0..4800).map(|n| (0.9 * (n as f32 * 1.7).sin() + 0.2 * (n as f32 * 0.031).sin()).clamp(-1.0, 1.0));
        assert!(flat_tops(wave).iter().any(|t| t.count == 1));
    }

    #[test]
    fn clipping_below_full_scale_is_found() {
        assert!(!flat_tops((0..480).map(|n| (0.9 * (n as f32 * 0.13).sin()).clamp(-0.5, 0.5))).is_empty());
    }

    #[test]
    fn rounded_crest_of_an_eight_bit_sine_is_not_clipping() {
        let wave = (0..4800).map(|n| ((n as f32 * 0.01).sin() * 40.0).round() / 128.0);
        assert!(flat_tops(wave).is_empty());
    }
}
