//! Strikes in the level of the sound: a jump within a few milliseconds, and where its ring-down sinks into the noise.

use std::ops::Range;

use super::level::{DIGITAL_SILENCE, LevelTrack};

/// A jump of this height (dB) within 3 ms, or of the second height within 12 ms, is looked at.
const JUMP_DB: (f64, f64) = (8.0, 6.5);
/// A strike this much over the noise (dB) is worth measuring.
pub(super) const USABLE_DB: f64 = 10.0;
/// Jumps closer than this (s) belong to one strike: contact, rebound of a soft tapper, first echoes.
pub const ONE_STRIKE_S: f64 = 0.025;
/// Level for "sunk" is averaged over so long (s).
pub(super) const SINK_SPAN_S: f64 = 0.02;
/// No room and microphone are quieter than this mean square (-95 dB of full scale, the step of 16 bits).
const LEAST_FLOOR: f64 = 3e-10;
/// A jump that clears its threshold by less than the first (dB), and lies below the strike before it by more than `FAR_BELOW_DB`, is
/// no strike; one that comes just as late behind most strikes is none even if it clears its threshold by the second.
const REVIVAL_DB: (f64, f64) = (2.0, 5.0);
const FAR_BELOW_DB: f64 = 12.0;
/// Blocks (ms) by which the delays of revivals differ at most: of two that look weak, and of those of most of the strikes.
const ALIKE_BLOCKS: (usize, usize) = (1, 4);
const LEAST_ALIKE: usize = 3;

/// A strike's low band stands at most so much less over its noise (dB) than the whole sound.
const LOW_SHARE_DB: f64 = 25.0;

/// A jump of the level, block by block.
pub(super) struct Jump {
    /// Where it is sharpest, and where it begins.
    pub block: usize,
    pub first: usize,
    pub height_db: f64,
    pub starts_inside: bool,
}

pub(super) fn mean(track: &[f32], range: Range<usize>) -> f64 {
    let range = range.start.min(track.len())..range.end.min(track.len());
    if range.is_empty() {
        return 0.0;
    }
    let count = range.len() as f64;
    track[range].iter().map(|e| f64::from(*e)).sum::<f64>() / count
}

/// The quiet level of both bands, in spans of four seconds so that a compressor that starts later does not matter.
pub(super) struct Floor {
    span: usize,
    body: Vec<f64>,
    edge: Vec<f64>,
}

impl Floor {
    pub(super) fn new(level: &LevelTrack) -> Self {
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
    pub(super) fn body(&self, block: usize) -> f64 {
        self.body[(block / self.span).min(self.body.len() - 1)]
    }
    pub(super) fn edge(&self, block: usize) -> f64 {
        self.edge[(block / self.span).min(self.edge.len() - 1)]
    }
}

pub(super) fn db(ratio: f64) -> f64 {
    10.0 * ratio.max(1e-30).log10()
}

pub(super) fn over_floor_db(level: &LevelTrack, floor: &Floor, block: usize, span: usize) -> f64 {
    let over = |track: &[f32], floor: f64| {
        let highest = (block..block + span.max(1)).map(|b| mean(track, b..b + 3)).fold(0.0, f64::max);
        db(highest / floor)
    };
    over(&level.body, floor.body(block)).max(over(&level.edge, floor.edge(block)))
}

/// Height of the jump at a block (dB): the level behind it against the level before it, in the band where it is higher.
pub(super) fn jump_db(level: &LevelTrack, floor: &Floor, block: usize) -> f64 {
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

/// Whether [`jump_db`] can be above nothing at all: its cheaper, necessary condition, for most blocks are none.
fn may_jump(level: &LevelTrack, floor: &Floor, block: usize) -> bool {
    let least = 10f64.powf(0.1 * JUMP_DB.0.min(JUMP_DB.1));
    let rises = |track: &[f32], floor: f64| {
        let highest = track[block..(block + 12).min(track.len())].iter().fold(0.0f32, |most, e| most.max(*e));
        // A thousandth for the rounding of the means.
        let highest = f64::from(highest) * 1.001;
        highest > least * floor && highest > least * mean(track, block.saturating_sub(12)..block.saturating_sub(1))
    };
    rises(&level.body, floor.body(block)) || rises(&level.edge, floor.edge(block))
}

/// The first block at or behind a jump's at which the level itself jumps: the mean over 12 ms answers so much too early.
pub(super) fn sharp_block(level: &LevelTrack, floor: &Floor, block: usize) -> usize {
    let sharp = |at: usize| {
        let rises = |track: &[f32], floor: f64| {
            let before = mean(track, block.saturating_sub(12)..block.saturating_sub(1)).max(floor);
            db(mean(track, at..at + 3) / before) > JUMP_DB.0
        };
        rises(&level.body, floor.body(block)) || rises(&level.edge, floor.edge(block))
    };
    (block..(block + 12).min(level.body.len())).find(|at| sharp(*at)).unwrap_or(block)
}

pub(super) fn find_jumps(level: &LevelTrack, floor: &Floor) -> Vec<Jump> {
    let gap = (ONE_STRIKE_S * 1000.0) as usize;
    let mut jumps: Vec<Jump> = Vec::new();
    let blocks = level.body.len();
    // A recording that is loud from its first sample starts inside the stroke.
    let initial = over_floor_db(level, floor, 0, 1);
    if initial > USABLE_DB + 5.0 {
        jumps.push(Jump { block: 0, first: 0, height_db: 0.0, starts_inside: true });
    }
    // A jump needs something before it.
    let mut block = 2;
    let mut last_seen = None;
    while block < blocks {
        let height_db = if may_jump(level, floor, block) { jump_db(level, floor, block) } else { 0.0 };
        if height_db > 0.0 {
            match (last_seen, jumps.last_mut()) {
                (Some(seen), Some(last)) if block - seen <= gap => {
                    // The same strike: its sharpest block marks it.
                    if height_db > last.height_db && block - last.block < 16 {
                        *last = Jump { block, first: last.first, height_db, starts_inside: false };
                    }
                }
                (_, Some(last)) if last.starts_inside && block - last.block < 2 * gap => {
                    *last = Jump { block, first: block, height_db, starts_inside: false };
                }
                _ => jumps.push(Jump { block, first: block, height_db, starts_inside: false }),
            }
            last_seen = Some(block);
        }
        block += 1;
    }
    jumps
}

/// Leaves out jumps in which a part's own modes come into step again behind a strike: those that come just as late behind most of the
/// strikes, as no hand does; then, of those that hardly stand out of the ring-down that they lie in, what lies far below its strike (a
/// second strike as weak as that is told by its misfit to the other taps) or comes at the same moment behind two.
pub(super) fn without_revivals(jumps: Vec<Jump>, level: &LevelTrack, floor: &Floor) -> Vec<Jump> {
    let behind = Behind::of(&jumps, REVIVAL_DB.1, |_, _| true);
    let jumps = leave_out(jumps, |place| {
        let alike = behind.alike(place, ALIKE_BLOCKS.1);
        alike >= LEAST_ALIKE && 2 * alike >= behind.strikes()
    });
    let within = |jump: &Jump, strike: &Jump| jump.block < sink_block(level, floor, strike.block, 20);
    let behind = Behind::of(&jumps, REVIVAL_DB.0, within);
    let levels: Vec<f64> = jumps.iter().map(|jump| over_floor_db(level, floor, jump.block, 20)).collect();
    leave_out(jumps, |place| {
        behind.strike[place].is_some_and(|(strike, _)| levels[strike] - levels[place] > FAR_BELOW_DB)
            || behind.alike(place, ALIKE_BLOCKS.0) > 1
    })
}

fn leave_out(jumps: Vec<Jump>, revives: impl Fn(usize) -> bool) -> Vec<Jump> {
    jumps.into_iter().enumerate().filter(|(place, _)| !revives(*place)).map(|(_, jump)| jump).collect()
}

/// Which jumps are lower than a strike's, and how far they lie behind the strike before them.
struct Behind {
    /// Place of the strike and the delay in blocks; `None` for the strikes themselves.
    strike: Vec<Option<(usize, usize)>>,
}

impl Behind {
    /// Of jumps that clear their threshold by less than `lower_db`, as far as they belong to the strike before them.
    fn of(jumps: &[Jump], lower_db: f64, belongs: impl Fn(&Jump, &Jump) -> bool) -> Self {
        let mut last = None;
        let strike = jumps
            .iter()
            .enumerate()
            .map(|(place, jump)| {
                let behind = last.filter(|s: &usize| jump.height_db < lower_db && belongs(jump, &jumps[*s]));
                if behind.is_none() {
                    last = Some(place);
                }
                behind.map(|s| (s, jump.block - jumps[s].block))
            })
            .collect();
        Self { strike }
    }

    fn strikes(&self) -> usize {
        self.strike.iter().filter(|s| s.is_none()).count()
    }

    /// How many jumps, this one among them, lie within so many blocks of its delay.
    fn alike(&self, place: usize, within: usize) -> usize {
        let Some((_, delay)) = self.strike[place] else { return 0 };
        self.strike.iter().flatten().filter(|(_, other)| other.abs_diff(delay) <= within).count()
    }
}

/// First block at which the ring-down has sunk into the noise, in both bands.
pub(super) fn sink_block(level: &LevelTrack, floor: &Floor, from: usize, span: usize) -> usize {
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
pub(super) fn swells(level: &LevelTrack, floor: &Floor, jump: &Jump, early: usize, late: usize) -> bool {
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What is kept of jumps (block, height) in a sound that rings on as loud as it began.
    fn kept(jumps: &[(usize, f64)]) -> Vec<usize> {
        let track = vec![1e-4f32; 6000];
        let mut level = LevelTrack { block: 48, body: track.clone(), edge: track };
        level.body[..50].fill(1e-9);
        level.edge[..50].fill(1e-9);
        let mut floor = Floor::new(&level);
        floor.body.fill(1e-9);
        floor.edge.fill(1e-9);
        let jumps = jumps.iter().map(|(block, height_db)| Jump {
            block: *block,
            first: *block,
            height_db: *height_db,
            starts_inside: false,
        });
        without_revivals(jumps.collect(), &level, &floor).iter().map(|jump| jump.block).collect()
    }

    #[test]
    fn what_comes_as_late_behind_most_strikes_is_the_part_itself() {
        let strikes = [(100, 20.0), (1300, 18.0), (2490, 22.0), (3700, 20.0)];
        let revived = [(100, 20.0), (271, 4.0), (1300, 18.0), (1474, 3.0), (2490, 22.0), (2662, 4.5), (3700, 20.0)];
        assert_eq!(kept(&revived), strikes.map(|s| s.0));
        // Behind one strike alone it may be a second one; and so it may where it is as strong as the strikes.
        assert_eq!(kept(&[(100, 20.0), (271, 4.0), (1300, 18.0), (2490, 22.0)]).len(), 4);
        assert_eq!(kept(&revived.map(|(block, _)| (block, 20.0))).len(), 7);
    }

    #[test]
    fn two_faint_ones_at_the_same_moment_are_the_part_itself() {
        let strikes = [(100, 20.0), (1300, 18.0), (2490, 22.0), (3700, 20.0)];
        let faint = [(100, 20.0), (443, 1.0), (1300, 18.0), (2490, 22.0), (2834, 0.5), (3700, 20.0)];
        assert_eq!(kept(&faint), strikes.map(|s| s.0));
        let another = [(100, 20.0), (443, 1.0), (1300, 18.0), (2490, 22.0), (2844, 0.5), (3700, 20.0)];
        assert_eq!(kept(&another).len(), 6);
    }
}
