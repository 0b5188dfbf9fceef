//! The watch for strikes in sound as it arrives: when one begins, and when it has sunk into the room's noise.
//!
//! It only says when to look; whether a sound was a tap is judged afterwards on the samples themselves.

use super::double_hit::DOUBLE_HIT_S;
use super::ear::Ear;
use super::strikes::{Floor, ONE_STRIKE_S, SINK_SPAN_S, jump_db, mean, over_floor_db};

/// What the watch noticed. Times are frames since the watch began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noticed {
    /// Something struck about here.
    Strike { at: u64 },
    /// The next strike cuts the ring-down off here.
    Cut { at: u64 },
    /// The ring-down has sunk into the noise here.
    Sunk { at: u64 },
    /// What began with a strike goes on steadily: a machine, speech, music.
    GoesOn { at: u64 },
}

/// Blocks (ms) behind a block that must be there before it can be judged.
const AHEAD: usize = 16;
/// Less than this over the noise (dB) is left alone; the taps that can be used stand higher.
const NOTICED_DB: f64 = 7.0;
/// A second strike stands out of the ring-down by so much more than a first one needs to stand out of the noise (dB).
const CLEARER_DB: f64 = 2.0;
/// The tap finder's times, in blocks of a millisecond: what belongs to one strike, what is the next tap and no double hit, and
/// what "sunk" is averaged over.
const ONE_STRIKE: usize = (1000.0 * ONE_STRIKE_S) as usize;
const NEXT_TAP: usize = (1000.0 * DOUBLE_HIT_S) as usize;
const SINK_SPAN: usize = (1000.0 * SINK_SPAN_S) as usize;
/// A sound that has not fallen by this much (dB) between the first and the second of these times (ms) goes on.
const FALLS_DB: f64 = 1.5;
const FALL_SEEN: (usize, usize) = (250, 900);
/// A ring-down is followed for so long (ms) at most.
const MOST_RING: usize = 10_000;
/// The room's quiet level is read anew every so many ms.
const FLOOR_EVERY: usize = 250;

struct Ring {
    /// Block of the strike, and the last block that jumped.
    block: usize,
    last_jump: usize,
    channel: usize,
}

/// Watches all channels of a source.
pub struct Watch {
    rate_hz: f64,
    channels: usize,
    ears: Vec<Ear>,
    floors: Vec<Floor>,
    floors_read_at: usize,
    ring: Option<Ring>,
    /// Next block to be looked at.
    next: usize,
    scratch: Vec<f32>,
    /// Frame of the first block.
    origin: u64,
}

impl Watch {
    /// A watch that has learned the room from a quiet stretch (interleaved); `origin` is the number of its first frame.
    pub fn new(quiet: &[f32], channels: usize, rate_hz: u32, origin: u64) -> Self {
        let rate_hz = f64::from(rate_hz);
        let ears: Vec<Ear> = (0..channels)
            .map(|c| {
                let own: Vec<f32> = quiet.iter().skip(c).step_by(channels).copied().collect();
                Ear::new(&own, rate_hz)
            })
            .collect();
        let floors = ears.iter().map(|e| Floor::new(e.level())).collect();
        let next = ears.first().map_or(0, |e| e.level().body.len());
        Self { rate_hz, channels, ears, floors, floors_read_at: next, ring: None, next, scratch: Vec::new(), origin }
    }

    /// Takes in the next frames and says what it noticed, in order.
    pub fn hear(&mut self, interleaved: &[f32]) -> Vec<Noticed> {
        for (c, ear) in self.ears.iter_mut().enumerate() {
            self.scratch.clear();
            self.scratch.extend(interleaved.iter().skip(c).step_by(self.channels));
            ear.hear(&self.scratch);
        }
        let Some(ear) = self.ears.first() else { return Vec::new() };
        let heard = ear.forgotten() + ear.level().body.len();
        let mut noticed = Vec::new();
        while self.next + AHEAD <= heard {
            self.look(self.next, &mut noticed);
            self.next += 1;
        }
        noticed
    }

    /// Whether a strike is being followed.
    pub fn rings(&self) -> bool {
        self.ring.is_some()
    }

    /// Lets go of what it follows.
    pub fn forget(&mut self) {
        self.ring = None;
    }

    fn frame(&self, block: usize) -> u64 {
        let size = (self.rate_hz / 1000.0).round().max(1.0) as u64;
        self.origin + block as u64 * size
    }

    fn look(&mut self, block: usize, noticed: &mut Vec<Noticed>) {
        if self.ring.is_none() && block >= self.floors_read_at + FLOOR_EVERY {
            self.floors = self.ears.iter().map(|e| Floor::new(e.level())).collect();
            self.floors_read_at = block;
        }
        let own = |ear: &Ear| block - ear.forgotten();
        let Some(ring) = &mut self.ring else {
            let struck = (0..self.ears.len()).find(|c| {
                let (ear, floor) = (&self.ears[*c], &self.floors[*c]);
                let at = own(ear);
                jump_db(ear.level(), floor, at) > 0.0 && over_floor_db(ear.level(), floor, at, 12) > NOTICED_DB
            });
            if let Some(channel) = struck {
                self.ring = Some(Ring { block, last_jump: block, channel });
                noticed.push(Noticed::Strike { at: self.frame(block) });
            }
            return;
        };
        let (ear, floor) = (&self.ears[ring.channel], &self.floors[ring.channel]);
        let (at, level) = (own(ear), ear.level());
        let height_db = jump_db(level, floor, at);
        if height_db > 0.0 && block - ring.last_jump <= ONE_STRIKE {
            ring.last_jump = block;
            return;
        }
        let over_db = over_floor_db(level, floor, at, 12);
        if height_db > CLEARER_DB && over_db > NOTICED_DB && block - ring.block > NEXT_TAP {
            (ring.block, ring.last_jump) = (block, block);
            noticed.push(Noticed::Cut { at: self.frame(block) });
            noticed.push(Noticed::Strike { at: self.frame(block) });
            return;
        }
        let since = block - ring.block;
        if since < ONE_STRIKE {
            return;
        }
        let span = |from: usize| from..from + SINK_SPAN;
        // A strike so long ago that it is forgotten has also sunk, or never will.
        let forgotten = ring.block < ear.forgotten();
        let sunk = block >= ring.last_jump + ONE_STRIKE
            && at >= SINK_SPAN
            && mean(&level.body, span(at - SINK_SPAN)) < 2.0 * floor.body(at)
            && mean(&level.edge, span(at - SINK_SPAN)) < 2.0 * floor.edge(at);
        if sunk || forgotten || since > MOST_RING {
            self.ring = None;
            noticed.push(Noticed::Sunk { at: self.frame(block) });
            return;
        }
        if since == FALL_SEEN.1 {
            let loud = |track: &[f32], from: usize| mean(track, from..from + 200).max(1e-30);
            let first = ring.block - ear.forgotten() + FALL_SEEN.0;
            let falls = |track: &[f32]| 10.0 * (loud(track, first) / loud(track, at - 200)).log10() > FALLS_DB;
            if !falls(&level.body) && !falls(&level.edge) {
                self.ring = None;
                noticed.push(Noticed::GoesOn { at: self.frame(block) });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{TakeSpec, TrueMode};

    /// Simulated taps are noticed within 20 ms of where they were struck, and their ends follow.
    #[test]
    fn strikes_are_noticed_as_they_come() {
        let mode = TrueMode { frequency_hz: 210.0, damping_ratio: 0.01, amplitude: 0.1, phase_rad: 0.3 };
        let take = TakeSpec { modes: vec![mode], first_tap_s: 2.5, interval_s: 2.0, ..TakeSpec::default() }.make();
        let learn = 2 * 48_000;
        // The sound is the rest of a longer one.
        let origin = 1_000_000;
        let mut watch = Watch::new(&take.samples[..learn], 1, 48_000, origin);
        let mut noticed = Vec::new();
        for piece in take.samples[learn..].chunks(1000) {
            noticed.extend(watch.hear(piece));
        }
        let strikes: Vec<u64> =
            noticed.iter().filter_map(|n| if let Noticed::Strike { at } = n { Some(*at) } else { None }).collect();
        assert_eq!(strikes.len(), take.onsets.len(), "{noticed:?}");
        for (found, truth) in strikes.iter().zip(&take.onsets) {
            assert!(found.abs_diff(origin + *truth as u64) < 960, "{found} {truth}");
        }
        let sunk = noticed.iter().filter(|n| matches!(n, Noticed::Sunk { .. })).count();
        assert_eq!(sunk, take.onsets.len(), "{noticed:?}");
    }
}
