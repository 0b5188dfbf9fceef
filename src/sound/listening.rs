//! The recording as the tap finder hears it: whitened, once over the whole band and once over the low band, so that
//! neither rumble, hum nor hiss hides a strike.

use std::ops::Range;

use super::error::SoundError;
use super::gaps::between;
use super::high_pass::{HighPass, read_filtered};
use super::level::{DIGITAL_SILENCE, LevelTrack};
use super::recording::Recording;
use super::whitening::{BROAD_ORDER, Whitening};
use crate::lanes::dot_single;

/// Rate of the low band (Hz); it holds the modes of sides and rims that have little above.
const LOW_RATE_HZ: f64 = 3000.0;
/// Filter length at the low rate: 10 ms, which parts the mains' lines from the modes between them.
pub(super) const LOW_ORDER: usize = 30;
/// Samples that are filtered at a time.
const CHUNK: usize = 1 << 16;

/// The two whitened bands of a recording.
pub(super) struct Listening {
    broad: Whitening,
    low_filter: Whitening,
    /// Means of `step` samples, not yet whitened.
    low: Vec<f32>,
    step: usize,
    gaps: Vec<Range<usize>>,
    level: LevelTrack,
}

/// A stretch of one band for picking an onset: element k belongs to sample `first + k step`.
pub(super) struct View {
    pub series: Vec<f64>,
    pub first: usize,
    pub step: usize,
}

impl Listening {
    pub(super) fn new(recording: &mut Recording) -> Result<Self, SoundError> {
        let gaps = recording.gaps().to_vec();
        let quiet = quiet_ranges(recording.level(), &gaps);
        let (mut scratch, mut white) = (Vec::new(), Vec::new());
        let mut stretches = Vec::new();
        let mut total = 0;
        for range in &quiet {
            stretches.push(read_filtered(recording, &gaps, range.clone())?);
            total += range.len();
            if total > 60_000 {
                break;
            }
        }
        let broad = Whitening::of_noise(&stretches, BROAD_ORDER);
        let memory = broad.memory();
        let rate_hz = recording.sample_rate_hz();
        let step = low_step(rate_hz);
        let block = recording.level().block;
        let mut low = Vec::with_capacity(recording.len() / step + 1);
        // Whole blocks and whole steps at a time, so that both tracks stay in time with the samples.
        let chunk = (CHUNK / (block * step)).max(1) * block * step;
        let mut edge = Vec::with_capacity(recording.len() / block + 1);
        let mut filter = HighPass::new(rate_hz);
        // The samples as the filter leaves them, behind the history that the whitening needs.
        let mut heard: Vec<f32> = Vec::new();
        let mut at = 0;
        while at < recording.len() {
            heard.drain(..heard.len().saturating_sub(memory));
            let history = heard.len();
            let end = (at + chunk).min(recording.len());
            filter.run_around(recording.read(at, end, &mut scratch)?, at, &gaps, &mut heard);
            low.extend(heard[history..].chunks_exact(step).map(|c| c.iter().sum::<f32>() / step as f32));
            whitening_with_start(&broad, &heard, history, &mut white);
            edge.extend(white.chunks_exact(block).map(mean_square));
            at = end;
        }
        let scale = |at: usize| at / step;
        let low_stretches: Vec<Vec<f32>> =
            quiet.iter().map(|r| low[scale(r.start).min(low.len())..scale(r.end).min(low.len())].to_vec()).collect();
        let low_filter = Whitening::of_noise(&low_stretches, LOW_ORDER);
        whitening_with_start(&low_filter, &low, 0, &mut white);
        let body = low_levels(&white, edge.len(), block, step).collect();
        Ok(Self { broad, low_filter, low, step, gaps, level: LevelTrack { block, body, edge } })
    }

    /// Level of both bands: `body` the low one, `edge` the whole one.
    pub(super) fn level(&self) -> &LevelTrack {
        &self.level
    }

    /// The stretch of samples in several views.
    pub(super) fn views(&self, recording: &mut Recording, samples: Range<usize>) -> Result<[View; 3], SoundError> {
        let memory = self.broad.memory();
        let start = samples.start.max(memory);
        let mut white = Vec::new();
        self.broad.apply(&read_filtered(recording, &self.gaps, start - memory..samples.end)?, &mut white);
        let series: Vec<f64> = white.iter().map(|s| f64::from(*s)).collect();
        let smooth = series.windows(self.step).map(|w| w.iter().sum::<f64>() / self.step as f64).collect();
        // A running mean answers to a sample as soon as its last element takes it in.
        let smooth = View { series: smooth, first: start + self.step - 1, step: 1 };
        let memory = self.low_filter.memory();
        let low_start = (samples.start / self.step).max(memory);
        let low_end = (samples.end / self.step).min(self.low.len());
        self.low_filter.apply(&self.low[(low_start - memory).min(low_end)..low_end], &mut white);
        let low = white.iter().map(|s| f64::from(*s)).collect();
        Ok([
            View { series, first: start, step: 1 },
            smooth,
            View { series: low, first: low_start * self.step, step: self.step },
        ])
    }
}

/// Samples that are averaged for one of the low band.
pub(super) fn low_step(rate_hz: f64) -> usize {
    (rate_hz / LOW_RATE_HZ).round().max(1.0) as usize
}

/// Mean squares of the whitened low band over `blocks` blocks of `block` samples of the full rate.
pub(super) fn low_levels(white: &[f32], blocks: usize, block: usize, step: usize) -> impl Iterator<Item = f32> + '_ {
    (0..blocks).map(move |b| {
        let from = (b * block / step).min(white.len().saturating_sub(1));
        let to = ((b + 1) * block / step).clamp(from + 1, white.len().max(from + 1));
        mean_square(&white[from..to.min(white.len())])
    })
}

pub(super) fn mean_square(samples: &[f32]) -> f32 {
    dot_single(samples, samples) / samples.len().max(1) as f32
}

/// Filters `samples[history..]`; as many samples come out as go in behind the history.
fn whitening_with_start(filter: &Whitening, samples: &[f32], history: usize, out: &mut Vec<f32>) {
    filter.apply(samples, out);
    let wished = samples.len() - history;
    if out.len() < wished {
        // The first samples have no history to be filtered with: the next ones stand in for them, not a sudden silence.
        let missing = wished - out.len();
        let stand_in: Vec<f32> = (0..missing).map(|i| out.get(i % out.len().max(1)).copied().unwrap_or(0.0)).collect();
        out.splice(0..0, stand_in);
    } else {
        out.drain(..out.len() - wished);
    }
}

/// The quiet before the first strike: the quietest stretch that lasts at the beginning, as far as the level stays near it; neither
/// gaps nor a start-up that is fainter than the room. Empty if the recording begins with the strike; its tail is then no guide to
/// the room's noise, since the part still rings in it.
fn quiet_ranges(level: &LevelTrack, gaps: &[Range<usize>]) -> Vec<Range<usize>> {
    let span = SPAN * level.block;
    let smooth: Vec<f32> = level.body.chunks_exact(SPAN).map(|c| c.iter().sum::<f32>() / SPAN as f32).collect();
    let sound: Vec<Range<usize>> = between(gaps, 0..smooth.len() * span)
        .into_iter()
        .map(|piece| piece.start.div_ceil(span)..piece.end / span)
        .filter(|piece| piece.len() >= LEAST_QUIET)
        .collect();
    let Some(begin) = sound.iter().flat_map(Range::clone).find(|s| smooth[*s] > DIGITAL_SILENCE) else {
        return Vec::new();
    };
    let Some(piece) = sound.iter().find(|piece| piece.contains(&begin)) else { return Vec::new() };
    let smooth = &smooth[begin..piece.end];
    let looked_at = &smooth[..smooth.len().min(QUIET_LOOK)];
    // What lasts is as loud as the loudest in it.
    let lasting = |window: &[f32]| window.iter().copied().fold(0.0, f32::max);
    let windows = looked_at.windows(LEAST_QUIET.min(looked_at.len())).map(lasting).enumerate();
    let Some((place, quietest)) = windows.min_by(|a, b| a.1.total_cmp(&b.1)) else { return Vec::new() };
    let faint = |e: &f32| *e * RISE < quietest;
    let from = match smooth[place..(place + LEAST_QUIET).min(smooth.len())].iter().rposition(faint) {
        Some(last) => place + last + 1,
        None => {
            let near = |e: &&f32| **e <= RISE * quietest && !faint(e);
            place - smooth[..place].iter().rev().take_while(near).count()
        }
    };
    let rise = match smooth[from..].iter().position(|e| *e > RISE * quietest) {
        Some(rise) => rise,
        // No rise at all: noise from end to end, or a recording that begins with the strike and dies away.
        None if smooth[from..].iter().all(|e| *e * RISE > quietest) => smooth.len() - from,
        None => 0,
    };
    // The last span may already hold the beginning of the rise.
    let spans = begin + from..begin + from + rise.saturating_sub(1);
    if spans.len() < LEAST_QUIET {
        return Vec::new();
    }
    vec![Range { start: spans.start * span, end: spans.end * span }]
}

/// Blocks of a span: 10 ms.
const SPAN: usize = 10;
/// Spans at the beginning among which the quiet is sought: half a second.
const QUIET_LOOK: usize = 50;
/// A level this many times the quietest (15 dB) is no longer quiet.
const RISE: f32 = 32.0;
/// Spans of the least quiet worth learning from (50 ms), which is also longer than an encoder's start-up at usual rates.
const LEAST_QUIET: usize = 5;
