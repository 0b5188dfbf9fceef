//! `ringwright diary`: a whole bench folder, measured, compared and written up.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;

use super::bench_takes::{Wanted, part_pages};
use super::diary_desk::{Desk, DeskOptions, file_name};
use super::diary_parts::Diary;
use super::forecast_record::{RECORD_FILE, record_csv};
use super::inputs::{Input, gather, path_of};
use super::{Outcome, print, tell};
use crate::analysis::Take;
use crate::bench::{Bench, Found, NEW_BENCH, find};
use crate::files::{MOST_REPORT_BYTES, MOST_WRITTEN_BYTES, Outlet, read_bytes, read_text};
use crate::report::{Document, IndexInput, IndexPart, IndexPicture, IndexSection, MOST_BYTES, index_html, to_csv};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright diary --new my-shop        make a bench folder: bench.toml and recordings/
  ringwright diary --check my-shop      say what does not fit, change nothing
  ringwright diary my-shop              measure and compare everything; reports/index.html shows it
  ringwright diary phone-recordings     a folder without bench.toml: every take measured, one page

Takes lie in recordings/PART/STAGE/STATION/take-01.wav, those with 5 g stuck on in STATION+5g/.
Recordings and bench.toml are never changed; reports/ can always be made again. What has not
changed since the last time is not measured again (reports/kept/).
Exit codes: 0 done; 1 done, but something does not fit or could not be measured (each is listed);
2 wrong usage or an unusable bench.")]
pub struct Arguments {
    /// The bench folder, or any folder of recordings
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Make a new bench folder
    #[arg(long, conflicts_with = "check")]
    new: bool,
    /// Only check it, and say what does not fit
    #[arg(long)]
    check: bool,
    /// A line for the pages, such as "simulated"
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
    /// Say nothing but the answers
    #[arg(long, short)]
    quiet: bool,
    /// Show no progress bar
    #[arg(long)]
    no_progress: bool,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    if arguments.new {
        return new_bench(&arguments.folder);
    }
    diary(&arguments.folder, arguments)
}

/// Writes the diary of a bench, as the demonstration does.
pub fn write(folder: &Path, remark: &str) -> anyhow::Result<Outcome> {
    let arguments = Arguments {
        folder: folder.to_owned(),
        new: false,
        check: false,
        remark: Some(remark.to_owned()),
        quiet: false,
        no_progress: true,
    };
    diary(folder, &arguments)
}

fn new_bench(folder: &Path) -> anyhow::Result<Outcome> {
    if folder.join("bench.toml").exists() {
        bail!("{}: is a bench already (its bench.toml exists already)", folder.display());
    }
    let outlet = Outlet::of_bench(folder);
    outlet.make_folder(&folder.join("recordings")).context("no new bench was made")?;
    outlet.save(&folder.join("bench.toml"), NEW_BENCH.as_bytes(), false).context("no new bench was made")?;
    print(&format!(
        "{} is ready. Describe your parts in bench.toml, put takes into\nrecordings/PART/STAGE/STATION/take-01.wav, then: ringwright diary {}\n",
        folder.display(),
        folder.display()
    ));
    Ok(Outcome::Done)
}

/// The bench of a folder; `None` if it has no `bench.toml`.
fn read_bench(folder: &Path) -> anyhow::Result<Option<(Bench, Found)>> {
    let file = folder.join("bench.toml");
    let text = match read_text(&file, MOST_WRITTEN_BYTES) {
        Ok(text) => text,
        Err(error) if error.is_missing() => return Ok(None),
        Err(error) => return Err(error).with_context(|| format!("{}: cannot be read", file.display())),
    };
    let bench = Bench::from_toml(&text).map_err(|e| anyhow!("{}: {e}", folder.display()))?;
    let recordings = folder.join("recordings");
    let inputs = gather(std::slice::from_ref(&recordings));
    let files: Vec<PathBuf> = inputs.iter().filter_map(|i| i.as_ref().ok().cloned()).collect();
    let mut found = find(&bench, &recordings, &files);
    found
        .problems
        .extend(inputs.iter().filter_map(|i| i.as_ref().err()).map(|(p, why)| format!("{}: {why}", p.display())));
    Ok(Some((bench, found)))
}

fn diary(folder: &Path, arguments: &Arguments) -> anyhow::Result<Outcome> {
    if !folder.is_dir() {
        bail!("{}: no such folder. `ringwright diary --new FOLDER` makes a bench", folder.display());
    }
    let bench = read_bench(folder)?;
    if arguments.check {
        let Some((_, found)) = bench else { bail!("{}: has no bench.toml to be checked", folder.display()) };
        if found.problems.is_empty() {
            print(&format!("{}: everything fits: {} stations\n", folder.display(), found.stations.len()));
            return Ok(Outcome::Done);
        }
        found.problems.iter().for_each(|p| print(&format!("{p}\n")));
        return Ok(Outcome::Partly);
    }
    let options =
        DeskOptions { remark: arguments.remark.clone(), hide_progress: arguments.quiet || arguments.no_progress };
    let desk = Desk::open(folder, &options, bench.as_ref().map(|(_, found)| found))?;
    let (parts, document, title, notes, problems, record) = match bench {
        Some((bench, found)) => {
            let notes = bench.notes.clone();
            let shop = &bench.shop;
            let title = if shop.is_empty() { "Bench diary".to_owned() } else { format!("Bench diary, {shop}") };
            let mut diary = Diary::new(&desk, bench, found);
            let parts = diary.parts()?;
            (parts, diary.document(), title, notes, diary.problems, diary.record)
        }
        None => {
            let (part, document, problems) = loose(&desk)?;
            (vec![part], document, "Recordings".to_owned(), None, problems, Vec::new())
        }
    };
    let (remark, notes) = (arguments.remark.as_deref(), notes.as_deref());
    let input = IndexInput { title: &title, remark, notes, parts: &parts, document: &document, problems: &problems };
    let html = index_html(&input);
    desk.outlet.save(&desk.reports.join("modes.csv"), to_csv(&document).as_bytes(), true)?;
    desk.outlet.save(&desk.reports.join("modes.json"), document.to_json().as_bytes(), true)?;
    desk.outlet.save(&desk.reports.join("index.html"), html.as_bytes(), true)?;
    desk.outlet.save(&desk.reports.join(RECORD_FILE), record_csv(&record)?.as_bytes(), true)?;
    desk.kept.forget_unused();
    problems.iter().for_each(|p| tell(p));
    if !arguments.quiet {
        tell(&format!("the diary is {}", desk.reports.join("index.html").display()));
    }
    Ok(if problems.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// A folder of recordings without a `bench.toml`.
fn loose(desk: &Desk<'_>) -> anyhow::Result<(IndexPart, Document, Vec<String>)> {
    let inputs: Vec<Input> = gather(&[desk.folder.to_owned()]);
    let mut wanted: Vec<Wanted> = inputs
        .into_iter()
        .map(|input| {
            let path = path_of(&input).to_owned();
            Wanted { name: desk.name_of(&path), page: desk.page_of(&path, desk.folder), part: None, input }
        })
        .collect();
    part_pages(&mut wanted);
    let (takes, mut problems) = desk.measure(&wanted);
    let takes: Vec<Take> = takes.into_iter().map(|t| t.take).collect();
    problems.extend(takes.iter().filter_map(|t| t.problem.as_ref().map(|why| format!("{}: {why}", t.file))));
    let mut pictures = Vec::new();
    let mut bytes = 0;
    for (wanted, take) in wanted.iter().zip(&takes).filter(|(_, t)| !t.modes.is_empty()) {
        // What the page has no room for is not read: there may be thousands.
        let png = if bytes < MOST_BYTES { read_bytes(&wanted.page, MOST_REPORT_BYTES) } else { Ok(Vec::new()) };
        if let Ok(png) = png {
            bytes += png.len();
            let shows = format!("{}: recording, spectrum, decays, table", take.file);
            pictures.push(IndexPicture { shows, file: file_name(&wanted.page), png });
        }
    }
    let good = takes.iter().filter(|t| t.problem.is_none()).count();
    print(&format!("{good} of {} recordings measured\n", takes.len()));
    let notes =
        vec!["These recordings belong to no bench: nothing is said about parts, and nothing is compared.".to_owned()];
    let heading = "Takes".to_owned();
    let part = IndexPart {
        name: desk.folder.file_name().map_or("Recordings".into(), |n| n.to_string_lossy().into_owned()),
        kind: "recordings".into(),
        notes,
        sections: vec![IndexSection { heading, answers: Vec::new(), pictures }],
    };
    Ok((part, Document::new(&takes, &[]), problems))
}
