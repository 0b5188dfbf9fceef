//! What comes of a tap in a session: its verdict, its place in the take, and the end of the step.

use super::super::company::Tones;
use super::super::judge::Verdict;
use super::super::orders::{Order, Tone};
use super::super::take::{GrowingTake, SEAM};
use super::super::view::Phase;
use super::{Pending, Session, least};
use crate::modes::COVERAGE_95;

/// A bell and its echo are over after this time (s).
const BELL_S: f64 = 0.4;
/// Before anything has counted, a second strike within one ring-down is told if such a one came so shortly before (s).
const COMPANY_S: f64 = 15.0;
const DOUBLE_HIT: &str = "double_hit";
const TOO_WEAK: &str = "too_weak";
/// How long "got it" and "again" stay (s).
const TOLD_S: f64 = 2.5;
/// Modes this far below the strongest (dB) decide when the precision is reached.
const STRONG_DB: f64 = 20.0;
const OTHER_TONES: &str =
    "it rings with other tones than the taps before: tap the same spot, held the same way, and nothing but the part";
/// A tap tells of a mode's frequency and damping as the square of its amplitude (the Cramer-Rao bound): one so far below the median of the
/// take's taps (dB) tells a hundredth of what each of them tells, and counted as one of five it would make the take seem what
/// it is not.
const MOST_BELOW_DB: f64 = 20.0;
const BENDS: &str = "its decay bends down: a second strike in it (let the tapper bounce away), or automatic gain";

fn too_soft(below_db: f64) -> String {
    format!(
        "too weak: {below_db:.0} dB below the taps before, so that it tells next to nothing beside them; tap as hard as before"
    )
}

impl Session {
    pub(super) fn judged(&mut self, id: u64, verdict: Result<Verdict, String>, now: u64) {
        let Some(place) = self.pending.iter().position(|p| p.id == id) else { return };
        let after = now.saturating_sub(self.pending[place].sunk);
        let after_s = after as f64 / f64::from(self.settings.rate_hz);
        self.view.verdict_after_s = Some(after_s);
        self.view.slowest_verdict_s = Some(self.view.slowest_verdict_s.map_or(after_s, |s| s.max(after_s)));
        match verdict {
            Ok(Verdict::Good(tones)) => {
                // Noises may share a tone: somebody taps once the take they make has been measured.
                let tapped = self.view.good > 0;
                let below_db = self.take.below_db(&tones).filter(|below| tapped && *below > MOST_BELOW_DB);
                if let Some(below_db) = below_db {
                    self.pending.remove(place);
                    self.reject(TOO_WEAK, too_soft(below_db));
                    return;
                }
                self.pending[place].tones = Some(tones);
                let judged: Vec<&Tones> = self.pending.iter().filter_map(|p| p.tones.as_ref()).collect();
                match self.take.would_count(&judged) {
                    Some(number) => self.tell(Phase::GotIt { number }, now),
                    None if !tapped => self.tell(Phase::Heard, now),
                    None => self.reject("other_tones", OTHER_TONES.to_owned()),
                }
                self.close_pending(now.saturating_sub(SEAM as u64));
            }
            Ok(Verdict::Again { code, sentence }) => {
                let strike = self.pending.remove(place).map_or(now, |p| p.strike);
                // Where nothing has been tapped yet, one that went wrong is any sound of the room; two are somebody tapping.
                let before = self.spoiled_at.replace(strike);
                let alone = before.is_none_or(|at| strike.saturating_sub(at) > self.frames(COMPANY_S));
                if self.take.taps() == 0 && code == DOUBLE_HIT && alone {
                    self.stir(&sentence);
                    self.settle_phase(now);
                } else {
                    self.reject(code, sentence);
                }
            }
            Ok(Verdict::Bends) => {
                self.pending.remove(place);
                // Where nothing has been tapped yet it is any sound of the room.
                if self.view.good > 0 {
                    self.reject("bends_down", BENDS.to_owned());
                } else {
                    self.stir(BENDS);
                    self.settle_phase(now);
                }
            }
            Ok(Verdict::NoTap { sentence }) => {
                self.pending.remove(place);
                self.stir(&sentence);
                self.settle_phase(now);
            }
            Err(why) => {
                self.pending.remove(place);
                self.reject("unusable_sound", why);
            }
        }
    }

    pub(super) fn reject(&mut self, code: &'static str, sentence: String) {
        let now = self.history.end();
        self.view.rejected += 1;
        self.tell(Phase::Again { code, sentence }, now);
        self.ring(Tone::Rejected, now);
    }

    pub(super) fn tell(&mut self, phase: Phase, now: u64) {
        self.view.phase = Some(phase);
        self.told_until = now + self.frames(TOLD_S);
    }

    pub(super) fn ring(&mut self, tone: Tone, now: u64) {
        // A bell would sound into the tap that rings.
        if self.strike.is_some() {
            return;
        }
        self.orders.push(Order::Sound(tone));
        if self.settings.bell {
            self.not_before = now + self.frames(BELL_S);
        }
    }

    /// Puts into the take what was judged good and died away before a frame, in order.
    pub(super) fn close_pending(&mut self, before: u64) {
        while let Some(first) = self.pending.front() {
            if first.tones.is_none() || before < first.close {
                return;
            }
            let Some(Pending { start, latest, close, strike, tones: Some(tones), .. }) = self.pending.pop_front()
            else {
                return;
            };
            debug_assert!(start < strike && strike < close);
            let counts = self.take.append(&self.history, start, latest, close, tones);
            self.view.waiting = self.take.waiting();
            if !counts {
                continue;
            }
            self.order_growth();
            let now = self.history.end();
            self.ring(Tone::Accepted, now);
            self.told_until = self.told_until.min(self.not_before.max(now));
        }
    }

    pub(super) fn settle_phase(&mut self, now: u64) {
        let told = now < self.told_until;
        if self.strike.is_some() {
            self.view.phase = Some(Phase::Ringing);
        } else if !told && self.pending.iter().all(|p| p.tones.is_some()) && now >= self.not_before {
            self.view.phase = Some(Phase::TapNow);
        }
    }

    pub(super) fn goal_reached(&self, good: usize) -> bool {
        let goal = &self.settings.goal;
        match goal.until {
            None => good >= goal.taps,
            // Two taps at least: one alone is confirmed by nothing.
            Some(share) => (good >= 2 && self.precision().is_some_and(|p| p <= share)) || good >= goal.most_taps,
        }
    }

    /// Half width of the widest damping interval among the strong modes (share of the damping).
    pub(super) fn precision(&self) -> Option<f64> {
        let strong = self.view.modes.iter().filter(|m| m.level_db > -STRONG_DB);
        strong.map(|m| COVERAGE_95 * m.damping_ratio.relative_u_95()).reduce(f64::max)
    }

    pub(super) fn step_done(&mut self, now: u64) {
        self.pending.clear();
        self.strike = None;
        self.growth = self.growth.of_next_step();
        self.ring(Tone::StepDone, now);
        self.take = GrowingTake::new(self.settings.channels, least(&self.settings.goal));
        if self.step + 1 == self.settings.steps.len() {
            self.finished = true;
            self.view.phase = Some(Phase::Done);
            return;
        }
        self.step += 1;
        self.view.step_number = self.step + 1;
        self.view.step = self.settings.steps[self.step].name.clone();
        (self.view.good, self.view.waiting) = (0, 0);
        self.view.modes.clear();
        self.view.precision = None;
        self.view.spectrum = Default::default();
        self.watch = None;
        let what = self.settings.steps[self.step].change.clone();
        self.view.phase = Some(Phase::Change { what, left_s: self.settings.change_s });
        self.change_until = Some(now + self.frames(self.settings.change_s));
    }
}
