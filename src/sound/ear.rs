//! One channel as the strike watch hears it: whitened in two bands as it arrives, the last seconds kept.
//!
//! The same levels as [`super::listening`] makes of a whole recording.

use super::high_pass::HighPass;
use super::level::LevelTrack;
use super::listening::{LOW_ORDER, low_levels, low_step, mean_square};
use super::whitening::{BROAD_ORDER, Whitening};

/// Level that is remembered (ms): enough to know the room's quiet level.
const KEPT: usize = 16_000;

#[derive(Debug)]
pub(super) struct Ear {
    block: usize,
    step: usize,
    filter: HighPass,
    broad: Whitening,
    low: Whitening,
    /// Samples not yet whitened, behind the history that the filter needs.
    waiting: Vec<f32>,
    low_waiting: Vec<f32>,
    white: Vec<f32>,
    level: LevelTrack,
    /// Blocks that were forgotten.
    forgotten: usize,
}

impl Ear {
    /// An ear that has learned the room from a quiet stretch.
    pub(super) fn new(quiet: &[f32], rate_hz: f64) -> Self {
        let block = (rate_hz / 1000.0).round().max(1.0) as usize;
        let step = low_step(rate_hz);
        let mut filtered = Vec::with_capacity(quiet.len());
        HighPass::new(rate_hz).run(quiet, &mut filtered);
        let low_quiet: Vec<f32> = filtered.chunks_exact(step).map(mean).collect();
        let broad = Whitening::of_noise(&[filtered], BROAD_ORDER);
        let low = Whitening::of_noise(&[low_quiet], LOW_ORDER);
        let mut ear = Self {
            block,
            step,
            filter: HighPass::new(rate_hz),
            broad,
            low,
            waiting: Vec::new(),
            low_waiting: Vec::new(),
            white: Vec::new(),
            level: LevelTrack { block, ..LevelTrack::default() },
            forgotten: 0,
        };
        ear.hear(quiet);
        ear
    }

    /// Takes in the next samples. Levels come in whole steps of some milliseconds.
    pub(super) fn hear(&mut self, samples: &[f32]) {
        self.filter.run(samples, &mut self.waiting);
        let quantum = self.block * self.step;
        let memory = self.broad.memory();
        let ready = self.waiting.len().saturating_sub(memory) / quantum * quantum;
        if ready == 0 {
            return;
        }
        self.broad.apply(&self.waiting[..memory + ready], &mut self.white);
        self.level.edge.extend(self.white.chunks_exact(self.block).map(mean_square));
        self.low_waiting.extend(self.waiting[memory..memory + ready].chunks_exact(self.step).map(mean));
        self.waiting.drain(..ready);
        let memory = self.low.memory();
        let wished = ready / self.step;
        if self.low_waiting.len() < memory + wished {
            // The first low samples have no history to be filtered with: they are filtered with themselves behind them.
            let missing = memory + wished - self.low_waiting.len();
            let stand_in: Vec<f32> =
                (0..missing).map(|i| self.low_waiting[i % self.low_waiting.len().max(1)]).collect();
            self.low_waiting.splice(0..0, stand_in);
        }
        self.low.apply(&self.low_waiting, &mut self.white);
        self.level.body.extend(low_levels(&self.white, ready / self.block, self.block, self.step));
        let done = self.low_waiting.len() - memory;
        self.low_waiting.drain(..done);
        if self.level.body.len() > KEPT + KEPT / 4 {
            let surplus = self.level.body.len() - KEPT;
            self.level.body.drain(..surplus);
            self.level.edge.drain(..surplus);
            self.forgotten += surplus;
        }
    }

    /// The level that is remembered; its first block is number [`Self::forgotten`].
    pub(super) fn level(&self) -> &LevelTrack {
        &self.level
    }

    pub(super) fn forgotten(&self) -> usize {
        self.forgotten
    }
}

fn mean(samples: &[f32]) -> f32 {
    samples.iter().sum::<f32>() / samples.len().max(1) as f32
}
