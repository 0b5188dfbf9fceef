//! The take as it grows: the room's quiet, then each good tap with a little quiet before it.
//!
//! A tap counts once another rings like it: until then it waits. What lies between the taps (talk, the program's own bell) is left out. Where two pieces meet, the second begins, within
//! one turn of the mains' hum, where it continues the first best, so that the seam is no knock.

use super::company::{Tones, company};

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

/// A tap with a little of what came before it.
#[derive(Debug, Default, Clone)]
struct Piece {
    /// Interleaved.
    samples: Vec<f32>,
    /// It may begin so many frames later.
    slack: usize,
    /// The frame behind its last, and the sound that follows there.
    to: u64,
    onward: Vec<f32>,
    tones: Tones,
    /// The take is better without it.
    aside: bool,
}

/// The take so far: the largest company of taps that ring alike.
#[derive(Debug, Clone)]
pub struct GrowingTake {
    pieces: Vec<Piece>,
    members: Vec<usize>,
    channels: usize,
    least: usize,
}

/// Frames that are compared at a seam.
pub const SEAM: usize = 96;
/// Taps outside the company that are remembered.
const WAITING: usize = 6;

impl GrowingTake {
    /// `least`: so many taps must ring alike to count.
    pub fn new(channels: usize, least: usize) -> Self {
        Self { pieces: Vec::new(), members: Vec::new(), channels, least }
    }

    /// Taps that count.
    pub fn taps(&self) -> usize {
        self.members.len()
    }

    /// Taps that wait for one that rings alike.
    pub fn waiting(&self) -> usize {
        self.pieces.len() - self.members.len() - self.aside()
    }

    /// Taps that were set aside.
    pub fn aside(&self) -> usize {
        self.pieces.iter().filter(|p| p.aside).count()
    }

    /// Frame behind the last tap that counts.
    pub fn newest(&self) -> Option<u64> {
        self.members.last().map(|i| self.pieces[*i].to)
    }

    /// Leaves out the tap that ends at a frame. It is remembered: a later tap may show that the fault was another's.
    pub fn set_aside(&mut self, to: u64) {
        self.pieces.iter_mut().filter(|p| p.to == to).for_each(|p| p.aside = true);
        self.choose();
    }

    /// Takes in again what was set aside.
    pub fn bring_back(&mut self) {
        self.pieces.iter_mut().for_each(|p| p.aside = false);
        self.choose();
    }

    /// The largest company of the taps that are not aside.
    fn choose(&mut self) {
        let heard: Vec<usize> = (0..self.pieces.len()).filter(|i| !self.pieces[*i].aside).collect();
        let tones: Vec<&Tones> = heard.iter().map(|i| &self.pieces[*i].tones).collect();
        self.members = company(&tones, self.least).into_iter().map(|m| heard[m]).collect();
    }

    /// How far a tap lies below the median of those that count (dB, negative if above), if their levels are known.
    pub fn below_db(&self, tones: &Tones) -> Option<f64> {
        let mut levels: Vec<f64> = self.members.iter().filter_map(|i| self.pieces[*i].tones.level_db()).collect();
        levels.sort_by(f64::total_cmp);
        let (low, high) = (levels.get(levels.len().checked_sub(1)? / 2)?, levels.get(levels.len() / 2)?);
        Some(0.5 * (low + high) - tones.level_db()?)
    }

    /// Frame behind the last piece.
    pub fn end(&self) -> Option<u64> {
        self.pieces.last().map(|p| p.to)
    }

    /// How many taps count once these are in; `None` if the last of them will not be among those.
    pub fn would_count(&self, more: &[&Tones]) -> Option<usize> {
        let heard = self.pieces.iter().filter(|p| !p.aside).map(|p| &p.tones);
        let tones: Vec<&Tones> = heard.chain(more.iter().copied()).collect();
        let members = company(&tones, self.least);
        members.contains(&(tones.len() - 1)).then_some(members.len())
    }

    /// Takes in frames `from..to`, a tap with these tones; at a seam it may begin as late as frame `latest`. Says whether the tap
    /// counts.
    pub fn append(&mut self, history: &History, from: u64, latest: u64, to: u64, tones: Tones) -> bool {
        let waiting: Vec<usize> = (0..self.pieces.len()).filter(|i| !self.members.contains(i)).collect();
        if waiting.len() >= WAITING {
            self.pieces.remove(waiting[0]);
        }
        self.pieces.push(Piece {
            samples: history.frames(from, to).to_vec(),
            slack: latest.saturating_sub(from) as usize,
            to,
            onward: history.frames(to, to + SEAM as u64).to_vec(),
            tones,
            aside: false,
        });
        self.choose();
        self.members.contains(&(self.pieces.len() - 1))
    }

    /// The sound of the taps that count (interleaved), one after the other.
    pub fn sound(&self) -> Vec<f32> {
        let mut sound = Vec::new();
        let mut before: Option<&Piece> = None;
        for piece in self.members.iter().map(|i| &self.pieces[*i]) {
            let start = before.map_or(0, |b| self.seam(b, piece));
            sound.extend_from_slice(&piece.samples[start * self.channels..]);
            before = Some(piece);
        }
        sound
    }

    /// The frame of a piece where it continues best what went on behind the piece before.
    fn seam(&self, before: &Piece, piece: &Piece) -> usize {
        let span = SEAM * self.channels;
        // What follows at once needs no seam.
        if before.onward.len() < span || before.to + piece.samples.len() as u64 / self.channels as u64 == piece.to {
            return 0;
        }
        let differs = |start: usize| -> f32 {
            let candidate = piece.samples.iter().skip(start * self.channels);
            candidate.zip(&before.onward).map(|(a, b)| (a - b) * (a - b)).sum()
        };
        (0..piece.slack.max(1)).min_by(|a, b| differs(*a).total_cmp(&differs(*b))).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hum_goes_on_over_a_seam() {
        let mut history = History::new(1);
        let hum: Vec<f32> = (0..48_000).map(|n| (std::f32::consts::TAU * 50.0 * n as f32 / 48_000.0).sin()).collect();
        history.push(&hum);
        let mut take = GrowingTake::new(1, 1);
        let tones = Tones::at(&[(200.0, 0.1)]);
        assert!(take.append(&history, 100, 100, 5_000, tones.clone()));
        assert!(!take.append(&history, 10_000, 10_400, 15_000, Tones::at(&[(300.0, 0.1)])));
        assert!(take.append(&history, 20_333, 21_400, 30_000, tones));
        let sound = take.sound();
        let jump = sound.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
        assert!(jump < 0.0075, "{jump}");
        assert_eq!((take.taps(), take.waiting()), (2, 1));
        assert!((13_500..=14_567).contains(&sound.len()), "{}", sound.len());
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
