//! The work beside a session, on two threads: one judges taps, which nobody should have to wait for, the other keeps takes and
//! estimates their modes.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::listen_keeper::{Keeper, Store, Takes, why};
use crate::bench::next_take;
use crate::files::{SaveError, Stamp};
use crate::listen::{Answer, Order, attend};
use crate::modes::Estimator;
use crate::sound::{WavSamples, wav_bytes};

/// Takes orders and gives answers.
pub struct Desk {
    judging: Sender<Order>,
    keeping: Sender<Work>,
    answers: Receiver<Answer>,
    judge: JoinHandle<()>,
    keeper: JoinHandle<Takes>,
}

/// What the keeping thread is asked for.
enum Work {
    Order(Order),
    /// Try at once to keep what is held.
    Again,
    /// Keep it in the rescue folder.
    Elsewhere,
}

/// How long what could not be kept is held until it is tried again.
const AGAIN: Duration = Duration::from_secs(2);

/// A take on disk.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    pub step: usize,
    pub path: PathBuf,
    pub taps: usize,
    /// Why it (or its last tap) is not on disk, if so.
    pub trouble: Option<String>,
    /// The file as it was written last.
    written: Option<Stamp>,
}

impl Desk {
    /// A desk that keeps takes as the keeper does.
    pub fn new(keeper: Keeper, channels: usize, rate_hz: u32) -> Self {
        let (judging, to_judge) = channel::<Order>();
        let (keeping, to_keep) = channel::<Work>();
        let (outgoing, answers) = channel();
        let verdicts = outgoing.clone();
        let judge = std::thread::spawn(move || {
            let mut estimator = Estimator::default();
            for order in to_judge {
                // A session that has ended wants no answer.
                if let Some(answer) = attend(&order, channels, rate_hz, &mut estimator) {
                    let _ = verdicts.send(answer);
                }
            }
        });
        let keeper = std::thread::spawn(move || keep_all(keeper, &to_keep, &outgoing, channels, rate_hz));
        Self { judging, keeping, answers, judge, keeper }
    }

    pub fn order(&self, order: Order) {
        // Both threads live as long as the desk.
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
        !self.keeper.is_finished()
    }

    pub fn answers(&self) -> Vec<Answer> {
        self.answers.try_iter().collect()
    }

    /// Finishes all that was ordered; gives the takes that were kept.
    pub fn close(self) -> Takes {
        drop((self.judging, self.keeping));
        let _ = self.judge.join();
        self.keeper.join().unwrap_or_default()
    }
}

/// Keeps takes and estimates them until nothing more is ordered. What cannot be kept is tried again and again, and a last time at the
/// end.
fn keep_all(
    mut keeper: Keeper,
    work: &Receiver<Work>,
    answers: &Sender<Answer>,
    channels: usize,
    rate_hz: u32,
) -> Takes {
    let mut estimator = Estimator::default();
    let mut tried = Instant::now();
    // A session that has ended wants no answer.
    let told = |(taps, trouble): (usize, Option<String>)| drop(answers.send(Answer::Kept { taps, trouble }));
    loop {
        let next = match keeper.holds() {
            true => work.recv_timeout(AGAIN.saturating_sub(tried.elapsed())),
            false => work.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        match next {
            Ok(Work::Order(order)) => {
                if let Order::Grown { step, taps, sound, .. } = &order {
                    told((*taps, keeper.keep(*step, *taps, sound.clone())));
                    tried = Instant::now();
                }
                if let Some(answer) = attend(&order, channels, rate_hz, &mut estimator) {
                    let _ = answers.send(answer);
                }
            }
            Ok(Work::Elsewhere) => {
                keeper.go_elsewhere();
                keeper.try_again().into_iter().for_each(&told);
                tried = Instant::now();
            }
            Ok(Work::Again) | Err(RecvTimeoutError::Timeout) => {
                keeper.try_again().into_iter().for_each(&told);
                tried = Instant::now();
            }
            Err(RecvTimeoutError::Disconnected) => return keeper.close(),
        }
    }
}

/// Writes a take whole: a new file for a step's first tap, in its place from then on.
#[expect(clippy::too_many_arguments, reason = "what a take is, where it goes, and how")]
pub fn keep(
    kept: &mut Vec<Kept>,
    folders: &[PathBuf],
    step: usize,
    taps: usize,
    sound: &[f32],
    channels: usize,
    rate_hz: u32,
    store: &mut Store,
) -> Option<String> {
    let bytes = match wav_bytes(sound, channels as u16, rate_hz, WavSamples::Float) {
        Ok(bytes) => bytes,
        Err(error) => return Some(format!("the take cannot be made into a WAV file: {error}")),
    };
    let place = kept.iter().position(|k| k.step == step).unwrap_or_else(|| {
        kept.push(Kept { step, path: next_take(&folders[step]), taps: 0, trouble: None, written: None });
        kept.len() - 1
    });
    let take = &mut kept[place];
    // Only what was written here is written over: between two taps somebody else may have laid another file there.
    let own = take.written.is_some() && take.written == Stamp::of(&take.path);
    let mut result = store(&take.path, &bytes, own);
    for _ in 0..20 {
        // Somebody else may have taken the name meanwhile; theirs stays.
        if !matches!(result, Err(SaveError::Exists(_))) {
            break;
        }
        take.path = next_take(&folders[step]);
        result = store(&take.path, &bytes, false);
    }
    take.trouble = result.err().map(|e| why(&e));
    if take.trouble.is_none() {
        take.taps = taps;
        take.written = Stamp::of(&take.path);
    }
    take.trouble.clone()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file that somebody else lays at a take's name between two taps stays; the take goes on beside it.
    #[test]
    fn a_file_that_is_not_ours_stays() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (folders, mut kept) = ([folder.path().to_owned()], Vec::new());
        let mut store: Store = Box::new(crate::files::save);
        let mut tap = |taps: usize| keep(&mut kept, &folders, 0, taps, &vec![0.1; 100 * taps], 1, 48_000, &mut store);
        let path = |name: &str| folder.path().join(name);
        assert_eq!((tap(1), tap(2)), (None, None));
        assert!(path("take-01.wav").exists() && !path("take-02.wav").exists(), "a take grows in its place");
        std::fs::remove_file(path("take-01.wav")).expect("it is there");
        std::fs::write(path("take-01.wav"), "theirs").expect("it can be written");
        assert_eq!((tap(3), tap(4)), (None, None));
        assert_eq!(std::fs::read(path("take-01.wav")).ok().as_deref(), Some(&b"theirs"[..]));
        assert!(path("take-02.wav").exists() && !path("take-03.wav").exists());
        assert_eq!((kept[0].path.clone(), kept[0].taps), (path("take-02.wav"), 4));
    }
}
