//! A take on disk, written whole each time it grows.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use crate::bench::next_take;
use crate::files::{SaveError, Stamp};
use crate::sound::{WavSamples, wav_bytes};

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

/// Writes a file whole or not at all and syncs it; an existing one is replaced only if that is said.
pub type Store = Box<dyn FnMut(&Path, &[u8], bool) -> Result<(), SaveError> + Send>;

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

/// Why a file could not be written.
fn why(error: &SaveError) -> String {
    match error {
        SaveError::Exists(path) => format!("{}: another file has this name", path.display()),
        SaveError::Write { path, source } => match source.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => format!("disk full ({})", path.display()),
            _ => format!("{}: cannot be written: {source}", path.display()),
        },
        other => other.to_string(),
    }
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
