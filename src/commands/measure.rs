//! `ringwright measure`: recordings in, modes out.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::{Context, bail};
use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;

use super::inputs::{Input, gather, path_of};
use super::part_arguments::PartArguments;
use super::take::{Pages, measure_alone, shapes_page, station_page_name};
use super::{Outcome, print_as, tell};
use crate::analysis::{Options, StageTake, Take, against_first, spots, station_name};
use crate::files::Outlet;
use crate::modes::{EstimateOptions, Estimator};
use crate::part::station_of;
use crate::report::{Detail, Document, station_png, to_csv, to_text};
use crate::sound::{ChannelChoice, OpenOptions};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright measure take-01.wav
  ringwright measure recordings/ --pages reports/          a picture page for every take
  ringwright measure recordings/ --format csv --out modes.csv
  ringwright measure phone.m4a --channel 2 --from 60 --to 2000
  ringwright measure left.wav --part left.toml --explain    moduli, stiffness, loss, in plain words
  ringwright measure left.wav --length 760mm --width 112mm --thickness 1.9mm --mass 100g
  ringwright measure rim/tail rim/tail+2g rim/tail+4g         stiffness from stuck-on masses

Record some quiet before the first tap, tap five times or so, and let each ring out before the next.
Exit codes: 0 done; 1 done, but some recordings could not be measured (each is listed); 2 wrong usage, or the report could not be saved.")]
pub struct Arguments {
    /// Recordings, or folders of them (searched recursively)
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    #[command(flatten)]
    pub report: ReportArguments,
    /// Channel to use, counted from 1 [default: the one in which taps stand out most]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..))]
    channel: Option<u16>,
    /// Lowest frequency to search (Hz)
    #[arg(long, value_name = "HZ", default_value_t = 30.0)]
    from: f64,
    /// Highest frequency to search (Hz)
    #[arg(long, value_name = "HZ", default_value_t = 16_000.0)]
    to: f64,
    #[command(flatten)]
    part: PartArguments,
}

/// What to do with the results.
#[derive(Debug, Default, Args)]
pub struct ReportArguments {
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write the report to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write a picture page (PNG) for every take into this folder
    #[arg(long, value_name = "FOLDER")]
    pages: Option<PathBuf>,
    /// Replace files that exist already
    #[arg(long)]
    pub force: bool,
    /// A line for the picture pages, such as "simulated"
    #[arg(long, value_name = "TEXT")]
    pub remark: Option<String>,
    /// Say nothing but the report
    #[arg(long, short)]
    quiet: bool,
    /// Say why each peak that is not listed as a mode was left out
    #[arg(long, short)]
    verbose: bool,
    /// All digits of each mode and this recording's own intervals; else rounded to what holding the part anew leaves sure
    #[arg(long)]
    all_digits: bool,
    /// Show no progress bar
    #[arg(long)]
    no_progress: bool,
    /// Say what each interval comes from, and in a plain sentence what each figure about the part means
    #[arg(long)]
    explain: bool,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    #[default]
    Text,
    Json,
    Csv,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    if !(arguments.from > 0.0 && arguments.to > arguments.from) {
        bail!("--from {} --to {}: the first must be above 0 and below the second", arguments.from, arguments.to);
    }
    let channel = arguments.channel.map_or(ChannelChoice::Better, |c| ChannelChoice::Index(usize::from(c) - 1));
    let options = Options {
        open: OpenOptions { channel, ..OpenOptions::default() },
        estimate: EstimateOptions {
            range_hz: (arguments.from, arguments.to),
            with_spectrum: arguments.report.pages.is_some(),
        },
        part: arguments.part.read()?,
    };
    measure(&arguments.paths, &options, &arguments.report, arguments.part.file())
}

/// Measures all files under some paths and reports. `described`: the file that the options' part was read from.
pub fn measure(
    paths: &[PathBuf],
    options: &Options,
    report: &ReportArguments,
    described: Option<&Path>,
) -> anyhow::Result<Outcome> {
    let inputs = gather(paths);
    let pages = report.pages.as_ref().map(|folder| page_names(folder, &inputs));
    // What can be refused is refused before the work begins.
    let outlet = Outlet::beside(inputs.iter().flatten().map(PathBuf::as_path).chain(described));
    outlet.check_all(&report.out, report.force)?;
    for page in pages.iter().flatten() {
        outlet.check(page)?;
        outlet.check(&shapes_page(page))?;
    }
    for (folder, input) in report.pages.iter().flat_map(|folder| inputs.iter().flatten().map(move |i| (folder, i))) {
        outlet.check(&folder.join(station_page_name(&station_name(&station_of(input).place))))?;
    }
    let progress = progress_bar(inputs.len(), report.quiet || report.no_progress);
    let drawing =
        Pages { outlet: &outlet, remark: report.remark.as_deref(), replace: report.force, troubles: Mutex::default() };
    let takes: Vec<Take> = inputs
        .par_iter()
        .enumerate()
        .map_init(Estimator::default, |estimator, (index, input)| {
            let take = measure_alone(input, options, estimator).take;
            if let Some(page) = pages.as_ref().map(|names| names[index].as_path()) {
                drawing.draw(&take, page);
            }
            progress.inc(1);
            take
        })
        .collect();
    progress.finish_and_clear();
    let placed: Vec<StageTake> = inputs
        .iter()
        .zip(&takes)
        .filter_map(|(input, take)| Some(StageTake::new(take, station_of(input.as_ref().ok()?))))
        .collect();
    let mut found =
        spots(&placed, |_| options.part.as_ref(), options.part.as_ref().and_then(|p| p.deflection.as_ref()));
    against_first(&mut found);
    if let Some(folder) = &report.pages {
        for spot in &found {
            let page = folder.join(station_page_name(&spot.station));
            let saved = station_png(spot, report.remark.as_deref())
                .and_then(|png| outlet.save(&page, &png, report.force).map_err(|e| e.to_string()));
            if let Err(trouble) = saved {
                drawing.say(format!("{}: no picture page: {trouble}", spot.station));
            }
        }
    }
    let document = Document::new(&takes, &found);
    let text = match report.format {
        Format::Text => {
            let (verbose, explain, all_digits) = (report.verbose, report.explain, report.all_digits);
            to_text(&document, Detail { verbose, explain, all_digits, why: "--verbose" })
        }
        Format::Json => document.to_json(),
        Format::Csv => to_csv(&document),
    };
    match &report.out {
        Some(out) => outlet.save(out, text.as_bytes(), report.force).context("the report was not saved")?,
        None => print_as(report.format, &text),
    }
    // The text says what failed; the other forms go to programs, so the person hears it here.
    let failed: Vec<&Take> = takes.iter().filter(|t| t.problem.is_some()).collect();
    if report.format != Format::Text || report.out.is_some() {
        for take in &failed {
            tell(&format!("{}: {}", take.file, take.problem.as_ref().map(ToString::to_string).unwrap_or_default()));
        }
    }
    let troubles = drawing.troubles.into_inner().unwrap_or_default();
    troubles.iter().for_each(|t| tell(t));
    if !report.quiet {
        if let Some(folder) = &report.pages {
            tell(&format!("picture pages are in {}", folder.display()));
        }
        if failed.len() > 1 || (failed.len() == 1 && inputs.len() > 1) {
            tell(&format!("{} of {} recordings could not be measured", failed.len(), inputs.len()));
        }
    }
    Ok(if failed.is_empty() && troubles.is_empty() { Outcome::Done } else { Outcome::Partly })
}

pub fn progress_bar(count: usize, hidden: bool) -> ProgressBar {
    if hidden || count < 2 || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(count as u64);
    if let Ok(style) = ProgressStyle::with_template("measuring {pos} of {len} {wide_bar} {eta} left") {
        bar.set_style(style);
    }
    bar
}

/// A page name for every input: the file's name, with as much of its folders as keeps the names apart.
fn page_names(folder: &Path, inputs: &[Input]) -> Vec<PathBuf> {
    let stem = |input: &Input, depth: usize| -> String {
        let parts: Vec<String> = path_of(input).iter().map(|p| p.to_string_lossy().into_owned()).collect();
        let kept = &parts[parts.len().saturating_sub(depth)..];
        kept.join("-").replace(['/', '\\', ':'], "")
    };
    let deepest = inputs.iter().map(|i| i.as_ref().map_or(1, |p| p.iter().count())).max().unwrap_or(1);
    // "take-01" says nothing without its folder.
    let bare_take = |input: &Input| {
        input
            .as_ref()
            .is_ok_and(|p| p.file_stem().is_some_and(|s| s.to_string_lossy().to_lowercase().starts_with("take-")))
    };
    let least = if inputs.iter().any(bare_take) { deepest.min(2) } else { 1 };
    for depth in least..=deepest {
        let names: Vec<String> = inputs.iter().map(|i| stem(i, depth)).collect();
        let mut unique: Vec<&String> = names.iter().collect();
        unique.sort();
        unique.dedup();
        if unique.len() == names.len() || depth == deepest {
            return names.iter().map(|n| folder.join(format!("{n}.png"))).collect();
        }
    }
    Vec::new()
}
