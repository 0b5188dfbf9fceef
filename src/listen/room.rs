//! The room before the first tap: how loud it is, what hums in it, and how deep one can hear.

use crate::modes::{Estimator, RoomNoise};
use crate::sound::{ChannelChoice, Recording, SoundError, find_taps};

/// What the room sounds like.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RoomReport {
    pub rate_hz: f64,
    /// Root mean square (dB of full scale).
    pub level_db: f64,
    /// Steady lines: frequency (Hz) and level (dB of full scale), strongest first.
    pub lines: Vec<(f64, f64)>,
    noise: RoomNoise,
    /// Something struck, spoke or moved while it was listened to.
    pub disturbed: bool,
    /// The microphone gives exact silence: something in the computer cuts quiet sound off.
    pub gated: bool,
}

/// Decay (dB) that must show over the noise for a mode to be worth hearing.
const USABLE_DECAY_DB: f64 = 20.0;
/// A sound this much over the rest (dB) disturbs the check.
const DISTURBS_DB: f64 = 15.0;

impl RoomReport {
    /// Standard deviation of white noise with the room's density at a frequency (full scale = 1).
    pub fn sigma_at(&self, frequency_hz: f64) -> f64 {
        self.noise.density_at(frequency_hz).sqrt()
    }

    /// Level (dB of full scale) of the weakest mode of 200 Hz and 1 % damping of which 20 dB of decay can be seen.
    pub fn hears_down_to_db(&self) -> f64 {
        // A decaying mode is seen against the noise in about its own bandwidth, 2 zeta f.
        let bandwidth_hz = 2.0 * 0.01 * 200.0;
        let noise = self.noise.density_at(200.0) * bandwidth_hz / (0.5 * self.rate_hz);
        10.0 * (2.0 * noise).max(1e-20).log10() + USABLE_DECAY_DB
    }
}

/// Looks at some seconds of the room (interleaved).
///
/// # Errors
/// Sound that cannot be a recording.
pub fn room_report(
    sound: &[f32],
    channels: usize,
    rate_hz: u32,
    estimator: &mut Estimator,
) -> Result<RoomReport, SoundError> {
    let zeros = sound.iter().filter(|s| **s == 0.0).count();
    let gated = zeros * 2 > sound.len();
    let mut recording = match Recording::from_interleaved(sound, channels, rate_hz, ChannelChoice::Better) {
        Ok(recording) => recording,
        Err(SoundError::Silent { .. }) => {
            return Ok(RoomReport {
                rate_hz: f64::from(rate_hz),
                level_db: f64::NEG_INFINITY,
                gated: true,
                ..RoomReport::default()
            });
        }
        Err(error) => return Err(error),
    };
    let found = find_taps(&mut recording)?;
    let disturbed = found.taps.iter().any(|t| t.over_noise_db > DISTURBS_DB);
    let noise = estimator.room_noise(&mut recording)?;
    let mean_square = sound.iter().map(|s| f64::from(s * s)).sum::<f64>() / sound.len().max(1) as f64;
    Ok(RoomReport {
        rate_hz: f64::from(rate_hz),
        level_db: 10.0 * mean_square.max(1e-20).log10(),
        lines: noise.lines.clone(),
        noise,
        disturbed,
        gated,
    })
}
