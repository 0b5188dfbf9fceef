//! A short run over simulated takes with known truth: how often the stated intervals hold it.

use crate::modes::{COVERAGE_95, EstimateOptions, Estimator};
use crate::simulate::{NoiseColour, TakeSpec, TrueMode};
use crate::sound::{Recording, find_taps};

/// What the run found.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SimulatedCheck {
    pub takes: usize,
    /// Modes that were there, were found, and whose intervals of frequency and of damping hold the truth.
    pub modes: usize,
    pub found: usize,
    pub frequency_held: usize,
    pub damping_held: usize,
    /// Modes that were not there.
    pub false_modes: usize,
}

impl SimulatedCheck {
    /// Whether the intervals hold as often as they should: 95 %, less three standard deviations of so many trials.
    pub fn passed(&self) -> bool {
        let n = self.found.max(1) as f64;
        let least = 0.95 - 3.0 * (0.95 * 0.05 / n).sqrt();
        let share = |held: usize| held as f64 / n;
        self.found as f64 >= 0.95 * self.modes as f64
            && share(self.frequency_held) >= least
            && share(self.damping_held) >= least
            && 20 * self.false_modes <= self.takes
    }
}

/// Makes takes of four modes each, well apart, 30 to 50 dB over pink noise, measures them and compares.
pub fn simulated_check(takes: usize) -> SimulatedCheck {
    let mut all = SimulatedCheck { takes, ..SimulatedCheck::default() };
    let mut estimator = Estimator::default();
    for seed in 0..takes as u64 {
        // Frequencies and dampings wander with the seed, by steps that never meet.
        let wander = |n: u64| ((seed * 7 + n * 13) % 17) as f64 / 17.0;
        let mode = |n: u64| TrueMode {
            frequency_hz: 110.0 * 1.7f64.powi(n as i32) * (1.0 + 0.1 * wander(n)),
            damping_ratio: 0.004 + 0.01 * wander(n + 5),
            amplitude: 0.05 * 0.7f64.powi(n as i32),
            phase_rad: 6.0 * wander(n + 9),
        };
        let spec = TakeSpec {
            sample_rate_hz: 24_000.0,
            modes: (0..4).map(mode).collect(),
            noise_colour: NoiseColour::Pink,
            noise_sigma: 3e-4,
            contact_s: 1e-3,
            seed: seed + 1,
            ..TakeSpec::default()
        };
        all.modes += spec.modes.len();
        let estimate = Recording::from_samples(spec.make().samples, spec.sample_rate_hz).and_then(|mut recording| {
            let found = find_taps(&mut recording)?;
            estimator.estimate(&mut recording, &found, &EstimateOptions { with_spectrum: false, ..Default::default() })
        });
        let Ok(estimate) = estimate else { continue };
        let mut matched = 0;
        for truth in &spec.modes {
            let near = estimate
                .modes
                .iter()
                .find(|m| (m.frequency.value / truth.frequency_hz - 1.0).abs() < truth.damping_ratio);
            let Some(mode) = near else { continue };
            matched += 1;
            all.found += 1;
            let held = |value: f64, truth: f64, u: f64| usize::from((value - truth).abs() <= COVERAGE_95 * u);
            all.frequency_held += held(mode.frequency.value, truth.frequency_hz, mode.frequency.u_95());
            all.damping_held += held(mode.damping_ratio.value, truth.damping_ratio, mode.damping_ratio.u_95());
        }
        all.false_modes += estimate.modes.len() - matched;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_run_holds() {
        let run = simulated_check(12);
        assert!(run.passed() && run.modes == 48, "{run:?}");
        // It can fail.
        assert!(!SimulatedCheck { damping_held: run.found / 2, ..run }.passed());
        assert!(!SimulatedCheck { found: run.modes / 2, ..run }.passed());
        assert!(!SimulatedCheck { false_modes: 5, ..run }.passed());
    }
}
