//! Turning phasors, and the raised-cosine window (Hann's) made of one.

use realfft::num_complex::Complex64;

/// exp(i (first + n step)) for n = 0, 1, ...; loses a digit in some hundred thousand steps.
pub(super) fn phasor(first: f64, step: f64) -> impl Iterator<Item = Complex64> {
    let turn = Complex64::from_polar(1.0, step);
    std::iter::successors(Some(Complex64::from_polar(1.0, first)), move |now| Some(now * turn))
}

/// exp(-i omega times) of a bin of a transform; whole turns are dropped in integers, so that long transforms lose no digits.
pub(super) fn turn(transform: usize, times: isize, bin: usize) -> Complex64 {
    let part = (bin as i128 * times as i128).rem_euclid(transform as i128) as f64 / transform as f64;
    Complex64::from_polar(1.0, -std::f64::consts::TAU * part)
}

/// The same of ascending bins, each run of neighbours started afresh.
pub(super) fn turns(transform: usize, times: usize, bins: impl IntoIterator<Item = usize>) -> Vec<Complex64> {
    let times = times as isize;
    let step = turn(transform, times, 1);
    let mut before: Option<(usize, Complex64)> = None;
    bins.into_iter()
        .map(|bin| {
            let now = match before {
                Some((last, value)) if last + 1 == bin => value * step,
                _ => turn(transform, times, bin),
            };
            before = Some((bin, now));
            now
        })
        .collect()
}

/// The window 1/2 - 1/2 cos(2 pi (n + 1/2)/length) for n = 0, ..., length - 1.
pub(super) fn raised_cosine(length: usize) -> impl Iterator<Item = f64> {
    let step = std::f64::consts::TAU / length.max(1) as f64;
    phasor(0.5 * step, step).take(length).map(|turn| 0.5 - 0.5 * turn.re)
}

/// Level of the tone with this turn (rad per sample) in some samples, as its complex amplitude at their first one.
pub(super) fn tone(samples: &[f32], turn: f64) -> Complex64 {
    let sum: Complex64 = samples
        .iter()
        .zip(raised_cosine(samples.len()))
        .zip(phasor(0.0, -turn))
        .map(|((sample, shape), turn)| turn * (f64::from(*sample) * shape))
        .sum();
    sum * (4.0 / samples.len().max(1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_window_is_the_closed_form() {
        let length = 50_000;
        assert_eq!(raised_cosine(length).count(), length);
        for (n, got) in raised_cosine(length).enumerate() {
            let expected = 0.5 - 0.5 * (std::f64::consts::TAU * (n as f64 + 0.5) / length as f64).cos();
            assert!((got - expected).abs() < 1e-11, "{n}");
        }
    }

    #[test]
    fn runs_of_bins_turn_as_each_bin_does() {
        let bins = [3, 4, 5, 6, 40, 41, 19_000, 19_001];
        assert_eq!(turns(57_600, 43_210, bins).len(), bins.len());
        for (bin, got) in bins.into_iter().zip(turns(57_600, 43_210, bins)) {
            let angle = -std::f64::consts::TAU * ((bin * 43_210) % 57_600) as f64 / 57_600.0;
            assert!((got - Complex64::from_polar(1.0, angle)).norm() < 1e-11, "{bin}");
        }
    }

    #[test]
    fn a_tone_is_read_as_it_is() {
        let samples: Vec<f32> = (0..2000).map(|n| (0.3 * (0.21 * n as f64 + 0.7).cos()) as f32).collect();
        let got = tone(&samples, 0.21);
        assert!((got - Complex64::from_polar(0.3, 0.7)).norm() < 1e-6, "{got}");
    }
}
