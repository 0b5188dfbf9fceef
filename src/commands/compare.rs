//! `ringwright compare`: stages of a part against a baseline.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;
use rayon::prelude::*;

use super::inputs::{Input, gather, path_of};
use super::measure::Format;
use super::take::{MeasuredTake, measure_alone};
use super::{Outcome, print_as, tell};
use crate::analysis::{Options, StageTake, repeatability_of, stage_knowing};
use crate::bench::Bench;
use crate::compare::{Comparison, Repeatability, Stage, compare_under_top, control_charts};
use crate::files::{MOST_REPORT_BYTES, MOST_WRITTEN_BYTES, Outlet, read_text};
use crate::loss::TopEdge;
use crate::modes::Estimator;
use crate::part::{PartDescription, misnamed, station_of};
use crate::report::{
    Document, RecordingEntry, TakePicture, comparison_csv, comparison_json, comparison_png, comparison_text,
    control_csv, control_json, control_png, control_text,
};
use crate::uncertainty::{Cause, Figure};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright compare side/plain/waist side/laminated/waist
  ringwright compare side/plain side/laminated side/braced --page comparison.png
  ringwright compare left right --pair 3=2      mode 3 of left is mode 2 of right
  ringwright compare left right --alike         do the two sides match, and within what?
  ringwright compare rim/plain/tail rim/laminated/tail --top-edge 2.5     under a top that was measured
  ringwright compare rim-7 --earlier rim-5 --earlier rim-6      is this rim as usual?
  ringwright compare plain.json laminated.json  what `measure --format json` saved

A stage is a folder of takes of one station, a single recording, or a saved report. The part's
description adds mass and stiffness: from the bench's bench.toml, from PATH.toml beside the folder,
or from part.toml in it (docs/part.md). Takes with a mass stuck on (STATION+5g) add the power drawn.
Exit codes: 0 done; 1 done, but some recordings could not be measured; 2 wrong usage, or nothing to compare.")]
pub struct Arguments {
    /// What the others are compared with
    #[arg(value_name = "BASELINE")]
    baseline: PathBuf,
    /// Stages to compare
    #[arg(value_name = "OTHER", required_unless_present = "earlier")]
    others: Vec<PathBuf>,
    /// The shop's earlier parts of this kind, oldest first, each with its own --earlier: is BASELINE as usual?
    #[arg(long, value_name = "PATH", conflicts_with_all = ["others", "pair", "alike"])]
    earlier: Vec<PathBuf>,
    /// Modes that belong together, by their numbers in the two stages' own order; may be given more than once
    #[arg(long, value_name = "BASE=OTHER", value_parser = parse_pair)]
    pair: Vec<(usize, usize)>,
    /// Say how alike they are, as of a left and a right side, instead of what changed
    #[arg(long)]
    alike: bool,
    /// How readily the top's edge gives, in mm/(N s), where it was measured: "2.5" or "2.5 +- 0.4" (without, a fifth of it)
    #[arg(long, value_name = "MOBILITY", value_parser = parse_edge)]
    top_edge: Option<Figure>,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write the report to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Draw the comparison (PNG)
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// A line for the picture, such as "simulated"
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
    /// Replace files that exist already
    #[arg(long)]
    force: bool,
    /// Say nothing but the report
    #[arg(long, short)]
    quiet: bool,
    /// The bench that the page belongs into, if it does.
    #[arg(skip)]
    bench: Option<PathBuf>,
}

impl Arguments {
    /// One stage against another as text, with a page in a bench's reports that replaces its older self.
    pub fn of_two(baseline: &Path, other: &Path, page: PathBuf, bench: &Path) -> Self {
        Self {
            baseline: baseline.to_owned(),
            others: vec![other.to_owned()],
            earlier: Vec::new(),
            pair: Vec::new(),
            alike: false,
            top_edge: None,
            format: Format::Text,
            out: None,
            page: Some(page),
            remark: None,
            force: true,
            quiet: false,
            bench: Some(bench.to_owned()),
        }
    }
}

fn parse_pair(text: &str) -> Result<(usize, usize), String> {
    let wrong = || format!("{text:?}: write it like 3=2, with the modes' numbers from 1");
    let (a, b) = text.split_once('=').ok_or_else(wrong)?;
    match (a.trim().parse(), b.trim().parse()) {
        (Ok(a), Ok(b)) if a > 0 && b > 0 => Ok((a, b)),
        _ => Err(wrong()),
    }
}

/// Standard uncertainty of an edge's mobility that comes without one (relative).
const EDGE_U: f64 = 0.2;

/// A mobility in mm/(N s), with its standard uncertainty behind "+-".
fn parse_edge(text: &str) -> Result<Figure, String> {
    let wrong = || format!("{text:?}: write it like 2.5 or \"2.5 +- 0.4\", in mm/(N s)");
    let number = |t: &str| t.trim().replace(',', ".").parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0);
    let text_of = text.trim().trim_end_matches("mm/(N s)").replace('±', "+-");
    let (value, u) = match text_of.split_once("+-") {
        Some((value, u)) => (number(value).ok_or_else(wrong)?, number(u).ok_or_else(wrong)?),
        None => {
            let value = number(&text_of).ok_or_else(wrong)?;
            (value, EDGE_U * value)
        }
    };
    // From a wall to a sheet of paper.
    if !(1e-3..=1e4).contains(&value) {
        return Err(format!("{text:?}: 0.001 to 10000 mm/(N s) are expected"));
    }
    Ok(Figure::new(1e-3 * value, 1e-3 * u, Cause::TopEdge))
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let stages = [&arguments.baseline].into_iter().chain(&arguments.others).chain(&arguments.earlier);
    let bench = arguments.bench.as_deref().map_or_else(Outlet::default, Outlet::of_bench);
    let outlet = bench.and(stages.flat_map(|stage| files_of(stage)));
    outlet.check_all(arguments.out.iter().chain(&arguments.page), arguments.force)?;
    if !arguments.earlier.is_empty() {
        return against_earlier(arguments, &outlet);
    }
    let mut troubles = Vec::new();
    let all: Vec<&PathBuf> = std::iter::once(&arguments.baseline).chain(&arguments.others).collect();
    let names = short_names(&all);
    if let Some((other, _)) = arguments.others.iter().zip(&names[1..]).find(|(_, name)| **name == names[0]) {
        bail!("{}: is the baseline itself", other.display());
    }
    let (stages, pictures) = read_stages(&all, &names, &mut troubles)?;
    let top = arguments.top_edge.clone().map_or(TopEdge::Unknown, TopEdge::Given);
    let (baseline, others) = stages.split_first().context("no stage was named")?;
    let mut comparisons: Vec<Comparison> = Vec::new();
    for stage in others {
        for (a, b) in &arguments.pair {
            if *a > baseline.modes.len() || *b > stage.modes.len() {
                bail!(
                    "--pair {a}={b}: {} has {} modes, {} has {}",
                    baseline.name,
                    baseline.modes.len(),
                    stage.name,
                    stage.modes.len()
                );
            }
        }
        let twice = |f: &dyn Fn(&(usize, usize)) -> usize| {
            let mut all: Vec<usize> = arguments.pair.iter().map(f).collect();
            all.sort_unstable();
            all.windows(2).any(|w| w[0] == w[1])
        };
        if twice(&|p| p.0) || twice(&|p| p.1) {
            bail!("--pair: a mode is given two partners");
        }
        let mut comparison = compare_under_top(baseline, stage, &arguments.pair, &top);
        comparison.alike = arguments.alike;
        comparisons.push(comparison);
    }
    let text = match arguments.format {
        Format::Text => comparison_text(&comparisons),
        Format::Json => comparison_json(&comparisons),
        Format::Csv => comparison_csv(&comparisons),
    };
    match &arguments.out {
        Some(out) => outlet.save(out, text.as_bytes(), arguments.force).context("the report was not saved")?,
        None => print_as(arguments.format, &text),
    }
    if let Some(page) = &arguments.page {
        let png = comparison_png(&comparisons, &pictures, None, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
        outlet.save(page, &png, arguments.force).context("the picture was not saved")?;
        if !arguments.quiet {
            tell(&format!("the picture is in {}", page.display()));
        }
    }
    if !arguments.quiet && comparisons.iter().any(|c| c.undecided) {
        tell("pairs are set by hand with --pair 3=2, by the modes' numbers");
    }
    troubles.iter().for_each(|t| tell(t));
    let nothing = comparisons.iter().all(|c| c.pairs.is_empty() && c.whole.is_empty());
    if nothing {
        bail!("the stages have nothing in common that could be compared");
    }
    Ok(if troubles.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// This part against the shop's earlier ones.
fn against_earlier(arguments: &Arguments, outlet: &Outlet) -> anyhow::Result<Outcome> {
    if arguments.earlier.len() < 2 {
        bail!("--earlier: at least two earlier parts are needed to tell what is usual");
    }
    let mut troubles = Vec::new();
    let all: Vec<&PathBuf> = arguments.earlier.iter().chain([&arguments.baseline]).collect();
    let names = short_names(&all);
    let (mut stages, _) = read_stages(&all, &names, &mut troubles)?;
    let this = stages.pop().context("no part was named")?;
    let (charts, notes) = control_charts(&this, &stages);
    let text = match arguments.format {
        Format::Text => control_text(&this.name, &charts, &notes),
        Format::Json => control_json(&this.name, &charts, &notes),
        Format::Csv => control_csv(&this.name, &charts),
    };
    match &arguments.out {
        Some(out) => outlet.save(out, text.as_bytes(), arguments.force).context("the report was not saved")?,
        None => print_as(arguments.format, &text),
    }
    if let Some(page) = &arguments.page {
        let png = control_png(&this.name, &charts, &notes, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
        outlet.save(page, &png, arguments.force).context("the picture was not saved")?;
    }
    troubles.iter().for_each(|t| tell(t));
    Ok(if troubles.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// The description of a stage's part: `part.toml` in its folder, `PATH.toml` beside it, or its entry in a `bench.toml`.
pub fn described(path: &Path) -> anyhow::Result<Option<PartDescription>> {
    let Some(file) = own_description(path) else { return of_bench(path) };
    let text = read_text(&file, MOST_WRITTEN_BYTES).with_context(|| format!("{}: cannot be read", file.display()))?;
    let part = PartDescription::from_toml(&text).map_err(|e| anyhow!("{}: {e}", file.display()))?;
    let questions = part.questions();
    if !questions.is_empty() {
        bail!("{}: {}", file.display(), questions.join("; "));
    }
    Ok(Some(part))
}

/// A description that lies in a stage's folder or beside it.
fn own_description(path: &Path) -> Option<PathBuf> {
    [path.join("part.toml"), path.with_extension("toml")].into_iter().find(|file| file.exists() && !file.is_dir())
}

/// The bench that a path lies in: its folder, and the path below its recordings.
fn bench_around(path: &Path) -> Option<(PathBuf, PathBuf)> {
    let path = path.canonicalize().ok()?;
    path.ancestors().skip(1).find_map(|folder| {
        let inside = path.strip_prefix(folder.join("recordings")).ok()?;
        folder.join("bench.toml").exists().then(|| (folder.to_owned(), inside.to_owned()))
    })
}

/// Every file that a stage is read from: its takes (or its saved report), and what describes it.
pub fn files_of(path: &Path) -> Vec<PathBuf> {
    let described = own_description(path).or_else(|| Some(bench_around(path)?.0.join("bench.toml")));
    named_inputs(path).into_iter().flatten().chain(described).collect()
}

/// The stage's entry in the `bench.toml` of the bench that a path lies in.
fn of_bench(path: &Path) -> anyhow::Result<Option<PartDescription>> {
    let Some((folder, inside)) = bench_around(path) else { return Ok(None) };
    let file = folder.join("bench.toml");
    let text = read_text(&file, MOST_WRITTEN_BYTES).with_context(|| format!("{}: cannot be read", file.display()))?;
    let bench = Bench::from_toml(&text).map_err(|e| anyhow!("{}: {e}", folder.display()))?;
    let names: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
    Ok(match &names[..] {
        [part, stage, ..] => bench.stage(part, stage).cloned(),
        _ => None,
    })
}

/// The takes that a path names; with a station's folder also those with a mass stuck on, which lie beside it (`STATION+5g`).
pub fn named_inputs(path: &Path) -> Vec<Input> {
    let mut paths = vec![path.to_owned()];
    if let (true, Some(name), Some(parent)) = (path.is_dir(), path.file_name(), path.parent()) {
        let prefix = format!("{}+", name.to_string_lossy());
        // "waist" has no parent folder in its name: the current one.
        let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent };
        let beside = std::fs::read_dir(parent).into_iter().flatten().flatten();
        let mut loaded: Vec<PathBuf> = beside
            .filter(|e| e.file_name().to_string_lossy().starts_with(&prefix) && e.path().is_dir())
            .map(|e| path.with_file_name(e.file_name()))
            .collect();
        loaded.sort();
        paths.extend(loaded);
    }
    gather(&paths)
}

/// The paths without the folders that all of them begin with.
fn short_names(paths: &[&PathBuf]) -> Vec<String> {
    let parts: Vec<Vec<String>> =
        paths.iter().map(|p| p.iter().map(|c| c.to_string_lossy().into_owned()).collect()).collect();
    let shortest = parts.iter().map(Vec::len).min().unwrap_or(0);
    let shared = (0..shortest.saturating_sub(1)).take_while(|i| parts.iter().all(|p| p[*i] == parts[0][*i])).count();
    parts.iter().map(|p| p[shared..].join("/")).collect()
}

/// A take of a stage, or why it could not be measured, and what it sounds like.
struct Read {
    file: String,
    found: Result<StageTake, String>,
    picture: TakePicture,
}

impl Read {
    fn of_take(measured: MeasuredTake, input: &Input) -> Self {
        let MeasuredTake { take, picture } = measured;
        let found = match &take.problem {
            Some(why) => Err(why.to_string()),
            None => Ok(StageTake::in_file(&take, station_of(Path::new(&take.file)), path_of(input))),
        };
        Self { file: take.file, found, picture }
    }

    fn of_entry(entry: RecordingEntry) -> Self {
        let found = match &entry.error {
            Some(why) => Err(why.clone()),
            None => Ok(entry.stage_take(station_of(Path::new(&entry.file)))),
        };
        Self { file: entry.file, found, picture: TakePicture::default() }
    }
}

/// The stages that the paths hold, and what the first bare take of each sounds like. What the takes of one say of how well they repeat
/// counts for all.
fn read_stages(
    paths: &[&PathBuf],
    names: &[String],
    troubles: &mut Vec<String>,
) -> anyhow::Result<(Vec<Stage>, Vec<TakePicture>)> {
    let mut all = Vec::new();
    for (path, name) in paths.iter().zip(names) {
        all.push(read_takes(path, name, troubles)?);
    }
    let known: Repeatability = all.iter().map(|read| repeatability_of(&read.takes)).sum();
    let stages = all.iter().zip(names).map(|(read, name)| {
        let mut stage = stage_knowing(name, &read.takes, read.part.as_ref(), known);
        if read.saved {
            let note = "a saved report holds no mass and no sizes; name the folder of takes to compare those too";
            stage.notes.push(format!("{name}: {note}"));
        }
        stage
    });
    Ok((stages.collect(), all.iter().map(|read| read.picture.clone()).collect()))
}

/// What a path of a stage holds.
struct StageTakes {
    takes: Vec<StageTake>,
    part: Option<PartDescription>,
    /// What the first bare take sounds like.
    picture: TakePicture,
    /// Read from a saved report.
    saved: bool,
}

/// The takes that a path of a stage holds.
fn read_takes(path: &Path, name: &str, troubles: &mut Vec<String>) -> anyhow::Result<StageTakes> {
    let saved = path.extension().is_some_and(|e| e == "json");
    let (part, read): (_, Vec<Read>) = if saved {
        let text = read_text(path, MOST_REPORT_BYTES).with_context(|| format!("{}: cannot be read", path.display()))?;
        let document: Document = serde_json::from_str(&text)
            .with_context(|| format!("{}: is no report of `measure --format json`", path.display()))?;
        (None, document.recordings.into_iter().map(Read::of_entry).collect())
    } else {
        let part = described(path)?;
        let options = Options { part: part.clone(), ..Options::default() };
        let measured =
            |estimator: &mut Estimator, input: &Input| Read::of_take(measure_alone(input, &options, estimator), input);
        (part, named_inputs(path).par_iter().map_init(Estimator::default, measured).collect())
    };
    let mut takes: Vec<StageTake> = Vec::new();
    let mut shown: Option<TakePicture> = None;
    for Read { file, found, picture } in read {
        if let Some(why) = misnamed(Path::new(&file)) {
            troubles.push(why);
            continue;
        }
        match found {
            Err(why) => troubles.push(format!("{file}: {why}")),
            Ok(take) => {
                shown = shown.or((!take.is_loaded()).then_some(picture));
                takes.push(take);
            }
        }
    }
    if takes.is_empty() {
        bail!("{name}: nothing in it could be measured. {}", troubles.join("; "));
    }
    let mut places: Vec<&str> = takes.iter().map(|t| t.station.place.as_str()).collect();
    places.sort_unstable();
    places.dedup();
    // Single recordings beside each other ("a.wav", "b.wav") are takes of one station; folders are stations.
    if places.len() > 1 && takes.iter().any(|t| t.station.is_folder) {
        bail!("{name}: holds several stations ({}). Name one of them", places.join(", "));
    }
    Ok(StageTakes { takes, part, picture: shown.unwrap_or_default(), saved })
}
