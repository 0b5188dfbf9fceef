//! The level that a person watches: the loudest of the last moments, held for a while.

use std::collections::VecDeque;

/// Window and hold (s), and what counts as overload.
const WINDOW_S: f64 = 0.05;
const HOLD_S: f64 = 1.5;
const OVERLOAD: f32 = 0.99;

/// Loudest samples of the pieces that were heard, each with the frame behind it.
#[derive(Debug)]
pub(super) struct Meter {
    rate_hz: f64,
    pieces: VecDeque<(u64, f32)>,
}

impl Meter {
    pub(super) fn new(rate_hz: u32) -> Self {
        Self { rate_hz: f64::from(rate_hz), pieces: VecDeque::new() }
    }

    /// Takes in a piece of sound that ends at frame `now`.
    pub(super) fn hear(&mut self, samples: &[f32], now: u64) {
        self.pieces.push_back((now, samples.iter().map(|s| s.abs()).fold(0.0, f32::max)));
        let hold = (HOLD_S * self.rate_hz) as u64;
        while self.pieces.front().is_some_and(|p| p.0 + hold < now) {
            self.pieces.pop_front();
        }
    }

    /// Highest level of the window and of the hold (dB of full scale).
    pub(super) fn levels_db(&self, now: u64) -> (f64, f64) {
        let since = now.saturating_sub((WINDOW_S * self.rate_hz) as u64);
        let db = |x: f32| 20.0 * f64::from(x).max(1e-10).log10();
        (db(self.highest(since)), db(self.highest(0)))
    }

    /// Whether the input was overloaded within the hold.
    pub(super) fn overloaded(&self) -> bool {
        self.highest(0) >= OVERLOAD
    }

    fn highest(&self, since: u64) -> f32 {
        self.pieces.iter().filter(|p| p.0 >= since).map(|p| p.1).fold(0.0, f32::max)
    }
}
