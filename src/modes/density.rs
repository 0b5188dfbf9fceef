//! The power density of the room's noise between the taps.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex32;

use super::window::raised_cosine;

/// Power density of the whitened noise (variance per sample that white noise of this density would have).
#[derive(Debug, Clone)]
pub(super) struct NoiseDensity {
    bin_hz: f64,
    values: Vec<f64>,
    /// Degrees of freedom of each value, as of a chi-squared variable.
    pub freedom: f64,
}

/// Length of the transforms that are averaged (s), long enough to keep hum to few bins, if there is noise enough for
/// several of them; else the shorter one.
const SEGMENT_S: (f64, f64) = (0.16, 0.04);
/// Half width of the running median over bins, which passes over lines.
const MEDIAN_REACH: usize = 10;

impl NoiseDensity {
    /// From whitened stretches of noise; `None` if there is too little of it.
    pub(super) fn of_noise(stretches: &[Vec<f32>], rate_hz: f64, planner: &mut RealFftPlanner<f32>) -> Option<Self> {
        let longest = stretches.iter().map(Vec::len).max()?;
        let segment_s = if longest as f64 > 2.5 * SEGMENT_S.0 * rate_hz { SEGMENT_S.0 } else { SEGMENT_S.1 };
        let wished = ((segment_s * rate_hz) as usize).next_power_of_two();
        let mut length = wished;
        while length > longest {
            length /= 2;
        }
        if length < 64 {
            return None;
        }
        let plan = planner.plan_fft_forward(length);
        let window: Vec<f32> = raised_cosine(length).map(|w| w as f32).collect();
        let energy: f64 = window.iter().map(|w| f64::from(w * w)).sum();
        let mut sum = vec![0.0f64; length / 2 + 1];
        let mut count = 0.0;
        let (mut input, mut output) = (plan.make_input_vec(), plan.make_output_vec());
        let mut scratch = plan.make_scratch_vec();
        for stretch in stretches {
            for piece in stretch.windows(length).step_by(length / 2) {
                for ((i, s), w) in input.iter_mut().zip(piece).zip(&window) {
                    *i = s * w;
                }
                let done = plan.process_with_scratch(&mut input, &mut output, &mut scratch);
                debug_assert!(done.is_ok());
                for (total, bin) in sum.iter_mut().zip(&output) {
                    *total += f64::from(bin.norm_sqr());
                }
                count += 1.0;
                if count >= 400.0 {
                    break;
                }
            }
        }
        if count == 0.0 {
            return None;
        }
        // Half-overlapped pieces under this window: 18 of 19 degrees of freedom of separate ones are kept (Welch 1967).
        let averages = f64::max(count * 18.0 / 19.0 * 0.55 + 0.45, 1.0);
        // The median of a mean of `averages` exponentials lies below its mean (Wilson-Hilferty).
        let median_bias = (1.0 - 1.0 / (9.0 * averages)).powi(3);
        let mean: Vec<f64> = sum.iter().map(|s| s / (count * energy)).collect();
        // Bin 0 holds the offset, not noise.
        let medians = running_median(&mean[1..], MEDIAN_REACH);
        let values = std::iter::once(medians[0]).chain(medians.iter().copied());
        let values: Vec<f64> = values.map(|median| (median / median_bias).max(1e-30)).collect();
        let freedom = 2.0 * averages * (2 * MEDIAN_REACH + 1) as f64 * 0.64 / 1.5;
        Some(Self { bin_hz: rate_hz / length as f64, values, freedom })
    }

    /// From the spectra of the ring-downs themselves, where no noise was recorded alone: the running lower quartile over
    /// a wide neighbourhood of bins.
    pub(super) fn of_spectra(spectra: &[Vec<Complex32>], lengths: &[usize], transform: usize, rate_hz: f64) -> Self {
        let bins = transform / 2 + 1;
        let mean: Vec<f64> = (0..bins)
            .map(|k| {
                spectra.iter().zip(lengths).map(|(s, l)| f64::from(s[k].norm_sqr()) / *l as f64).sum::<f64>()
                    / spectra.len() as f64
            })
            .collect();
        let span = (bins / 200).clamp(16, 400).min(bins);
        let values: Vec<f64> = mean
            .chunks(span)
            .map(|chunk| {
                let mut chunk = chunk.to_vec();
                let at = chunk.len() / 4;
                // Lower quartile of an exponential: 0.2877 of its mean.
                (*chunk.select_nth_unstable_by(at, f64::total_cmp).1 / 0.2877).max(1e-30)
            })
            .collect();
        Self { bin_hz: span as f64 * rate_hz / transform as f64, values, freedom: 0.0 }
    }

    /// Density at the first `bins` bins of a transform whose bins are `bin_hz` apart.
    pub(super) fn at_bins(&self, bin_hz: f64, bins: usize) -> Vec<f64> {
        let step = bin_hz / self.bin_hz;
        (0..bins).map(|k| self.at_position(k as f64 * step)).collect()
    }

    /// Density at a frequency (Hz).
    pub(super) fn at(&self, frequency_hz: f64) -> f64 {
        self.at_position((frequency_hz / self.bin_hz).max(0.0))
    }

    /// Density between the bins, by straight lines.
    fn at_position(&self, position: f64) -> f64 {
        let below = (position as usize).min(self.values.len() - 1);
        let above = (below + 1).min(self.values.len() - 1);
        let part = position - below as f64;
        if part >= 1.0 { self.values[above] } else { self.values[below] * (1.0 - part) + self.values[above] * part }
    }
}

/// Median of each value and its neighbours up to `reach` away, as far as there are any.
fn running_median(values: &[f64], reach: usize) -> Vec<f64> {
    let mut sorted: Vec<f64> = Vec::with_capacity(2 * reach + 1);
    let place = |sorted: &[f64], value: f64| sorted.partition_point(|other| other.total_cmp(&value).is_lt());
    for value in &values[..reach.min(values.len())] {
        sorted.insert(place(&sorted, *value), *value);
    }
    (0..values.len())
        .map(|k| {
            if let Some(value) = values.get(k + reach) {
                sorted.insert(place(&sorted, *value), *value);
            }
            if let Some(gone) = k.checked_sub(reach + 1) {
                sorted.remove(place(&sorted, values[gone]));
            }
            sorted[sorted.len() / 2]
        })
        .collect()
}
