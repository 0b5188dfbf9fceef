//! The one way in which commands write beside inputs and into a bench: no output is one of the inputs, and nothing is written or
//! removed through a link that leads out of the bench, which may have come from somebody else.

use std::collections::HashMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use super::identity::{Identity, identities, place};
use super::save::{SaveError, save, save_with, unfit};

/// Where a command writes, and what it must not touch there.
#[derive(Debug, Clone, Default)]
pub struct Outlet {
    /// What was read, by everything that it can be known by.
    inputs: HashMap<Identity, PathBuf>,
    /// A bench as it was named, and where it really lies.
    bench: Option<(PathBuf, PathBuf)>,
}

impl Outlet {
    /// For outputs that may lie anywhere but on these inputs. Folders among them are left out: what counts is what lies in them.
    pub fn beside(inputs: impl IntoIterator<Item = impl AsRef<Path>>) -> Self {
        Self::default().and(inputs)
    }

    /// For what belongs into a bench, which need not exist yet. That the bench itself is reached through a link is fine.
    pub fn of_bench(folder: &Path) -> Self {
        let real = folder.canonicalize().unwrap_or_else(|_| place(folder));
        Self { bench: Some((folder.to_owned(), real)), ..Self::default() }
    }

    /// With more inputs.
    pub fn and(mut self, inputs: impl IntoIterator<Item = impl AsRef<Path>>) -> Self {
        for input in inputs {
            let path = input.as_ref();
            if !path.is_dir() {
                self.inputs.extend(identities(path).into_iter().map(|known| (known, path.to_owned())));
            }
        }
        self
    }

    /// Whether a path may be written.
    ///
    /// # Errors
    /// `IsInput`, `LeadsOut`, `NotRegular`.
    pub fn check(&self, path: &Path) -> Result<(), SaveError> {
        if let Some(input) = identities(path).iter().find_map(|known| self.inputs.get(known)) {
            return Err(SaveError::IsInput { path: path.to_owned(), input: input.to_owned() });
        }
        self.inside(path)?;
        unfit(path)
    }

    /// Whether outputs may be written, each of them and beside each other: asked before any work.
    ///
    /// # Errors
    /// As [`Self::check`]; `Exists` unless they may be replaced, `Twice`.
    pub fn check_all<'a>(&self, paths: impl IntoIterator<Item = &'a PathBuf>, replace: bool) -> Result<(), SaveError> {
        let mut places = Vec::new();
        for path in paths {
            self.check(path)?;
            if path.exists() && !replace {
                return Err(SaveError::Exists(path.to_owned()));
            }
            if places.contains(&place(path)) {
                return Err(SaveError::Twice(path.to_owned()));
            }
            places.push(place(path));
        }
        Ok(())
    }

    /// Saves bytes as [`save`] does, if they may be written.
    ///
    /// # Errors
    /// As [`Self::check`] and [`save`].
    pub fn save(&self, path: &Path, bytes: &[u8], replace: bool) -> Result<(), SaveError> {
        self.check(path)?;
        save(path, bytes, replace)
    }

    /// Saves what a function writes as [`save_with`] does, if it may be written.
    ///
    /// # Errors
    /// As [`Self::check`] and [`save_with`].
    pub fn save_with<E: From<SaveError>>(
        &self,
        path: &Path,
        replace: bool,
        write: impl FnOnce(&mut File) -> Result<(), E>,
    ) -> Result<(), E> {
        self.check(path)?;
        save_with(path, replace, write)
    }

    /// Makes a folder, and those above it.
    ///
    /// # Errors
    /// `LeadsOut`, `Write`.
    pub fn make_folder(&self, path: &Path) -> Result<(), SaveError> {
        self.inside(path)?;
        std::fs::create_dir_all(path).map_err(|source| SaveError::Write { path: path.to_owned(), source })
    }

    /// Opens a file to be locked, made if it is not there; one that is there stays as it is.
    ///
    /// # Errors
    /// As [`Self::check`]; `Write`.
    pub fn lock_file(&self, path: &Path) -> Result<File, SaveError> {
        self.check(path)?;
        let opened = File::options().write(true).create(true).truncate(false).open(path);
        opened.map_err(|source| SaveError::Write { path: path.to_owned(), source })
    }

    /// Removes a file of ours if it can be: what stays behind takes room, no more.
    pub fn remove_file(&self, path: &Path) {
        if self.check(path).is_ok() {
            let _ = std::fs::remove_file(path);
        }
    }

    /// Removes a folder if it is empty.
    pub fn remove_empty_folder(&self, path: &Path) {
        if self.inside(path).is_ok() {
            let _ = std::fs::remove_dir(path);
        }
    }

    /// That no link on the way from the bench to a path leads out of it.
    fn inside(&self, path: &Path) -> Result<(), SaveError> {
        let Some((bench, real)) = &self.bench else { return Ok(()) };
        let Ok(way) = path.strip_prefix(bench) else { return Ok(()) };
        let mut at = bench.clone();
        for name in way {
            at.push(name);
            let is_link = std::fs::symlink_metadata(&at).is_ok_and(|m| m.is_symlink());
            // One that leads nowhere yet would make something there.
            if is_link && !at.canonicalize().is_ok_and(|target| target.starts_with(real)) {
                return Err(SaveError::LeadsOut { link: at, bench: bench.clone() });
            }
        }
        Ok(())
    }
}
