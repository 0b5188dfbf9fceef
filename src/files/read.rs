//! Opening and reading with limits. A pipe would be waited for, a device never ends, and a file of gigabytes where some lines are
//! expected is the wrong file.

use std::fs::{File, Metadata};
use std::io::Read;
use std::path::Path;

/// What people write and draw by hand: `bench.toml`, descriptions of parts, outlines, the record of forecasts. A bench of ten thousand
/// stages takes 3 MB.
pub const MOST_WRITTEN_BYTES: u64 = 8_000_000;
/// What programs write: saved reports (some 20 kB a recording), kept results, pictures.
pub const MOST_REPORT_BYTES: u64 = 100_000_000;
/// A recording. 4 GB is all that a usual WAV file can hold: 3 h of stereo in 32-bit float at 48 kHz. RF64 goes on; 32 GB are a whole day
/// of the same, and no session with taps is longer.
pub const MOST_RECORDING_BYTES: u64 = 34_000_000_000;

/// Why a file is not read, as a sentence about "it".
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    #[error("{0}")]
    Io(#[from] std::io::Error),
    #[error("it is {0}; only regular files are read. Copy what it gives into a file first")]
    NotRegular(&'static str),
    #[error("it holds {}; at most {} are read here. Check that it is the right file", size(*.bytes), size(*.most))]
    TooLarge { bytes: u64, most: u64 },
    #[error("line {line} is not text (UTF-8). Save it as UTF-8, and check that it is the right file")]
    NotText { line: usize },
}

impl ReadError {
    /// Whether there is no such file.
    pub fn is_missing(&self) -> bool {
        matches!(self, Self::Io(error) if error.kind() == std::io::ErrorKind::NotFound)
    }
}

fn size(bytes: u64) -> String {
    match bytes as f64 {
        b if b >= 1e10 => format!("{:.1} GB", 1e-9 * b),
        b if b >= 1e6 => format!("{:.0} MB", 1e-6 * b),
        _ => format!("{bytes} bytes"),
    }
}

/// What something is that is no regular file; `None` for one that is.
pub fn odd_kind(found: &Metadata) -> Option<&'static str> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        let kind = found.file_type();
        let odd = [
            (kind.is_fifo(), "a named pipe"),
            (kind.is_char_device() || kind.is_block_device(), "a device"),
            (kind.is_socket(), "a socket"),
        ];
        if let Some((_, what)) = odd.into_iter().find(|(is, _)| *is) {
            return Some(what);
        }
    }
    match () {
        () if found.is_file() => None,
        () if found.is_dir() => Some("a folder"),
        () => Some("no regular file"),
    }
}

fn check(found: &Metadata, most: u64) -> Result<(), ReadError> {
    if let Some(what) = odd_kind(found) {
        return Err(ReadError::NotRegular(what));
    }
    if found.len() > most { Err(ReadError::TooLarge { bytes: found.len(), most }) } else { Ok(()) }
}

/// Opens a regular file of at most so many bytes.
///
/// # Errors
/// `NotRegular` before anything is opened (opening a pipe waits for its writer), `TooLarge`, `Io`.
pub fn open(path: &Path, most: u64) -> Result<File, ReadError> {
    check(&std::fs::metadata(path)?, most)?;
    let file = File::open(path)?;
    // The path may lead somewhere else by now.
    check(&file.metadata()?, most)?;
    Ok(file)
}

/// Opens a recording.
///
/// # Errors
/// As [`open`].
pub fn open_recording(path: &Path) -> Result<File, ReadError> {
    open(path, MOST_RECORDING_BYTES)
}

/// Reads a file whole.
///
/// # Errors
/// As [`open`]; `TooLarge` also for one that grows while it is read.
pub fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, ReadError> {
    let mut bytes = Vec::new();
    // A length can be wrong, as of what the system makes up when it is read.
    open(path, most)?.take(most + 1).read_to_end(&mut bytes)?;
    match bytes.len() as u64 {
        bytes if bytes > most => Err(ReadError::TooLarge { bytes, most }),
        _ => Ok(bytes),
    }
}

/// Reads a text file whole.
///
/// # Errors
/// As [`read_bytes`]; `NotText`.
pub fn read_text(path: &Path, most: u64) -> Result<String, ReadError> {
    String::from_utf8(read_bytes(path, most)?).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        ReadError::NotText { line: 1 + good.iter().filter(|b| **b == b'\n').count() }
    })
}
