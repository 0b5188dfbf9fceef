//! A mode as it is reported, and what may make it doubtful.

use serde::{Deserialize, Serialize};

use super::envelope::Envelope;
use crate::uncertainty::{Figure, Scope};

/// Why a mode, or its damping, is to be taken with care. Each has a stable short code and a plain sentence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ModeReason {
    /// Only one tap could be used, so nothing confirms the mode.
    SingleTap,
    /// It decays fast at first and slowly later (or has an echo behind it); factor between the slopes.
    TwoSlopes { ratio: f64 },
    /// Its level bends down at the end: a fade, a gate or automatic gain.
    BendsDown,
    /// Only so many decibels of its decay can be seen.
    FewDecibels { decibels: f64 },
    /// It has hardly decayed when the recording (or the next tap) ends it.
    RecordTooShort { decibels: f64 },
    /// The decay seen in the envelope and the refined damping differ by so much (relative).
    EnvelopeDisagrees { by: f64 },
    /// The taps differ from each other by more than the noise explains.
    TapsDiffer,
    /// Two or more modes closer than their bandwidths, which this take does not resolve.
    BeatingUnresolved,
    /// The fit leaves this share of the mode's energy unexplained, more than the noise is.
    PoorFit { share: f64 },
    /// The first milliseconds differ from the rest, so the fit starts late.
    StartDisturbed { after_s: f64 },
    /// The room answers: what it adds is this share of the mode's energy.
    RoomEcho { share: f64 },
    /// No quiet stretch was recorded before the strike.
    NoiseUnknown,
}

impl ModeReason {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::SingleTap => "single_tap",
            Self::TwoSlopes { .. } => "two_slopes",
            Self::BendsDown => "bends_down",
            Self::FewDecibels { .. } => "few_decibels",
            Self::RecordTooShort { .. } => "record_too_short",
            Self::EnvelopeDisagrees { .. } => "envelope_disagrees",
            Self::TapsDiffer => "taps_differ",
            Self::BeatingUnresolved => "beating_unresolved",
            Self::PoorFit { .. } => "poor_fit",
            Self::StartDisturbed { .. } => "start_disturbed",
            Self::RoomEcho { .. } => "room_echo",
            Self::NoiseUnknown => "noise_unknown",
        }
    }

    /// What it means, in plain words.
    pub fn sentence(&self) -> String {
        match self {
            Self::SingleTap => "heard in one tap only: tap again to confirm it".into(),
            Self::TwoSlopes { ratio } => format!(
                "decays in two slopes ({ratio:.1} times apart): an echo, the stand, or a second mode in it; the damping \
                 is uncertain by that"
            ),
            Self::BendsDown => {
                "bends down towards its end: a fade, noise gate or automatic gain; its damping is uncertain by that"
                    .into()
            }
            Self::FewDecibels { decibels } => format!("only {decibels:.0} dB of decay can be seen over the noise"),
            Self::RecordTooShort { decibels } => {
                format!("the sound ends after {decibels:.0} dB of decay: leave more time after the tap")
            }
            Self::EnvelopeDisagrees { by } => {
                format!("the envelope's slope and the refined damping differ by {:.0} %", 100.0 * by.abs())
            }
            Self::TapsDiffer => {
                "the taps differ by more than the noise explains; the interval is from their scatter".into()
            }
            Self::BeatingUnresolved => {
                "beating, unresolved: two modes lie so close that they read as one, each tap strikes another mixture; \
                 the interval is from the spread of the taps"
                    .into()
            }
            Self::PoorFit { share } => format!(
                "not a clean exponential: {} % of its energy does not fit; the interval is widened",
                if *share < 0.001 { "under 0.1".into() } else { format!("{:.1}", 100.0 * share) }
            ),
            Self::StartDisturbed { after_s } => {
                format!("the first {:.0} ms after the strike do not fit and are left out", 1e3 * after_s)
            }
            Self::RoomEcho { share } => format!(
                "the room's echo is heard in it ({} % of its energy): move closer to the microphone, or hang blankets",
                if *share < 0.01 { "under 1".into() } else { format!("{:.0}", 100.0 * share) }
            ),
            Self::NoiseUnknown => "no quiet was recorded before the strike; the noise is a guess from the sound".into(),
        }
    }

    /// Whether the value itself is in doubt, beyond its interval.
    pub fn is_doubt(&self) -> bool {
        !matches!(self, Self::NoiseUnknown | Self::StartDisturbed { .. } | Self::TapsDiffer | Self::SingleTap)
    }
}

/// A mode of vibration as measured in one take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mode {
    /// Undamped natural frequency f0 (Hz).
    pub frequency: Figure,
    /// Damping ratio zeta (no unit).
    pub damping_ratio: Figure,
    /// Level at the strike relative to the strongest mode (dB), mean over the taps used.
    pub level_db: f64,
    /// Level at the strike in full scale of the recording (dB), mean over the taps used.
    pub level_full_scale_db: f64,
    /// Taps in which it was heard and used.
    pub taps_used: usize,
    /// Decibels of decay seen over the noise.
    pub decay_seen_db: f64,
    pub reasons: Vec<ModeReason>,
    /// The decay as one looks at it.
    pub envelope: Envelope,
    /// Frequency (Hz) and damping ratio of each tap on its own, in the order of the accepted taps; `None` where it shows neither.
    pub per_tap: Vec<Option<(f64, f64)>>,
}

impl Mode {
    /// The same with all its doubts belonging to these scopes: the estimator sees one recording, and numbers no modes.
    pub fn within(mut self, scopes: &[Scope]) -> Self {
        for scope in scopes {
            self.frequency = self.frequency.scoped(scope, |_| true);
            self.damping_ratio = self.damping_ratio.scoped(scope, |_| true);
        }
        self
    }

    /// Loss factor eta = 2 zeta (no unit).
    pub fn loss_factor(&self) -> Figure {
        self.damping_ratio.times(2.0)
    }

    /// Quality factor Q = 1/(2 zeta) (no unit).
    pub fn q(&self) -> Figure {
        self.damping_ratio.to_power(-1.0, 0.5)
    }

    /// Ring time T60 = ln(1000)/(zeta omega_0) (s), the time for 60 dB.
    ///
    /// Source: the decay A exp(-zeta omega_0 t); ISO 10848-1:2006, 7.3.1 prints eta = 2.2/(f T60) for the same.
    pub fn ring_time_s(&self) -> Figure {
        let omega0 = std::f64::consts::TAU * self.frequency.value;
        self.damping_ratio.to_power(-1.0, 1000f64.ln() / omega0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 10848-1:2006, 7.3.1 (read in a public transcription): f 1000 Hz, T60 0.5 s -> loss factor 0.0044. The exact
    /// constant is ln(1000)/pi = 2.1988, which the standard rounds to 2.2.
    #[test]
    fn loss_factor_and_ring_time_agree_with_iso_10848() {
        let mut mode = Mode {
            frequency: Figure::new(1000.0, 0.1, "taps"),
            damping_ratio: Figure::new(0.0044 / 2.0, 1e-5, "taps"),
            level_db: 0.0,
            level_full_scale_db: -20.0,
            taps_used: 1,
            decay_seen_db: 40.0,
            reasons: vec![],
            envelope: Envelope::default(),
            per_tap: vec![],
        };
        assert!((mode.ring_time_s().value - 0.5).abs() < 0.5 * 6e-4);
        mode.damping_ratio.value = 0.01;
        mode.frequency.value = 200.0;
        // 6.907755/(0.01 2 pi 200), computed by hand.
        assert!((mode.ring_time_s().value - 0.549_701_7).abs() < 1e-6);
        assert!((mode.q().value - 50.0).abs() < 1e-12);
    }
}
