//! A session at the bench, as a state machine: the room is checked, taps are noticed, judged and gathered into a take, until
//! the step's goal is reached; then the next step.

mod growth;
mod room;
mod verdict;

use std::collections::VecDeque;

use super::company::Tones;
use super::meter::Meter;
use super::orders::{Answer, Goal, Order, Settings};
use super::take::{GrowingTake, History, SEAM};
use super::view::{Phase, View};
use crate::sound::{Noticed, Watch};
use growth::Growth;

/// The room is listened to for so long (s).
const ROOM_S: f64 = 2.0;
/// Quiet kept before the first tap of a take and before the others (s).
const QUIET_S: (f64, f64) = (1.5, 0.5);
/// A tap needs at least so much before it (s).
const LEAST_BEFORE_S: f64 = 0.1;
/// A seam may lie so much later (s): one turn of hum at 50 Hz.
const SEAM_S: f64 = 0.02;
/// Behind where a ring-down sinks into the noise its modes are still read, for one and a half times its length and then some
/// (s), as [`crate::sound::find_taps`] does; a little more is kept, so that no seam lies in what is read.
const TAIL: (f64, f64) = (1.6, 0.35);
/// Sound that is remembered (s): the longest ring-down and what precedes it.
const REMEMBERED_S: f64 = 22.0;
/// Columns of the waveform.
const COLUMNS: usize = 240;

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
    growth: Growth,
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
            growth: Growth::default(),
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
        } else if self.holding() {
            self.view.phase = Some(Phase::Held);
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
            Answer::Estimated { growth, taps, estimate, .. } => self.estimated(growth, taps, estimate, now),
            Answer::Kept { taps, trouble } => self.kept(taps, trouble, now),
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
}
