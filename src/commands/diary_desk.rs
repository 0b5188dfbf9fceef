//! Where a diary is written: one writer at a time, and everything below the bench's own reports.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::bail;

use super::bench_takes::{Wanted, measure_all};
use super::inputs::gather;
use super::take::{MeasuredTake, Pages};
use crate::bench::{Found, Kept};
use crate::files::{Outlet, clear_forgotten};

/// What the pages say, and whether progress is shown.
pub struct DeskOptions {
    pub remark: Option<String>,
    pub hide_progress: bool,
}

/// Where a diary is written, by nobody else at the time.
pub struct Desk<'a> {
    pub folder: &'a Path,
    pub reports: PathBuf,
    pub kept: Kept,
    /// The way in which everything is written.
    pub outlet: Outlet,
    /// A line for the pages, such as "simulated".
    pub remark: Option<String>,
    hide_progress: bool,
    /// Held while the diary is written.
    _lock: File,
}

impl<'a> Desk<'a> {
    pub fn open(folder: &'a Path, options: &DeskOptions, found: Option<&Found>) -> anyhow::Result<Self> {
        match found {
            Some(found) if found.stations.is_empty() => {
                bail!("{}: no recording where one belongs. {}", folder.display(), found.problems.join("; "));
            }
            None if gather(&[folder.to_owned()]).iter().all(Result::is_err) => bail!(
                "{}: has no bench.toml and no recordings. `ringwright diary --new FOLDER` makes a bench",
                folder.display()
            ),
            _ => {}
        }
        let reports = folder.join("reports");
        let kept = reports.join("kept");
        let outlet = Outlet::of_bench(folder).and([folder.join("bench.toml")]);
        outlet.make_folder(&kept)?;
        let lock = outlet.lock_file(&reports.join(".writing"))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                bail!("{}: another ringwright is writing this diary. Wait until it is done", reports.display())
            }
            // Some network drives know no locks: then it is the user who must not start two.
            Err(TryLockError::Error(_)) => {}
        }
        clear_forgotten(&reports);
        clear_forgotten(&kept);
        Ok(Self {
            folder,
            remark: options.remark.clone(),
            kept: Kept::new(kept, outlet.clone()),
            outlet,
            reports,
            hide_progress: options.hide_progress,
            _lock: lock,
        })
    }

    /// Measures takes and gives them with what went wrong.
    pub fn measure(&self, wanted: &[Wanted]) -> (Vec<MeasuredTake>, Vec<String>) {
        let (remark, troubles) = (self.remark.as_deref(), Mutex::default());
        let pages = Pages { outlet: &self.outlet, remark, replace: true, troubles };
        measure_all(wanted, &self.kept, pages, self.hide_progress)
    }

    /// A file's name as the diary calls it, wherever the folder lies.
    pub fn name_of(&self, file: &Path) -> String {
        file.strip_prefix(self.folder).unwrap_or(file).display().to_string()
    }

    /// The page of a take: `PART-STAGE-STATION-take-01.wav.png`, below `from`.
    pub fn page_of(&self, file: &Path, from: &Path) -> PathBuf {
        let inside = file.strip_prefix(from).unwrap_or(file);
        let names: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
        self.reports.join(format!("{}.png", names.join("-")))
    }
}

/// The name of a page without its folder.
pub fn file_name(page: &Path) -> String {
    page.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
}
