//! The mean spectrum of a take, for looking at.

use realfft::num_complex::Complex32;

use super::room_noise::Room;
use super::window::turns;

/// Mean spectrum of the ring-downs and the noise under it, for looking at.
#[derive(Debug, Clone, Default)]
pub struct Spectrum {
    /// Width of a bin (Hz); bin k is at k times this.
    pub bin_hz: f64,
    /// Power density of the taps (full scale squared per Hz), raised-cosine window.
    pub density: Vec<f32>,
    /// That of the room's noise; empty if not known.
    pub noise_density: Vec<f32>,
}

impl Spectrum {
    /// A density in decibels re full scale squared per hertz.
    pub fn db(density: f32) -> f32 {
        10.0 * density.max(1e-30).log10()
    }

    /// Of the whitened transforms of the taps, the whitening undone.
    pub(super) fn of(
        spectra: &[Vec<Complex32>],
        lengths: &[usize],
        transform: usize,
        rate_hz: f64,
        room: &Room,
    ) -> Self {
        let bins = transform / 2 + 1;
        let bin_hz = rate_hz / transform as f64;
        let mut power = vec![0.0f64; bins];
        for (spectrum, length) in spectra.iter().zip(lengths) {
            let scale = 1.0 / (0.375 * *length as f64 * spectra.len() as f64);
            for (power, w) in power[1..].iter_mut().zip(spectrum.windows(3)) {
                let value = w[1] * 0.5 - (w[0] + w[2]) * 0.25;
                *power += f64::from(value.norm_sqr()) * scale;
            }
        }
        // One-sided density: variance per sample over half the rate.
        let one_sided = 2.0 / rate_hz;
        let gains = turns(transform, 1, 0..bins).into_iter().map(|turn| room.whitening.power_gain(turn.re).max(1e-12));
        let gains: Vec<f64> = gains.collect();
        let noise = room.density.as_ref().map_or_else(Vec::new, |density| density.at_bins(bin_hz, bins));
        let heard = |values: &[f64]| values.iter().zip(&gains).map(|(p, gain)| (p * one_sided / gain) as f32).collect();
        Self { bin_hz, density: heard(&power), noise_density: heard(&noise) }
    }
}
