//! Writing files so that nothing is lost: a temporary file beside the target, synced, then renamed over it.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::read::odd_kind;

/// Why a report could not be saved.
#[derive(Debug, thiserror::Error)]
pub enum SaveError {
    #[error("{path}: exists already, and is not replaced unless that is asked for. Choose another name", path = .0.display())]
    Exists(PathBuf),
    #[error(
        "{path}: is one of the inputs ({input}), and no input is replaced. Choose another name",
        path = .path.display(), input = .input.display()
    )]
    IsInput { path: PathBuf, input: PathBuf },
    #[error("{path}: is named twice for what is written. Give each its own name", path = .0.display())]
    Twice(PathBuf),
    #[error("{path}: is {what}, and would be replaced by a file. Choose another name", path = .path.display())]
    NotRegular { path: PathBuf, what: &'static str },
    #[error(
        "{link}: is a link that leads out of {bench}; nothing is written or removed through it. Put a real file or folder in its \
         place, or remove it",
        link = .link.display(), bench = .bench.display()
    )]
    LeadsOut { link: PathBuf, bench: PathBuf },
    #[error("{path}: cannot be written: {source}. Check the folder's permissions and the free space", path = .path.display())]
    Write { path: PathBuf, source: std::io::Error },
}

/// Folders that may be new with a file: its station's, stage's, part's, that of all recordings, and the bench's.
#[cfg(unix)]
const FOLDERS_ABOVE: usize = 5;
/// How temporary files begin: a program that was killed leaves one behind.
const TEMPORARY: &str = ".ringwright-";
/// A temporary file of this age belongs to nobody any more.
const FORGOTTEN: std::time::Duration = std::time::Duration::from_secs(3600);

/// Removes temporary files that a killed program left in a folder.
pub fn clear_forgotten(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let ours = entry.file_name().to_string_lossy().starts_with(TEMPORARY);
        let age = entry.metadata().and_then(|m| m.modified()).ok().and_then(|m| m.elapsed().ok());
        if ours && age.is_some_and(|a| a > FORGOTTEN) {
            // What stays behind takes room, no more.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// That what lies at a path, if anything, is a file: a device or a pipe would be gone.
pub fn unfit(path: &Path) -> Result<(), SaveError> {
    match std::fs::metadata(path).ok().and_then(|found| odd_kind(&found)) {
        Some(what) => Err(SaveError::NotRegular { path: path.to_owned(), what }),
        None => Ok(()),
    }
}

/// Saves as [`save`] does, and sees to it that the file's name is on disk too, and its folder's.
///
/// # Errors
/// `Exists`, `Write`; what was there before is unharmed, but that the new file may be there already.
pub fn save_synced(path: &Path, bytes: &[u8], replace: bool) -> Result<(), SaveError> {
    save(path, bytes, replace)?;
    #[cfg(unix)]
    for folder in path.ancestors().skip(1).take(FOLDERS_ABOVE) {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let synced = std::fs::File::open(folder).and_then(|f| f.sync_all());
        // Some file systems keep names without being asked, and refuse to be; a folder higher up may be none of ours to read.
        let refused = |e: &std::io::Error| {
            use std::io::ErrorKind::{InvalidInput, PermissionDenied, Unsupported};
            matches!(e.kind(), InvalidInput | PermissionDenied | Unsupported)
        };
        if let Err(source) = synced
            && !refused(&source)
        {
            return Err(SaveError::Write { path: path.to_owned(), source });
        }
    }
    Ok(())
}

/// Saves bytes whole or not at all; an existing file is replaced only if `replace`.
///
/// # Errors
/// `Exists`, `NotRegular`, `Write`; in all cases what was there before is unharmed.
pub fn save(path: &Path, bytes: &[u8], replace: bool) -> Result<(), SaveError> {
    save_with(path, replace, |file| {
        file.write_all(bytes).map_err(|source| SaveError::Write { path: path.to_owned(), source })
    })
}

/// Saves as [`save`] does what a function writes.
///
/// # Errors
/// As [`save`], and the function's own.
pub fn save_with<E: From<SaveError>>(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&mut std::fs::File) -> Result<(), E>,
) -> Result<(), E> {
    let failed = |source: std::io::Error| SaveError::Write { path: path.to_owned(), source };
    if !replace && path.exists() {
        return Err(SaveError::Exists(path.to_owned()).into());
    }
    unfit(path)?;
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(folder).map_err(failed)?;
    let mut file = tempfile::Builder::new().prefix(TEMPORARY).tempfile_in(folder).map_err(failed)?;
    write(file.as_file_mut())?;
    file.as_file().sync_all().map_err(failed)?;
    // Temporary files are private; a report is as readable as any other file.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644)).map_err(failed)?;
    }
    if replace {
        file.persist(path).map_err(|e| failed(e.error))?;
    } else {
        file.persist_noclobber(path).map_err(|e| failed(e.error))?;
    }
    Ok(())
}
