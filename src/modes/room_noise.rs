//! The room's noise on its own, to tell what can be heard in it before anything is tapped.

use realfft::num_complex::Complex64;

use super::estimate::Estimator;
use crate::sound::{NoiseSource, Recording, SoundError, TapSearch};

/// Noise of a room without taps.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RoomNoise {
    /// Steady lines: frequency (Hz) and level (dB of full scale, root mean square), strongest first.
    pub lines: Vec<(f64, f64)>,
    step_hz: f64,
    /// Variance per sample that white noise of the same density would have (full scale squared).
    density: Vec<f64>,
}

/// Steps of the density that is kept (Hz).
const STEP_HZ: f64 = 5.0;

impl RoomNoise {
    /// Variance per sample of white noise with the density at a frequency (full scale squared).
    pub fn density_at(&self, frequency_hz: f64) -> f64 {
        let at = (frequency_hz / self.step_hz.max(1e-9)).round() as usize;
        self.density.get(at).or(self.density.last()).copied().unwrap_or(0.0)
    }
}

impl Estimator {
    /// The noise and the steady lines of a recording in which nothing is tapped.
    ///
    /// # Errors
    /// `Read` if a long file changed since it was scanned.
    pub fn room_noise(&mut self, recording: &mut Recording) -> Result<RoomNoise, SoundError> {
        let whole = TapSearch {
            taps: Vec::new(),
            quiet: std::iter::once(0..recording.len()).collect(),
            noise_source: NoiseSource::BeforeTaps,
            loudest_at_s: 0.0,
            loudest_over_noise_db: 0.0,
        };
        let room = self.read_room(recording, &whole)?;
        let rate_hz = recording.sample_rate_hz();
        let gain = |f: f64| {
            let pole = Complex64::from_polar(1.0, std::f64::consts::TAU * f / rate_hz);
            room.whitening.gain(pole).norm().max(1e-6)
        };
        let density = room.density.as_ref().map_or_else(Vec::new, |density| {
            let steps = (0.5 * rate_hz / STEP_HZ) as usize;
            (0..steps)
                .map(|k| {
                    let f = k as f64 * STEP_HZ;
                    density.at(f) / (gain(f) * gain(f))
                })
                .collect()
        });
        let level = |amplitude: f64| 20.0 * (amplitude / 2f64.sqrt()).max(1e-15).log10();
        let mut lines: Vec<(f64, f64)> =
            room.lines.iter().map(|l| (l.frequency_hz, level(l.amplitude / gain(l.frequency_hz)))).collect();
        lines.sort_by(|a, b| b.1.total_cmp(&a.1));
        Ok(RoomNoise { lines, step_hz: STEP_HZ, density })
    }
}
