//! A double hit: a second strike before the first has died away, as the level of the sound shows it.
//! (`modes/double_hit.rs` finds those that hide in the ring-down.)

use super::level::LevelTrack;
use super::strikes::{Floor, Jump, sharp_block};

/// A second strike within this time (s) is a double hit, not the next tap.
pub(super) const DOUBLE_HIT_S: f64 = 0.25;
/// Within this time (s) it is one even where the first has sunk into the noise.
const SUNK_OR_NOT_S: f64 = 0.1;

/// The strikes that follow jump `first` before it can have been meant to end: the first jump that is none of them, and how many blocks
/// behind it the first of them begins. `sink` is the block where the first one's ring-down sinks into the noise, `blocks` makes blocks
/// of seconds.
pub(super) fn second_strikes(
    jumps: &[Jump],
    first: usize,
    sink: usize,
    level: &LevelTrack,
    floor: &Floor,
    blocks: impl Fn(f64) -> usize,
) -> (usize, Option<usize>) {
    let start = jumps[first].block;
    let follows = |jump: &Jump| {
        jump.block < start + blocks(DOUBLE_HIT_S) && (jump.block < sink || jump.block < start + blocks(SUNK_OR_NOT_S))
    };
    let next = first + 1 + jumps[first + 1..].iter().take_while(|jump| follows(jump)).count();
    let begins = |jump: &Jump| sharp_block(level, floor, jump.first);
    let after = (next > first + 1).then(|| begins(&jumps[first + 1]).saturating_sub(begins(&jumps[first])));
    (next, after)
}
