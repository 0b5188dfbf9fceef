//! Why a recording gives no modes.

use crate::sound::SoundError;

/// Why a recording gives no modes. Each has a stable short code; its text says what happened and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// It could not be read.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// Nothing in it begins like a strike.
    #[error(
        "no tap found. The loudest moment, at {loudest_at_s:.2} s, stands {over_noise_db:.0} dB over the noise and does not begin like a \
         strike. Tap harder, move the microphone closer, or switch noise suppression off"
    )]
    NoTap { loudest_at_s: f64, over_noise_db: f64 },
    /// Sharp sounds, but none that rings on.
    #[error(
        "{count} sharp sounds, but none rings on with the same tones: no mode found. Hold the part at its still lines and tap it so \
         that it can ring"
    )]
    NoRingdown { count: usize },
    /// Every tap was left out.
    #[error("none of the {count} taps could be used: see the reasons")]
    NoUsableTap { count: usize },
    /// There is no recording where one was named.
    #[error("{0}")]
    NoRecording(String),
}

impl Problem {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Sound(_) => "unreadable",
            Self::NoTap { .. } => "no_tap",
            Self::NoRingdown { .. } => "no_ring_down",
            Self::NoUsableTap { .. } => "no_usable_tap",
            Self::NoRecording(_) => "no_recording",
        }
    }
}

/// Something that was not measured and cannot be done without.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{of}: {what} is not known")]
pub struct Missing {
    pub of: String,
    pub what: &'static str,
}
