//! Why a peak is not listed as a mode.

/// Why a peak that was looked at is not listed. Each has a stable short code and a plain sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum LeftOutReason {
    HeardOnce,
    NotLikeAMode,
    SoundedBefore,
    NoMeasurableDecay,
    AsLoudAtTheEnd,
    TooUncertain,
    Thud,
    WanderingLine,
    SumOrDifference,
}

impl LeftOutReason {
    /// Stable short code.
    pub fn code(self) -> &'static str {
        match self {
            Self::HeardOnce => "heard_once",
            Self::NotLikeAMode => "not_like_a_mode",
            Self::SoundedBefore => "sounded_before",
            Self::NoMeasurableDecay => "no_measurable_decay",
            Self::AsLoudAtTheEnd => "as_loud_at_the_end",
            Self::TooUncertain => "too_uncertain",
            Self::Thud => "thud",
            Self::WanderingLine => "wandering_line",
            Self::SumOrDifference => "sum_or_difference",
        }
    }

    /// What it means, in plain words.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::HeardOnce => "it does not come back in the next tap",
            Self::NotLikeAMode => "it does not decay like a mode",
            Self::SoundedBefore => "it seems to have sounded before the tap as well",
            Self::NoMeasurableDecay => "it does not decay measurably",
            Self::AsLoudAtTheEnd => "it is as loud at the end as at the beginning",
            Self::TooUncertain => "its decay is too uncertain to tell",
            Self::Thud => "it is a thud, gone within a few vibrations",
            Self::WanderingLine => "it cannot be told from a steady line that wanders",
            Self::SumOrDifference => "it may be a sum or difference of two strong modes",
        }
    }
}

impl std::fmt::Display for LeftOutReason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.sentence())
    }
}
