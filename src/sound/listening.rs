//! The recording as the tap finder hears it: whitened, once over the whole band and once over the low band, so that
//! neither rumble, hum nor hiss hides a strike.

use std::ops::Range;

use super::error::SoundError;
use super::level::LevelTrack;
use super::recording::Recording;
use super::whitening::{BROAD_ORDER, Whitening};
use crate::lanes::dot_single;

/// Rate of the low band (Hz); it holds the modes of sides and rims that have little above.
const LOW_RATE_HZ: f64 = 3000.0;
/// Filter length at the low rate: 10 ms, which parts the mains' lines from the modes between them.
pub(super) const LOW_ORDER: usize = 30;
/// Samples that are filtered at a time.
const CHUNK: usize = 1 << 16;
/// Below this mean square (-140 dB of full scale) a stretch is digital silence; no room is that quiet.
pub(super) const DIGITAL_SILENCE: f32 = 1e-14;

/// The two whitened bands of a recording.
pub(super) struct Listening {
    broad: Whitening,
    low_filter: Whitening,
    /// Means of `step` samples, not yet whitened.
    low: Vec<f32>,
    step: usize,
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
        let quiet = quiet_ranges(recording.level());
        let (mut scratch, mut white) = (Vec::new(), Vec::new());
        let mut stretches = Vec::new();
        let mut total = 0;
        for range in &quiet {
            stretches.push(recording.read(range.start, range.end, &mut scratch)?.to_vec());
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
        let mut at = 0;
        while at < recording.len() {
            let from = at.saturating_sub(memory);
            let end = (at + chunk).min(recording.len());
            let samples = recording.read(from, end, &mut scratch)?;
            low.extend(samples[at - from..].chunks_exact(step).map(|c| c.iter().sum::<f32>() / step as f32));
            whitening_with_start(&broad, samples, at - from, &mut white);
            edge.extend(white.chunks_exact(block).map(mean_square));
            at = end;
        }
        let scale = |at: usize| at / step;
        let low_stretches: Vec<Vec<f32>> =
            quiet.iter().map(|r| low[scale(r.start).min(low.len())..scale(r.end).min(low.len())].to_vec()).collect();
        let low_filter = Whitening::of_noise(&low_stretches, LOW_ORDER);
        whitening_with_start(&low_filter, &low, 0, &mut white);
        let body = low_levels(&white, edge.len(), block, step).collect();
        Ok(Self { broad, low_filter, low, step, level: LevelTrack { block, body, edge } })
    }

    /// Level of both bands: `body` the low one, `edge` the whole one.
    pub(super) fn level(&self) -> &LevelTrack {
        &self.level
    }

    /// The stretch of samples in several views.
    pub(super) fn views(&self, recording: &mut Recording, samples: Range<usize>) -> Result<[View; 3], SoundError> {
        let memory = self.broad.memory();
        let start = samples.start.max(memory);
        let (mut scratch, mut white) = (Vec::new(), Vec::new());
        self.broad.apply(recording.read(start - memory, samples.end, &mut scratch)?, &mut white);
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

/// The quiet before the first strike: from the start, or the first real sound, to where the level first rises far above
/// the recording's quietest part. Empty if the recording begins with the strike; its tail is then no guide to the room's
/// noise, since the part still rings in it.
fn quiet_ranges(level: &LevelTrack) -> Vec<Range<usize>> {
    let span = 10;
    let smooth: Vec<f32> = level.body.chunks_exact(span).map(|c| c.iter().sum::<f32>() / span as f32).collect();
    let first = smooth.iter().position(|e| *e > DIGITAL_SILENCE).unwrap_or(0);
    let quietest = smooth[first..].iter().take(QUIET_LOOK).copied().fold(f32::INFINITY, f32::min);
    let rise = match smooth[first..].iter().position(|e| *e > RISE * quietest) {
        Some(rise) => rise,
        // No rise at all: noise from end to end, or a recording that begins with the strike and dies away.
        None if smooth[first..].iter().all(|e| *e * RISE > quietest) => smooth.len() - first,
        None => 0,
    };
    // The last span may already hold the beginning of the rise.
    let blocks = first * span..(first + rise.saturating_sub(1)) * span;
    if blocks.len() < LEAST_QUIET {
        return Vec::new();
    }
    let samples = blocks.start * level.block..blocks.end * level.block;
    Vec::from([samples])
}

/// Spans of 10 ms at the beginning among which the quiet is sought: half a second.
const QUIET_LOOK: usize = 50;
/// A level this many times the quietest (15 dB) is no longer quiet.
const RISE: f32 = 32.0;
/// Least quiet worth learning from (ms).
const LEAST_QUIET: usize = 50;
