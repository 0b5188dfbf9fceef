//! The ring-downs of a take, read and whitened: which part of each is used.

use super::component::Component;
use super::room_noise::Room;
use super::window::phasor;
use crate::sound::{Recording, SoundError, Tap};

/// From the picked onset to the origin of the transforms (s): the usual length of the contact; and a long one, for a soft
/// tapper whose push drowns all modes in the first milliseconds.
pub(super) const CONTACT_S: f64 = 1.5e-3;
pub(super) const LONG_CONTACT_S: f64 = 5e-3;
/// From the picked onset to the earliest start of a fit (s).
const EARLIEST_S: f64 = 0.0;
/// Sound before a strike that is compared with the sound after it (s).
const BEFORE_S: f64 = 0.06;
/// Decibels of decay that are believed where nothing is known of the room and the tail (sample libraries fade theirs).
pub(super) const TRUSTED_DB: f64 = 30.0;

/// One ring-down, whitened, around its origin.
#[derive(Clone)]
pub(super) struct Ring {
    /// Whitened samples; index `lead` is the origin.
    pub samples: Vec<f32>,
    /// Samples before the origin.
    pub lead: usize,
}

impl Ring {
    /// Samples from the origin to the end of the ring-down.
    pub(super) fn length(&self) -> usize {
        self.samples.len() - self.lead
    }
}

/// The whitened sound just before a strike.
pub(super) struct Before {
    pub samples: Vec<f32>,
    /// Samples from the last of them to the origin of the ring-down.
    gap: usize,
}

impl Before {
    /// Takes away a steady line as the ring-down of this tap tells it: it was there before, and would pass for a mode close by.
    pub(super) fn take_out(&mut self, line: &Component, tap: usize) {
        let Some(amplitude) = line.amplitudes.get(tap) else { return };
        let first = -((self.samples.len() + self.gap) as f64 - 1.0) * line.turn;
        for (sample, phase) in self.samples.iter_mut().zip(phasor(first, line.turn)) {
            *sample -= (amplitude * phase).re as f32;
        }
    }
}

/// The part of each ring-down that is used: from behind the contact up to a limit (s after the strike).
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub contact_s: f64,
    pub limit_s: f64,
}

/// Time after the strike (s) at which the level has fallen by the trusted decibels, the longest of all accepted taps;
/// `None` if it never does.
pub(super) fn trusted_s(recording: &Recording, taps: &[Tap]) -> Option<f64> {
    let level = recording.level();
    let seconds = |blocks: usize| (blocks * level.block) as f64 / recording.sample_rate_hz();
    let span = 20;
    taps.iter()
        .filter(|t| t.accepted())
        .filter_map(|tap| {
            let blocks = &level.body[(tap.onset / level.block).min(level.body.len())..tap.end / level.block];
            let smooth: Vec<f32> = blocks.chunks_exact(span).map(|c| c.iter().sum::<f32>()).collect();
            let peak = smooth.iter().copied().fold(0.0, f32::max);
            let limit = peak * 10f32.powf(-TRUSTED_DB as f32 / 10.0);
            // Lasting: the last span that is still above.
            let last = smooth.iter().rposition(|e| *e > limit)?;
            (last + 1 < smooth.len()).then(|| seconds((last + 1) * span).max(0.05))
        })
        .reduce(f64::max)
}

/// Reads and whitens the ring-downs of some taps, and the sound just before each.
pub(super) fn read_rings(
    recording: &mut Recording,
    taps: &[Tap],
    group: &[usize],
    room: &Room,
    used: Stretch,
) -> Result<(Vec<Ring>, Vec<Before>), SoundError> {
    let rate_hz = recording.sample_rate_hz();
    let memory = room.whitening.memory();
    let lead = ((used.contact_s - EARLIEST_S) * rate_hz).round() as usize;
    let contact = (used.contact_s * rate_hz).round() as usize;
    let mut scratch = Vec::new();
    let mut rings = Vec::with_capacity(group.len());
    let mut before = Vec::with_capacity(group.len());
    let whiten = |samples: &[f32]| {
        let centred: Vec<f32> = samples.iter().map(|s| s - room.offset).collect();
        let mut out = Vec::new();
        room.whitening.apply(&centred, &mut out);
        out
    };
    for &index in group {
        let tap = &taps[index];
        let guard = (0.002 * rate_hz) as usize;
        let stop = tap.onset.saturating_sub(guard);
        let from = stop.saturating_sub((BEFORE_S * rate_hz) as usize + memory);
        let origin = tap.onset + memory + contact;
        let samples = if tap.starts_inside { Vec::new() } else { whiten(recording.read(from, stop, &mut scratch)?) };
        before.push(Before { samples, gap: origin + 1 - stop });
        let limit = if used.limit_s.is_finite() { tap.onset + (used.limit_s * rate_hz) as usize } else { usize::MAX };
        let end = tap.end.min(limit).max(origin + contact + 64).min(recording.len());
        let mut samples = whiten(recording.read(origin - lead - memory, end, &mut scratch)?);
        // A recording that ends within the contact leaves too little: such taps were rejected before.
        samples.resize(samples.len().max(lead + 64), 0.0);
        rings.push(Ring { samples, lead });
    }
    equalise(&mut rings);
    Ok((rings, before))
}

/// Ring-downs that differ by less than a tenth in length are cut to the same: then they share all that depends on it.
fn equalise(rings: &mut [Ring]) {
    let mut order: Vec<usize> = (0..rings.len()).collect();
    order.sort_by_key(|i| rings[*i].length());
    let mut at = 0;
    while at < order.len() {
        let least = rings[order[at]].length();
        while at < order.len() && rings[order[at]].length() * 10 < least * 11 {
            let lead = rings[order[at]].lead;
            rings[order[at]].samples.truncate(lead + least);
            at += 1;
        }
    }
}
