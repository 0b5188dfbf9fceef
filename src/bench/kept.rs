//! Results kept beside the reports, so that what has not changed is not measured again.
//!
//! A result is found by a fingerprint of everything that went into it: the recording's bytes, how it was read, and the
//! sources of this program. A result that cannot be read is no result.

use std::collections::HashSet;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use sha2::{Digest, Sha256};

use crate::files::{MOST_REPORT_BYTES, Outlet, open_recording, read_text};

/// Letters of a fingerprint, 128 bits: the chance that two of a million recordings share them is 1e-27.
const FINGERPRINT: usize = 32;
/// The sources of the program that is running.
const SOURCES: &str = env!("RINGWRIGHT_SOURCES");

/// A folder of kept results.
#[derive(Debug)]
pub struct Kept {
    folder: PathBuf,
    outlet: Outlet,
    used: Mutex<HashSet<String>>,
}

impl Kept {
    pub(crate) fn new(folder: PathBuf, outlet: Outlet) -> Self {
        Self { folder, outlet, used: Mutex::default() }
    }

    /// The fingerprint of a recording and whatever else decides its result; `None` if it cannot be read.
    pub fn fingerprint(recording: &Path, else_: &[&str]) -> Option<String> {
        let mut digest = Sha256::new();
        for text in [SOURCES].iter().chain(else_) {
            digest.update((text.len() as u64).to_le_bytes());
            digest.update(text.as_bytes());
        }
        let mut file = open_recording(recording).ok()?;
        let mut buffer = vec![0u8; 1 << 16];
        loop {
            match file.read(&mut buffer) {
                Ok(0) => return Some(hexadecimal(&digest.finalize())),
                Ok(count) => digest.update(&buffer[..count]),
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(_) => return None,
            }
        }
    }

    /// The fingerprint of some bytes.
    pub fn of_bytes(bytes: &[u8]) -> String {
        hexadecimal(&Sha256::digest(bytes))
    }

    /// Where the result with a fingerprint lies or belongs.
    pub fn path(&self, fingerprint: &str) -> PathBuf {
        self.folder.join(format!("{fingerprint}.json"))
    }

    /// The text of a result, and a mark that it is still wanted.
    pub fn read(&self, fingerprint: &str) -> Option<String> {
        if let Ok(mut used) = self.used.lock() {
            used.insert(fingerprint.to_owned());
        }
        read_text(&self.path(fingerprint), MOST_REPORT_BYTES).ok()
    }

    /// Removes the results that were not asked for: their recordings have changed or are gone.
    pub fn forget_unused(&self) {
        let Ok(used) = self.used.lock() else { return };
        for entry in std::fs::read_dir(&self.folder).into_iter().flatten().flatten() {
            let path = entry.path();
            let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
            // Whatever else somebody laid there is not ours.
            let ours = name.len() == FINGERPRINT && name.bytes().all(|b| b.is_ascii_hexdigit());
            if ours && path.extension().is_some_and(|e| e == "json") && !used.contains(&name) {
                self.outlet.remove_file(&path);
            }
        }
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().take(FINGERPRINT / 2).map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fingerprint_changes_with_everything_in_it() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("a.wav");
        std::fs::write(&file, b"sound").expect("it can be written");
        let print = |else_: &[&str]| Kept::fingerprint(&file, else_).expect("it can be read");
        let first = print(&["a", "b"]);
        assert_eq!(first, print(&["a", "b"]));
        assert!(first != print(&["ab", ""]) && first != print(&["a"]));
        std::fs::write(&file, b"sounds").expect("it can be written");
        assert_ne!(first, print(&["a", "b"]));
        assert!(Kept::fingerprint(&folder.path().join("gone"), &[]).is_none());
        // FIPS 180-4's example "abc": ba7816bf 8f01cfea 414140de 5dae2223 ...
        assert_eq!(Kept::of_bytes(b"abc"), "ba7816bf8f01cfea414140de5dae2223");
    }

    #[test]
    fn unused_results_are_forgotten() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let kept = Kept::new(folder.path().to_owned(), Outlet::default());
        let (used, old) = (Kept::of_bytes(b"used"), Kept::of_bytes(b"old"));
        for name in [&used, &old, "mine"] {
            std::fs::write(kept.path(name), "{}").expect("it can be written");
        }
        std::fs::write(folder.path().join("mine.txt"), "x").expect("it can be written");
        assert_eq!(kept.read(&used).as_deref(), Some("{}"));
        assert_eq!(kept.read("new"), None);
        kept.forget_unused();
        assert!(kept.path(&used).exists() && !kept.path(&old).exists());
        assert!(kept.path("mine").exists() && folder.path().join("mine.txt").exists());
    }
}
