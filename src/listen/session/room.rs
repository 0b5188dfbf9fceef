//! The room's part of a session: checked before each step, learned anew when nothing happens, waited for between steps.

use super::super::forecast::{EXAMPLE_DB, forecast};
use super::super::orders::Order;
use super::super::room::RoomReport;
use super::super::view::Phase;
use super::{ROOM_S, Session};
use crate::sound::Watch;

/// So often at most it is listened to until it is quiet.
const MOST_ROOM_CHECKS: usize = 4;
/// The watch learns the room anew when nothing has happened for so long (s), from the last seconds.
const RELEARN_S: (f64, f64) = (6.0, 2.0);

impl Session {
    pub(super) fn check_room(&mut self, from: u64, now: u64) {
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

    pub(super) fn room_checked(&mut self, report: Result<RoomReport, String>, now: u64) {
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

    pub(super) fn learn(&mut self, now: u64) {
        let from = now.saturating_sub(self.frames(RELEARN_S.1)).max(self.not_before);
        let quiet = self.history.frames(from, now);
        self.watch = Some(Watch::new(quiet, self.settings.channels, self.settings.rate_hz, from));
        self.learned_at = now;
    }

    pub(super) fn learn_again(&mut self, now: u64) {
        let idle = self.strike.is_none() && self.pending.is_empty();
        if !idle {
            self.learned_at = self.learned_at.max(now.saturating_sub(self.frames(RELEARN_S.0 - RELEARN_S.1)));
        } else if now > self.learned_at + self.frames(RELEARN_S.0) {
            self.learn(now);
        }
    }

    pub(super) fn wait_for_change(&mut self, until: u64, now: u64) {
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
}
