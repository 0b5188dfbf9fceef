//! One file to share: `bench.toml` and the recordings of a bench as they are, and a manifest, in a tar archive.
//!
//! POSIX tar (IEEE Std 1003.1, ustar; GNU long names where a name needs more than 100 letters): every system has a reader for it, and
//! recordings do not compress. The same bench gives the same bytes: names in order, times and owners left out. No link is followed.

use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::folder::is_recording;
use crate::files::{ReadError, SaveError, Stamp, open_recording};

/// The folder that everything lies in within the archive.
const TOP: &str = "reference-set";
pub const MANIFEST: &str = "manifest.json";
/// Deeper folders than this hold no takes.
const DEEPEST: usize = 8;

/// A file that goes into the archive.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    pub path: PathBuf,
    /// Below the bench, with slashes.
    pub name: String,
}

/// A file as it was packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packed {
    pub name: String,
    pub bytes: u64,
    pub sha256: String,
}

/// Something in the bench that is not packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    Link,
    NotRegular,
    NotText,
    Unreadable,
}

impl LeftOut {
    /// Stable short code.
    pub fn code(self) -> &'static str {
        match self {
            Self::Link => "link",
            Self::NotRegular => "not_regular",
            Self::NotText => "name_not_text",
            Self::Unreadable => "unreadable",
        }
    }

    pub fn sentence(self) -> &'static str {
        match self {
            Self::Link => "is a link, and no link is followed. Put the file itself there",
            Self::NotRegular => "is no regular file",
            Self::NotText => "has a name that is no text. Rename it",
            Self::Unreadable => "cannot be read. Check its permissions",
        }
    }
}

/// What of a bench goes into an archive, by name, and what does not.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Contents {
    pub members: Vec<Member>,
    pub left_out: Vec<(PathBuf, LeftOut)>,
}

/// Why an archive was not made.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    #[error("{path}: {source}", path = .path.display())]
    Read { path: PathBuf, source: ReadError },
    #[error("{path}: changed while it was packed. Pack again", path = .0.display())]
    Changed(PathBuf),
    #[error(transparent)]
    Save(#[from] SaveError),
    #[error("{0}")]
    Write(#[from] std::io::Error),
}

/// The recordings of a bench and its `bench.toml`: regular files that can be read, none of them by way of a link.
pub fn contents(bench: &Path) -> Contents {
    let mut all = Contents::default();
    visit(&bench.join("bench.toml"), "bench.toml".into(), 0, &mut all);
    visit(&bench.join("recordings"), "recordings".into(), 0, &mut all);
    all.members.sort_by(|a, b| a.name.cmp(&b.name));
    all.left_out.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

fn visit(path: &Path, name: String, depth: usize, all: &mut Contents) {
    let mut leave = |why| all.left_out.push((path.to_owned(), why));
    let Ok(found) = std::fs::symlink_metadata(path) else { return };
    if found.is_symlink() {
        return leave(LeftOut::Link);
    }
    if found.is_file() {
        return match File::open(path) {
            Ok(_) => all.members.push(Member { path: path.to_owned(), name }),
            Err(_) => leave(LeftOut::Unreadable),
        };
    }
    if !found.is_dir() || depth > DEEPEST {
        return leave(LeftOut::NotRegular);
    }
    let Ok(entries) = std::fs::read_dir(path) else { return leave(LeftOut::Unreadable) };
    for entry in entries.flatten() {
        let own = entry.file_name();
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        let is_link = entry.file_type().is_ok_and(|t| t.is_symlink());
        if own.as_encoded_bytes().starts_with(b".") || !is_folder && !is_link && !is_recording(&entry.path()) {
            continue;
        }
        match own.to_str() {
            Some(own) => visit(&entry.path(), format!("{name}/{own}"), depth + 1, all),
            None => all.left_out.push((entry.path(), LeftOut::NotText)),
        }
    }
}

/// Reads through to a digest.
struct Hashing<R> {
    from: R,
    digest: Sha256,
    bytes: u64,
}

impl<R: Read> Read for Hashing<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let n = self.from.read(into)?;
        self.digest.update(&into[..n]);
        self.bytes += n as u64;
        Ok(n)
    }
}

fn header(bytes: u64) -> tar::Header {
    let mut header = tar::Header::new_gnu();
    header.set_size(bytes);
    header.set_mode(0o644);
    header.set_mtime(0);
    header.set_uid(0);
    header.set_gid(0);
    header
}

/// Writes the members, in their order, and last the manifest that is made of them.
///
/// # Errors
/// `Read`, `Changed`, `Write`.
pub fn write_archive(
    out: &mut impl Write,
    members: &[Member],
    manifest: impl FnOnce(&[Packed]) -> String,
) -> Result<(), ArchiveError> {
    let mut archive = tar::Builder::new(out);
    let mut all = Vec::new();
    for Member { path, name } in members {
        let changed = || ArchiveError::Changed(path.clone());
        let before = Stamp::of(path).ok_or_else(changed)?;
        let file = open_recording(path).map_err(|source| ArchiveError::Read { path: path.clone(), source })?;
        let bytes = file.metadata()?.len();
        let mut read = Hashing { from: file.take(bytes), digest: Sha256::new(), bytes: 0 };
        archive.append_data(&mut header(bytes), format!("{TOP}/{name}"), &mut read)?;
        if read.bytes != bytes || Stamp::of(path) != Some(before) {
            return Err(changed());
        }
        let sha256 = read.digest.finalize().iter().map(|b| format!("{b:02x}")).collect();
        all.push(Packed { name: name.clone(), bytes, sha256 });
    }
    let manifest = manifest(&all);
    archive.append_data(&mut header(manifest.len() as u64), format!("{TOP}/{MANIFEST}"), manifest.as_bytes())?;
    archive.finish()?;
    Ok(())
}
