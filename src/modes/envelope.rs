//! The decay envelope of a mode: what people look at, and a second opinion on the damping.
//!
//! The transform of each ring-down is multiplied by a Gaussian around the mode (its neighbours taken away first) and
//! transformed back: an exponential stays one, so the slope is not the filter's own. The power is averaged over the taps,
//! the noise's share subtracted, and a line fitted from behind the filter's smear down to 10 dB over the noise.

use realfft::num_complex::Complex64;
use rustfft::FftPlanner;
use serde::{Deserialize, Serialize};

/// Decibel curve of a mode's decay with its line.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Envelope {
    /// Times after the strike (s), evenly spaced.
    #[serde(skip)]
    pub time_s: Vec<f64>,
    /// Level (dB re the strike: the fitted line there, or without one the refined decay's), noise subtracted; below the noise it
    /// is the noise.
    #[serde(skip)]
    pub level_db: Vec<f64>,
    /// Noise level on the same scale (dB).
    #[serde(deserialize_with = "nan_for_null")]
    pub noise_db: f64,
    /// The stretch used for the line (s).
    #[serde(skip)]
    pub used_s: (f64, f64),
    /// Slope of the line (dB/s, negative) and its standard uncertainty.
    #[serde(deserialize_with = "nan_for_null")]
    pub slope_db_per_s: f64,
    #[serde(deserialize_with = "nan_for_null")]
    pub slope_db_per_s_u: f64,
    /// Slopes of the first and second half of the stretch (dB/s), with their standard uncertainties.
    #[serde(skip)]
    pub halves: [(f64, f64); 2],
}

/// JSON has no number that is none.
fn nan_for_null<'de, D: serde::Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    Ok(Option::deserialize(from)?.unwrap_or(f64::NAN))
}

/// A band around one mode in one transform, of all taps.
pub(super) struct EnvelopeInput<'a> {
    /// Bins of each tap, neighbours taken away; `first_bin` is the first.
    pub bins: &'a [Vec<Complex64>],
    pub first_bin: usize,
    pub transform: usize,
    /// Samples of data in each tap's transform.
    pub lengths: &'a [usize],
    /// Damped angular frequency per sample, decay per sample.
    pub turn: f64,
    pub decay: f64,
    /// Whitened noise density.
    pub density: f64,
    pub rate_hz: f64,
    /// From the strike to the origin of the transforms (s).
    pub origin_s: f64,
    /// The free decay is used from here on (samples behind the origin).
    pub start: f64,
}

/// Standard deviation of the Gaussian filter in half-widths of the mode.
pub(super) const FILTER_HALF_WIDTHS: f64 = 4.0;
/// ... and at least so many bins.
pub(super) const FILTER_BINS: f64 = 3.0;
/// The line ends where the level is so far over the noise (dB).
const OVER_NOISE_DB: f64 = 10.0;
const DB_PER_NEPER: f64 = 8.685_889_638_065_037;

/// Standard deviation of the filter (Hz) for a mode.
pub(super) fn filter_width_hz(half_width_hz: f64, bin_hz: f64) -> f64 {
    (FILTER_HALF_WIDTHS * half_width_hz).max(FILTER_BINS * bin_hz)
}

pub(super) fn extract(input: &EnvelopeInput<'_>, planner: &mut FftPlanner<f64>) -> Envelope {
    let tau = std::f64::consts::TAU;
    let bin_hz = input.rate_hz / input.transform as f64;
    let width_hz = filter_width_hz(input.decay * input.rate_hz / tau, bin_hz);
    let smear = 1.0 / (tau * width_hz) * input.rate_hz;
    let count = input.bins.first().map_or(0, Vec::len);
    if count < 4 {
        return Envelope::default();
    }
    let points = (2 * count).next_power_of_two().max(64);
    let step = input.transform as f64 / points as f64;
    let centre_bin = input.turn * input.transform as f64 / tau;
    let plan = planner.plan_fft_inverse(points);
    let mut power = vec![0.0; points];
    let mut weight = vec![0.0; points];
    let mut filter_energy = 0.0;
    let gaussian: Vec<f64> = (0..count)
        .map(|i| {
            let offset = (input.first_bin + i) as f64 - centre_bin;
            let g = (-0.5 * (offset * bin_hz / width_hz).powi(2)).exp();
            filter_energy += g * g;
            g
        })
        .collect();
    let mut buffer = vec![Complex64::default(); points];
    for (bins, &length) in input.bins.iter().zip(input.lengths) {
        buffer.fill(Complex64::default());
        for ((slot, x), g) in buffer.iter_mut().zip(bins).zip(&gaussian) {
            *slot = x * (2.0 * g / input.transform as f64);
        }
        plan.process(&mut buffer);
        for (i, value) in buffer.iter().enumerate() {
            if (i as f64 * step) < length as f64 {
                power[i] += value.norm_sqr();
                weight[i] += 1.0;
            }
        }
    }
    let taps = input.bins.len() as f64;
    // Noise power behind the filter: sum over bins of (2 g/N)^2 N density.
    let noise = 4.0 * filter_energy * input.density / input.transform as f64;
    let shortest = input.lengths.iter().copied().min().unwrap_or(0) as f64;
    let first = ((input.start.max(0.0) + 3.0 * smear) / step).ceil() as usize;
    let last = (((shortest - 3.0 * smear) / step).floor().max(0.0) as usize).min(points - 1);
    let mean: Vec<f64> = power.iter().zip(&weight).map(|(p, w)| if *w > 0.0 { p / w } else { 0.0 }).collect();
    let mut end = first;
    let limit = noise * 10f64.powf(OVER_NOISE_DB / 10.0);
    // The stretch ends at the first lasting fall below the limit.
    let patience = ((2.0 * smear / step).ceil() as usize).max(1);
    let mut below = 0;
    for (i, p) in mean.iter().enumerate().take(last + 1).skip(first) {
        if p - noise > limit {
            end = i;
            below = 0;
        } else {
            below += 1;
            if below > patience {
                break;
            }
        }
    }
    let time = |i: usize| (i as f64 * step) / input.rate_hz + input.origin_s;
    let line = |from: usize, to: usize| fit_line(&mean, noise, from, to, taps, smear / step, &time);
    let (slope, slope_u, level_at_zero) = line(first, end);
    let middle = (first + end) / 2;
    let (early, late) = (line(first, middle), line(middle, end));
    let reference = if level_at_zero.is_finite() {
        level_at_zero
    } else {
        // Too short for a line: the refined decay leads from the first clean point to the strike.
        let clean = first.min(points - 1);
        let level = 10.0 * (mean[clean] - noise).max(0.25 * noise).max(1e-300).log10();
        level + DB_PER_NEPER * input.decay * input.rate_hz * time(clean)
    };
    let to_db = |p: f64| 10.0 * p.max(1e-300).log10() - reference;
    Envelope {
        time_s: (0..=last.max(1)).map(time).collect(),
        level_db: mean.iter().take(last.max(1) + 1).map(|p| to_db((p - noise).max(0.25 * noise))).collect(),
        noise_db: to_db(noise),
        used_s: (time(first), time(end)),
        slope_db_per_s: slope,
        slope_db_per_s_u: slope_u,
        halves: [(early.0, early.1), (late.0, late.1)],
    }
}

/// Weighted line through the decibels of noise-subtracted power: slope (dB/s), its uncertainty, and level at time 0 (dB).
fn fit_line(
    mean: &[f64],
    noise: f64,
    from: usize,
    to: usize,
    taps: f64,
    smear_points: f64,
    time: &dyn Fn(usize) -> f64,
) -> (f64, f64, f64) {
    if to < from + 3 {
        return (f64::NAN, f64::INFINITY, f64::NAN);
    }
    let (mut sw, mut st, mut sy, mut stt, mut sty) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, p) in mean.iter().enumerate().take(to + 1).skip(from) {
        let signal = p - noise;
        if signal <= 0.0 {
            continue;
        }
        // Relative variance of a noise-disturbed power: (2 S N + N^2)/S^2 per tap.
        let ratio = noise / signal;
        let weight = taps / ((2.0 * ratio + ratio * ratio).max(1e-12) * (DB_PER_NEPER / 2.0).powi(2));
        let (t, y) = (time(i), 10.0 * signal.log10());
        sw += weight;
        st += weight * t;
        sy += weight * y;
        stt += weight * t * t;
        sty += weight * t * y;
    }
    let determinant = sw * stt - st * st;
    if determinant <= 0.0 || sw <= 0.0 {
        return (f64::NAN, f64::INFINITY, f64::NAN);
    }
    let slope = (sw * sty - st * sy) / determinant;
    // Neighbouring points share the filter's smear: about 2 sqrt(pi) of its deviations make one independent point.
    let correlated = (smear_points * 2.0 * std::f64::consts::PI.sqrt()).max(1.0);
    let slope_u = (sw / determinant * correlated).sqrt();
    (slope, slope_u, (sy - slope * st) / sw)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A power that falls by 30 dB a second from -10 dB, over noise of -60 dB: the noise is taken away.
    #[test]
    fn the_line_is_that_of_the_decay_without_its_noise() {
        let noise = 1e-6;
        let time = |i: usize| 0.01 * i as f64;
        let power: Vec<f64> = (0..100).map(|i| 10f64.powf(-1.0 - 3.0 * time(i)) + noise).collect();
        let (slope, slope_u, level) = fit_line(&power, noise, 0, 99, 4.0, 0.0, &time);
        assert!((slope + 30.0).abs() < 1e-6 && (level + 10.0).abs() < 1e-6, "{slope} {level}");
        // Four times the taps: half the uncertainty. A filter that smears over n points: sqrt(2 sqrt(pi) n) times as much.
        let (_, half, _) = fit_line(&power, noise, 0, 99, 16.0, 0.0, &time);
        assert!((slope_u / half - 2.0).abs() < 1e-9);
        let (_, smeared, _) = fit_line(&power, noise, 0, 99, 4.0, 5.0, &time);
        assert!((smeared / slope_u - (10.0 * std::f64::consts::PI.sqrt()).sqrt()).abs() < 1e-9);
        assert!(fit_line(&power, noise, 97, 99, 4.0, 0.0, &time).0.is_nan());
        assert!(!fit_line(&power, noise, 96, 99, 4.0, 0.0, &time).0.is_nan());
    }

    /// A ring-down of 40 dB a second whose noise leaves hardly a clean point: no line, but the curve stands where the mode's own
    /// decay puts it, and so it does with a line.
    #[test]
    fn the_curve_is_told_from_the_strike() {
        let (rate_hz, length) = (8000.0, 16_384);
        let decay = 40.0 / DB_PER_NEPER / rate_hz;
        let turn = std::f64::consts::TAU * 440.0 / rate_hz;
        // The transform begins 20 ms behind the strike.
        let origin = 160.0;
        let mut planner = FftPlanner::new();
        let mut bins: Vec<Complex64> =
            (0..length).map(|n| Complex64::from(0.01 * (-decay * n as f64).exp() * (turn * n as f64).cos())).collect();
        planner.plan_fft_forward(length).process(&mut bins);
        let first_bin = 800;
        let bins = vec![bins[first_bin..1000].to_vec()];
        let mut curve = |density: f64| {
            let lengths = [length];
            let input = EnvelopeInput {
                bins: &bins,
                first_bin,
                transform: length,
                lengths: &lengths,
                turn,
                decay,
                density,
                rate_hz,
                origin_s: origin / rate_hz,
                start: 0.0,
            };
            let envelope = extract(&input, &mut planner);
            let at = envelope.time_s.iter().position(|t| *t > 0.17).expect("a point");
            (envelope.slope_db_per_s, envelope.level_db[at] + 40.0 * envelope.time_s[at], envelope.noise_db)
        };
        let (slope, level, quiet_db) = curve(1e-12);
        assert!((slope + 40.0).abs() < 0.1 && level.abs() < 0.1, "{slope} {level}");
        // 93 dB more noise lies so much higher.
        let (slope, level, noise_db) = curve(2e-3);
        assert!(slope.is_nan() && level.abs() < 0.5, "{slope} {level}");
        assert!((noise_db - quiet_db - 93.0).abs() < 1.5, "{noise_db} {quiet_db}");
    }

    /// The uncertainty of the slope against the scatter of slopes in noise: power of a complex sum of decay and noise.
    #[test]
    fn the_slopes_scatter_as_their_uncertainty_says() {
        use rand_chacha::rand_core::SeedableRng;
        use rand_distr::Distribution;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let normal = rand_distr::StandardNormal;
        let time = |i: usize| 0.01 * i as f64;
        let (noise, runs) = (1e-4, 400);
        let mut over = 0.0;
        for _ in 0..runs {
            let power: Vec<f64> = (0..60)
                .map(|i| {
                    let mut draw =
                        || -> f64 { (0.5f64 * noise).sqrt() * Distribution::<f64>::sample(&normal, &mut random) };
                    let amplitude = 10f64.powf(0.05 * (-10.0 - 30.0 * time(i)));
                    (amplitude + draw()).powi(2) + draw().powi(2)
                })
                .collect();
            let (slope, slope_u, _) = fit_line(&power, noise, 0, 59, 1.0, 0.0, &time);
            over += ((slope + 30.0) / slope_u).powi(2) / f64::from(runs);
        }
        // The sum of 400 squares scatters by 7 %; the weights are of the first order in the noise.
        assert!((over - 1.0).abs() < 0.3, "{over}");
    }
}
