//! Was it a tap, and a good one? Judged on the samples, as a recording would be.

use crate::modes::{EstimateOptions, Estimator};
use crate::sound::{ChannelChoice, Recording, SoundError, TapReason, find_taps};

/// What a strike was.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// A tap that can be used; its height over the room's noise (dB).
    Good { over_noise_db: f64 },
    /// A tap that cannot: why, in plain words, with its code.
    Again { code: &'static str, sentence: String },
    /// No tap at all: a step, a voice, something put down. Nothing that the maker has to be told.
    NoTap { sentence: String },
}

/// A strike is looked for within this time of where the watch noticed it (s).
const NEAR_S: f64 = 0.06;
/// A lone tap counts only if a mode in it can be followed for so many decibels.
const LEAST_DECAY_DB: f64 = 12.0;

/// Judges the strike at frame `strike` of some sound (interleaved).
///
/// # Errors
/// Sound that cannot be a recording (a rate out of range, samples that are no numbers).
pub fn judge(
    sound: &[f32],
    channels: usize,
    rate_hz: u32,
    strike: usize,
    estimator: &mut Estimator,
) -> Result<Verdict, SoundError> {
    let mut recording = Recording::from_interleaved(sound, channels, rate_hz, ChannelChoice::Better)?;
    let mut found = find_taps(&mut recording)?;
    let near = (NEAR_S * f64::from(rate_hz)) as usize;
    let tap = found.taps.iter().filter(|t| t.onset.abs_diff(strike) <= near).min_by_key(|t| t.onset.abs_diff(strike));
    let Some(tap) = tap.cloned() else {
        return Ok(Verdict::NoTap { sentence: "a stir that does not begin like a strike".into() });
    };
    if let Some(reason) = worst(&tap.reasons) {
        return Ok(verdict_of(reason));
    }
    let over_noise_db = tap.over_noise_db;
    found.taps = vec![tap];
    let estimate = estimator.estimate(&mut recording, &found, &EstimateOptions::default())?;
    if let Some(reason) = estimate.taps.first().and_then(|t| worst(&t.reasons)) {
        return Ok(verdict_of(reason));
    }
    let rings = estimate.modes.iter().any(|m| m.decay_seen_db >= LEAST_DECAY_DB);
    Ok(if rings { Verdict::Good { over_noise_db } } else { verdict_of(&TapReason::NoRingDown) })
}

/// Of several reasons the one to be told: what the maker can change first.
fn worst(reasons: &[TapReason]) -> Option<&TapReason> {
    reasons.iter().max_by_key(|r| match r {
        TapReason::SlowRise | TapReason::NoRingDown => 3,
        TapReason::TooWeak { .. } => 2,
        TapReason::Clipped { .. } => 1,
        _ => 0,
    })
}

fn verdict_of(reason: &TapReason) -> Verdict {
    let sentence = reason.sentence();
    match reason {
        TapReason::SlowRise | TapReason::NoRingDown | TapReason::TooWeak { .. } => Verdict::NoTap { sentence },
        _ => Verdict::Again { code: reason.code(), sentence },
    }
}
