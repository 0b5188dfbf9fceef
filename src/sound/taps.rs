//! Finding the taps in a recording and saying of each whether it can be used.
//!
//! A strike shows as a jump of the level within a few milliseconds; its first sample is picked by Akaike's criterion on
//! the variances before and after, as seismology picks arrivals (Maeda 1985, from memory). Each ring-down ends where it
//! sinks into the room's noise, or where the next strike comes.

use std::ops::Range;

use super::error::SoundError;
use super::level::LevelTrack;
use super::listening::{DIGITAL_SILENCE, Listening};
use super::recording::Recording;

/// Why a tap is left out. Each has a stable short code and a plain sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TapReason {
    /// The input was overloaded: so many samples sat at an extreme.
    Clipped { samples: usize },
    /// A second strike came so many seconds after the first, within its ring-down.
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
            Self::DoubleHit { after_s } => format!(
                "double hit: a second strike {:.0} ms after the first; let the tapper bounce away at once",
                1e3 * after_s
            ),
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
#[derive(Debug, Clone, PartialEq)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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

/// A jump of this height (dB) within 3 ms, or of the second height within 12 ms, is looked at.
const JUMP_DB: (f64, f64) = (8.0, 6.5);
/// A strike this much over the noise (dB) is worth measuring.
const USABLE_DB: f64 = 10.0;
/// Jumps closer than this (s) belong to one strike: contact, rebound of a soft tapper, first echoes.
const ONE_STRIKE_S: f64 = 0.025;
/// A second strike within this time (s) is a double hit, not the next tap.
const DOUBLE_HIT_S: f64 = 0.25;
/// Shortest ring-down that is measured (s).
const LEAST_RING_S: f64 = 0.06;
/// Longest ring-down that is looked at (s).
const MOST_RING_S: f64 = 20.0;
/// No room and microphone are quieter than this mean square (-95 dB of full scale, the step of 16 bits).
const LEAST_FLOOR: f64 = 3e-10;
/// A sound this much louder (dB) than one just before it is the strike; the other was the hand on its way.
const LOUDER_DB: f64 = 12.0;

/// A jump that clears its threshold by less than the first (dB) and lies below the strike before it by more than the second
/// is no strike.
const REVIVAL_DB: f64 = 2.0;
const FAR_BELOW_DB: f64 = 12.0;

/// A strike's low band stands at most so much less over its noise (dB) than the whole sound.
const LOW_SHARE_DB: f64 = 25.0;

struct Jump {
    block: usize,
    height_db: f64,
    starts_inside: bool,
}

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
    let rate = recording.sample_rate_hz();
    let ms = |s: f64| (s * rate / level.block as f64).round() as usize;

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
        let sink = sink_block(&level, &floor, jump.block, ms(0.02));
        let mut reasons = Vec::new();
        // Strikes that follow before this one can have been meant to end.
        let mut next = i + 1;
        while next < jumps.len()
            && jumps[next].block < jump.block + ms(DOUBLE_HIT_S)
            && (jumps[next].block < sink || jumps[next].block < jump.block + ms(0.1))
        {
            let after_s = ((jumps[next].block - jump.block) * level.block) as f64 / rate;
            if reasons.is_empty() {
                reasons.push(TapReason::DoubleHit { after_s });
            }
            next += 1;
        }
        let stop = jumps.get(next).map_or(blocks, |j| j.block.saturating_sub(ms(0.004)));
        let sink = if next > i + 1 { sink_block(&level, &floor, jumps[next - 1].block, ms(0.02)) } else { sink };
        // A single mode stays readable well below the broad-band noise: keep half as much again, and then some.
        let wished = sink + (sink - jump.block) * 3 / 2 + ms(0.3);
        let end_block = wished.min(stop).min(jump.block + ms(MOST_RING_S));
        let onset = if jump.starts_inside {
            jump.block * level.block
        } else {
            refine_onset(recording, &listening, jump.block)?
        };
        let end = (end_block * level.block).min(recording.len()).max(onset + 1);
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
        if swells(&level, &floor, jump, ms(0.008), ms(0.08)) {
            reasons.push(TapReason::SlowRise);
        }
        if ring_s < LEAST_RING_S {
            reasons.push(TapReason::CutShort { after_s: ring_s });
        }
        sinks.push((jump.block, sink));
        taps.push(Tap { onset, end, starts_inside: jump.starts_inside, over_noise_db, reasons });
        i = next;
    }
    // One sharp sound among several that swell is the odd one of a conversation, not a tap.
    let swelling = taps.iter().filter(|t| t.reasons.contains(&TapReason::SlowRise)).count();
    if swelling >= 2 && taps.iter().filter(|t| t.accepted()).count() == 1 {
        taps.iter_mut().filter(|t| t.accepted()).for_each(|t| t.reasons.push(TapReason::SlowRise));
    }
    let (quiet, noise_source) = quiet_stretches(&level, &floor, &taps, &sinks, recording.len(), rate);
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

fn mean(track: &[f32], range: Range<usize>) -> f64 {
    let range = range.start.min(track.len())..range.end.min(track.len());
    if range.is_empty() {
        return 0.0;
    }
    let count = range.len() as f64;
    track[range].iter().map(|e| f64::from(*e)).sum::<f64>() / count
}

/// The quiet level of both bands, in spans of four seconds so that a compressor that starts later does not matter.
struct Floor {
    span: usize,
    body: Vec<f64>,
    edge: Vec<f64>,
}

impl Floor {
    fn new(level: &LevelTrack) -> Self {
        let span = 4000;
        let spans = level.body.len().div_ceil(span).max(1);
        let floor = |track: &[f32]| -> Vec<f64> {
            (0..spans)
                .map(|s| {
                    let from = s.saturating_sub(1) * span;
                    let to = ((s + 2) * span).min(track.len());
                    let mut smooth: Vec<f32> = track[from..to]
                        .chunks(10)
                        .map(|c| c.iter().sum::<f32>() / c.len() as f32)
                        .filter(|e| *e > DIGITAL_SILENCE)
                        .collect();
                    if smooth.is_empty() {
                        return LEAST_FLOOR;
                    }
                    let at = smooth.len() / 5;
                    f64::from(*smooth.select_nth_unstable_by(at, f32::total_cmp).1).max(LEAST_FLOOR)
                })
                .collect()
        };
        Self { span, body: floor(&level.body), edge: floor(&level.edge) }
    }
    fn body(&self, block: usize) -> f64 {
        self.body[(block / self.span).min(self.body.len() - 1)]
    }
    fn edge(&self, block: usize) -> f64 {
        self.edge[(block / self.span).min(self.edge.len() - 1)]
    }
}

fn db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

fn over_floor_db(level: &LevelTrack, floor: &Floor, block: usize, span: usize) -> f64 {
    let over = |track: &[f32], floor: f64| {
        let highest = (block..block + span.max(1)).map(|b| mean(track, b..b + 3)).fold(0.0, f64::max);
        db(highest / floor)
    };
    over(&level.body, floor.body(block)).max(over(&level.edge, floor.edge(block)))
}

/// Height of the jump at a block (dB): the level behind it against the level before it, in the band where it is higher.
fn jump_db(level: &LevelTrack, floor: &Floor, block: usize) -> f64 {
    let height = |track: &[f32], floor: f64| {
        let near = mean(track, block.saturating_sub(12)..block.saturating_sub(1));
        let far = mean(track, block.saturating_sub(40)..block.saturating_sub(1));
        let before = near.max(far).max(floor);
        let sharp = db(mean(track, block..block + 3) / before) - JUMP_DB.0;
        let broad = db(mean(track, block..block + 12) / before) - JUMP_DB.1;
        sharp.max(broad)
    };
    let low = height(&level.body, floor.body(block));
    let broad = height(&level.edge, floor.edge(block));
    // A stir in the low band far below what sounds above it is no strike.
    let over = |track: &[f32], floor: f64| db(mean(track, block..block + 12) / floor);
    let counts = over(&level.body, floor.body(block)) > over(&level.edge, floor.edge(block)) - LOW_SHARE_DB;
    if counts { low.max(broad) } else { broad }
}

fn find_jumps(level: &LevelTrack, floor: &Floor) -> Vec<Jump> {
    let gap = (ONE_STRIKE_S * 1000.0) as usize;
    let mut jumps: Vec<Jump> = Vec::new();
    let blocks = level.body.len();
    // A recording that is loud from its first sample starts inside the stroke.
    let initial = over_floor_db(level, floor, 0, 1);
    if initial > USABLE_DB + 5.0 {
        jumps.push(Jump { block: 0, height_db: 0.0, starts_inside: true });
    }
    // A jump needs something before it.
    let mut block = 2;
    let mut last_seen = None;
    while block < blocks {
        let height_db = jump_db(level, floor, block);
        if height_db > 0.0 {
            match (last_seen, jumps.last_mut()) {
                (Some(seen), Some(last)) if block - seen <= gap => {
                    // The same strike: its sharpest block marks it. (The wide window answers up to 12 ms early.)
                    if height_db > last.height_db && block - last.block < 16 {
                        *last = Jump { block, height_db, starts_inside: false };
                    }
                }
                (_, Some(last)) if last.starts_inside && block - last.block < 2 * gap => {
                    *last = Jump { block, height_db, starts_inside: false };
                }
                _ => jumps.push(Jump { block, height_db, starts_inside: false }),
            }
            last_seen = Some(block);
        }
        block += 1;
    }
    jumps
}

/// Leaves out jumps in which a part's own modes come into step again behind a strike: they hardly stand out of the ring-down
/// that they lie in, and lie far below its strike. (A second strike as weak as that is told by its misfit to the other taps.)
fn without_revivals(jumps: Vec<Jump>, level: &LevelTrack, floor: &Floor) -> Vec<Jump> {
    let mut kept: Vec<Jump> = Vec::new();
    for jump in jumps {
        let revival = kept.last().is_some_and(|strike| {
            let below = over_floor_db(level, floor, strike.block, 20) - over_floor_db(level, floor, jump.block, 20);
            let within = jump.block < sink_block(level, floor, strike.block, 20);
            within && jump.height_db < REVIVAL_DB && below > FAR_BELOW_DB
        });
        if !revival {
            kept.push(jump);
        }
    }
    kept
}

/// First block at which the ring-down has sunk into the noise, in both bands.
fn sink_block(level: &LevelTrack, floor: &Floor, from: usize, span: usize) -> usize {
    let blocks = level.body.len();
    let step = (span / 4).max(1);
    let mut block = from + 5;
    while block + span <= blocks {
        let body = mean(&level.body, block..block + span) < 2.0 * floor.body(block);
        let edge = mean(&level.edge, block..block + span) < 2.0 * floor.edge(block);
        if body && edge {
            return block;
        }
        block += step;
    }
    blocks
}

/// Whether the sound keeps growing after its start, as speech and rustle do and a strike does not. Judged in the band in
/// which it stands higher over the noise.
fn swells(level: &LevelTrack, floor: &Floor, jump: &Jump, early: usize, late: usize) -> bool {
    if jump.starts_inside {
        return false;
    }
    let growth = |track: &[f32], floor: f64| {
        let window = |b: usize| mean(track, b..b + 5);
        let start = (jump.block..jump.block + early.saturating_sub(4).max(1)).map(window).fold(0.0, f64::max);
        let later = (jump.block + early..jump.block + late).map(window).fold(0.0, f64::max);
        (start.max(later) / floor, later / start.max(1e-30))
    };
    let low = growth(&level.body, floor.body(jump.block));
    let broad = growth(&level.edge, floor.edge(jump.block));
    (if low.0 > broad.0 { low.1 } else { broad.1 }) > 10.0
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
    let best = (least..count - least).min_by(|a, b| criterion(*a).total_cmp(&criterion(*b)))?;
    let whole = count as f64 * (sums[count] / count as f64).max(tiny).ln();
    Some((best, whole - criterion(best)))
}

/// Stretches of noise alone: before the strikes if there are any, else behind the last ring-down.
fn quiet_stretches(
    level: &LevelTrack,
    floor: &Floor,
    taps: &[Tap],
    sinks: &[(usize, usize)],
    samples: usize,
    rate: f64,
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
        if !tap.starts_inside && range.start < range.end && is_noise(&range) {
            before.push(range);
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
        let range = sunk..stop;
        // The floor here is by construction the quietest part, so it must also be steady and last.
        let body = mean(&level.body, sunk / level.block..stop / level.block);
        if range.start < range.end && is_noise(&range) && body < 3.0 * floor.body(sunk / level.block) {
            after.push(range);
        }
    }
    if after.is_empty() { (after, NoiseSource::None) } else { (after, NoiseSource::Tail) }
}
