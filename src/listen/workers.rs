//! The work beside a session, on two threads: one judges taps, which nobody should have to wait for, the other keeps takes and
//! estimates their modes.
//!
//! Work that breaks down is an answer like any other: the tap or the take that it was about is named, and the next is worked on. What
//! is kept lies with the keeper, which no thread takes with it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::attend::attend;
use super::keeper::{Keeper, Takes};
use super::orders::{Answer, Order};
use crate::modes::Estimator;

/// Takes orders and gives answers.
pub struct Workers {
    judging: Sender<Order>,
    keeping: Sender<Work>,
    answers: Receiver<Answer>,
    judge: JoinHandle<()>,
    estimator: JoinHandle<()>,
    keeper: Arc<Mutex<Keeper>>,
}

/// What the keeping thread is asked for.
enum Work {
    Order(Order),
    /// Try at once to keep what is held.
    Again,
    /// Keep it in the rescue folder.
    Elsewhere,
}

/// How work is done: an order in, its answer out. Tests put their own in.
pub type Labour = fn(&Order, usize, u32, &mut Estimator) -> Option<Answer>;

/// How long what could not be kept is held until it is tried again.
const AGAIN: Duration = Duration::from_secs(2);

impl Workers {
    /// Workers whose takes are kept as the keeper does.
    pub fn new(keeper: Keeper, channels: usize, rate_hz: u32) -> Self {
        Self::with(keeper, channels, rate_hz, attend)
    }

    fn with(keeper: Keeper, channels: usize, rate_hz: u32, labour: Labour) -> Self {
        let (judging, to_judge) = channel::<Order>();
        let (keeping, to_keep) = channel::<Work>();
        let (outgoing, answers) = channel();
        let keeper = Arc::new(Mutex::new(keeper));
        let (verdicts, own) = (outgoing.clone(), keeper.clone());
        let judge = std::thread::spawn(move || {
            let mut bench = Bench { channels, rate_hz, labour, estimator: Estimator::default() };
            for order in to_judge {
                // A session that has ended wants no answer.
                bench.attend(&order).into_iter().for_each(|answer| drop(verdicts.send(answer)));
            }
        });
        let estimator = std::thread::spawn(move || {
            let bench = Bench { channels, rate_hz, labour, estimator: Estimator::default() };
            keep_all(&own, &to_keep, &outgoing, bench);
        });
        Self { judging, keeping, answers, judge, estimator, keeper }
    }

    pub fn order(&self, order: Order) {
        // A worker that is gone is noticed by `works`.
        let _ = match order {
            Order::Grown { .. } | Order::Weigh { .. } => self.keeping.send(Work::Order(order)).is_ok(),
            _ => self.judging.send(order).is_ok(),
        };
    }

    /// Tries at once to keep what could not be kept.
    pub fn keep_again(&self) {
        let _ = self.keeping.send(Work::Again);
    }

    /// Keeps in the rescue folder what cannot be kept where it belongs, from now on.
    pub fn keep_elsewhere(&self) {
        let _ = self.keeping.send(Work::Elsewhere);
    }

    /// Whether orders are still carried out.
    pub fn works(&self) -> bool {
        !self.estimator.is_finished() && !self.judge.is_finished()
    }

    pub fn answers(&self) -> Vec<Answer> {
        self.answers.try_iter().collect()
    }

    /// Finishes all that was ordered; gives the takes that were kept. What is held is tried a last time.
    pub fn close(self) -> Takes {
        drop((self.judging, self.keeping));
        // A thread that broke down has said so; what it kept lies with the keeper.
        let _ = (self.judge.join(), self.estimator.join());
        locked(&self.keeper).close()
    }
}

/// The keeper, whatever became of the thread that used it last.
fn locked(keeper: &Mutex<Keeper>) -> MutexGuard<'_, Keeper> {
    keeper.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Where one worker works.
struct Bench {
    channels: usize,
    rate_hz: u32,
    labour: Labour,
    estimator: Estimator,
}

impl Bench {
    /// Does what an order asks for. If that breaks down, the answer says so and the tools are new for the next.
    fn attend(&mut self, order: &Order) -> Option<Answer> {
        let (labour, channels, rate_hz) = (self.labour, self.channels, self.rate_hz);
        let work = AssertUnwindSafe(|| labour(order, channels, rate_hz, &mut self.estimator));
        catch_unwind(work).unwrap_or_else(|_| {
            self.estimator = Estimator::default();
            let why = "the program made a mistake over this sound; what was kept before is unharmed".to_owned();
            match order {
                Order::Room { .. } => Some(Answer::Room(Err(why))),
                Order::Judge { id, .. } => Some(Answer::Judged { id: *id, verdict: Err(why) }),
                Order::Grown { growth, step, taps, .. } | Order::Weigh { growth, step, taps, .. } => {
                    Some(Answer::Estimated { growth: *growth, step: *step, taps: *taps, estimate: Err(why) })
                }
                Order::Sound(_) => None,
            }
        })
    }
}

/// Keeps takes and estimates them until nothing more is ordered. What cannot be kept is tried again and again.
fn keep_all(keeper: &Mutex<Keeper>, work: &Receiver<Work>, answers: &Sender<Answer>, mut bench: Bench) {
    let mut tried = Instant::now();
    // A session that has ended wants no answer.
    let told = |(taps, trouble): (usize, Option<String>)| drop(answers.send(Answer::Kept { taps, trouble }));
    loop {
        let holds = locked(keeper).holds();
        let next = match holds {
            true => work.recv_timeout(AGAIN.saturating_sub(tried.elapsed())),
            false => work.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        match next {
            Ok(Work::Order(order)) => {
                if let Order::Grown { step, taps, sound, .. } = &order {
                    let trouble = locked(keeper).keep(*step, *taps, sound.clone());
                    told((*taps, trouble));
                    tried = Instant::now();
                }
                bench.attend(&order).into_iter().for_each(|answer| drop(answers.send(answer)));
            }
            Ok(Work::Elsewhere) => {
                let mut keeper = locked(keeper);
                keeper.go_elsewhere();
                keeper.try_again().into_iter().for_each(&told);
                tried = Instant::now();
            }
            Ok(Work::Again) | Err(RecvTimeoutError::Timeout) => {
                locked(keeper).try_again().into_iter().for_each(&told);
                tried = Instant::now();
            }
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Breaks down over every second tap; an estimate always does.
    fn clumsy(order: &Order, _: usize, _: u32, _: &mut Estimator) -> Option<Answer> {
        match order {
            Order::Judge { id, .. } if id % 2 == 0 => Some(Answer::Judged { id: *id, verdict: Err("fine".into()) }),
            _ => panic!("a slip"),
        }
    }

    /// Every order is answered, at once and by its own number, and every take is kept.
    #[test]
    fn work_that_breaks_down_loses_nothing() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let keeper = Keeper::new(vec![folder.path().join("waist")], folder.path().join("rescue"), 1, 48_000);
        let workers = Workers::with(keeper, 1, 48_000, clumsy);
        for id in 0..4 {
            workers.order(Order::Judge { id, sound: vec![0.0; 10], strike: 0 });
        }
        for taps in 1..=3 {
            let sound = Arc::new(vec![0.1; 100 * taps]);
            workers.order(Order::Grown { growth: taps as u64, step: 0, taps, sound });
        }
        let (mut judged, mut kept, mut failed) = (Vec::new(), 0, 0);
        let until = Instant::now() + Duration::from_secs(30);
        while judged.len() + kept + failed < 10 && Instant::now() < until {
            for answer in workers.answers() {
                match answer {
                    Answer::Judged { id, verdict } => judged.push((id, verdict.expect_err("told"))),
                    Answer::Kept { trouble, .. } => kept += usize::from(trouble.is_none()),
                    Answer::Estimated { estimate, .. } => failed += usize::from(estimate.is_err()),
                    Answer::Room(_) => {}
                }
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        assert!(workers.works(), "the workers go on");
        let slips: Vec<u64> = judged.iter().filter(|(_, why)| why.contains("mistake")).map(|(id, _)| *id).collect();
        assert_eq!((judged.len(), slips, kept, failed), (4, vec![1, 3], 3, 3));
        let takes = workers.close();
        assert_eq!(takes.fullest().len(), 1);
        assert_eq!(takes.fullest()[0].taps, 3);
    }
}
