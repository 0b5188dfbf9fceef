//! A session at the bench, as a state machine: the room is checked, taps are noticed, judged and gathered into a take, until
//! the step's goal is reached; then the next step.

use std::collections::VecDeque;
use std::sync::Arc;

use super::company::Tones;
use super::forecast::{EXAMPLE_DB, forecast};
use super::judge::Verdict;
use super::meter::Meter;
use super::orders::{Answer, Goal, Order, Settings, Tone};
use super::room::RoomReport;
use super::take::{GrowingTake, History, SEAM};
use super::view::{Phase, View};
use crate::modes::{COVERAGE_95, Estimate};
use crate::sound::{Noticed, Watch};

/// The room is listened to for so long (s), and so often at most until it is quiet.
const ROOM_S: f64 = 2.0;
const MOST_ROOM_CHECKS: usize = 4;
/// Quiet kept before the first tap of a take and before the others (s).
const QUIET_S: (f64, f64) = (1.5, 0.5);
/// A tap needs at least so much before it (s).
const LEAST_BEFORE_S: f64 = 0.1;
/// A seam may lie so much later (s): one turn of hum at 50 Hz.
const SEAM_S: f64 = 0.02;
/// A bell and its echo are over after this time (s).
const BELL_S: f64 = 0.4;
/// Before anything has counted, a second strike within one ring-down is told if such a one came so shortly before (s).
const COMPANY_S: f64 = 15.0;
const DOUBLE_HIT: &str = "double_hit";
/// How long "got it" and "again" stay (s).
const TOLD_S: f64 = 2.5;
/// Behind where a ring-down sinks into the noise its modes are still read, for one and a half times its length and then some
/// (s), as [`crate::sound::find_taps`] does; a little more is kept, so that no seam lies in what is read.
const TAIL: (f64, f64) = (1.6, 0.35);
/// The watch learns the room anew when nothing has happened for so long (s), from the last seconds.
const RELEARN_S: (f64, f64) = (6.0, 2.0);
/// Sound that is remembered (s): the longest ring-down and what precedes it.
const REMEMBERED_S: f64 = 22.0;
/// Columns of the waveform.
const COLUMNS: usize = 240;
/// Modes this far below the strongest (dB) decide when the precision is reached.
const STRONG_DB: f64 = 20.0;

const OTHER_TONES: &str =
    "it rings with other tones than the taps before: tap the same spot, held the same way, and nothing but the part";
const BENDS: &str = "its decay bends down: a second strike in it (let the tapper bounce away), or automatic gain";

struct Pending {
    id: u64,
    start: u64,
    /// Where a piece of the take may begin at the latest for a good seam.
    latest: u64,
    strike: u64,
    /// Where it has sunk into the noise, or was cut off, and where it ends in the take.
    sunk: u64,
    close: u64,
    /// What it rings with, once it was judged good.
    tones: Option<Tones>,
}

/// So many taps must ring alike to count: a goal of a single tap takes any.
fn least(goal: &Goal) -> usize {
    if goal.until.is_none() { goal.taps.clamp(1, 2) } else { 2 }
}

pub struct Session {
    settings: Settings,
    history: History,
    watch: Option<Watch>,
    step: usize,
    take: GrowingTake,
    pending: VecDeque<Pending>,
    /// The strike that rings now.
    strike: Option<u64>,
    next_id: u64,
    orders: Vec<Order>,
    view: View,
    /// Frame until which the phase shown stays.
    told_until: u64,
    /// Sound before this frame belongs to no tap: a bell, a gap, a change of steps.
    not_before: u64,
    learned_at: u64,
    room_from: Option<u64>,
    /// The room's report is awaited.
    room_asked: bool,
    room_checks: usize,
    change_until: Option<u64>,
    meter: Meter,
    /// The last strike that was a tap gone wrong.
    spoiled_at: Option<u64>,
    /// Where the sound began that reaches without a break to the last tap: it holds that run's quiet.
    run_from: u64,
    /// Taps whose estimate is awaited.
    awaited: usize,
    finished: bool,
}

impl Session {
    pub fn new(settings: Settings) -> Self {
        let view = View {
            steps: settings.steps.len(),
            step_number: 1,
            step: settings.steps.first().map(|s| s.name.clone()).unwrap_or_default(),
            wanted: settings.goal.taps,
            until: settings.goal.until,
            phase: Some(Phase::Room { left_s: ROOM_S }),
            level_db: f64::NEG_INFINITY,
            peak_db: f64::NEG_INFINITY,
            ..View::default()
        };
        Self {
            history: History::new(settings.channels),
            watch: None,
            step: 0,
            take: GrowingTake::new(settings.channels, least(&settings.goal)),
            pending: VecDeque::new(),
            strike: None,
            next_id: 0,
            orders: Vec::new(),
            view,
            told_until: 0,
            not_before: 0,
            learned_at: 0,
            room_from: Some(0),
            room_asked: false,
            room_checks: 0,
            change_until: None,
            meter: Meter::new(settings.rate_hz),
            spoiled_at: None,
            run_from: 0,
            awaited: 0,
            finished: false,
            settings,
        }
    }

    pub fn view(&self) -> &View {
        &self.view
    }

    /// All steps are done.
    pub fn finished(&self) -> bool {
        self.finished
    }

    /// What is to be done since the last call.
    pub fn take_orders(&mut self) -> Vec<Order> {
        std::mem::take(&mut self.orders)
    }

    fn frames(&self, seconds: f64) -> u64 {
        (seconds * f64::from(self.settings.rate_hz)) as u64
    }

    /// The maker or the microphone stops: what was judged good counts, cut off here.
    pub fn stop(&mut self) {
        let now = self.history.end();
        self.pending.retain(|p| p.tones.is_some() && p.strike < now);
        self.pending.iter_mut().for_each(|p| p.close = p.close.min(now));
        self.close_pending(now);
        self.finished = true;
    }

    /// Goes on with the next step at once, without waiting for its time.
    pub fn hurry(&mut self) {
        if self.change_until.is_some() {
            self.change_until = Some(self.history.end());
        }
    }

    /// Takes in the next frames (interleaved).
    pub fn hear(&mut self, interleaved: &[f32]) {
        if self.finished {
            return;
        }
        self.history.push(interleaved);
        let now = self.history.end();
        self.meter.hear(interleaved, now);
        (self.view.level_db, self.view.peak_db) = self.meter.levels_db(now);
        self.view.clipped = self.meter.overloaded();
        self.view.elapsed_s = now as f64 / f64::from(self.settings.rate_hz);
        if let Some(from) = self.room_from {
            self.check_room(from, now);
        } else if self.room_asked {
            // The answer comes within a moment.
        } else if let Some(until) = self.change_until {
            self.wait_for_change(until, now);
        } else {
            let noticed = self.watch.as_mut().map(|w| w.hear(interleaved)).unwrap_or_default();
            noticed.into_iter().for_each(|n| self.notice(n));
            self.close_pending(now.saturating_sub(SEAM as u64));
            self.settle_phase(now);
            self.learn_again(now);
        }
        let busy = self.pending.iter().map(|p| p.start).chain(self.strike).min().unwrap_or(now);
        let keep = now.saturating_sub(self.frames(REMEMBERED_S)).min(busy.saturating_sub(self.frames(QUIET_S.0)));
        if self.history.first() + self.frames(2.0) < keep {
            self.history.forget_before(keep);
        }
    }

    /// Frames were lost: nothing reaches over the gap.
    pub fn gap(&mut self, lost_frames: u64) {
        let hit = self.strike.is_some() || !self.pending.is_empty();
        self.view.lost_frames = lost_frames;
        let now = self.history.end();
        // What was judged good and has ended before the gap stays.
        self.pending.retain(|p| p.close <= now && p.tones.is_some());
        self.close_pending(now);
        self.strike = None;
        self.pending.clear();
        self.not_before = now;
        if let Some(watch) = &mut self.watch {
            watch.forget();
        }
        if hit {
            let sentence = "some sound was lost on its way (the computer was too busy): tap once more".to_owned();
            self.reject("lost_sound", sentence);
        }
    }

    /// What came of an order.
    pub fn answer(&mut self, answer: Answer) {
        let now = self.history.end();
        match answer {
            Answer::Room(report) => self.room_checked(report, now),
            Answer::Judged { id, verdict } => self.judged(id, verdict, now),
            Answer::Estimated { step, taps, estimate } => {
                self.awaited = self.awaited.saturating_sub(1);
                if step == self.step {
                    self.estimated(taps, estimate, now);
                }
            }
            Answer::Kept(trouble) => self.view.not_kept = trouble,
        }
    }

    fn check_room(&mut self, from: u64, now: u64) {
        let left_s = ROOM_S - (now - from) as f64 / f64::from(self.settings.rate_hz);
        self.view.phase = Some(Phase::Room { left_s: left_s.max(0.0) });
        if left_s <= 0.0 {
            self.room_from = None;
            self.room_asked = true;
            self.room_checks += 1;
            let sound = self.history.frames(from, from + self.frames(ROOM_S)).to_vec();
            self.orders.push(Order::Room { sound });
        }
    }

    fn room_checked(&mut self, report: Result<RoomReport, String>, now: u64) {
        self.room_asked = false;
        match report {
            Ok(report) => {
                let again = report.disturbed && self.room_checks < MOST_ROOM_CHECKS;
                self.view.forecast = forecast(&report, self.settings.goal.taps, EXAMPLE_DB);
                self.view.room = Some(report);
                if again {
                    self.room_from = Some(now);
                    self.view.phase = Some(Phase::RoomAgain);
                    return;
                }
            }
            Err(why) => self.view.trouble = Some(format!("the room's sound cannot be used: {why}")),
        }
        self.learn(now);
        self.view.phase = Some(Phase::TapNow);
        self.told_until = now;
    }

    fn learn(&mut self, now: u64) {
        let from = now.saturating_sub(self.frames(RELEARN_S.1)).max(self.not_before);
        let quiet = self.history.frames(from, now);
        self.watch = Some(Watch::new(quiet, self.settings.channels, self.settings.rate_hz, from));
        self.learned_at = now;
    }

    fn learn_again(&mut self, now: u64) {
        let idle = self.strike.is_none() && self.pending.is_empty();
        if !idle {
            self.learned_at = self.learned_at.max(now.saturating_sub(self.frames(RELEARN_S.0 - RELEARN_S.1)));
        } else if now > self.learned_at + self.frames(RELEARN_S.0) {
            self.learn(now);
        }
    }

    fn wait_for_change(&mut self, until: u64, now: u64) {
        let left_s = until.saturating_sub(now) as f64 / f64::from(self.settings.rate_hz);
        let what = self.settings.steps[self.step].change.clone();
        self.view.phase = Some(Phase::Change { what, left_s });
        if now >= until {
            // The last moments before it must be quiet enough to learn from: they are the start of the next take.
            self.change_until = None;
            self.not_before = now;
            self.room_from = Some(now);
            self.room_checks = 0;
        }
    }

    fn notice(&mut self, noticed: Noticed) {
        match noticed {
            Noticed::Strike { at } => {
                let early = at < self.not_before + self.frames(LEAST_BEFORE_S);
                if early {
                    // What was learned of the room stays until it has died away.
                    self.learned_at = self.history.end();
                    self.stir("a sound within the bell");
                    return;
                }
                // It ends what still dies away behind the tap before.
                let cut = at.saturating_sub(self.frames(0.005));
                self.pending.iter_mut().for_each(|p| p.close = p.close.min(cut));
                self.strike = Some(at);
                self.view.phase = Some(Phase::Ringing);
            }
            Noticed::Cut { at } => {
                let cut = at.saturating_sub(self.frames(0.005));
                self.send_to_judge(cut, cut);
            }
            Noticed::Sunk { at } => {
                if let Some(strike) = self.strike {
                    let ring_s = at.saturating_sub(strike) as f64 / f64::from(self.settings.rate_hz);
                    let tail_s = TAIL.0 * ring_s + TAIL.1;
                    self.send_to_judge(at, at + self.frames(tail_s));
                }
            }
            Noticed::GoesOn { at } => {
                self.strike = None;
                self.stir("a sound that goes on: a machine, a voice");
                self.not_before = at;
                self.view.phase = Some(Phase::TapNow);
                self.learn(at);
            }
        }
    }

    fn stir(&mut self, what: &str) {
        self.view.stir = Some(what.to_owned());
        self.view.stirs += 1;
    }

    /// The strike's ring-down is over: what is known of it goes to be judged.
    fn send_to_judge(&mut self, heard_to: u64, close: u64) {
        let Some(strike) = self.strike.take() else { return };
        let before = self.frames(if self.take.taps() == 0 { QUIET_S.0 } else { QUIET_S.1 });
        let taken = self.pending.back().map(|p| p.close).or(self.take.end()).unwrap_or(0);
        let start = strike.saturating_sub(before).max(taken).max(self.not_before).max(self.history.first());
        if start >= strike {
            self.stir("a sound within the bell or a loss");
            return;
        }
        let latest = (start + self.frames(SEAM_S)).min(strike.saturating_sub(self.frames(LEAST_BEFORE_S)));
        // Struck in the tail of the tap before: the run is heard from its quiet on, or there would be none.
        let runs_on = taken == start && strike - start < self.frames(0.25);
        if !runs_on {
            self.run_from = start;
        }
        let from = self.run_from.max(self.history.first());
        let id = self.next_id;
        self.next_id += 1;
        let sound = self.history.frames(from, heard_to).to_vec();
        self.draw_waveform(start, heard_to);
        self.orders.push(Order::Judge { id, sound, strike: (strike - from) as usize });
        self.pending.push_back(Pending { id, start, latest, strike, sunk: heard_to, close, tones: None });
    }

    fn draw_waveform(&mut self, from: u64, to: u64) {
        let sound = self.history.frames(from, to);
        let piece = (sound.len() / COLUMNS).max(1);
        self.view.waveform = sound
            .chunks(piece)
            .map(|c| c.iter().fold((f32::MAX, f32::MIN), |(low, high), s| (low.min(*s), high.max(*s))))
            .collect();
    }

    fn judged(&mut self, id: u64, verdict: Result<Verdict, String>, now: u64) {
        let Some(place) = self.pending.iter().position(|p| p.id == id) else { return };
        let after = now.saturating_sub(self.pending[place].sunk);
        let after_s = after as f64 / f64::from(self.settings.rate_hz);
        self.view.verdict_after_s = Some(after_s);
        self.view.slowest_verdict_s = Some(self.view.slowest_verdict_s.map_or(after_s, |s| s.max(after_s)));
        match verdict {
            Ok(Verdict::Good(tones)) => {
                self.pending[place].tones = Some(tones);
                let judged: Vec<&Tones> = self.pending.iter().filter_map(|p| p.tones.as_ref()).collect();
                match self.take.would_count(&judged) {
                    Some(number) => self.tell(Phase::GotIt { number }, now),
                    None if self.take.taps() == 0 => self.tell(Phase::Heard, now),
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

    fn reject(&mut self, code: &'static str, sentence: String) {
        let now = self.history.end();
        self.view.rejected += 1;
        self.tell(Phase::Again { code, sentence }, now);
        self.ring(Tone::Rejected, now);
    }

    fn tell(&mut self, phase: Phase, now: u64) {
        self.view.phase = Some(phase);
        self.told_until = now + self.frames(TOLD_S);
    }

    fn ring(&mut self, tone: Tone, now: u64) {
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
    fn close_pending(&mut self, before: u64) {
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
            self.awaited += 1;
            self.view.good = self.take.taps();
            let sound = Arc::new(self.take.sound());
            self.orders.push(Order::Grown { step: self.step, taps: self.take.taps(), sound });
            let now = self.history.end();
            self.ring(Tone::Accepted, now);
            self.told_until = self.told_until.min(self.not_before.max(now));
        }
    }

    fn settle_phase(&mut self, now: u64) {
        let told = now < self.told_until;
        if self.strike.is_some() {
            self.view.phase = Some(Phase::Ringing);
        } else if !told && self.pending.iter().all(|p| p.tones.is_some()) && now >= self.not_before {
            self.view.phase = Some(Phase::TapNow);
        }
    }

    fn estimated(&mut self, taps: usize, estimate: Result<Box<Estimate>, String>, now: u64) {
        let estimate = match estimate {
            Ok(estimate) => estimate,
            Err(why) => {
                self.view.trouble = Some(format!("the modes could not be worked out: {why}"));
                return;
            }
        };
        let good = estimate.taps.iter().filter(|t| t.accepted()).count().min(taps);
        let odd = estimate.taps.iter().rev().find_map(|t| t.reasons.first());
        let now_good = good + self.take.taps().saturating_sub(taps);
        if now_good < self.view.good
            && let Some(reason) = odd
        {
            let sentence = format!("a tap that was counted is taken back: {}", reason.sentence());
            self.reject(reason.code(), sentence);
        }
        self.view.good = now_good;
        self.view.modes = estimate.modes;
        self.view.precision = self.precision();
        self.view.spectrum = estimate.spectrum;
        if self.awaited == 0 && self.goal_reached(good) {
            self.step_done(now);
        }
    }

    fn goal_reached(&self, good: usize) -> bool {
        let goal = &self.settings.goal;
        match goal.until {
            None => good >= goal.taps,
            // Two taps at least: one alone is confirmed by nothing.
            Some(share) => (good >= 2 && self.precision().is_some_and(|p| p <= share)) || good >= goal.most_taps,
        }
    }

    /// Half width of the widest damping interval among the strong modes (share of the damping).
    fn precision(&self) -> Option<f64> {
        let strong = self.view.modes.iter().filter(|m| m.level_db > -STRONG_DB);
        strong.map(|m| COVERAGE_95 * m.damping_relative_u()).reduce(f64::max)
    }

    fn step_done(&mut self, now: u64) {
        self.pending.clear();
        self.strike = None;
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
