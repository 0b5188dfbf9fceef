//! Keeps the takes of a session: in their folders, or, where that fails and the maker wants it, in a rescue folder. What cannot be
//! kept is held until it can.

use std::path::PathBuf;
use std::sync::Arc;

use super::kept_take::{Kept, Store, keep};
use crate::files::save_synced;

/// The takes of a session.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Takes {
    /// Where they belong.
    pub kept: Vec<Kept>,
    /// In the rescue folder: each holds all the taps of its step, those that lie where they belong too.
    pub rescued: Vec<Kept>,
}

impl Takes {
    /// The fullest file of each step that has one.
    pub fn fullest(&self) -> Vec<&Kept> {
        let rescued = |take: &Kept| self.rescued.iter().find(|r| r.step == take.step && r.taps > 0);
        self.kept.iter().filter_map(|k| rescued(k).or((k.taps > 0).then_some(k))).collect()
    }

    /// Takes of which something is on no disk at all.
    pub fn lost(&self) -> impl Iterator<Item = &Kept> {
        self.kept.iter().filter(|k| {
            let rescue = self.rescued.iter().find(|r| r.step == k.step);
            k.trouble.is_some() && rescue.is_none_or(|r| r.trouble.is_some())
        })
    }
}

/// Where takes are kept, and what could not be kept yet.
pub struct Keeper {
    folders: Vec<PathBuf>,
    rescue: PathBuf,
    channels: usize,
    rate_hz: u32,
    store: Store,
    elsewhere: bool,
    takes: Takes,
    held: Option<Held>,
}

/// The take that could not be kept, as it stood last. (A session goes on to the next only when this one is kept.)
struct Held {
    step: usize,
    taps: usize,
    sound: Arc<Vec<f32>>,
}

impl Keeper {
    /// Keeps the takes of each step in its folder (all of which lie below `recordings`), or in the rescue folder.
    pub fn new(folders: Vec<PathBuf>, rescue: PathBuf, channels: usize, rate_hz: u32) -> Self {
        let (elsewhere, takes, held) = (false, Takes::default(), None);
        Self { folders, rescue, channels, rate_hz, store: Box::new(save_synced), elsewhere, takes, held }
    }

    /// Whether something could not be kept yet.
    pub fn holds(&self) -> bool {
        self.held.is_some()
    }

    /// What cannot be kept where it belongs goes to the rescue folder from now on.
    pub fn go_elsewhere(&mut self) {
        self.elsewhere = true;
    }

    /// Keeps a take, or holds it; then says why and what to do.
    pub fn keep(&mut self, step: usize, taps: usize, sound: Arc<Vec<f32>>) -> Option<String> {
        self.held = Some(Held { step, taps, sound });
        self.try_again().and_then(|(_, trouble)| trouble)
    }

    /// Tries to keep what is held: how many taps it has, and the trouble if there still is one.
    pub fn try_again(&mut self) -> Option<(usize, Option<String>)> {
        let held = self.held.take()?;
        let trouble = self.save(&held).map(|why| self.advice(&why, held.taps));
        let answer = (held.taps, trouble);
        if answer.1.is_some() {
            self.held = Some(held);
        }
        Some(answer)
    }

    /// Tries a last time, if need be in the rescue folder; gives the takes.
    pub fn close(&mut self) -> Takes {
        self.try_again();
        self.go_elsewhere();
        self.try_again();
        self.takes.clone()
    }

    fn save(&mut self, held: &Held) -> Option<String> {
        let Held { step, taps, sound } = held;
        let (kept, rescued) = (&mut self.takes.kept, &mut self.takes.rescued);
        let mut trouble = None;
        // A step's take does not come back from the rescue folder: of two files one would be out of date.
        if !rescued.iter().any(|r| r.step == *step) {
            trouble = keep(kept, &self.folders, *step, *taps, sound, self.channels, self.rate_hz, &mut self.store);
            if trouble.is_none() || !self.elsewhere {
                return trouble;
            }
        }
        // PART/STAGE/STATION, as below `recordings`.
        let below = |folder: &PathBuf| {
            let parts: Vec<_> = folder.components().rev().take(3).collect();
            parts.into_iter().rev().fold(self.rescue.clone(), |path, part| path.join(part))
        };
        let folders: Vec<PathBuf> = self.folders.iter().map(below).collect();
        let here = keep(rescued, &folders, *step, *taps, sound, self.channels, self.rate_hz, &mut self.store);
        here.map(|here| trouble.map_or(here.clone(), |trouble| format!("{trouble}; {here}")))
    }

    fn advice(&self, why: &str, taps: usize) -> String {
        let held = if taps == 1 { "1 tap is".to_owned() } else { format!("all {taps} taps are") };
        let other = match self.elsewhere {
            true => String::new(),
            false => format!("; or type f and Enter to keep the takes in {}", self.rescue.display()),
        };
        format!("{why}; {held} held in memory and tried again every 2 s: make room and press Enter{other}")
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicBool, Ordering};

    use std::io::ErrorKind;
    use std::path::Path;

    use super::*;
    use crate::files::{SaveError, save};

    /// A keeper whose bench has no room while `full`, and whose rescue folder has none while `full_too`.
    fn keeper(folder: &Path, full: &Arc<AtomicBool>, full_too: &Arc<AtomicBool>) -> Keeper {
        let folders = vec![folder.join("shop/recordings/rim/plain/waist")];
        let mut keeper = Keeper::new(folders, folder.join("rescue"), 1, 48_000);
        let (full, full_too, rescue) = (full.clone(), full_too.clone(), folder.join("rescue"));
        keeper.store = Box::new(move |path, bytes, replace| {
            let no_room = if path.starts_with(&rescue) { &full_too } else { &full };
            if no_room.load(Ordering::Relaxed) {
                return Err(SaveError::Write { path: path.to_owned(), source: ErrorKind::StorageFull.into() });
            }
            save(path, bytes, replace)
        });
        keeper
    }

    fn frames(path: &Path) -> u32 {
        hound::WavReader::open(path).expect("a WAV file").duration()
    }

    #[test]
    fn a_full_disk_is_tried_again_and_holds_all_taps() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (full, full_too) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(true)));
        let mut keeper = keeper(folder.path(), &full, &full_too);
        assert_eq!(keeper.keep(0, 2, Arc::new(vec![0.1; 200])), None);
        full.store(true, Ordering::Relaxed);
        let told = keeper.keep(0, 3, Arc::new(vec![0.1; 300])).expect("there is no room");
        for part in ["disk full", "all 3 taps are held", "press Enter", "type f and Enter", "rescue"] {
            assert!(told.contains(part), "{part}: {told}");
        }
        assert!(!told.contains("--"), "no option helps now: {told}");
        assert!(keeper.holds() && keeper.try_again().is_some_and(|(taps, trouble)| taps == 3 && trouble.is_some()));
        let take = folder.path().join("shop/recordings/rim/plain/waist/take-01.wav");
        assert_eq!(frames(&take), 200, "what was kept before is unharmed");
        full.store(false, Ordering::Relaxed);
        assert_eq!(keeper.try_again(), Some((3, None)));
        assert!(!keeper.holds() && frames(&take) == 300);
        let takes = keeper.close();
        assert!(takes.rescued.is_empty() && takes.lost().count() == 0 && takes.kept[0].taps == 3);
    }

    #[test]
    fn what_is_held_at_the_end_goes_to_the_rescue_folder() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (full, full_too) = (Arc::new(AtomicBool::new(true)), Arc::new(AtomicBool::new(false)));
        let mut keeper = keeper(folder.path(), &full, &full_too);
        assert!(keeper.keep(0, 2, Arc::new(vec![0.1; 200])).is_some(), "not without being asked");
        let takes = keeper.close();
        assert_eq!((takes.lost().count(), takes.fullest()[0].taps), (0, 2));
        assert_eq!(takes.fullest()[0].path, folder.path().join("rescue/rim/plain/waist/take-01.wav"));
        assert_eq!(frames(&takes.fullest()[0].path), 200);
    }

    #[test]
    fn the_rescue_folder_is_used_when_it_is_asked_for() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (full, full_too) = (Arc::new(AtomicBool::new(true)), Arc::new(AtomicBool::new(false)));
        let mut keeper = keeper(folder.path(), &full, &full_too);
        assert!(keeper.keep(0, 2, Arc::new(vec![0.1; 200])).is_some());
        keeper.go_elsewhere();
        assert_eq!(keeper.try_again(), Some((2, None)));
        // It grows where it is, even when there is room again.
        full.store(false, Ordering::Relaxed);
        assert_eq!(keeper.keep(0, 3, Arc::new(vec![0.1; 300])), None);
        assert_eq!(frames(&folder.path().join("rescue/rim/plain/waist/take-01.wav")), 300);
        full_too.store(true, Ordering::Relaxed);
        assert!(keeper.keep(0, 4, Arc::new(vec![0.1; 400])).is_some());
        assert_eq!(keeper.close().lost().count(), 1);
    }
}
