//! A session at work: sound from its source to the state machine, orders to the workers, answers back. Whoever shows the session drives
//! it, turn by turn.

use std::time::{Duration, Instant};

use super::keeper::{Keeper, Takes};
use super::orders::{Order, Settings, Tone};
use super::session::Session;
use super::view::View;
use super::workers::Workers;
use crate::sound::{Arrival, Capture};

/// How long the driver of a session may rest between two turns.
pub const REST: Duration = Duration::from_millis(10);
/// Pieces of sound that are taken in at one turn.
const MOST_READS: usize = 64;
/// How long an ending session waits for what is being judged.
const LAST_VERDICTS: Duration = Duration::from_millis(600);

/// Why a session ended.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Ended {
    /// All stations are done.
    Done,
    /// The maker ended it.
    Stopped,
    /// The file that was played is over.
    SourceOver,
    /// The microphone is gone.
    SourceLost(String),
    /// A worker is gone, and nothing more can be judged or kept.
    WorkerLost,
    /// The screen is gone.
    ScreenLost(String),
}

/// A session with its source of sound and its workers.
pub struct SessionLoop {
    session: Session,
    workers: Workers,
    capture: Capture,
    tones: Vec<Tone>,
}

impl SessionLoop {
    /// A session on a source of sound, its takes kept by the keeper.
    pub fn new(settings: Settings, keeper: Keeper, capture: Capture) -> Self {
        let workers = Workers::new(keeper, settings.channels, settings.rate_hz);
        Self { session: Session::new(settings), workers, capture, tones: Vec::new() }
    }

    /// What there is to show.
    pub fn view(&self) -> &View {
        self.session.view()
    }

    /// Sound that was lost on its way (frames).
    pub fn lost_frames(&self) -> u64 {
        self.capture.lost_frames()
    }

    /// What is to be told by ear since the last time.
    pub fn take_tones(&mut self) -> Vec<Tone> {
        std::mem::take(&mut self.tones)
    }

    /// One turn: takes in what has arrived and passes on what is ordered and answered. Says why the session ends, if it does.
    pub fn turn(&mut self) -> Option<Ended> {
        let mut sound = Vec::new();
        // A source that brings sound faster than it can be heard must not keep the session from ending.
        for _ in 0..MOST_READS {
            match self.capture.read(&mut sound) {
                Arrival::Frames(_) => {
                    self.session.hear(&sound);
                    sound.clear();
                }
                Arrival::Gap => self.session.gap(self.capture.lost_frames()),
                Arrival::Nothing => break,
            }
        }
        self.pass_on();
        if self.session.finished() {
            return Some(Ended::Done);
        }
        if !self.workers.works() {
            return Some(Ended::WorkerLost);
        }
        if self.capture.ended() {
            return Some(Ended::SourceOver);
        }
        self.capture.trouble().map(Ended::SourceLost)
    }

    fn pass_on(&mut self) {
        for answer in self.workers.answers() {
            self.session.answer(answer);
        }
        for order in self.session.take_orders() {
            match order {
                Order::Sound(tone) => self.tones.push(tone),
                work => self.workers.order(work),
            }
        }
    }

    /// Does not wait any longer: tries again to keep what could not be kept, or goes on to the next step.
    pub fn go_on(&mut self) {
        if self.session.view().not_kept.is_some() {
            self.workers.keep_again();
        } else {
            self.session.hurry();
        }
    }

    /// Keeps in the rescue folder what cannot be kept where it belongs; nothing happens if all is kept.
    pub fn keep_elsewhere(&self) {
        if self.session.view().not_kept.is_some() {
            self.workers.keep_elsewhere();
        }
    }

    /// Lets what is judged and has not died away count, and waits a moment for what is being judged.
    pub fn finish(&mut self, ended: &Ended) {
        if matches!(ended, Ended::Done) {
            return;
        }
        let waits = Instant::now() + LAST_VERDICTS;
        while Instant::now() < waits {
            self.pass_on();
            std::thread::sleep(REST);
        }
        self.session.stop();
        self.pass_on();
        // The last tap may yet turn out to spoil the take.
        while !self.session.settled() && self.workers.works() {
            self.pass_on();
            std::thread::sleep(REST);
        }
    }

    /// Finishes all work; gives the takes that were kept.
    pub fn close(self, ended: &Ended) -> Takes {
        let takes = self.workers.close();
        if matches!(ended, Ended::SourceLost(_)) {
            // A driver that hangs would keep the program from ending.
            std::mem::forget(self.capture);
        }
        takes
    }
}
