//! The Fourier transforms of the ring-downs, at three lengths, and what the search has not yet explained of them.

use realfft::num_complex::{Complex32, Complex64};
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

use super::component::{Component, Kernel};

/// The lengths of transform: each a quarter of the one before. Long ones part neighbours, short ones suit fast decays.
pub(super) const LENGTHS: usize = 3;

/// One ring-down, whitened, around its origin.
pub(super) struct Ring {
    /// Whitened samples; index `lead` is the origin.
    pub samples: Vec<f32>,
    /// Samples before the origin.
    pub lead: usize,
}

impl Ring {
    /// Samples from the origin to the end of the ring-down.
    pub(super) fn length(&self) -> usize {
        self.samples.len() - self.lead
    }
}

/// Transforms of all rings at one length.
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
}

/// Bins below this index are not searched: too near to 0 Hz for the windows' lobes.
pub(super) const FIRST_BIN: usize = 3;

/// The smallest even number with no prime factor above 5 that is not below `least`.
pub(super) fn fast_length(least: usize) -> usize {
    let mut best = least.next_power_of_two().max(2);
    let mut five = 1;
    while five < best {
        let mut three = five;
        while three < best {
            let mut two = three * 2;
            while two < least {
                two *= 2;
            }
            best = best.min(two);
            three *= 3;
        }
        five *= 5;
    }
    best
}

/// Transforms all rings at all lengths. `density(f)` is the whitened noise's power density (per sample) at f hertz.
pub(super) fn transform(
    rings: &[Ring],
    planner: &mut RealFftPlanner<f32>,
    rate_hz: f64,
    density: &dyn Fn(f64) -> f64,
) -> Vec<Scale> {
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
        let mut scale = Scale { transform, lengths, residuals: spectra.clone(), spectra, power: Vec::new() };
        scale.power = vec![0.0; transform / 2 + 1];
        let inverse_density: Vec<f32> =
            (0..=transform / 2).map(|k| (1.0 / density(k as f64 * rate_hz / transform as f64)) as f32).collect();
        scale.update_power(0..transform / 2 + 1, &inverse_density);
        scales.push(scale);
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

    /// Recomputes the searched power over a range of bins.
    ///
    /// The raised-cosine window is applied in the frequency domain: X/2 - (X- + X+)/4.
    pub(super) fn update_power(&mut self, bins: std::ops::Range<usize>, inverse_density: &[f32]) {
        let last = self.power.len() - 1;
        let bins = bins.start.max(1)..bins.end.min(last);
        if bins.is_empty() {
            return;
        }
        self.power[bins.clone()].fill(0.0);
        for (residual, length) in self.residuals.iter().zip(&self.lengths) {
            // Noise of density s gives this window a mean power of 3/8 s per sample; exact for length = transform.
            let scale = 1.0 / (0.375 * *length as f32 * self.residuals.len() as f32);
            let window = &residual[bins.start - 1..bins.end + 1];
            for (power, w) in self.power[bins.clone()].iter_mut().zip(window.windows(3)) {
                let value = w[1] * 0.5 - (w[0] + w[2]) * 0.25;
                *power += scale * value.norm_sqr();
            }
        }
        for (power, inverse) in self.power[bins.clone()].iter_mut().zip(&inverse_density[bins]) {
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

    /// Adds (`sign` 1) or takes away (-1) a component in the residuals over a range of bins.
    pub(super) fn apply(&mut self, component: &Component, sign: f64, bins: std::ops::Range<usize>) {
        let pole = component.pole();
        for ((residual, &length), amplitude) in self.residuals.iter_mut().zip(&self.lengths).zip(&component.amplitudes)
        {
            let direct = Kernel::new(pole, length);
            let mirror = Kernel::new(pole.conj(), length);
            let half = amplitude * (0.5 * sign);
            let mut turn = Turn::new(self.transform, length, bins.start);
            for value in &mut residual[bins.clone()] {
                let model = half * direct.value(turn.back, turn.back_to_length)
                    + half.conj() * mirror.value(turn.back, turn.back_to_length);
                value.re += model.re as f32;
                value.im += model.im as f32;
                turn.advance();
            }
        }
    }
}

/// exp(-i omega_k) and its power L for successive bins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turn {
    pub back: Complex64,
    pub back_to_length: Complex64,
    step: Complex64,
    step_to_length: Complex64,
}

impl Turn {
    pub(super) fn new(transform: usize, length: usize, first_bin: usize) -> Self {
        let angle = -std::f64::consts::TAU / transform as f64;
        // Whole turns are dropped in integers, so that long transforms lose no digits.
        let to_length = |bin: usize| ((bin as u128 * length as u128) % transform as u128) as f64;
        Self {
            back: Complex64::from_polar(1.0, angle * first_bin as f64),
            back_to_length: Complex64::from_polar(1.0, angle * to_length(first_bin)),
            step: Complex64::from_polar(1.0, angle),
            step_to_length: Complex64::from_polar(1.0, angle * to_length(1)),
        }
    }
    #[inline]
    pub(super) fn advance(&mut self) {
        self.back *= self.step;
        self.back_to_length *= self.step_to_length;
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
        let mut scales = transform(&[ring], &mut RealFftPlanner::new(), 8000.0, &|_| 1.0);
        for scale in &mut scales {
            let end = scale.power.len() - 1;
            let before: f32 = scale.residuals[0].iter().map(|r| r.norm_sqr()).sum();
            scale.apply(&component, -1.0, 1..end);
            let after: f32 = scale.residuals[0][1..end].iter().map(|r| r.norm_sqr()).sum();
            assert!(after < 1e-9 * before, "{after} {before}");
        }
    }
}
