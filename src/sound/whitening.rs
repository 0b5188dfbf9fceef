//! Whitening: a short filter that makes the room's noise flat, so that its strong low end does not leak into the modes.
//!
//! Any finite filter leaves frequencies and dampings of free decays untouched (it only scales each mode), so the filter
//! need not be perfect; it is the linear predictor of the quiet stretches (autocorrelation method, Levinson recursion;
//! Kay, Modern Spectral Estimation, from memory).

use realfft::num_complex::Complex64;

use crate::lanes::dot_single;

/// Filter length that is enough for rumble, a slope of the room's noise, and a low-pass of a phone, at the full rate.
pub(crate) const BROAD_ORDER: usize = 8;
/// A longer filter must lower the noise by this factor against a shorter one: each tap costs a sample of decay. Chance alone
/// gives 1.0003 for eight taps and half a second of noise.
const WORTH: f64 = 1.002;
/// Enough noise to estimate the filter; more changes nothing.
const MOST_SAMPLES: usize = 60_000;

/// The whitening filter; coefficient 0 is 1.
#[derive(Debug, Clone)]
pub(crate) struct Whitening {
    taps: Vec<f32>,
    /// Autocorrelation of the taps.
    own_lags: Vec<f64>,
}

/// Samples that are filtered at once.
const PIECE: usize = 2048;

impl Whitening {
    /// The filter that does nothing.
    pub(crate) fn none() -> Self {
        Self::of_taps(vec![1.0])
    }

    /// The linear predictor of the stretches of noise, of at most `most` taps behind the first; none if there is too little
    /// noise to tell.
    pub(crate) fn of_noise(stretches: &[Vec<f32>], most: usize) -> Self {
        let mut lags = vec![0.0f64; most + 1];
        let mut used = 0;
        for stretch in stretches {
            let stretch = &stretch[..stretch.len().min(MOST_SAMPLES - used)];
            if stretch.len() < 8 * most {
                continue;
            }
            let mean = stretch.iter().map(|s| f64::from(*s)).sum::<f64>() / stretch.len() as f64;
            let centred: Vec<f32> = stretch.iter().map(|s| (f64::from(*s) - mean) as f32).collect();
            for (lag, sum) in lags.iter_mut().enumerate() {
                let (late, early) = (&centred[lag..], &centred[..centred.len() - lag]);
                *sum +=
                    late.chunks(1024).zip(early.chunks(1024)).map(|(a, b)| f64::from(dot_single(a, b))).sum::<f64>();
            }
            used += stretch.len();
            if used >= MOST_SAMPLES {
                break;
            }
        }
        if used == 0 || lags[0] <= 0.0 {
            return Self::none();
        }
        // A grain of white noise keeps the recursion stable on pure hum.
        lags[0] *= 1.0 + 1e-6;
        let mut taps = vec![1.0f64];
        let mut filters = vec![(lags[0], taps.clone())];
        let mut error = lags[0];
        for order in 1..=most {
            taps.push(0.0);
            let correlation: f64 = (0..order).map(|i| taps[i] * lags[order - i]).sum();
            let reflection = -correlation / error;
            let before = taps.clone();
            for i in 1..=order {
                taps[i] = before[i] + reflection * before[order - i];
            }
            error *= 1.0 - reflection * reflection;
            filters.push((error, taps.clone()));
        }
        // The shortest filter that is nearly as good as the longest.
        let chosen = filters.iter().find(|(e, _)| *e < WORTH * error).map_or(&taps, |(_, t)| t);
        Self::of_taps(chosen.iter().map(|t| *t as f32).collect())
    }

    fn of_taps(taps: Vec<f32>) -> Self {
        let product = |lag: usize| taps.iter().zip(&taps[lag..]).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
        Self { own_lags: (0..taps.len()).map(product).collect(), taps }
    }

    /// Samples of history that the filter needs.
    pub(crate) fn memory(&self) -> usize {
        self.taps.len() - 1
    }

    /// Filters `samples`, whose first `memory()` are history only: the result is that much shorter.
    pub(crate) fn apply(&self, samples: &[f32], out: &mut Vec<f32>) {
        let memory = self.memory();
        out.clear();
        if samples.len() <= memory {
            return;
        }
        out.extend_from_slice(&samples[memory..]);
        // In pieces that stay in the processor's nearest memory.
        for (piece, out) in out.chunks_mut(PIECE).enumerate() {
            let samples = &samples[piece * PIECE..];
            let late = |lag: usize| &samples[memory - lag..];
            let mut lag = 1;
            // Several taps in one pass, to read and write the sum less often.
            while let Some(&[a, b, c, d]) = self.taps.get(lag..lag + 4) {
                let late = late(lag).iter().zip(late(lag + 1)).zip(late(lag + 2)).zip(late(lag + 3));
                for (o, (((x, y), z), w)) in out.iter_mut().zip(late) {
                    *o += (a * x + b * y) + (c * z + d * w);
                }
                lag += 4;
            }
            for (lag, tap) in self.taps.iter().enumerate().skip(lag) {
                for (o, s) in out.iter_mut().zip(late(lag)) {
                    *o += tap * s;
                }
            }
        }
    }

    /// Power gain at frequencies given by the cosines of their angles per sample: a series in them of the filter's own
    /// autocorrelation.
    pub(crate) fn power_gain(&self, cosine: f64) -> f64 {
        let (mut last, mut before) = (0.0, 0.0);
        for lag in self.own_lags.iter().skip(1).rev() {
            (last, before) = (2.0 * (lag + cosine * last) - before, last);
        }
        self.own_lags[0] + cosine * last - before
    }

    /// Complex gain of the filter for a free decay with this pole (z).
    pub(crate) fn gain(&self, pole: Complex64) -> Complex64 {
        let inverse = pole.inv();
        self.taps.iter().rev().fold(Complex64::new(0.0, 0.0), |sum, tap| sum * inverse + f64::from(*tap))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{NoiseColour, noise};
    use rand_chacha::rand_core::SeedableRng;

    #[test]
    fn brown_noise_becomes_nearly_white() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let brown: Vec<f32> =
            noise(NoiseColour::Brown, 1.0, 40_000, 48_000.0, &mut random).iter().map(|s| *s as f32).collect();
        let filter = Whitening::of_noise(std::slice::from_ref(&brown), BROAD_ORDER);
        let mut white = Vec::new();
        filter.apply(&brown, &mut white);
        let lag = |d: usize| white[d..].iter().zip(&white).map(|(a, b)| f64::from(a * b)).sum::<f64>();
        assert!(lag(1).abs() < 0.05 * lag(0), "{} {}", lag(0), lag(1));
    }

    #[test]
    fn a_decay_is_only_scaled() {
        let filter = Whitening::of_taps(vec![1.0, -1.2, 0.5]);
        let pole = Complex64::new(-0.001, 0.2).exp();
        let decay: Vec<f32> = (0..100).map(|n| pole.powi(n).re as f32).collect();
        let mut out = Vec::new();
        filter.apply(&decay, &mut out);
        let expected = filter.gain(pole) * pole.powi(2);
        assert!((f64::from(out[0]) - expected.re).abs() < 1e-5);
        let steady = Complex64::from_polar(1.0, 0.7);
        assert!((filter.power_gain(0.7f64.cos()) - filter.gain(steady).norm_sqr()).abs() < 1e-6);
    }
}
