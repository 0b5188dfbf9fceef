//! `ringwright diary`: a whole bench folder, measured, compared and written up.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::{Context, anyhow, bail};
use clap::Args;
use rayon::prelude::*;

use super::assess::stations;
use super::inputs::{Input, gather};
use super::measure::{Plan, ReportArguments, one, progress_bar};
use super::stage::{Take, stage_of};
use super::{Outcome, print, tell};
use crate::bench::{Bench, Found, NEW_BENCH, find};
use crate::compare::{Comparison, Stage, compare};
use crate::modes::Estimator;
use crate::report::{
    Document, IndexInput, IndexPart, RecordingEntry, comparison_png, comparison_text, index_html, save, station_png,
    to_csv,
};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright diary --new my-shop        make a bench folder: bench.toml and recordings/
  ringwright diary --check my-shop      say what does not fit, change nothing
  ringwright diary my-shop              measure and compare everything; reports/index.html shows it

Takes lie in recordings/PART/STAGE/STATION/take-01.wav, those with 5 g stuck on in STATION+5g/. Recordings and bench.toml are
never changed; reports/ can always be made again.
Exit codes: 0 done; 1 done, but something does not fit or could not be measured (each is listed); 2 wrong usage or an unusable bench.")]
pub struct Arguments {
    /// The bench folder
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
    save(&folder.join("bench.toml"), NEW_BENCH.as_bytes(), false).context("no new bench was made")?;
    let recordings = folder.join("recordings");
    std::fs::create_dir_all(&recordings).with_context(|| format!("{}: cannot be made", recordings.display()))?;
    print(&format!(
        "{} is ready. Describe your parts in bench.toml, put takes into\nrecordings/PART/STAGE/STATION/take-01.wav, then: ringwright diary {}\n",
        folder.display(),
        folder.display()
    ));
    Ok(Outcome::Done)
}

fn read_bench(folder: &Path) -> anyhow::Result<(Bench, Vec<Input>, Found)> {
    let file = folder.join("bench.toml");
    let text = std::fs::read_to_string(&file).with_context(|| {
        format!(
            "{}: cannot be read. `ringwright diary --new FOLDER` makes a bench; loose recordings are for `measure`",
            file.display()
        )
    })?;
    let bench = Bench::from_toml(&text).map_err(|e| anyhow!("{}: {e}", folder.display()))?;
    let recordings = folder.join("recordings");
    let inputs = gather(std::slice::from_ref(&recordings));
    let files: Vec<PathBuf> = inputs.iter().filter_map(|i| i.as_ref().ok().cloned()).collect();
    let mut found = find(&bench, &recordings, &files);
    found
        .problems
        .extend(inputs.iter().filter_map(|i| i.as_ref().err()).map(|(p, why)| format!("{}: {why}", p.display())));
    Ok((bench, inputs, found))
}

fn diary(folder: &Path, arguments: &Arguments) -> anyhow::Result<Outcome> {
    let (bench, _, found) = read_bench(folder)?;
    if arguments.check {
        if found.problems.is_empty() {
            print(&format!("{}: everything fits: {} stations\n", folder.display(), found.stations.len()));
            return Ok(Outcome::Done);
        }
        found.problems.iter().for_each(|p| print(&format!("{p}\n")));
        return Ok(Outcome::Partly);
    }
    if found.stations.is_empty() {
        bail!("{}: no recording where one belongs. {}", folder.display(), found.problems.join("; "));
    }
    // Every take once, in the order of the stations.
    let takes: Vec<(usize, PathBuf)> = found
        .stations
        .iter()
        .enumerate()
        .flat_map(|(s, station)| station.takes.iter().map(move |(file, _)| (s, file.clone())))
        .collect();
    let reports = folder.join("reports");
    let page_arguments = ReportArguments::with_pages(reports.clone(), arguments.remark.as_deref().unwrap_or_default());
    let page_arguments = if arguments.remark.is_none() { page_arguments.without_remark() } else { page_arguments };
    let troubles = Mutex::new(Vec::new());
    let bar = progress_bar(takes.len(), arguments.quiet || arguments.no_progress);
    let entries: Vec<RecordingEntry> = takes
        .par_iter()
        .map_init(Estimator::default, |estimator, (place, file)| {
            let station = &found.stations[*place];
            let part = bench.parts[station.part].stages[station.stage].1.clone();
            let plan = Plan { part: Some(part), ..Plan::default() };
            let page = reports.join(page_name(&folder.join("recordings"), file));
            let mut entry = one(&Ok(file.clone()), &plan, estimator, Some(&page), &page_arguments, &troubles);
            // As the bench calls it, wherever it lies.
            entry.file = file.strip_prefix(folder).unwrap_or(file).display().to_string();
            bar.inc(1);
            entry
        })
        .collect();
    bar.finish_and_clear();

    let mut problems = found.problems.clone();
    problems.extend(entries.iter().filter_map(|e| e.error.as_ref().map(|why| format!("{}: {why}", e.file))));
    let inputs: Vec<Input> = takes.iter().map(|(_, file)| Ok(file.clone())).collect();
    let mut document = Document::new(entries);
    document.stations = stations(&inputs, &document.recordings, None);

    let mut parts = Vec::new();
    for (p, part) in bench.parts.iter().enumerate() {
        let mut shown = IndexPart {
            name: part.name.clone(),
            kind: part.kind.name().to_owned(),
            notes: part.notes.iter().cloned().collect(),
            stations: Vec::new(),
            pictures: Vec::new(),
        };
        let mut names: Vec<&String> = found.stations.iter().filter(|s| s.part == p).map(|s| &s.station).collect();
        names.dedup();
        for name in names {
            let stage = |s: usize| -> Option<Stage> {
                let place = found.stations.iter().position(|f| f.part == p && f.stage == s && f.station == *name)?;
                let own: Vec<Take<'_>> = found.stations[place]
                    .takes
                    .iter()
                    .filter_map(|(file, station)| {
                        let index = takes.iter().position(|(at, f)| *at == place && f == file)?;
                        let entry = &document.recordings[index];
                        entry.error.is_none().then(|| Take { station: station.clone(), entry })
                    })
                    .collect();
                (!own.is_empty()).then(|| stage_of(&part.stages[s].0, &own, Some(&part.stages[s].1)))
            };
            let Some(baseline) = stage(0) else {
                problems.push(format!(
                    "part {:?}, station {name:?}: the baseline stage {:?} has no take here, so nothing is compared",
                    part.name, part.stages[0].0
                ));
                continue;
            };
            let comparisons: Vec<Comparison> =
                (1..part.stages.len()).filter_map(stage).map(|other| compare(&baseline, &other, &[])).collect();
            if comparisons.is_empty() {
                continue;
            }
            print(&format!("{}, {name}\n{}\n", part.name, comparison_text(&comparisons)));
            let png = comparison_png(&comparisons, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
            save(&reports.join(format!("{}-{name}-compared.png", part.name)), &png, true)?;
            shown.stations.push((name.clone(), comparisons, Some(png)));
        }
        for station in document.stations.iter().filter(|s| s.station.starts_with(&format!("{}/", part.name))) {
            let png = station_png(station, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
            save(&reports.join(format!("station-{}.png", station.station.replace('/', "-"))), &png, true)?;
            shown.pictures.push((format!("Shifts by stuck-on masses and mobility at {}", station.station), png));
        }
        // The first bare take of each stage stands for it on the page.
        for (s, (stage_name, _)) in part.stages.iter().enumerate() {
            let first = takes.iter().find(|(place, file)| {
                let station = &found.stations[*place];
                let bare = station.takes.iter().any(|(f, st)| f == file && st.added.value == 0.0);
                station.part == p && station.stage == s && bare
            });
            if let Some((_, file)) = first
                && let Ok(png) = std::fs::read(reports.join(page_name(&folder.join("recordings"), file)))
            {
                shown
                    .pictures
                    .push((format!("A take of {} {stage_name}: recording, spectrum, decays, table", part.name), png));
            }
        }
        parts.push(shown);
    }
    let title = if bench.shop.is_empty() { "Bench diary".to_owned() } else { format!("Bench diary, {}", bench.shop) };
    let html = index_html(&IndexInput {
        title: &title,
        remark: arguments.remark.as_deref(),
        parts: &parts,
        document: &document,
        problems: &problems,
    });
    save(&reports.join("modes.csv"), to_csv(&document).as_bytes(), true)?;
    save(&reports.join("modes.json"), document.to_json().as_bytes(), true)?;
    save(&reports.join("index.html"), html.as_bytes(), true)?;
    let troubles = troubles.into_inner().unwrap_or_default();
    troubles.iter().chain(&problems).for_each(|t| tell(t));
    if !arguments.quiet {
        tell(&format!("the diary is {}", reports.join("index.html").display()));
    }
    Ok(if troubles.is_empty() && problems.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// PART-STAGE-STATION-take-01.png.
fn page_name(recordings: &Path, file: &Path) -> String {
    let inside = file.strip_prefix(recordings).unwrap_or(file).with_extension("");
    let names: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
    format!("{}.png", names.join("-"))
}
