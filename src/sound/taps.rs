//! Finding the taps in a recording and saying of each whether it can be used.
//!
//! A strike shows as a jump of the level within a few milliseconds; its first sample is picked by Akaike's criterion on
//! the variances before and after, as seismology picks arrivals (Maeda 1985, from memory). Each ring-down ends where it
//! sinks into the room's noise, or where the next strike comes.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::double_hit::{DOUBLE_HIT_S, second_strikes};
use super::error::SoundError;
use super::gaps::between;
use super::level::{DIGITAL_SILENCE, LevelTrack};
use super::listening::Listening;
use super::recording::Recording;
use super::strikes::{
    Floor, SINK_SPAN_S, USABLE_DB, db, find_jumps, mean, over_floor_db, sharp_block, sink_block, swells,
    without_revivals,
};

/// Why a tap is left out. Each has a stable short code and a plain sentence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum TapReason {
    /// The input was overloaded: so many samples sat at an extreme.
    Clipped { samples: usize },
    /// A second strike came so many seconds after the first (to some 0.02 s), within its ring-down.
    DoubleHit { after_s: f64 },
    /// The recording or the next strike ends it after so many seconds.
    CutShort { after_s: f64 },
    /// It stands only so many decibels over the room's noise.
    TooWeak { over_noise_db: f64 },
    /// It is gone within some hundredths of a second: a knock or a handling noise.
    NoRingDown,
    /// It swells too slowly for a strike.
    SlowRise,
    /// Its modes bend down together from the start, as automatic gain or a gate makes them and no part does.
    GainSuspected,
    /// It does not decay together with the other taps of the take.
    UnlikeOthers,
}

impl TapReason {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Clipped { .. } => "clipped",
            Self::DoubleHit { .. } => "double_hit",
            Self::CutShort { .. } => "cut_short",
            Self::TooWeak { .. } => "too_weak",
            Self::NoRingDown => "no_ring_down",
            Self::SlowRise => "slow_rise",
            Self::GainSuspected => "gain_suspected",
            Self::UnlikeOthers => "unlike_others",
        }
    }

    /// What happened and what to do, in plain words.
    pub fn sentence(&self) -> String {
        match self {
            Self::Clipped { samples } => {
                format!("clipped ({samples} samples at the limit): tap softer, or turn the microphone level down")
            }
            Self::DoubleHit { after_s } => {
                // What still rings of the first can delay the jump of the level by some 20 ms.
                let step_ms = if *after_s < 0.1 { 10.0 } else { 50.0 };
                let about_ms = (1e3 * after_s / step_ms).round().max(1.0) * step_ms;
                format!(
                    "double hit: a second strike about {about_ms:.0} ms after the first; let the tapper bounce away at once"
                )
            }
            Self::CutShort { after_s } => format!(
                "cut short after {:.0} ms: wait until the sound is gone before the next tap or before stopping",
                1e3 * after_s
            ),
            Self::TooWeak { over_noise_db } => format!(
                "too weak: only {over_noise_db:.0} dB over the room's noise; tap harder, move the microphone closer, or \
                 quieten the room"
            ),
            Self::NoRingDown => {
                "a knock without a ring-down: hold the part at its still lines so that it can ring".to_owned()
            }
            Self::SlowRise => "swells too slowly for a strike: speech, a rustle or something moved".to_owned(),
            Self::GainSuspected => {
                "automatic gain or a noise gate suspected: all modes die away faster and faster, as no part does; switch \
                 the recorder's gain control and noise suppression off"
                    .to_owned()
            }
            Self::UnlikeOthers => {
                "does not ring like the other taps of this take: held differently, or a second strike in it".to_owned()
            }
        }
    }
}

/// One strike and its ring-down, in samples of the recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tap {
    /// First sample of the strike.
    pub onset: usize,
    /// First sample that no longer belongs to the ring-down.
    pub end: usize,
    /// Whether the recording already rings at its first sample, so that the strike itself is missing.
    pub starts_inside: bool,
    /// Height of the strike over the room's noise (dB, broad band).
    pub over_noise_db: f64,
    /// Why it is left out; accepted if empty.
    pub reasons: Vec<TapReason>,
}

impl Tap {
    pub fn accepted(&self) -> bool {
        self.reasons.is_empty()
    }
}

/// Where the level of the room's noise was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoiseSource {
    /// In the quiet before the strikes: the best.
    BeforeTaps,
    /// In the quiet after the ring-down, because none was recorded before it.
    Tail,
    /// Nowhere: no quiet stretch that is a room's noise (none at all, digital silence, or a fade).
    None,
}

/// The taps of a recording and its quiet stretches.
#[derive(Debug, Clone)]
pub struct TapSearch {
    pub taps: Vec<Tap>,
    /// Stretches of noise alone, in samples.
    pub quiet: Vec<Range<usize>>,
    pub noise_source: NoiseSource,
    /// Loudest moment (s) and its height over the noise (dB), to explain a search without result.
    pub loudest_at_s: f64,
    pub loudest_over_noise_db: f64,
}

/// A sound that is ten times as strong later than up to the first of these (s) swells too slowly for a strike; several strikes
/// that look alike are given until the second.
const SWELLS_FROM_S: (f64, f64) = (0.008, 0.014);
const LEAST_ALIKE: usize = 3;
/// Shortest ring-down that is measured (s).
const LEAST_RING_S: f64 = 0.06;
/// Longest ring-down that is looked at (s).
const MOST_RING_S: f64 = 20.0;
/// A sound this much louder (dB) than one just before it is the strike; the other was the hand on its way.
const LOUDER_DB: f64 = 12.0;

/// Finds all strikes of a recording, accepted or with the reason why not.
///
/// # Errors
/// `Read` if a long file changed since it was scanned.
pub fn find_taps(recording: &mut Recording) -> Result<TapSearch, SoundError> {
    let listening = Listening::new(recording)?;
    let level = listening.level().clone();
    let floor = Floor::new(&level);
    let jumps = without_revivals(find_jumps(&level, &floor), &level, &floor);
    let mut taps = Vec::with_capacity(jumps.len());
    let blocks = level.body.len();
    let mut sinks = Vec::new();
    let mut swell_on = 0;
    let rate = recording.sample_rate_hz();
    let ms = |s: f64| (s * rate / level.block as f64).round() as usize;
    let gaps = recording.gaps().to_vec();

    let mut i = 0;
    while i < jumps.len() {
        let jump = &jumps[i];
        if let Some(next) = jumps.get(i + 1)
            && next.block < jump.block + ms(DOUBLE_HIT_S)
            && over_floor_db(&level, &floor, next.block, 20) > over_floor_db(&level, &floor, jump.block, 20) + LOUDER_DB
        {
            i += 1;
            continue;
        }
        let sink = sink_block(&level, &floor, jump.block, ms(SINK_SPAN_S));
        let mut reasons = Vec::new();
        let (next, double_hit) = second_strikes(&jumps, i, sink, &level, &floor, ms);
        if let Some(blocks) = double_hit {
            reasons.push(TapReason::DoubleHit { after_s: (blocks * level.block) as f64 / rate });
        }
        let stop = jumps.get(next).map_or(blocks, |j| j.block.saturating_sub(ms(0.004)));
        let sink = if next > i + 1 { sink_block(&level, &floor, jumps[next - 1].block, ms(SINK_SPAN_S)) } else { sink };
        // A single mode stays readable well below the broad-band noise: keep half as much again, and then some.
        let wished = sink + (sink - jump.block) * 3 / 2 + ms(0.3);
        let end_block = wished.min(stop).min(jump.block + ms(MOST_RING_S));
        let onset = if jump.starts_inside {
            jump.block * level.block
        } else {
            refine_onset(recording, &listening, sharp_block(&level, &floor, jump.block))?
        };
        // Where the recording has a gap, nothing of the ring-down is left.
        let gap = gaps.iter().map(|gap| gap.start).find(|start| *start > onset).unwrap_or(usize::MAX);
        let end = (end_block * level.block).min(recording.len()).min(gap).max(onset + 1);
        let ring_s = (end - onset) as f64 / rate;
        let over_noise_db = over_floor_db(&level, &floor, jump.block, ms(0.012));

        let clipped: usize = recording
            .flat_tops()
            .iter()
            .filter(|top| top.start + top.count + ms(0.002) * level.block >= onset && top.start < end)
            .map(|top| top.count)
            .sum();
        if clipped > 0 {
            reasons.push(TapReason::Clipped { samples: clipped });
        }
        if over_noise_db < USABLE_DB {
            reasons.push(TapReason::TooWeak { over_noise_db });
        }
        let swells = |early_s: f64| swells(&level, &floor, jump, ms(early_s), ms(0.08));
        if swells(SWELLS_FROM_S.0) {
            reasons.push(TapReason::SlowRise);
            swell_on += usize::from(swells(SWELLS_FROM_S.1));
        }
        if ring_s < LEAST_RING_S {
            reasons.push(TapReason::CutShort { after_s: ring_s });
        }
        sinks.push((jump.block, sink));
        taps.push(Tap { onset, end, starts_inside: jump.starts_inside, over_noise_db, reasons });
        i = next;
    }
    // The lowest modes take a good hundredth of a second for one swing: several strikes most of which swell no longer than that are
    // taps.
    let slow = |tap: &Tap| tap.reasons == [TapReason::SlowRise];
    if 2 * swell_on < taps.iter().filter(|t| slow(t)).count()
        && taps.iter().filter(|t| t.accepted() || slow(t)).count() >= LEAST_ALIKE
    {
        taps.iter_mut().filter(|t| slow(t)).for_each(|t| t.reasons.clear());
    }
    // One sharp sound among several that swell is the odd one of a conversation, not a tap.
    let swelling = taps.iter().filter(|t| t.reasons.contains(&TapReason::SlowRise)).count();
    if swelling >= 2 && taps.iter().filter(|t| t.accepted()).count() == 1 {
        taps.iter_mut().filter(|t| t.accepted()).for_each(|t| t.reasons.push(TapReason::SlowRise));
    }
    let (quiet, noise_source) = quiet_stretches(&level, &floor, &taps, &sinks, &gaps, (recording.len(), rate));
    let (loudest_block, _) =
        level.body.iter().enumerate().fold((0, 0.0f32), |best, (b, e)| if *e > best.1 { (b, *e) } else { best });
    Ok(TapSearch {
        taps,
        quiet,
        noise_source,
        loudest_at_s: (loudest_block * level.block) as f64 / rate,
        loudest_over_noise_db: over_floor_db(&level, &floor, loudest_block, 1),
    })
}

/// The first sample of a strike near a block, by Akaike's criterion.
fn refine_onset(recording: &mut Recording, listening: &Listening, block: usize) -> Result<usize, SoundError> {
    let size = listening.level().block;
    let samples = block.saturating_sub(12) * size..((block + 5) * size).min(recording.len());
    // The view in which the strike parts the variance best.
    let best = listening
        .views(recording, samples.clone())?
        .into_iter()
        .filter_map(|view| split(&view.series).map(|(k, gain)| (gain, view.first + k * view.step)))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    Ok(best.map_or(block * size, |(_, sample)| sample))
}

/// Akaike's criterion: the place that parts a series best into two of different variance, and the gain in likelihood.
fn split(series: &[f64]) -> Option<(usize, f64)> {
    let least = 8;
    let count = series.len();
    if count < 4 * least {
        return None;
    }
    let mut sums = Vec::with_capacity(count + 1);
    sums.push(0.0);
    for d in series {
        sums.push(sums[sums.len() - 1] + d * d);
    }
    let tiny = 1e-24 + 1e-9 * sums[count] / count as f64;
    let criterion = |k: usize| {
        let before = (sums[k] / k as f64).max(tiny);
        let after = ((sums[count] - sums[k]) / (count - k) as f64).max(tiny);
        k as f64 * before.ln() + (count - k) as f64 * after.ln()
    };
    let (best, lowest) = (least..count - least).map(|k| (k, criterion(k))).min_by(|a, b| a.1.total_cmp(&b.1))?;
    let whole = count as f64 * (sums[count] / count as f64).max(tiny).ln();
    Some((best, whole - lowest))
}

/// Stretches of noise alone: before the strikes if there are any, else behind the last ring-down.
fn quiet_stretches(
    level: &LevelTrack,
    floor: &Floor,
    taps: &[Tap],
    sinks: &[(usize, usize)],
    gaps: &[Range<usize>],
    (samples, rate): (usize, f64),
) -> (Vec<Range<usize>>, NoiseSource) {
    let guard = (0.004 * rate) as usize;
    let least = (0.04 * rate) as usize;
    let is_noise = |range: &Range<usize>| {
        if range.len() < least {
            return false;
        }
        let blocks = range.start / level.block..range.end / level.block;
        let middle = (blocks.start + blocks.end) / 2;
        let (first, second) = (mean(&level.body, blocks.start..middle), mean(&level.body, middle..blocks.end));
        let steady = db(first / second).abs() < 6.0;
        first > f64::from(DIGITAL_SILENCE) && second > f64::from(DIGITAL_SILENCE) && steady
    };
    let mut before = Vec::new();
    let mut from = 0;
    for tap in taps {
        let range = from..tap.onset.saturating_sub(guard);
        if !tap.starts_inside && range.start < range.end {
            before.extend(lasting_quiet(level, &range, gaps, guard).into_iter().filter(is_noise));
        }
        from = tap.end;
    }
    // Between two strikes a part may still ring: a single pause tells little, the quiet before the first strike tells all.
    let first = taps.first().map_or(0, |t| t.onset);
    if before.first().is_some_and(|r| r.end <= first) || before.len() >= 3 {
        return (before, NoiseSource::BeforeTaps);
    }
    let mut after = Vec::new();
    for (i, &(start, sink)) in sinks.iter().enumerate() {
        let sunk = (sink + (sink - start) / 2) * level.block;
        let stop = taps.get(i + 1).map_or(samples, |t| t.onset.saturating_sub(guard));
        for range in between(gaps, sunk..stop.max(sunk)) {
            // The floor here is by construction the quietest part, so it must also be steady and last.
            let body = mean(&level.body, range.start / level.block..range.end / level.block);
            if is_noise(&range) && body < 3.0 * floor.body(range.start / level.block) {
                after.push(range);
            }
        }
    }
    if after.is_empty() { (after, NoiseSource::None) } else { (after, NoiseSource::Tail) }
}

/// Blocks of a span whose level is compared with the others: 10 ms.
const SPAN: usize = 10;
/// What is quiet lasts for so many spans (0.1 s), ...
const LASTS: usize = 10;
/// ... in which the level stays within this factor (6 dB) of its middle: that of noise in the narrower band, of which 10 ms have 30
/// samples, leaves it by chance less than once in 10^5 spans.
const LASTING_WITHIN: f64 = 4.0;
/// Its halves differ by less than this factor (3 dB, four standard deviations of such noise), or else it is a fade.
const TREND: f64 = 2.0;
/// Beyond the first factor (9 dB) of the lasting quiet is another sound; below the second (6 dB) for two spans and more, which noise
/// does once in 10^10, a start-up, a fade or a gate.
const FOREIGN: (f64, f64) = (8.0, 4.0);

/// The parts of a stretch between ring-downs in which the room alone is heard: without gaps, and, if there is a quietest level that
/// lasts, without what is far louder (a click, a rustle) or far quieter for long (an encoder's start-up, a fade) than it. All of
/// the stretch if nothing in it is unlike the rest.
fn lasting_quiet(level: &LevelTrack, range: &Range<usize>, gaps: &[Range<usize>], guard: usize) -> Vec<Range<usize>> {
    let mut parts = Vec::new();
    for mut piece in between(gaps, range.clone()) {
        // At a gap's edge stands what a coder or an editor made of it.
        piece.start += if piece.start > range.start { guard } else { 0 };
        piece.end -= if piece.end < range.end { guard.min(piece.end) } else { 0 };
        if piece.start >= piece.end {
            continue;
        }
        let size = SPAN * level.block;
        let spans = |track: &[f32]| -> Vec<f64> {
            (0..piece.len() / size)
                .map(|s| {
                    mean(track, (piece.start + s * size) / level.block..(piece.start + (s + 1) * size) / level.block)
                })
                .collect()
        };
        let tracks = [spans(&level.body), spans(&level.edge)];
        let Some(quiet) = lasting_level(&tracks) else {
            parts.push(piece);
            continue;
        };
        // The quietest that lasts can still be the end of a fade: what is left tells the room's level better.
        let unlike = foreign(&tracks, quiet);
        let room = tracks.each_ref().map(|track| {
            middle(&track.iter().zip(&unlike).filter(|(_, unlike)| !**unlike).map(|(e, _)| *e).collect::<Vec<_>>())
        });
        let foreign = foreign(&tracks, room);
        let mut from = 0;
        for stop in 0..=foreign.len() {
            if foreign.get(stop).copied().unwrap_or(true) {
                // What lies behind the last whole span belongs to it.
                let end = if stop == foreign.len() { piece.end } else { piece.start + stop * size };
                if from < stop {
                    parts.push(piece.start + from * size..end);
                }
                from = stop + 1;
            }
        }
    }
    parts
}

fn middle(levels: &[f64]) -> f64 {
    let mut sorted = levels.to_vec();
    let at = sorted.len() / 2;
    if sorted.is_empty() { 0.0 } else { *sorted.select_nth_unstable_by(at, f64::total_cmp).1 }
}

/// The quietest level (in both bands) that lasts; `None` where no level does.
fn lasting_level(tracks: &[Vec<f64>; 2]) -> Option<[f64; 2]> {
    let count = tracks[0].len();
    let lasts = |window: &[f64]| {
        let middle = middle(window);
        let near = |e: &f64| *e < LASTING_WITHIN * middle && *e * LASTING_WITHIN > middle;
        let (first, second) = window.split_at(window.len() / 2);
        let trend = first.iter().sum::<f64>() / second.iter().sum::<f64>().max(1e-30);
        let lasts = middle > f64::from(DIGITAL_SILENCE) && window.iter().all(near);
        (lasts && trend < TREND && trend * TREND > 1.0).then_some(middle)
    };
    (0..(count + 1).saturating_sub(LASTS))
        .filter_map(|from| {
            let [body, edge] = tracks.each_ref().map(|track| lasts(&track[from..from + LASTS]));
            Some([body?, edge?])
        })
        .min_by(|a, b| (a[0] * a[1]).total_cmp(&(b[0] * b[1])))
}

/// Which spans are another sound than the lasting quiet.
fn foreign(tracks: &[Vec<f64>; 2], quiet: [f64; 2]) -> Vec<bool> {
    let any = |place: usize, is: &dyn Fn(f64, f64) -> bool| (0..2).any(|band| is(tracks[band][place], quiet[band]));
    let louder = |place: usize| any(place, &|level, quiet| level > FOREIGN.0 * quiet);
    let fainter = |place: usize| any(place, &|level, quiet| level * FOREIGN.1 < quiet);
    let count = tracks[0].len();
    (0..count)
        .map(|s| louder(s) || fainter(s) && (s > 0 && fainter(s - 1) || s + 1 < count && fainter(s + 1)))
        .collect()
}
