//! Gaussian noise of a chosen colour.

use rand_distr::{Distribution, StandardNormal};
use realfft::RealFftPlanner;

/// How the noise's power density falls with frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum NoiseColour {
    /// Equal power in every hertz.
    #[default]
    White,
    /// Falling by 3 dB an octave above 20 Hz: a quiet room.
    Pink,
    /// Falling by 6 dB an octave above 20 Hz: traffic, wind on the house.
    Brown,
}

impl NoiseColour {
    /// Power density relative to white noise of the same density at 1 kHz (no unit).
    pub fn relative_density(self, frequency_hz: f64) -> f64 {
        let f = frequency_hz.max(20.0) / 1000.0;
        match self {
            Self::White => 1.0,
            Self::Pink => 1.0 / f,
            Self::Brown => 1.0 / (f * f),
        }
    }
}

/// Noise of `samples` samples whose density at 1 kHz is that of white noise with standard deviation `sigma`.
pub fn noise(
    colour: NoiseColour,
    sigma: f64,
    samples: usize,
    sample_rate_hz: f64,
    random: &mut rand_chacha::ChaCha8Rng,
) -> Vec<f64> {
    let mut white = |count: usize| -> Vec<f64> {
        (0..count).map(|_| sigma * Distribution::<f64>::sample(&StandardNormal, random)).collect()
    };
    if colour == NoiseColour::White {
        return white(samples);
    }
    let length = samples.next_power_of_two().max(2);
    let mut series = white(length);
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(length);
    let mut spectrum = forward.make_output_vec();
    // Lengths match by construction; on a mismatch the series stays white, which a test would show.
    if forward.process(&mut series, &mut spectrum).is_ok() {
        for (k, bin) in spectrum.iter_mut().enumerate() {
            let frequency_hz = k as f64 * sample_rate_hz / length as f64;
            *bin *= colour.relative_density(frequency_hz).sqrt() / length as f64;
        }
        spectrum[0].im = 0.0;
        if let Some(last) = spectrum.last_mut() {
            last.im = 0.0;
        }
        let _ = planner.plan_fft_inverse(length).process(&mut spectrum, &mut series);
    }
    series.truncate(samples);
    series
}
