//! All takes of a folder measured, those that have not changed since the last time taken from what was kept.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::inputs::Input;
use super::measure::{ReportArguments, progress_bar};
use super::take::{Job, MeasuredTake, Plan, measure_take, path_of, shapes_page};
use crate::bench::Kept;
use crate::files::{MOST_REPORT_BYTES, Outlet, read_bytes};
use crate::modes::Estimator;
use crate::part::PartDescription;

/// A take to measure.
pub struct Wanted {
    pub input: Input,
    /// What it is called in the reports.
    pub name: String,
    pub page: PathBuf,
    pub part: Option<PartDescription>,
}

/// A take as it is kept: with its pages' fingerprints, so that a page that was changed or lost is drawn again.
#[derive(Serialize, Deserialize)]
struct KeptTake {
    take: MeasuredTake,
    pages: Vec<(String, String)>,
}

/// Measures takes in parallel and draws their pages; what is known already is read from `kept`.
///
/// Gives the takes in their order, and what went wrong beside the takes' own errors.
pub fn measure_all(
    wanted: &[Wanted],
    (kept, outlet): (&Kept, &Outlet),
    report: &ReportArguments,
    hide_progress: bool,
) -> (Vec<MeasuredTake>, Vec<String>) {
    let troubles = Mutex::new(Vec::new());
    let bar = progress_bar(wanted.len(), hide_progress);
    let one = |estimator: &mut Estimator, wanted: &Wanted| {
        let plan = Plan { part: wanted.part.clone(), ..Plan::default() };
        let fingerprint = fingerprint(wanted, &plan, report);
        let known = fingerprint.as_ref().and_then(|f| read(kept, f, &wanted.page));
        let take = known.unwrap_or_else(|| {
            let job = Job { input: &wanted.input, name: wanted.name.clone(), page: Some(&wanted.page), outlet };
            let take = measure_take(&job, &plan, estimator, report, &troubles);
            // One that failed is tried again: the reason may lie outside the file.
            if let (Some(fingerprint), None) = (&fingerprint, &take.entry.error) {
                keep((kept, outlet), fingerprint, &take, &wanted.page, &troubles);
            }
            take
        });
        bar.inc(1);
        take
    };
    let takes = wanted.par_iter().map_init(Estimator::default, one).collect();
    bar.finish_and_clear();
    (takes, troubles.into_inner().unwrap_or_default())
}

fn fingerprint(wanted: &Wanted, plan: &Plan, report: &ReportArguments) -> Option<String> {
    let path = wanted.input.as_ref().ok()?;
    let (plan, remark) = (format!("{plan:?}"), format!("{:?}", report.remark));
    let page = wanted.page.file_name()?.to_string_lossy().into_owned();
    Kept::fingerprint(path, &[&wanted.name, &page, &plan, &remark])
}

fn read(kept: &Kept, fingerprint: &str, page: &Path) -> Option<MeasuredTake> {
    let known: KeptTake = serde_json::from_str(&kept.read(fingerprint)?).ok()?;
    let same = |(name, print): &(String, String)| {
        read_bytes(&page.with_file_name(name), MOST_REPORT_BYTES).is_ok_and(|bytes| Kept::of_bytes(&bytes) == *print)
    };
    known.pages.iter().all(same).then(|| known.take.restored())
}

fn keep(
    (kept, outlet): (&Kept, &Outlet),
    fingerprint: &str,
    take: &MeasuredTake,
    page: &Path,
    troubles: &Mutex<Vec<String>>,
) {
    let print = |page: PathBuf| {
        let bytes = read_bytes(&page, MOST_REPORT_BYTES).ok()?;
        Some((page.file_name()?.to_string_lossy().into_owned(), Kept::of_bytes(&bytes)))
    };
    // Without its page a take is not done with.
    let Some(own) = print(page.to_owned()) else { return };
    let shapes = take.entry.part.is_some().then(|| print(shapes_page(page))).flatten();
    let known = KeptTake { take: take.clone(), pages: std::iter::once(own).chain(shapes).collect() };
    let saved = serde_json::to_vec(&known)
        .map_err(|e| e.to_string())
        .and_then(|bytes| outlet.save(&kept.path(fingerprint), &bytes, true).map_err(|e| e.to_string()));
    if let (Err(why), Ok(mut list)) = (saved, troubles.lock()) {
        list.push(format!("{}: is measured, but could not be kept for the next time: {why}", take.entry.file));
    }
}

/// Gives every take a page of its own: `a/b-c.wav` and `a-b/c.wav` would share one.
pub fn part_pages(wanted: &mut [Wanted]) {
    let mut taken = std::collections::HashSet::new();
    for take in wanted {
        if !taken.insert(take.page.clone()) {
            let stem = take.page.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
            let print = Kept::of_bytes(take.name.as_bytes());
            take.page = take.page.with_file_name(format!("{stem}-{}.png", &print[..8]));
            taken.insert(take.page.clone());
        }
    }
}

/// The input's path, whether it can be read or not.
pub fn input_path(wanted: &Wanted) -> &Path {
    path_of(&wanted.input)
}
