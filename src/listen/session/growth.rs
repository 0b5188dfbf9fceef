//! The take as it grows: every growth is kept and estimated, and one that makes the take worse is taken back.

use std::sync::Arc;

use super::super::orders::{Order, Tone};
use super::super::view::Phase;
use super::Session;
use crate::modes::Estimate;

/// What is known of the current step's take.
#[derive(Debug, Default)]
pub(super) struct Growth {
    next: u64,
    awaited: Vec<Awaited>,
    /// Taps that the estimate uses, in the best take so far, and the frame behind that take's newest tap.
    best: usize,
    best_to: u64,
    /// Good taps, those that are on disk, and whether they reach the goal.
    good: usize,
    kept: usize,
    reached: bool,
}

/// An estimate that was ordered.
#[derive(Debug)]
struct Awaited {
    growth: u64,
    /// Frame behind the newest tap that is in it.
    newest: u64,
    /// What was set aside is in it too, and nothing of it is kept.
    weighed: bool,
}

impl Session {
    /// Whether every take that was ordered is estimated, and so nothing more will be taken back.
    pub fn settled(&self) -> bool {
        self.growth.awaited.is_empty()
    }

    /// The goal is reached, but for the take being kept.
    pub(super) fn holding(&self) -> bool {
        self.growth.reached && self.settled() && self.view.not_kept.is_some()
    }

    pub(super) fn order_growth(&mut self) {
        let Some(newest) = self.take.newest() else { return };
        let growth = self.await_estimate(newest, false);
        let (taps, sound) = (self.take.taps(), Arc::new(self.take.sound()));
        self.growth.good = taps;
        self.orders.push(Order::Grown { growth, step: self.step, taps, sound });
    }

    fn await_estimate(&mut self, newest: u64, weighed: bool) -> u64 {
        let growth = self.growth.next_id();
        self.growth.awaited.push(Awaited { growth, newest, weighed });
        growth
    }

    pub(super) fn estimated(&mut self, growth: u64, taps: usize, estimate: Result<Box<Estimate>, String>, now: u64) {
        // What a take-back has overtaken says nothing of the take as it is.
        let Some(place) = self.growth.awaited.iter().position(|a| a.growth == growth) else { return };
        let awaited = self.growth.awaited.remove(place);
        let estimate = match estimate {
            Ok(estimate) => estimate,
            Err(why) => {
                self.view.trouble = Some(format!("the modes could not be worked out: {why}"));
                return;
            }
        };
        // Taps without a mode are of no use.
        let used = if estimate.modes.is_empty() { 0 } else { estimate.taps.iter().filter(|t| t.accepted()).count() };
        let good = used.min(taps);
        if awaited.weighed {
            if good > self.growth.best {
                self.take.bring_back();
                self.order_growth();
            }
            return;
        }
        if good < self.growth.best && awaited.newest > self.growth.best_to {
            self.take_back(awaited.newest, good, taps);
            return;
        }
        (self.growth.best, self.growth.best_to) = (good, awaited.newest);
        let odd = estimate.taps.iter().rev().find_map(|t| t.reasons.first());
        let now_good = good + self.take.taps().saturating_sub(taps);
        // Noises that shared a tone were never shown as taps.
        if now_good < self.growth.good
            && self.view.good > 0
            && let Some(reason) = odd
        {
            let sentence = format!("a tap that was counted is taken back: {}", reason.sentence());
            self.reject(reason.code(), sentence);
        }
        self.growth.good = now_good;
        self.view.modes = estimate.modes;
        self.view.precision = self.precision();
        self.view.spectrum = estimate.spectrum;
        self.growth.reached = self.goal_reached(good);
        if self.view.not_kept.is_none() {
            self.growth.kept = self.growth.kept.max(taps);
        }
        self.go_on(now);
    }

    /// The take was better without its newest tap: that one goes, and the file is written as it was. Its sound is kept aside for the
    /// case that a later tap shows another to be at fault.
    fn take_back(&mut self, newest: u64, used: usize, taps: usize) {
        let best = self.growth.best;
        self.take.set_aside(newest);
        self.growth.awaited.clear();
        self.reject(
            "spoils_take",
            format!(
                "the last tap is taken back: with it only {used} of {taps} taps could be used, without it {best}; tap the same \
                 spot as before, as hard as before"
            ),
        );
        self.order_growth();
        if self.take.aside() > 1 {
            let mut all = self.take.clone();
            all.bring_back();
            let growth = self.await_estimate(all.newest().unwrap_or(newest), true);
            let sound = Arc::new(all.sound());
            self.orders.push(Order::Weigh { growth, step: self.step, taps: all.taps(), sound });
        }
    }

    /// The take with so many taps is on disk, or is not and why.
    pub(super) fn kept(&mut self, taps: usize, trouble: Option<String>, now: u64) {
        if trouble.is_none() {
            self.growth.kept = taps;
        } else if self.view.not_kept.is_none() {
            self.ring(Tone::Rejected, now);
        }
        self.view.not_kept = trouble;
        self.go_on(now);
    }

    /// Counts what is kept, and ends the step once all that is wanted is.
    fn go_on(&mut self, now: u64) {
        self.view.good = self.growth.good.min(self.growth.kept);
        if self.finished {
            return;
        }
        if self.holding() {
            // The step has what it wants: what rings now is not taken in.
            self.pending.clear();
            self.strike = None;
            self.view.phase = Some(Phase::Held);
        } else if self.growth.reached && self.settled() {
            self.step_done(now);
        }
    }
}

impl Growth {
    /// Nothing is known of the next step's take; numbers go on.
    pub(super) fn of_next_step(&self) -> Self {
        Self { next: self.next, ..Self::default() }
    }

    fn next_id(&mut self) -> u64 {
        self.next += 1;
        self.next
    }
}
