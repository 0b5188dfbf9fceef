//! Why a mode has no modal mass.

use super::added_mass::AddedMassError;

/// Why a mode at a station has no modal mass. Each has a stable short code; its text says why and what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoModalMass {
    #[error("not found again with the mass on")]
    Lost,
    #[error("two modes lie so close that they cannot be told apart with the mass on")]
    TooClose,
    #[error(
        "the shifts fit no one motion to and fro: are the masses labelled right, did they sit firm, or does the station slide \
         sideways as much as it moves in and out? On the middle line, at the tail or neck block, a rim cannot slide"
    )]
    NoOneMotion,
    #[error("its shifts follow no mass: it hardly moves at this station, or two modes mix")]
    FollowsNoMass,
    #[error(transparent)]
    Shifts(#[from] AddedMassError),
}

impl NoModalMass {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Lost => "lost",
            Self::TooClose => "too_close",
            Self::NoOneMotion => "no_one_motion",
            Self::FollowsNoMass => "follows_no_mass",
            Self::Shifts(why) => why.code(),
        }
    }
}
