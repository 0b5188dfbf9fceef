//! `ringwright diary`: a whole bench folder, measured, compared and written up.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::{Context, anyhow, bail};
use clap::Args;
use rayon::prelude::*;

use super::assess::stations;
use super::inputs::{Input, gather};
use super::measure::{Job, Plan, ReportArguments, one, progress_bar, station_page_name};
use super::stage::{Take, stage_of};
use super::{Outcome, print, tell};
use crate::bench::{Bench, BenchPart, Found, NEW_BENCH, StationFolder, find};
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

fn read_bench(folder: &Path) -> anyhow::Result<(Bench, Found)> {
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
    Ok((bench, found))
}

fn diary(folder: &Path, arguments: &Arguments) -> anyhow::Result<Outcome> {
    let (bench, found) = read_bench(folder)?;
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
    let mut session = Session::measured(folder, bench, found, arguments);
    let parts: Vec<IndexPart> =
        (0..session.bench.parts.len()).map(|part| session.part(part)).collect::<anyhow::Result<_>>()?;
    session.save_all(&parts)?;
    session.problems.iter().for_each(|p| tell(p));
    if !arguments.quiet {
        tell(&format!("the diary is {}", session.reports.join("index.html").display()));
    }
    Ok(if session.problems.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// A bench with all its takes measured.
struct Session<'a> {
    bench: Bench,
    found: Found,
    /// Every take once, in the order of the stations: the station's place, and the file.
    takes: Vec<(usize, PathBuf)>,
    /// Its recordings are the takes, in their order.
    document: Document,
    recordings: PathBuf,
    reports: PathBuf,
    remark: Option<&'a str>,
    problems: Vec<String>,
}

impl<'a> Session<'a> {
    /// Measures all takes, in parallel, and draws their pages.
    fn measured(folder: &Path, bench: Bench, found: Found, arguments: &'a Arguments) -> Self {
        let (recordings, reports) = (folder.join("recordings"), folder.join("reports"));
        let of = |(s, station): (usize, &StationFolder)| -> Vec<(usize, PathBuf)> {
            station.takes.iter().map(|(file, _)| (s, file.clone())).collect()
        };
        let takes: Vec<(usize, PathBuf)> = found.stations.iter().enumerate().flat_map(of).collect();
        let remark = arguments.remark.as_deref();
        let pages = ReportArguments::with_pages(reports.clone(), remark);
        let troubles = Mutex::new(Vec::new());
        let bar = progress_bar(takes.len(), arguments.quiet || arguments.no_progress);
        let entries: Vec<RecordingEntry> = takes
            .par_iter()
            .map_init(Estimator::default, |estimator, (place, file)| {
                let station = &found.stations[*place];
                let part = bench.parts[station.part].stages[station.stage].1.clone();
                let plan = Plan { part: Some(part), ..Plan::default() };
                let page = reports.join(page_name(&recordings, file));
                // As the bench calls it, wherever it lies.
                let name = file.strip_prefix(folder).unwrap_or(file).display().to_string();
                let job = Job { input: &Ok(file.clone()), name, page: Some(&page) };
                let entry = one(&job, &plan, estimator, &pages, &troubles);
                bar.inc(1);
                entry
            })
            .collect();
        bar.finish_and_clear();
        let mut problems = found.problems.clone();
        problems.extend(entries.iter().filter_map(|e| e.error.as_ref().map(|why| format!("{}: {why}", e.file))));
        problems.extend(troubles.into_inner().unwrap_or_default());
        let inputs: Vec<Input> = takes.iter().map(|(_, file)| Ok(file.clone())).collect();
        let mut document = Document::new(entries);
        document.stations = stations(&inputs, &document.recordings, None);
        Self { bench, found, takes, document, recordings, reports, remark, problems }
    }

    /// A stage of a part at a station, if any of its takes there could be measured.
    fn stage(&self, part: usize, stage: usize, station: &str) -> Option<Stage> {
        let at = |f: &StationFolder| f.part == part && f.stage == stage && f.station == station;
        let place = self.found.stations.iter().position(at)?;
        let entries = self.takes.iter().zip(&self.document.recordings).filter(|((p, _), _)| *p == place);
        let own: Vec<Take<'_>> = entries
            .zip(&self.found.stations[place].takes)
            .map(|((_, entry), (_, station))| Take { station: station.clone(), entry })
            .filter(|take| take.entry.error.is_none())
            .collect();
        let (name, described) = &self.bench.parts[part].stages[stage];
        (!own.is_empty()).then(|| stage_of(name, &own, Some(described)))
    }

    /// Compares a part's stages, station by station, and gathers its pictures.
    fn part(&mut self, index: usize) -> anyhow::Result<IndexPart> {
        let part = self.bench.parts[index].clone();
        let mut shown = IndexPart {
            name: part.name.clone(),
            kind: part.kind.name().to_owned(),
            notes: notes_of(&part),
            stations: Vec::new(),
            pictures: Vec::new(),
        };
        let own = self.found.stations.iter().filter(|s| s.part == index);
        let mut names: Vec<String> = own.map(|s| s.station.clone()).collect();
        names.dedup();
        for name in names {
            let Some(baseline) = self.stage(index, 0, &name) else {
                self.problems.push(format!(
                    "part {:?}, station {name:?}: the baseline stage {:?} has no take here, so nothing is compared",
                    part.name, part.stages[0].0
                ));
                continue;
            };
            let others = (1..part.stages.len()).filter_map(|s| self.stage(index, s, &name));
            let comparisons: Vec<Comparison> = others.map(|other| compare(&baseline, &other, &[])).collect();
            if comparisons.is_empty() {
                continue;
            }
            print(&format!("{}, {name}\n{}\n", part.name, comparison_text(&comparisons)));
            let png = comparison_png(&comparisons, self.remark).map_err(|e| anyhow!(e))?;
            save(&self.reports.join(format!("{}-{name}-compared.png", part.name)), &png, true)?;
            shown.stations.push((name, comparisons, Some(png)));
        }
        self.add_pictures(index, &mut shown)?;
        Ok(shown)
    }

    /// The pages of a part's stations with masses stuck on, and of the first bare take of each stage.
    fn add_pictures(&self, index: usize, shown: &mut IndexPart) -> anyhow::Result<()> {
        let part = &self.bench.parts[index];
        for station in self.document.stations.iter().filter(|s| s.station.starts_with(&format!("{}/", part.name))) {
            let png = station_png(station, self.remark).map_err(|e| anyhow!(e))?;
            save(&self.reports.join(station_page_name(&station.station)), &png, true)?;
            shown.pictures.push((format!("Shifts by stuck-on masses and mobility at {}", station.station), png));
        }
        for (s, (stage, _)) in part.stages.iter().enumerate() {
            let own = self.found.stations.iter().filter(|f| f.part == index && f.stage == s);
            let first = own.flat_map(|f| &f.takes).find(|(_, station)| station.added.value == 0.0);
            let page = first.map(|(file, _)| self.reports.join(page_name(&self.recordings, file)));
            // A take that could not be measured may have no page; that was said already.
            if let Some(png) = page.and_then(|page| std::fs::read(page).ok()) {
                let shows = format!("A take of {} {stage}: recording, spectrum, decays, table", part.name);
                shown.pictures.push((shows, png));
            }
        }
        Ok(())
    }

    fn save_all(&self, parts: &[IndexPart]) -> anyhow::Result<()> {
        let shop = &self.bench.shop;
        let title = if shop.is_empty() { "Bench diary".to_owned() } else { format!("Bench diary, {shop}") };
        let html = index_html(&IndexInput {
            title: &title,
            remark: self.remark,
            notes: self.bench.notes.as_deref(),
            parts,
            document: &self.document,
            problems: &self.problems,
        });
        save(&self.reports.join("modes.csv"), to_csv(&self.document).as_bytes(), true)?;
        save(&self.reports.join("modes.json"), self.document.to_json().as_bytes(), true)?;
        save(&self.reports.join("index.html"), html.as_bytes(), true)?;
        Ok(())
    }
}

/// The maker's notes on a part and its stages.
fn notes_of(part: &BenchPart) -> Vec<String> {
    let stages = part.stages.iter().filter_map(|(name, stage)| Some(format!("{name}: {}", stage.notes.as_ref()?)));
    part.notes.iter().cloned().chain(stages).collect()
}

/// PART-STAGE-STATION-take-01.wav.png.
fn page_name(recordings: &Path, file: &Path) -> String {
    let inside = file.strip_prefix(recordings).unwrap_or(file);
    let names: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
    format!("{}.png", names.join("-"))
}
