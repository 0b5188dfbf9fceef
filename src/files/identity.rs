//! Which file a path means, and whether it is still the one that was written.

use std::fs::Metadata;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// A file, whatever path leads to it. On Unix its device and number, so that hard links are one file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Identity {
    #[cfg(unix)]
    Number(u64, u64),
    Path(PathBuf),
}

#[cfg(unix)]
fn number(of: &Metadata) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    Some(Identity::Number(of.dev(), of.ino()))
}

#[cfg(not(unix))]
fn number(_: &Metadata) -> Option<Identity> {
    None
}

/// Everything by which the file at a path can be known, links followed; empty if there is none.
pub fn identities(path: &Path) -> Vec<Identity> {
    let real = path.canonicalize().ok().map(Identity::Path);
    let numbered = std::fs::metadata(path).ok().and_then(|m| number(&m));
    real.into_iter().chain(numbered).collect()
}

/// Where a file lies or will lie: its folder without links, and its own name.
pub fn place(path: &Path) -> PathBuf {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    match (folder.canonicalize(), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => path.to_owned(),
    }
}

/// When a file was last written, in seconds since the beginning of 1970.
pub fn written_s(path: &Path) -> Option<f64> {
    let changed = std::fs::metadata(path).ok()?.modified().ok()?;
    Some(changed.duration_since(SystemTime::UNIX_EPOCH).ok()?.as_secs_f64())
}

/// A file as it was when it was written: by this one knows whether somebody else has put another in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Stamp {
    number: Option<Identity>,
    bytes: u64,
    changed: Option<SystemTime>,
}

impl Stamp {
    /// Of the file (or link) at a path; `None` if there is none.
    pub fn of(path: &Path) -> Option<Self> {
        let found = std::fs::symlink_metadata(path).ok()?;
        Some(Self { number: number(&found), bytes: found.len(), changed: found.modified().ok() })
    }
}
