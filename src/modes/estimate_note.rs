//! What a user should know of how a take was estimated.

use serde::{Deserialize, Serialize};

/// What a user should know of a take's estimate. Each has a stable short code and a plain sentence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum EstimateNote {
    /// No quiet was recorded before the strike: only the first decibels, and seconds, of the decay are used.
    NoQuietBefore { trusted_db: f64, seconds: f64 },
    /// Only what comes so long after the strike is used.
    LongContact { seconds: f64 },
    /// The level bends down so long after the strike.
    BendsDownAfter { seconds: f64 },
    /// Tap after tap was left out, and the rest still do not agree.
    NoAgreement,
}

impl EstimateNote {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoQuietBefore { .. } => "no_quiet_before",
            Self::LongContact { .. } => "long_contact",
            Self::BendsDownAfter { .. } => "bends_down_after",
            Self::NoAgreement => "no_agreement",
        }
    }

    /// What it means and what to do, in plain words.
    pub fn sentence(&self) -> String {
        match self {
            Self::NoQuietBefore { trusted_db, seconds } => format!(
                "no quiet was recorded before the strike, so nothing tells a fade from a decay: only the first \
                 {trusted_db:.0} dB ({seconds:.2} s) are used. Leave half a second of quiet before the first tap"
            ),
            Self::LongContact { seconds } => format!(
                "the tapper's push drowns the modes at first: only what comes {:.0} ms after the strike is used. \
                 A lighter or harder tapper leaves the part sooner",
                1e3 * seconds
            ),
            Self::BendsDownAfter { seconds } => format!(
                "the level bends down {seconds:.2} s after the strike (a fade, a gate or automatic gain): only \
                 what comes before is used"
            ),
            Self::NoAgreement => {
                "tap after tap had to be left out, and the rest still do not agree: hold the part as before, tap again"
                    .to_owned()
            }
        }
    }
}

impl std::fmt::Display for EstimateNote {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.sentence())
    }
}
