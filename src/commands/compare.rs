//! `ringwright compare`: stages of a part against a baseline.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;
use rayon::prelude::*;

use super::assess::numbered_blank;
use super::inputs::gather;
use super::measure::Format;
use super::{Outcome, print, tell};
use crate::compare::{Comparison, Stage, StageMode, compare, merge_takes};
use crate::loss::{Mobility, StationMode};
use crate::modes::{EstimateOptions, Estimator, Mode};
use crate::part::{Measured, PartDescription, station_of};
use crate::report::{Document, comparison_csv, comparison_json, comparison_png, comparison_text, save};
use crate::sound::{OpenOptions, Recording, find_taps};
use crate::stiffness::{StationTake, StationTone, follow_modes};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright compare side/plain/waist side/laminated/waist
  ringwright compare side/plain side/laminated side/braced --page comparison.png
  ringwright compare left right --pair 3=2                  the third mode of left is the second of right
  ringwright compare plain.json laminated.json              what `measure --format json` saved

A stage is a folder of takes of one station, a single recording, or a saved report. A description of the part, PATH.toml beside
the folder or part.toml in it (docs/part.md), adds mass and stiffness; takes with a mass stuck on (STATION+5g) the power drawn.
Exit codes: 0 done; 1 done, but some recordings could not be measured; 2 wrong usage, or nothing to compare.")]
pub struct Arguments {
    /// What the others are compared with
    #[arg(value_name = "BASELINE")]
    baseline: PathBuf,
    /// Stages to compare
    #[arg(value_name = "OTHER", required = true)]
    others: Vec<PathBuf>,
    /// Modes that belong together, by their numbers in the two stages' own order; may be given more than once
    #[arg(long, value_name = "BASE=OTHER", value_parser = parse_pair)]
    pair: Vec<(usize, usize)>,
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
}

fn parse_pair(text: &str) -> Result<(usize, usize), String> {
    let wrong = || format!("{text:?}: write it like 3=2, with the modes' numbers from 1");
    let (a, b) = text.split_once('=').ok_or_else(wrong)?;
    match (a.trim().parse(), b.trim().parse()) {
        (Ok(a), Ok(b)) if a > 0 && b > 0 => Ok((a, b)),
        _ => Err(wrong()),
    }
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    for file in arguments.out.iter().chain(&arguments.page) {
        if file.exists() && !arguments.force {
            bail!("{}: exists already. Choose another name, or add --force to replace it", file.display());
        }
    }
    let mut troubles = Vec::new();
    let all: Vec<&PathBuf> = std::iter::once(&arguments.baseline).chain(&arguments.others).collect();
    let names = short_names(&all);
    let baseline = read_stage(&arguments.baseline, &names[0], &mut troubles)?;
    let mut comparisons: Vec<Comparison> = Vec::new();
    for (other, name) in arguments.others.iter().zip(&names[1..]) {
        if *name == names[0] {
            bail!("{}: is the baseline itself", other.display());
        }
        let stage = read_stage(other, name, &mut troubles)?;
        comparisons.push(compare(&baseline, &stage, &arguments.pair));
    }
    let text = match arguments.format {
        Format::Text => comparison_text(&comparisons),
        Format::Json => comparison_json(&comparisons),
        Format::Csv => comparison_csv(&comparisons),
    };
    match &arguments.out {
        Some(out) => save(out, text.as_bytes(), arguments.force).context("the report was not saved")?,
        None => print(&text),
    }
    if let Some(page) = &arguments.page {
        let png = comparison_png(&comparisons, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
        save(page, &png, arguments.force).context("the picture was not saved")?;
        if !arguments.quiet {
            tell(&format!("the picture is in {}", page.display()));
        }
    }
    troubles.iter().for_each(|t| tell(t));
    let nothing = comparisons.iter().all(|c| c.pairs.is_empty() && c.whole.is_empty());
    if nothing {
        bail!("the stages have nothing in common that could be compared");
    }
    Ok(if troubles.is_empty() { Outcome::Done } else { Outcome::Partly })
}

/// Compares stages with the first of them, on the terminal and as a picture, as the demonstration shows it.
pub fn stages(stages: &[PathBuf], page: &Path, remark: &str) -> anyhow::Result<Outcome> {
    run(&Arguments {
        baseline: stages.first().cloned().context("no stage")?,
        others: stages[1..].to_vec(),
        pair: Vec::new(),
        format: Format::Text,
        out: None,
        page: Some(page.to_owned()),
        remark: Some(remark.to_owned()),
        force: true,
        quiet: false,
    })
}

/// The description of a stage's part: `part.toml` in its folder, or `PATH.toml` beside it.
fn description(path: &Path) -> anyhow::Result<Option<PartDescription>> {
    let beside = path.with_extension("toml");
    for file in [path.join("part.toml"), beside] {
        if file.is_file() {
            let text = std::fs::read_to_string(&file).with_context(|| format!("{}: cannot be read", file.display()))?;
            let part = PartDescription::from_toml(&text).map_err(|e| anyhow!("{}: {e}", file.display()))?;
            let questions = part.questions();
            if !questions.is_empty() {
                bail!("{}: {}", file.display(), questions.join("; "));
            }
            return Ok(Some(part));
        }
    }
    Ok(None)
}

/// One recording's modes.
struct Take {
    place: String,
    added: Measured,
    modes: Vec<Mode>,
}

/// The paths without the folders that all of them begin with.
fn short_names(paths: &[&PathBuf]) -> Vec<String> {
    let parts: Vec<Vec<String>> =
        paths.iter().map(|p| p.iter().map(|c| c.to_string_lossy().into_owned()).collect()).collect();
    let shortest = parts.iter().map(Vec::len).min().unwrap_or(0);
    let shared = (0..shortest.saturating_sub(1)).take_while(|i| parts.iter().all(|p| p[*i] == parts[0][*i])).count();
    parts.iter().map(|p| p[shared..].join("/")).collect()
}

fn read_stage(path: &Path, name: &str, troubles: &mut Vec<String>) -> anyhow::Result<Stage> {
    let name = name.to_owned();
    if path.extension().is_some_and(|e| e == "json") {
        return saved_stage(path, name);
    }
    let part = description(path)?;
    let read: Vec<Result<Take, String>> = gather(&[path.to_owned()])
        .into_par_iter()
        .map_init(Estimator::default, |estimator, input| {
            let file = input.map_err(|(p, why)| format!("{}: {why}", p.display()))?;
            let wrong = |e: crate::sound::SoundError| format!("{}: {e}", file.display());
            let mut recording = Recording::open(&file, &OpenOptions::default()).map_err(wrong)?;
            let found = find_taps(&mut recording).map_err(wrong)?;
            let estimate = estimator.estimate(&mut recording, &found, &EstimateOptions::default()).map_err(wrong)?;
            if estimate.modes.is_empty() {
                return Err(format!("{}: no mode found; `ringwright measure` says why", file.display()));
            }
            let station = station_of(&file);
            Ok(Take { place: station.place, added: station.added, modes: estimate.modes })
        })
        .collect();
    let mut takes = Vec::new();
    for result in read {
        match result {
            Ok(take) => takes.push(take),
            Err(why) => troubles.push(why),
        }
    }
    if takes.is_empty() {
        bail!("{name}: nothing in it could be measured. {}", troubles.join("; "));
    }
    let bare: Vec<&Take> = takes.iter().filter(|t| t.added.value == 0.0).collect();
    let mut places: Vec<&str> = takes.iter().map(|t| t.place.as_str()).collect();
    places.sort_unstable();
    places.dedup();
    // Single recordings beside each other ("a.wav", "b.wav") are takes of one station; folders are stations.
    let stations: Vec<&Path> = {
        let mut folders: Vec<&Path> = places.iter().filter_map(|p| Path::new(*p).parent()).collect();
        folders.dedup();
        folders
    };
    if places.len() > 1 && stations.len() > 1 {
        bail!("{name}: holds several stations ({}). Name one of them", places.join(", "));
    }
    let mut stage = Stage { name: name.clone(), ..Stage::default() };
    let mut lists = Vec::new();
    for take in &bare {
        let blank = part.as_ref().and_then(|p| numbered_blank(p, &take.modes));
        let names = blank.as_ref().map(|b| b.names.clone());
        if let (None, Some(blank)) = (&stage.bending_stiffness, blank) {
            stage.bending_stiffness = blank.bending_stiffness.map(|m| m.renamed(|s| own_source(s, &name)));
        }
        lists.push(
            take.modes
                .iter()
                .enumerate()
                .map(|(i, m)| StageMode {
                    frequency: Measured::new(m.frequency_hz, m.frequency_hz_u, "frequency"),
                    damping_ratio: Measured::new(m.damping_ratio, m.damping_ratio_u, "damping"),
                    level_db: m.level_db,
                    name: names.as_ref().and_then(|n| n[i].clone()),
                    taps: m.taps_used,
                })
                .collect::<Vec<StageMode>>(),
        );
    }
    stage.modes = merge_takes(&name, &lists);
    if let Some(part) = &part {
        stage.mass = part.mass.as_ref().map(|m| m.renamed(|s| own_source(s, &name)));
        if let (Some(mass), Some(length)) = (&part.mass, &part.length) {
            stage.mass_per_length =
                Some(Measured::combine(&[mass, length], |x| x[0] / x[1]).renamed(|s| own_source(s, &name)));
        }
    }
    if takes.iter().any(|t| t.added.value > 0.0) {
        match mobility(&takes, &name) {
            Ok(mobility) => stage.mobility = mobility,
            Err(why) => stage.notes.push(format!("{name}: no mobility: {why}")),
        }
    }
    Ok(stage)
}

/// The length and width of a part are those it was cut to, in every stage; thickness, mass and taps are read anew. The masses
/// that are stuck on are the same things.
fn own_source(source: &str, stage: &str) -> String {
    let shared = matches!(source, "length" | "width" | "Poisson's ratio") || source.starts_with("added ");
    if shared { source.to_owned() } else { format!("{source}, {stage}") }
}

fn mobility(takes: &[Take], stage: &str) -> Result<Option<Mobility>, String> {
    let station: Vec<StationTake> = takes
        .iter()
        .map(|take| StationTake {
            added: take.added.clone(),
            tones: take
                .modes
                .iter()
                .map(|m| StationTone {
                    frequency_hz: m.frequency_hz,
                    frequency_hz_u: m.frequency_hz_u,
                    damping_ratio: m.damping_ratio,
                    damping_ratio_u: m.damping_ratio_u,
                    level_db: m.level_db,
                })
                .collect(),
        })
        .collect();
    let results = follow_modes(&station).map_err(|e| e.to_string())?;
    let modes: Vec<StationMode> = results
        .iter()
        .enumerate()
        .filter_map(|(index, r)| {
            let effective = r.effective.as_ref().ok()?;
            let name = |s: &str| own_source(&format!("{s}, mode {index}"), stage);
            let masses = |s: &str| if s.starts_with("added ") { s.to_owned() } else { name(s) };
            Some(StationMode {
                frequency: effective.frequency.renamed(masses),
                damping_ratio: Measured::new(r.tone.damping_ratio, r.tone.damping_ratio_u, &name("taps: damping")),
                modal_mass: effective.modal_mass.renamed(masses),
            })
        })
        .collect();
    Ok(Mobility::new(modes))
}

/// A stage from a report that `measure --format json` saved.
fn saved_stage(path: &Path, name: String) -> anyhow::Result<Stage> {
    let text = std::fs::read_to_string(path).with_context(|| format!("{}: cannot be read", path.display()))?;
    let document: Document = serde_json::from_str(&text)
        .with_context(|| format!("{}: is no report of `measure --format json`", path.display()))?;
    let mut stage = Stage { name: name.clone(), ..Stage::default() };
    let mut lists = Vec::new();
    for recording in &document.recordings {
        if station_of(Path::new(&recording.file)).added.value > 0.0 {
            continue;
        }
        lists.push(
            recording
                .modes
                .iter()
                .map(|m| StageMode {
                    frequency: Measured::new(m.frequency_hz, m.frequency_hz_u, "frequency"),
                    damping_ratio: Measured::new(m.damping_ratio, m.damping_ratio_u, "damping"),
                    level_db: m.level_db,
                    name: m.name.clone(),
                    taps: m.taps_used,
                })
                .collect::<Vec<_>>(),
        );
        let figure = |code: &str| {
            let quantities = recording.part.iter().flat_map(|p| &p.quantities);
            quantities
                .filter(|q| q.code == code)
                .map(|q| Measured::new(q.figure.value, q.figure.u, &format!("{code}, {name}")))
                .next()
        };
        stage.bending_stiffness = stage.bending_stiffness.or_else(|| figure("bending_stiffness_n_m2"));
    }
    if lists.iter().all(Vec::is_empty) {
        bail!("{}: holds no modes", path.display());
    }
    stage.modes = merge_takes(&name, &lists);
    stage.notes.push(format!(
        "{name}: a saved report holds no mass and no sizes; name the folder of takes to compare those too"
    ));
    Ok(stage)
}
