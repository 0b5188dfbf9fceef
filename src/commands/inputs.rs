//! From the paths that were typed to the list of sound files.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use crate::bench::{RECORDING_ENDINGS, is_recording};

/// A file to measure, or why a path gives none.
pub type Input = Result<PathBuf, (PathBuf, String)>;

/// The input's path, whether it can be read or not.
pub fn path_of(input: &Input) -> &Path {
    match input {
        Ok(path) | Err((path, _)) => path,
    }
}

/// All sound files under some paths: files as they are, folders recursively and by name. Every path answers with at least
/// one entry.
pub fn gather(paths: &[PathBuf]) -> Vec<Input> {
    let mut inputs = Vec::new();
    for path in paths {
        if path.is_dir() {
            let mut seen = HashSet::new();
            let before = inputs.len();
            folder(path, &mut seen, &mut inputs);
            if inputs.len() == before {
                let what = "no sound file in this folder or below it. Recordings are recognised by their ending: ";
                inputs.push(Err((path.clone(), format!("{what}{}", RECORDING_ENDINGS.join(", ")))));
            }
        } else {
            inputs.push(Ok(path.clone()));
        }
    }
    inputs
}

fn folder(path: &Path, seen: &mut HashSet<PathBuf>, inputs: &mut Vec<Input>) {
    // A link that leads back to a folder on the way would never end.
    if let Ok(real) = path.canonicalize()
        && !seen.insert(real)
    {
        return;
    }
    let entries = match std::fs::read_dir(path) {
        Ok(entries) => entries,
        Err(error) => {
            inputs.push(Err((path.to_owned(), format!("cannot be read: {error}. Check the folder's permissions"))));
            return;
        }
    };
    let mut children: Vec<PathBuf> = entries.filter_map(|e| e.ok().map(|e| e.path())).collect();
    children.sort();
    for child in children {
        let hidden = child.file_name().is_some_and(|n| n.as_encoded_bytes().starts_with(b"."));
        if hidden {
            continue;
        }
        if child.is_dir() {
            folder(&child, seen, inputs);
        } else if is_recording(&child) {
            inputs.push(Ok(child));
        }
    }
}
