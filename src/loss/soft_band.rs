//! A band of frequencies whose ends are faded, so that no tone falls off an edge.

use std::f64::consts::PI;

/// From its ends inwards a band is faded over so much: half an octave.
const FADE: f64 = 0.5 * std::f64::consts::LN_2;

/// Weight of a frequency in a band (Hz): 1 inside, to its ends a raised cosine over the logarithm of frequency, 0 outside.
///
/// A sharp end makes of a tone that moves by a percent across it a jump in the mean.
pub fn soft_weight(band_hz: (f64, f64), frequency_hz: f64) -> f64 {
    let inside = (frequency_hz / band_hz.0).ln().min((band_hz.1 / frequency_hz).ln());
    let fade = FADE.min(0.5 * (band_hz.1 / band_hz.0).ln());
    if inside <= 0.0 {
        0.0
    } else if inside >= fade {
        1.0
    } else {
        0.5 - 0.5 * (PI * inside / fade).cos()
    }
}

/// Frequencies (Hz) over a band and their shares in a mean that gives equal steps in Hz equal weight; fine enough for tones whose
/// half-power width is `width` of their frequency.
pub(super) fn soft_steps(band_hz: (f64, f64), width: f64) -> Vec<(f64, f64)> {
    let octaves = (band_hz.1 / band_hz.0).ln();
    let count = (4.0 * octaves / width.max(1e-4)).ceil().clamp(200.0, 20_000.0) as usize;
    let at = |i: usize| band_hz.0 * ((i as f64 + 0.5) / count as f64 * octaves).exp();
    // Steps are even in the logarithm: a step's length in Hz goes with its frequency.
    let weights: Vec<(f64, f64)> = (0..count).map(|i| (at(i), at(i) * soft_weight(band_hz, at(i)))).collect();
    let sum: f64 = weights.iter().map(|w| w.1).sum();
    weights.into_iter().map(|(hz, weight)| (hz, weight / sum)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_fade_and_shares_add_up() {
        let band = (100.0, 800.0);
        for (hz, weight) in [(90.0, 0.0), (100.0, 0.0), (300.0, 1.0), (800.0, 0.0), (100.0 * 2f64.powf(0.25), 0.5)] {
            assert!((soft_weight(band, hz) - weight).abs() < 1e-12, "{hz}");
        }
        // A band of half an octave is all fade, and reaches 1 in its middle.
        assert!((soft_weight((100.0, 100.0 * 2f64.sqrt()), 100.0 * 2f64.powf(0.25)) - 1.0).abs() < 1e-12);
        let steps = soft_steps(band, 0.01);
        assert!((steps.iter().map(|s| s.1).sum::<f64>() - 1.0).abs() < 1e-12);
        // The mean of the frequency by hand: faded ends of half an octave, by Simpson's rule over Hz.
        let n = 70_000;
        let simpson = |of: &dyn Fn(f64) -> f64| {
            let h = (band.1 - band.0) / f64::from(n);
            let f = |i: i32| of(band.0 + h * f64::from(i));
            (1..n).map(|i| f(i) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum::<f64>() + f(0) + f(n)
        };
        let mean = simpson(&|f| f * soft_weight(band, f)) / simpson(&|f| soft_weight(band, f));
        let got: f64 = steps.iter().map(|(hz, share)| hz * share).sum();
        assert!((got / mean - 1.0).abs() < 1e-4, "{got} {mean}");
    }
}
