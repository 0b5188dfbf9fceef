//! All takes of a folder measured, those that have not changed since the last time taken from what was kept.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::inputs::Input;
use super::measure::progress_bar;
use super::take::{MeasuredTake, Pages, measure_named, shapes_page};
use crate::analysis::Options;
use crate::bench::Kept;
use crate::files::{MOST_REPORT_BYTES, read_bytes};
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
struct KeptTake<T> {
    take: T,
    pages: Vec<(String, String)>,
}

/// Measures takes in parallel and draws their pages; what is known already is read from `kept`.
///
/// Gives the takes in their order, and what went wrong beside the takes' own errors.
pub fn measure_all(
    wanted: &[Wanted],
    kept: &Kept,
    pages: Pages<'_>,
    hide_progress: bool,
) -> (Vec<MeasuredTake>, Vec<String>) {
    let bar = progress_bar(wanted.len(), hide_progress);
    let one = |estimator: &mut Estimator, wanted: &Wanted| {
        let options = Options { part: wanted.part.clone(), ..Options::default() };
        let fingerprint = fingerprint(wanted, &options, pages.remark);
        let known = fingerprint.as_ref().and_then(|f| read(kept, f, &wanted.page));
        let take = known.unwrap_or_else(|| {
            let take = measure_named(&wanted.input, wanted.name.clone(), &options, estimator);
            pages.draw(&take.take, &wanted.page);
            // One that failed is tried again: the reason may lie outside the file.
            if let (Some(fingerprint), None) = (&fingerprint, &take.take.problem) {
                keep(kept, &pages, fingerprint, &take, &wanted.page);
            }
            take
        });
        bar.inc(1);
        take
    };
    let takes = wanted.par_iter().map_init(Estimator::default, one).collect();
    bar.finish_and_clear();
    (takes, pages.troubles.into_inner().unwrap_or_default())
}

fn fingerprint(wanted: &Wanted, options: &Options, remark: Option<&str>) -> Option<String> {
    let path = wanted.input.as_ref().ok()?;
    let (options, remark) = (format!("{options:?}"), format!("{remark:?}"));
    let page = wanted.page.file_name()?.to_string_lossy().into_owned();
    Kept::fingerprint(path, &[&wanted.name, &page, &options, &remark])
}

fn read(kept: &Kept, fingerprint: &str, page: &Path) -> Option<MeasuredTake> {
    let known: KeptTake<MeasuredTake> = serde_json::from_str(&kept.read(fingerprint)?).ok()?;
    let same = |(name, print): &(String, String)| {
        read_bytes(&page.with_file_name(name), MOST_REPORT_BYTES).is_ok_and(|bytes| Kept::of_bytes(&bytes) == *print)
    };
    known.pages.iter().all(same).then_some(known.take)
}

fn keep(kept: &Kept, pages: &Pages<'_>, fingerprint: &str, take: &MeasuredTake, page: &Path) {
    let print = |page: PathBuf| {
        let bytes = read_bytes(&page, MOST_REPORT_BYTES).ok()?;
        Some((page.file_name()?.to_string_lossy().into_owned(), Kept::of_bytes(&bytes)))
    };
    // Without its page a take is not done with.
    let Some(own) = print(page.to_owned()) else { return };
    let shapes = take.take.part.is_some().then(|| print(shapes_page(page))).flatten();
    let known = KeptTake { take, pages: std::iter::once(own).chain(shapes).collect() };
    let saved = serde_json::to_vec(&known)
        .map_err(|e| e.to_string())
        .and_then(|bytes| pages.outlet.save(&kept.path(fingerprint), &bytes, true).map_err(|e| e.to_string()));
    if let Err(why) = saved {
        pages.say(format!("{}: is measured, but could not be kept for the next time: {why}", take.take.file));
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
