//! The take as it grows: the room's quiet, then each good tap with a little quiet before it.
//!
//! What lies between the taps (talk, the program's own bell) is left out. Where two pieces meet, the second begins, within
//! one turn of the mains' hum, where it continues the first best, so that the seam is no knock.

/// Interleaved sound with the numbers of its frames.
#[derive(Debug, Default)]
pub struct History {
    samples: Vec<f32>,
    first: u64,
    channels: usize,
}

impl History {
    pub fn new(channels: usize) -> Self {
        Self { samples: Vec::new(), first: 0, channels }
    }

    pub fn push(&mut self, interleaved: &[f32]) {
        self.samples.extend_from_slice(interleaved);
    }

    /// First frame that is remembered, and the frame behind the last.
    pub fn first(&self) -> u64 {
        self.first
    }

    pub fn end(&self) -> u64 {
        self.first + (self.samples.len() / self.channels) as u64
    }

    /// Frames `from..to` as far as they are remembered.
    pub fn frames(&self, from: u64, to: u64) -> &[f32] {
        let place = |frame: u64| (frame.clamp(self.first, self.end()) - self.first) as usize * self.channels;
        &self.samples[place(from)..place(to.max(from))]
    }

    /// Forgets what lies before a frame.
    pub fn forget_before(&mut self, frame: u64) {
        let frame = frame.clamp(self.first, self.end());
        self.samples.drain(..(frame - self.first) as usize * self.channels);
        self.first = frame;
    }
}

/// The take so far.
#[derive(Debug, Default, Clone)]
pub struct GrowingTake {
    /// Interleaved.
    pub samples: Vec<f32>,
    /// Frame behind the last piece.
    pub end: Option<u64>,
    pub taps: usize,
}

/// Frames that are compared at a seam.
const SEAM: usize = 96;

impl GrowingTake {
    /// Appends frames `from..to`, or from a little later where that makes the better seam; `latest` is the last frame at
    /// which it may begin.
    pub fn append(&mut self, history: &History, from: u64, latest: u64, to: u64) {
        let start = match self.end {
            Some(end) if end < from => best_seam(history, end, from, latest),
            _ => from,
        };
        self.samples.extend_from_slice(history.frames(start, to));
        self.end = Some(to);
        self.taps += 1;
    }
}

fn best_seam(history: &History, end: u64, from: u64, latest: u64) -> u64 {
    let onward = history.frames(end, end + SEAM as u64);
    if end < history.first() || onward.len() < SEAM * history.channels {
        return from;
    }
    let differs = |start: u64| -> f32 {
        let candidate = history.frames(start, start + SEAM as u64);
        candidate.iter().zip(onward).map(|(a, b)| (a - b) * (a - b)).sum()
    };
    let mut best = (f32::INFINITY, from);
    for start in from..latest.max(from + 1) {
        let misfit = differs(start);
        if misfit < best.0 {
            best = (misfit, start);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hum_goes_on_over_a_seam() {
        let mut history = History::new(1);
        let hum: Vec<f32> = (0..48_000).map(|n| (std::f32::consts::TAU * 50.0 * n as f32 / 48_000.0).sin()).collect();
        history.push(&hum);
        let mut take = GrowingTake::default();
        take.append(&history, 100, 100, 5_000);
        take.append(&history, 20_333, 21_400, 30_000);
        let jump = take.samples.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
        assert!(jump < 0.0075, "{jump}");
        assert_eq!(take.taps, 2);
    }

    #[test]
    fn history_forgets_and_still_knows_its_frames() {
        let mut history = History::new(2);
        history.push(&(0..40).map(|i| i as f32).collect::<Vec<_>>());
        history.forget_before(5);
        assert_eq!((history.first(), history.end()), (5, 20));
        assert_eq!(history.frames(5, 6), [10.0, 11.0]);
        assert_eq!(history.frames(0, 6), [10.0, 11.0]);
        assert!(history.frames(30, 40).is_empty());
    }
}
