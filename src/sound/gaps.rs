//! Gaps: stretches in which nothing was recorded, so that every sample is the same. Telephones and editors put zeros before a
//! take, between its pieces and behind it; they are no quiet room.

use std::ops::Range;

/// A shorter run (s) can be chance: what is quieter than a step of 8 or 16 bits.
const LEAST_S: f64 = 0.01;
/// Samples of a piece that is passed over at one glance: two such pieces are shorter than the shortest gap at the lowest rate.
const PIECE: usize = 32;

/// Finds gaps while the samples pass by.
#[derive(Debug)]
pub(super) struct GapFinder {
    least: usize,
    index: usize,
    previous: f32,
    /// Samples up to here that are all equal, at least of those that were looked at.
    run: usize,
    found: Vec<Range<usize>>,
}

impl GapFinder {
    pub(super) fn new(rate_hz: f64) -> Self {
        let least = ((LEAST_S * rate_hz) as usize).max(2 * PIECE);
        Self { least, index: 0, previous: f32::NAN, run: 0, found: Vec::new() }
    }

    pub(super) fn push(&mut self, samples: &[f32]) {
        for piece in samples.chunks(PIECE) {
            let Some((first, last)) = piece.first().zip(piece.last()) else { continue };
            let leading = piece.iter().take_while(|s| *s == first).count();
            if first == &self.previous {
                self.run += leading;
            } else {
                self.close();
                self.run = leading;
            }
            if leading < piece.len() {
                self.index += leading;
                self.close();
                self.run = piece.iter().rev().take_while(|s| *s == last).count();
                self.index += piece.len() - leading;
            } else {
                self.index += leading;
            }
            self.previous = *last;
        }
    }

    /// The run ends before the next sample.
    fn close(&mut self) {
        if self.run >= self.least {
            self.found.push(self.index - self.run..self.index);
        }
        self.run = 0;
    }

    pub(super) fn finish(mut self) -> Vec<Range<usize>> {
        self.close();
        self.found
    }
}

/// What is left of a stretch without the gaps in it, which are in order.
pub(super) fn between(gaps: &[Range<usize>], stretch: Range<usize>) -> Vec<Range<usize>> {
    let mut from = stretch.start;
    let mut left = Vec::new();
    let first = gaps.partition_point(|gap| gap.end <= stretch.start);
    for gap in gaps[first..].iter().take_while(|gap| gap.start < stretch.end) {
        if gap.start > from {
            left.push(from..gap.start);
        }
        from = gap.end;
    }
    if from < stretch.end {
        left.push(from..stretch.end);
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_are_found_to_the_sample() {
        let sound = |n: usize| (n as f32 * 0.7).sin();
        for (start, end) in [(0, 500), (1, 481), (1000, 1480), (777, 1800), (1500, 2000)] {
            let samples: Vec<f32> =
                (0..2000).map(|n| if (start..end).contains(&n) { 0.02 } else { sound(n) }).collect();
            for piece in [1, 7, 32, 480, 2000] {
                let mut finder = GapFinder::new(48_000.0);
                samples.chunks(piece).for_each(|s| finder.push(s));
                assert_eq!(finder.finish(), [start..end; 1], "in pieces of {piece}");
            }
        }
        let mut finder = GapFinder::new(48_000.0);
        let short: Vec<f32> = (0..2000).map(|n| if (600..1079).contains(&n) { 0.0 } else { sound(n) + 2.0 }).collect();
        finder.push(&short);
        assert_eq!(finder.finish(), [0..0; 0]);
    }

    #[test]
    fn what_lies_between() {
        let gaps = [0..10, 20..30, 40..50];
        assert_eq!(between(&gaps, 5..45), [10..20, 30..40]);
        assert_eq!(between(&gaps, 10..20), [10..20; 1]);
        assert_eq!(between(&gaps, 22..28), [0..0; 0]);
        assert_eq!(between(&gaps, 45..60), [50..60; 1]);
    }
}
