//! Steady lines in the room's noise: hum, fans, whistles.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;

use super::component::Component;
use super::density::NoiseDensity;
use super::fast_length::fast_length;
use super::window::{phasor, raised_cosine, tone};

/// A steady line heard in the quiet before the taps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SteadyLine {
    /// Frequency (Hz).
    pub frequency_hz: f64,
    /// Amplitude in the whitened sound.
    pub amplitude: f64,
}

/// A line stands so much over the noise density (power ratio, 25 times is 14 dB).
const LINE_OVER_NOISE: f64 = 25.0;
/// A line's two halves agree within this factor in amplitude (2 dB), or else it decays or comes and goes.
const STEADY_WITHIN: f64 = 1.3;
const MOST_LINES: usize = 40;
/// Bins beside a line whose level it must stand out of as well: beyond its own lobe.
const AROUND: std::ops::Range<usize> = 6..24;
/// How far the mains' frequency, and every harmonic of it, may wander (share): 1 % for all but half a percent of the year (EN 50160,
/// from memory).
const WANDERS: f64 = 0.01;
/// Lines are taken out of the noise in pieces of this length (s): in a longer one the mains wander.
const PIECE_S: f64 = 0.5;

/// The steady lines in a stretch of whitened noise, strongest first.
pub(super) fn steady_lines(
    stretch: &[f32],
    density: &NoiseDensity,
    rate_hz: f64,
    planner: &mut RealFftPlanner<f32>,
) -> Vec<SteadyLine> {
    // The last two seconds at most, in a length that transforms fast.
    let most = (2.0 * rate_hz) as usize;
    let stretch = &stretch[stretch.len().saturating_sub(most)..];
    if (stretch.len() as f64) < 0.1 * rate_hz {
        return Vec::new();
    }
    let length = stretch.len();
    let transform = fast_length(2 * length);
    let plan = planner.plan_fft_forward(transform);
    let mut input = plan.make_input_vec();
    for ((i, s), shape) in input.iter_mut().zip(stretch).zip(raised_cosine(length)) {
        *i = s * shape as f32;
    }
    let mut output = plan.make_output_vec();
    let done = plan.process(&mut input, &mut output);
    debug_assert!(done.is_ok());
    let bin_hz = rate_hz / transform as f64;
    let power: Vec<f64> = output.iter().map(|x| f64::from(x.norm_sqr())).collect();
    let noise = |k: usize| 0.375 * length as f64 * density.at(k as f64 * bin_hz);
    let mut lines = Vec::new();
    for k in 6..power.len() - 2 {
        let peak = power[k] > power[k - 1] && power[k] >= power[k + 1];
        if !peak || power[k] < LINE_OVER_NOISE * noise(k) {
            continue;
        }
        // A lobe of a stronger line nearby is not a line.
        let near = power[k.saturating_sub(5)..(k + 6).min(power.len())].iter().copied().fold(0.0, f64::max);
        if near > power[k] || power[k] < LINE_OVER_NOISE * level_around(&power, k) {
            continue;
        }
        let (a, b, c) = (power[k - 1].ln(), power[k].ln(), power[k + 1].ln());
        let shift = (0.5 * (a - c) / (a - 2.0 * b + c)).clamp(-0.5, 0.5);
        let frequency_hz = (k as f64 + shift) * bin_hz;
        let half = length / 2;
        let turn = std::f64::consts::TAU * frequency_hz / rate_hz;
        let halves = [&stretch[..half], &stretch[half..]].map(|part| tone(part, turn));
        let [first, second] = halves.map(|half| half.norm());
        let sigma = (16.0 * 0.375 * density.at(frequency_hz) / half as f64).sqrt();
        let steady = (first - second).abs() < (STEADY_WITHIN - 1.0) * first.min(second) + 3.0 * sigma;
        if steady {
            // How far the phase runs ahead from half to half tells the frequency far better than the peak's shape.
            let ahead = (halves[1] * (halves[0] * Complex64::from_polar(1.0, turn * half as f64)).conj()).arg();
            let frequency_hz = frequency_hz + ahead / half as f64 * rate_hz / std::f64::consts::TAU;
            lines.push(SteadyLine { frequency_hz, amplitude: 0.5 * (first + second) });
        }
    }
    lines.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    lines.truncate(MOST_LINES);
    lines
}

/// Mean noise around a bin, from the median of its neighbours (that of an exponential is ln 2 of its mean): the density has coarser
/// bins, too coarse for the steep low end of a room's rumble.
fn level_around(power: &[f64], bin: usize) -> f64 {
    let near = bin.saturating_sub(AROUND.end)..(bin + AROUND.end + 1).min(power.len());
    let mut values: Vec<f64> = near.filter(|k| k.abs_diff(bin) >= AROUND.start).map(|k| power[k]).collect();
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1 / std::f64::consts::LN_2
}

/// Takes steady lines, strongest first, out of a stretch of noise.
pub(super) fn take_out(lines: &[SteadyLine], stretch: &mut [f32], rate_hz: f64) {
    let length = (PIECE_S * rate_hz) as usize;
    let pieces = (stretch.len() / length.max(1)).max(1);
    for piece in stretch.chunks_mut(stretch.len().div_ceil(pieces).max(1)) {
        // Once more for what the lines hid of each other.
        for line in lines.iter().chain(lines) {
            let turn = std::f64::consts::TAU * line.frequency_hz / rate_hz;
            let amplitude = tone(piece, turn);
            for (sample, phase) in piece.iter_mut().zip(phasor(0.0, turn)) {
                *sample -= (amplitude * phase).re as f32;
            }
        }
    }
}

/// Whether a steady line may leave a weaker component where it has wandered to.
pub(super) fn may_wander_to(line: &Component, component: &Component) -> bool {
    let strength = |c: &Component| c.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>();
    line.steady && (line.turn - component.turn).abs() < WANDERS * line.turn && strength(line) > strength(component)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{NoiseColour, noise};
    use rand_chacha::rand_core::SeedableRng;

    const RATE_HZ: f64 = 48_000.0;

    fn hum(lines: &[(f64, f64)], seconds: f64) -> Vec<f32> {
        let samples = (seconds * RATE_HZ) as usize;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut sound = noise(NoiseColour::White, 2e-4, samples, RATE_HZ, &mut random);
        for (n, s) in sound.iter_mut().enumerate() {
            *s +=
                lines.iter().map(|(f, a)| a * (std::f64::consts::TAU * f * n as f64 / RATE_HZ + f).sin()).sum::<f64>();
        }
        sound.into_iter().map(|s| s as f32).collect()
    }

    #[test]
    fn lines_are_found_where_they_are() {
        let truth = [(49.97, 6e-3), (100.13, 3e-3), (871.4, 2e-3)];
        let sound = hum(&truth, 1.0);
        let mut planner = RealFftPlanner::new();
        let density =
            NoiseDensity::of_noise(std::slice::from_ref(&sound), RATE_HZ, &mut planner).expect("noise enough");
        let found = steady_lines(&sound, &density, RATE_HZ, &mut planner);
        assert_eq!(found.len(), truth.len(), "{found:?}");
        for (line, (frequency_hz, amplitude)) in found.iter().zip(truth) {
            assert!((line.frequency_hz - frequency_hz).abs() < 2e-3, "{line:?}");
            assert!((line.amplitude / amplitude - 1.0).abs() < 0.02, "{line:?}");
        }
    }

    /// A line stands out of what is around it; a steep slope, whose density is read too low, does not.
    #[test]
    fn the_level_around_knows_a_slope() {
        let mut power: Vec<f64> = (0..200).map(|k| 1e4 / f64::from(k.max(1)).powi(2)).collect();
        assert!(power[12] < 4.0 * level_around(&power, 12));
        power[98..103].fill(1e6);
        assert!(power[100] > 1e5 * level_around(&power, 100));
    }

    #[test]
    fn noise_without_its_lines_is_the_noise() {
        let truth = [(50.0, 6e-3), (100.0, 3e-3), (150.0, 2e-3)];
        let lines = truth.map(|(frequency_hz, amplitude)| SteadyLine { frequency_hz, amplitude });
        let mut sound = hum(&truth, 1.3);
        take_out(&lines, &mut sound, RATE_HZ);
        let power = sound.iter().map(|s| f64::from(s * s)).sum::<f64>() / sound.len() as f64;
        assert!((power.sqrt() / 2e-4 - 1.0).abs() < 0.02, "{}", power.sqrt());
    }

    /// From 100 Hz to 99 and 101, and only to what is weaker than the line.
    #[test]
    fn a_line_wanders_by_a_hundredth() {
        let at = |hz: f64, amplitude: f64, steady: bool| {
            let turn = std::f64::consts::TAU * hz / RATE_HZ;
            Component { decay: 1e-6, turn, steady, home: turn, amplitudes: vec![Complex64::new(0.0, amplitude)] }
        };
        let line = at(100.0, 1e-3, true);
        assert!(may_wander_to(&line, &at(99.2, 9e-4, false)) && may_wander_to(&line, &at(100.9, 9e-4, false)));
        assert!(!may_wander_to(&line, &at(98.9, 9e-4, false)) && !may_wander_to(&line, &at(101.1, 9e-4, false)));
        assert!(!may_wander_to(&line, &at(100.5, 2e-3, false)));
        assert!(!may_wander_to(&at(100.0, 1e-3, false), &at(100.5, 9e-4, false)));
    }
}
