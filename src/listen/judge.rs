//! Was it a tap, and a good one? Judged on the samples, as a recording would be.

use super::company::Tones;
use crate::modes::{EstimateOptions, Estimator, Mode};
use crate::sound::{ChannelChoice, Recording, SoundError, Tap, TapReason, find_taps};

/// What a strike was.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// A tap that can be used, and its clean tones.
    Good(Tones),
    /// A tap that cannot: why, in plain words, with its code.
    Again { code: &'static str, sentence: String },
    /// It rings, but its decay bends down: a second strike soon after, automatic gain, or something else that sounds.
    Bends,
    /// No tap at all: a step, a voice, something put down. Nothing that the maker has to be told.
    NoTap { sentence: String },
}

/// A strike is looked for within this time of where the watch noticed it (s).
const NEAR_S: f64 = 0.06;
/// A lone tap counts only if a mode in it can be followed for so many decibels.
const LEAST_DECAY_DB: f64 = 12.0;
/// A part rings for several cycles; a step on the floor and a bumped bench do not. (Wood's own damping ratio is some 0.01, a
/// side's with hand and glue seldom 0.03; common practice, no source.)
const MOST_DAMPING: f64 = 0.06;
/// What has died away by 60 dB within a tenth of a second is a click (1/s).
const MOST_DECAY_RATE: f64 = 70.0;
/// One of the main tones must be clean: its energy lies so far below that of the greatest (dB) at most. What is loudest at the
/// strike may be gone at once, and is then no measure.
const MAIN_DB: f64 = 12.0;
/// Clean tones must carry this share of the energy that sounds some time after the strike (s): a tap's sound is its modes, a
/// voice's is not. The room before is averaged over the third time (s).
const LEAST_SHARE: f64 = 0.15;
const AFTER_S: (f64, f64) = (0.03, 0.1);
const BEFORE_S: f64 = 0.2;
/// Its level must not grow by this factor (6 dB) from the first of these stretches to the second (s).
const GROWS: f64 = 4.0;
const GROWS_S: (f64, f64, f64) = (0.0, 0.01, 0.08);
/// Relative standard uncertainty of the damping beyond which nothing shows that it decays like a mode.
const MOST_UNCERTAIN: f64 = 0.6;

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
    let mut recording = match Recording::from_interleaved(sound, channels, rate_hz, ChannelChoice::Better) {
        Err(SoundError::TooShort { .. } | SoundError::Silent { .. } | SoundError::NoSamples) => {
            return Ok(verdict_of(&TapReason::NoRingDown));
        }
        opened => opened?,
    };
    let mut found = find_taps(&mut recording)?;
    let near = (NEAR_S * f64::from(rate_hz)) as usize;
    let tap = found.taps.iter().filter(|t| t.onset.abs_diff(strike) <= near).min_by_key(|t| t.onset.abs_diff(strike));
    let Some(tap) = tap.cloned() else {
        return Ok(Verdict::NoTap { sentence: "a stir that does not begin like a strike".into() });
    };
    // What does not begin like a tap is none; what does is looked at even if it cannot be used, to tell a tap that went wrong
    // from a noise that the maker had no part in.
    let wrong = worst(&tap.reasons).copied();
    // Nothing can be told of an overloaded sound but that it was too loud.
    match wrong.as_ref().map(verdict_of) {
        Some(verdict @ Verdict::NoTap { .. }) => return Ok(verdict),
        Some(verdict) if matches!(wrong, Some(TapReason::Clipped { .. })) => return Ok(verdict),
        _ => {}
    }
    // What rings behind the second of two strikes rings.
    let onset = match wrong {
        Some(TapReason::DoubleHit { after_s }) => tap.onset + (after_s * f64::from(rate_hz)) as usize,
        _ => tap.onset,
    };
    found.taps = vec![Tap { onset, reasons: Vec::new(), ..tap }];
    let estimate =
        estimator.estimate(&mut recording, &found, &EstimateOptions { with_spectrum: false, ..Default::default() })?;
    let told = estimate.taps.first().and_then(|t| worst(&t.reasons)).copied();
    Ok(match (rings_on(&recording, onset, &estimate.modes), wrong, told) {
        (true, None, _) => Verdict::Good(Tones::of(estimate.modes.iter().filter(|m| is_clean(m)))),
        (true, Some(reason), _) => verdict_of(&reason),
        (false, _, Some(TapReason::GainSuspected)) => Verdict::Bends,
        (false, ..) => verdict_of(&told.unwrap_or(TapReason::NoRingDown)),
    })
}

/// Whether a lone tap rings on with clean tones. One tap is confirmed by nothing, so more is asked of it than of modes that
/// come back in every tap; the taps of the take are judged together later.
fn rings_on(recording: &Recording, onset: usize, modes: &[Mode]) -> bool {
    let clean = main_tones(modes);
    if clean.is_empty() {
        return false;
    }
    let level = recording.level();
    let ms = |s: f64| (s * recording.sample_rate_hz() / level.block as f64) as usize;
    let strike = onset / level.block;
    let mean = |from: usize, to: usize| {
        let part = &level.body[from.min(level.body.len())..to.min(level.body.len())];
        part.iter().map(|e| f64::from(*e)).sum::<f64>() / part.len().max(1) as f64
    };
    // A struck part sounds loudest at once; a voice grows.
    let loudest = |from: f64, to: f64| {
        (strike + ms(from)..strike + ms(to)).map(|b| mean(b, b + ms(0.005).max(1))).fold(0.0, f64::max)
    };
    if loudest(GROWS_S.1, GROWS_S.2) > GROWS * loudest(GROWS_S.0, GROWS_S.1) {
        return false;
    }
    let room = mean(strike.saturating_sub(ms(BEFORE_S)), strike.saturating_sub(ms(0.01)));
    let sounds = mean(strike + ms(AFTER_S.0), strike + ms(AFTER_S.1)) - room;
    if sounds < room {
        return true;
    }
    // Mean square of each decay over that time.
    let carried: f64 = clean
        .iter()
        .map(|m| {
            let twice = 2.0 * decay_rate(m);
            let mean = ((-twice * AFTER_S.0).exp() - (-twice * AFTER_S.1).exp()) / (twice * (AFTER_S.1 - AFTER_S.0));
            0.5 * 10f64.powf(m.level_full_scale_db / 10.0) * mean
        })
        .sum();
    carried > LEAST_SHARE * sounds
}

fn decay_rate(mode: &Mode) -> f64 {
    mode.damping_ratio.value * std::f64::consts::TAU * mode.frequency.value
}

/// Level of a mode's energy (dB, of no fixed reference): its square over the rate at which that decays.
fn energy_db(mode: &Mode) -> f64 {
    mode.level_db - 10.0 * decay_rate(mode).log10()
}

/// Whether a tone rings on and decays as modes do.
fn is_clean(mode: &Mode) -> bool {
    mode.decay_seen_db >= LEAST_DECAY_DB
        && mode.damping_ratio.value <= MOST_DAMPING
        && decay_rate(mode) <= MOST_DECAY_RATE
        && mode.damping_ratio.relative_u_95() <= MOST_UNCERTAIN
}

/// The clean ones of the main tones.
fn main_tones(modes: &[Mode]) -> Vec<&Mode> {
    let greatest = modes.iter().map(energy_db).fold(f64::NEG_INFINITY, f64::max);
    modes.iter().filter(|m| is_clean(m) && energy_db(m) >= greatest - MAIN_DB).collect()
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
        // The sound was heard to its end: what is short is a knock.
        TapReason::CutShort { .. } => Verdict::NoTap {
            sentence: "gone at once: a knock, a part held too tight, or a tap too weak for the room's noise".into(),
        },
        TapReason::SlowRise | TapReason::NoRingDown | TapReason::TooWeak { .. } => Verdict::NoTap { sentence },
        _ => Verdict::Again { code: reason.code(), sentence },
    }
}
