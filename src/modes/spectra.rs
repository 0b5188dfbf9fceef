//! The Fourier transforms of the ring-downs, at three lengths, and what the search has not yet explained of them.

use realfft::num_complex::{Complex32, Complex64};
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

use super::component::{Component, RealDecay};
use super::density::NoiseDensity;
use super::fast_length::fast_length;
use super::rings::Ring;
use super::window::turns;

/// The lengths of transform: each a quarter of the one before. Long ones part neighbours, short ones suit fast decays.
pub(super) const LENGTHS: usize = 3;

/// Transforms of all rings at one length.
#[derive(Clone)]
pub(super) struct Scale {
    /// Length of the transform: bin k is at k rate / transform hertz.
    pub transform: usize,
    /// Samples of each ring that were transformed (the rest is zeros).
    pub lengths: Vec<usize>,
    /// Rectangular-window transform of each ring.
    pub spectra: Vec<Vec<Complex32>>,
    /// What is left of them when the components found so far are taken away (near their peaks).
    pub residuals: Vec<Vec<Complex32>>,
    /// Mean over the rings of the raised-cosine-windowed residual power, in units of the noise's.
    pub power: Vec<f32>,
    /// One over the noise's density at each bin.
    inverse_density: Vec<f32>,
}

/// Bins below this index are not searched: too near to 0 Hz for the windows' lobes.
pub(super) const FIRST_BIN: usize = 3;

/// Transforms all rings at all lengths. The power is told by [`Scale::set_noise`].
pub(super) fn transform(rings: &[Ring], planner: &mut RealFftPlanner<f32>) -> Vec<Scale> {
    let longest = rings.iter().map(Ring::length).max().unwrap_or(2);
    let mut scales: Vec<Scale> = Vec::new();
    let mut least = longest;
    for _ in 0..LENGTHS {
        let transform = fast_length(least);
        let plan = planner.plan_fft_forward(transform);
        let lengths: Vec<usize> = rings.iter().map(|r| r.length().min(transform)).collect();
        let mut buffers = Buffers::new(&plan);
        let spectra: Vec<Vec<Complex32>> =
            rings.iter().zip(&lengths).map(|(ring, l)| buffers.run(&ring.samples[ring.lead..ring.lead + l])).collect();
        let bins = transform / 2 + 1;
        let (power, inverse_density) = (vec![0.0; bins], vec![1.0; bins]);
        let residuals = spectra.clone();
        scales.push(Scale { transform, lengths, spectra, residuals, power, inverse_density });
        least = (longest / 4usize.pow(scales.len() as u32)).max(64);
    }
    scales
}

struct Buffers {
    plan: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    scratch: Vec<Complex32>,
}

impl Buffers {
    fn new(plan: &Arc<dyn RealToComplex<f32>>) -> Self {
        Self { plan: plan.clone(), input: plan.make_input_vec(), scratch: plan.make_scratch_vec() }
    }
    fn run(&mut self, samples: &[f32]) -> Vec<Complex32> {
        self.input[..samples.len()].copy_from_slice(samples);
        self.input[samples.len()..].fill(0.0);
        let mut output = self.plan.make_output_vec();
        // Buffers come from the plan itself, so the lengths agree and this cannot fail.
        let done = self.plan.process_with_scratch(&mut self.input, &mut output, &mut self.scratch);
        debug_assert!(done.is_ok());
        output
    }
}

impl Scale {
    pub(super) fn bin_hz(&self, rate_hz: f64) -> f64 {
        rate_hz / self.transform as f64
    }

    /// The same of some of the rings, nothing taken away yet.
    pub(super) fn of_rings(&self, taps: &[usize]) -> Self {
        let spectra: Vec<Vec<Complex32>> = taps.iter().map(|tap| self.spectra[*tap].clone()).collect();
        let mut scale = Self {
            transform: self.transform,
            lengths: taps.iter().map(|tap| self.lengths[*tap]).collect(),
            residuals: spectra.clone(),
            spectra,
            power: vec![0.0; self.power.len()],
            inverse_density: self.inverse_density.clone(),
        };
        scale.update_power(0..scale.power.len());
        scale
    }

    /// Power, in units of the noise's, summed over the bins of a range where it is above a threshold: all there is, and
    /// what is left of it.
    pub(super) fn power_above(&self, threshold: f32, bins: std::ops::Range<usize>) -> (f64, f64) {
        let bins = bins.start.min(bins.end)..bins.end.min(self.power.len());
        let sum = |of: &[Vec<Complex32>]| -> f64 {
            let mut power = vec![0.0f32; self.power.len()];
            self.windowed_power(of, bins.clone(), &mut power);
            power[bins.clone()].iter().filter(|p| **p > threshold).map(|p| f64::from(*p)).sum()
        };
        (sum(&self.spectra), sum(&self.residuals))
    }

    /// Takes the noise's density as the measure of the power.
    pub(super) fn set_noise(&mut self, density: &NoiseDensity, rate_hz: f64) {
        let bins = self.power.len();
        let values = density.at_bins(self.bin_hz(rate_hz), bins);
        self.inverse_density = values.into_iter().map(|d| (1.0 / d) as f32).collect();
        self.update_power(0..bins);
    }

    /// Recomputes the searched power over a range of bins.
    ///
    /// The raised-cosine window is applied in the frequency domain: X/2 - (X- + X+)/4.
    fn update_power(&mut self, bins: std::ops::Range<usize>) {
        let mut power = std::mem::take(&mut self.power);
        self.windowed_power(&self.residuals, bins, &mut power);
        self.power = power;
    }

    fn windowed_power(&self, of: &[Vec<Complex32>], bins: std::ops::Range<usize>, power: &mut [f32]) {
        let bins = bins.start.max(1)..bins.end.min(power.len() - 1);
        if bins.is_empty() {
            return;
        }
        power[bins.clone()].fill(0.0);
        for (spectrum, length) in of.iter().zip(&self.lengths) {
            // Noise of density s gives this window a mean power of 3/8 s per sample; exact for length = transform.
            let scale = 1.0 / (0.375 * *length as f32 * of.len() as f32);
            let window = &spectrum[bins.start - 1..bins.end + 1];
            for (power, w) in power[bins.clone()].iter_mut().zip(window.windows(3)) {
                let value = w[1] * 0.5 - (w[0] + w[2]) * 0.25;
                *power += scale * value.norm_sqr();
            }
        }
        for (power, inverse) in power[bins.clone()].iter_mut().zip(&self.inverse_density[bins]) {
            *power *= inverse;
        }
    }

    /// Bins around a frequency, clipped to the searched range.
    pub(super) fn bins_around(&self, frequency_hz: f64, reach_hz: f64, rate_hz: f64) -> std::ops::Range<usize> {
        let bin = self.bin_hz(rate_hz);
        let first = ((frequency_hz - reach_hz) / bin).floor().max(1.0) as usize;
        let last = ((frequency_hz + reach_hz) / bin).ceil().max(1.0) as usize;
        let end = self.power.len() - 1;
        first.min(end)..(last + 1).min(end)
    }

    /// Adds (`sign` 1) or takes away (-1) a component in the residuals and their power up to `reach_hz` on each side.
    ///
    /// Fully up to half of that and ever less beyond: where the taking away ended abruptly, the skirt that is left would
    /// stand there like a mode.
    pub(super) fn apply(&mut self, component: &Component, sign: f64, reach_hz: f64, rate_hz: f64) {
        let middle_hz = component.frequency_hz(rate_hz);
        let bins = self.bins_around(middle_hz, reach_hz, rate_hz);
        let bin_hz = self.bin_hz(rate_hz);
        let share = |k: usize| {
            let beyond = 2.0 * (k as f64 * bin_hz - middle_hz).abs() / reach_hz - 1.0;
            if beyond <= 0.0 { sign } else { sign * (std::f64::consts::FRAC_PI_2 * beyond.min(1.0)).cos().powi(2) }
        };
        let shares: Vec<f64> = bins.clone().map(share).collect();
        let backs = turns(self.transform, 1, bins.clone());
        let decay = RealDecay::new(component, &backs);
        let mut far: Option<(usize, Vec<Complex64>)> = None;
        for ((residual, &length), amplitude) in self.residuals.iter_mut().zip(&self.lengths).zip(&component.amplitudes)
        {
            if far.as_ref().is_none_or(|(of, _)| *of != length) {
                far = Some((length, turns(self.transform, length, bins.clone())));
            }
            let Some((_, backs_to_length)) = &far else { continue };
            let residual = &mut residual[bins.clone()];
            decay.values(*amplitude, length, &backs, backs_to_length, |k, value| {
                residual[k].re += (shares[k] * value.re) as f32;
                residual[k].im += (shares[k] * value.im) as f32;
            });
        }
        self.update_power(bins);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fast_lengths_are_smooth_and_close() {
        for least in [2usize, 7, 97, 1000, 4999, 48_017, 123_457] {
            let length = fast_length(least);
            assert!(length >= least && length.is_multiple_of(2) && length < least + least / 8 + 8, "{least} {length}");
            let mut rest = length;
            for p in [2, 3, 5] {
                while rest.is_multiple_of(p) {
                    rest /= p;
                }
            }
            assert_eq!(rest, 1);
        }
    }

    #[test]
    fn a_component_taken_away_leaves_nothing() {
        let component = Component {
            decay: 2e-3,
            turn: 0.21,
            steady: false,
            home: 0.0,
            amplitudes: vec![Complex64::new(0.3, -0.4)],
        };
        let samples: Vec<f32> = (0..3000)
            .map(|n| (component.amplitudes[0] * (Complex64::new(-2e-3, 0.21) * n as f64).exp()).re as f32)
            .collect();
        let ring = Ring { samples, lead: 0 };
        let mut scales = transform(&[ring], &mut RealFftPlanner::new());
        assert_eq!(scales.len(), 3);
        for scale in &mut scales {
            let end = scale.power.len() - 1;
            let before: f32 = scale.residuals[0].iter().map(|r| r.norm_sqr()).sum();
            scale.apply(&component, -1.0, 1e5, 8000.0);
            let after: f32 = scale.residuals[0][1..end].iter().map(|r| r.norm_sqr()).sum();
            assert!(after < 1e-9 * before, "{after} {before}");
        }
    }
    /// Where the taking away ends, nothing is left that rises over the skirt that remains: it would pass for a mode.
    #[test]
    fn a_component_taken_away_leaves_no_edge() {
        let amplitudes = vec![Complex64::new(1.0, 0.0)];
        let component = Component { decay: 1e-3, turn: 0.8, steady: false, home: 0.0, amplitudes };
        let samples: Vec<f32> =
            (0..8000).map(|n| (Complex64::new(-1e-3, 0.8) * f64::from(n)).exp().re as f32).collect();
        let mut scales = transform(&[Ring { samples, lead: 0 }], &mut RealFftPlanner::new());
        let scale = &mut scales[0];
        let (rate_hz, reach_hz) = (8000.0, 60.0);
        scale.update_power(0..scale.power.len());
        let peak = scale.power.iter().copied().fold(0.0, f32::max);
        scale.apply(&component, -1.0, reach_hz, rate_hz);
        let near = scale.bins_around(component.frequency_hz(rate_hz), 1.5 * reach_hz, rate_hz);
        assert!(!near.is_empty() && peak > 0.0);
        let left = scale.power[near].iter().copied().fold(0.0, f32::max);
        assert!(left < 1e-6 * peak, "{:.1} dB under the peak", 10.0 * (peak / left).log10());
    }
}
