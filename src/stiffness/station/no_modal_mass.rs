//! Why a mode has no modal mass.

/// Why the takes of a spot give nothing at all.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AddedMassError {
    #[error("no take without added mass: tap the spot once with nothing stuck on")]
    NoBare,
    #[error("no take with an added mass")]
    NoLoaded,
}

impl AddedMassError {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoBare => "no_bare_take",
            Self::NoLoaded => "no_added_mass",
        }
    }
}

/// Why a mode at a spot has no modal mass. Each has a stable short code; its text says why, and with `advice` what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoModalMass {
    #[error("not found again with the mass on")]
    Lost,
    #[error("two modes lie so close that they cannot be told apart with the mass on")]
    TooClose,
    #[error(
        "the takes with {masses} contradict each other in all modes: are the masses labelled right, and did they sit firm?"
    )]
    NoOneMotion { masses: String },
    #[error(
        "the added mass does not explain its shifts, though it explains the other modes': another mode mixes in here"
    )]
    FollowsNoMass,
    #[error("the frequency rises with the mass stuck on: another mode, or the part was held differently")]
    Rises,
    #[error("the shift is not clear enough beside what holding the part anew does")]
    NoShift,
    #[error(
        "takes with a single added mass do not give M and k, because one mass cannot show how far the other modes bend the shift"
    )]
    OneMass,
}

impl NoModalMass {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Lost => "lost",
            Self::TooClose => "too_close",
            Self::NoOneMotion { .. } => "no_one_motion",
            Self::FollowsNoMass => "follows_no_mass",
            Self::Rises => "rises",
            Self::NoShift => "no_shift",
            Self::OneMass => "one_mass",
        }
    }
}
