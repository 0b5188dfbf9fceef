//! `ringwright plan`: what a lamination will be worth before the glue is mixed.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::{Args, ValueEnum};

use super::compare::files_of;
use super::forecast_record::{factor_near, record_near};
use super::measure::Format;
use super::named_plies::{glue, lengths, one_length, ply};
use super::rim_outline::outline_named;
use super::{Outcome, print_as, tell};
use crate::analysis::{Lamination, LaminationPlan, LaminationWish, tones_when_sanded};
use crate::files::Outlet;
use crate::part::{Dimension, LiningKind, parse_readings};
use crate::plan::{Ply, RIM_BAND_HZ, RimWish, SIDE_BRACE};
use crate::report::{plan_csv, plan_json, plan_png, plan_text, rim_csv, rim_png};
use crate::rim::{Bar, places_on};
use crate::uncertainty::Figure;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright plan --outer \"black cherry 1.9 mm\" --inner maple
  ringwright plan --outer left-blank/flat --inner maple --inner walnut --page plan.png
  ringwright plan --outer left-blank/flat --inner maple --times 5      what thickness?
  ringwright plan --outer left-blank/flat --inner \"maple 1.0 mm\" --keep   how thin may outer go?
  ringwright plan --outer left-blank/flat --sand-to \"1.7 mm\"           what tones then?

  ringwright plan --outer left-blank/flat --inner \"maple 1.4 mm\" --rim parlour --rim-page rim.png
  ringwright plan --outer left-blank/flat --inner \"maple 1.4 mm\" --rim mould.svg --edges held --braces waist

A ply is a folder of takes of a flat blank with its sizes and mass (as for `compare`), which is best, or
a wood of the published table with a thickness. Woods: black walnut, sugar maple, yellow birch,
black cherry, white ash, yellow-poplar, red oak, white oak, western red cedar.
Whether a side can be bent or breaks is not checked here.
Exit codes: 0 done; 1 done, but a wish cannot be reached; 2 wrong usage.")]
pub struct Arguments {
    /// The outer ply: takes of a flat blank, or a wood and its thickness such as "black walnut 1.9 mm"
    #[arg(long, value_name = "PLY")]
    outer: String,
    /// An inner ply to try: the same, or a wood without a thickness; may be given more than once
    #[arg(long, value_name = "PLY")]
    inner: Vec<String>,
    /// Thicknesses of the inner ply to try, such as "1 1.4 1.9 mm"
    #[arg(long, value_name = "SIZES", default_value = "0.5 0.75 1 1.25 1.5 1.75 2 2.5 3 mm")]
    thicknesses: String,
    /// What glues them: epoxy, hide glue, wood glue or contact cement, and its film, or none
    #[arg(long, value_name = "GLUE", default_value = "epoxy 0.1 mm")]
    glue: String,
    /// Grain of the inner ply to the length, in degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.0)]
    grain: f64,
    /// Find the inner thickness that gives so many times the plain side's stiffness
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    times: Option<f64>,
    /// Find how thin the outer ply may go over each inner one at the plain side's stiffness
    #[arg(long)]
    keep: bool,
    /// The most mass that is wanted, times the plain side's: marked in the picture
    #[arg(long, value_name = "NUMBER")]
    most_mass: Option<f64>,
    /// Tell the tap tones to expect when the outer blank is sanded to this thickness
    #[arg(long, value_name = "SIZE")]
    sand_to: Option<String>,
    /// Foretell the whole rim: parlour, concert, large, or the mould's own outline: a CSV file (x, y in mm, a point a line) or an
    /// SVG drawing
    #[arg(long, value_name = "OUTLINE", requires = "inner")]
    rim: Option<String>,
    /// Depth of the rim's sides
    #[arg(long, value_name = "SIZE", default_value = "95 mm")]
    depth: String,
    /// Thickness of neck and tail block, or none
    #[arg(long, value_name = "SIZE", default_value = "20 mm")]
    blocks: String,
    /// Linings along both edges
    #[arg(long, value_enum, default_value_t = LiningChoice::Kerfed)]
    linings: LiningChoice,
    /// Whether the rim is free in the air, or plates hold both edges of its sides
    #[arg(long, value_enum, default_value_t = EdgeChoice::Free)]
    edges: EdgeChoice,
    /// Side braces between the linings, on both sides: stations or shares of the way around, such as "lower bout, 0.12"
    #[arg(long, value_name = "PLACES", requires = "rim")]
    braces: Option<String>,
    /// Width and height of a side brace
    #[arg(long, value_name = "SIZES", default_value = "8 5 mm", requires = "braces")]
    brace_size: String,
    /// Where the rim's mobility is told: lower bout, waist, upper bout, tail, neck, or a share of the way around from the tail
    #[arg(long, value_name = "NAMES", default_value = "lower bout, waist, upper bout")]
    stations: String,
    /// Draw the rim's shapes and mobility (PNG)
    #[arg(long, value_name = "FILE", requires = "rim")]
    rim_page: Option<PathBuf>,
    /// Write the rim's figures as a table (CSV)
    #[arg(long, value_name = "FILE", requires = "rim")]
    rim_table: Option<PathBuf>,
    /// Leave the shop's own record of earlier forecasts out (reports/forecasts.csv, which the diary writes)
    #[arg(long)]
    no_record: bool,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write the report to this file instead of the terminal
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Draw stiffness against mass (PNG)
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// A line for the picture, such as "simulated"
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
    /// Replace files that exist already
    #[arg(long)]
    force: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LiningChoice {
    None,
    Kerfed,
    Solid,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum EdgeChoice {
    Free,
    Held,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let named: Vec<&str> = [&arguments.outer].into_iter().chain(&arguments.inner).map(String::as_str).collect();
    let read = named.iter().map(Path::new).filter(|ply| ply.exists()).flat_map(files_of);
    let outlet = Outlet::beside(read.chain(record_near(&named)).chain(arguments.rim.as_ref().map(PathBuf::from)));
    let outputs = [&arguments.out, &arguments.page, &arguments.rim_page, &arguments.rim_table];
    outlet.check_all(outputs.into_iter().flatten(), arguments.force)?;
    if arguments.inner.is_empty() && arguments.sand_to.is_none() {
        bail!("--inner names the ply to glue in; or ask with --sand-to for the outer blank's tones");
    }
    if let Some(times) = arguments.times
        && !(times > 0.0 && times.is_finite())
    {
        bail!("--times {times}: a number above 0 is needed");
    }
    let outer = ply(&arguments.outer, "outer ply")?;
    let thickness =
        outer.thickness.clone().with_context(|| format!("--outer {}: no thickness given", arguments.outer))?;
    let plain = Ply { material: outer.material.clone(), thickness, angle_rad: 0.0 };
    let glue = glue(&arguments.glue)?;
    let mut report = LaminationPlan {
        outer: plain.material.name.clone(),
        outer_thickness: plain.thickness.clone(),
        outer_from_table: plain.material.from_table,
        glue: glue.map(|(glue, film)| (glue.name, film)),
        most_mass: arguments.most_mass,
        remark: arguments.remark.clone(),
        ..LaminationPlan::default()
    };
    if !arguments.no_record {
        report.record = factor_near(&named)?.map(|(factor, file)| (factor, file.display().to_string()));
    }
    let factor = report.record.as_ref().map(|(factor, _)| factor.next.clone());
    let lamination = Lamination { plain: &plain, glue, factor: factor.as_ref() };
    let wish = LaminationWish {
        grain_deg: arguments.grain,
        thicknesses_m: lengths(&arguments.thicknesses, "--thicknesses")?,
        times: arguments.times,
        keep: arguments.keep,
    };
    for (number, name) in arguments.inner.iter().enumerate() {
        let inner = ply(name, &format!("inner ply {}", number + 1))?;
        report.series.push(lamination.series(&inner, &wish).map_err(|e| anyhow!(e))?);
    }
    if let (Some(outline), Some(name)) = (&arguments.rim, arguments.inner.first()) {
        let inner = ply(name, "inner ply 1")?;
        let (name, rim) = rim_wish(outline, arguments)?;
        report.rim = Some(lamination.rim(&inner, &wish, name, rim).map_err(|e| anyhow!(e))?);
    }
    if let Some(size) = &arguments.sand_to {
        report.sanded = Some(sanded(&plain, &outer.tones, size)?);
    }
    if let Some((glue, _)) = glue.filter(|_| !report.series.is_empty()) {
        report.cautions.push(format!("{}: {}", glue.name, glue.caution));
    }
    report.cautions.push(
        "wood dust harms the lungs, and that of rosewoods, ebonies, cedar and others sensitises: extraction and a mask. Hot \
         irons and steam scald. Local rules and the products' own sheets come before anything said here"
            .to_owned(),
    );
    report.cautions.push("whether a ply of this thickness can be bent without breaking is not checked".to_owned());
    let text = match arguments.format {
        Format::Text => plan_text(&report),
        Format::Json => plan_json(&report),
        Format::Csv => plan_csv(&report),
    };
    match &arguments.out {
        Some(out) => outlet.save(out, text.as_bytes(), arguments.force).context("the report was not saved")?,
        None => print_as(arguments.format, &text),
    }
    if let Some(page) = &arguments.page {
        if report.series.is_empty() {
            bail!("--page draws inner plies; name one with --inner");
        }
        let png = plan_png(&report).map_err(|e| anyhow!(e))?;
        outlet.save(page, &png, arguments.force).context("the picture was not saved")?;
        tell(&format!("the picture is in {}", page.display()));
    }
    if let (Some(table), Some(rim)) = (&arguments.rim_table, &report.rim) {
        outlet.save(table, rim_csv(rim).as_bytes(), arguments.force).context("the rim's table was not saved")?;
        tell(&format!("the rim's table is in {}", table.display()));
    }
    if let (Some(page), Some(rim)) = (&arguments.rim_page, &report.rim) {
        let png = rim_png(rim, arguments.remark.as_deref()).map_err(|e| anyhow!(e))?;
        outlet.save(page, &png, arguments.force).context("the rim's picture was not saved")?;
        tell(&format!("the rim's picture is in {}", page.display()));
    }
    let unreached = report.series.iter().flat_map(|s| &s.targets).any(|t| t.found.is_err());
    Ok(if unreached { Outcome::Partly } else { Outcome::Done })
}

/// The rim that is asked for, and the name of its outline.
fn rim_wish(outline: &str, arguments: &Arguments) -> anyhow::Result<(String, RimWish)> {
    let shape = outline_named(outline, Path::new("")).map_err(|e| anyhow!("--rim: {e}"))?;
    let depth_m = match parse_readings(&arguments.depth, Dimension::Length).map_err(|e| anyhow!("--depth: {e}"))?[..] {
        [depth] if (0.03..=0.2).contains(&depth) => depth,
        _ => bail!("--depth {:?}: one depth from 30 to 200 mm is needed", arguments.depth),
    };
    let block_m = if arguments.blocks.trim() == "none" {
        None
    } else {
        match parse_readings(&arguments.blocks, Dimension::Length).map_err(|e| anyhow!("--blocks: {e}"))?[..] {
            [block] if (0.003..=0.1).contains(&block) => Some(block),
            _ => bail!("--blocks {:?}: one thickness from 3 to 100 mm, or none", arguments.blocks),
        }
    };
    let places = |names: &str, flag: &str| places_on(&shape, names).map_err(|e| anyhow!("{flag}: {e}"));
    let stations = places(&arguments.stations, "--stations")?;
    let braces = arguments.braces.as_deref().map_or(Ok(Vec::new()), |names| places(names, "--braces"))?;
    let brace = match lengths(&arguments.brace_size, "--brace-size")?[..] {
        [width_m, height_m] if width_m < 0.05 && height_m < 0.05 => Bar { width_m, height_m, ..SIDE_BRACE },
        _ => bail!("--brace-size {:?}: width and height are needed, such as \"8 5 mm\"", arguments.brace_size),
    };
    let linings = match arguments.linings {
        LiningChoice::None => LiningKind::None,
        LiningChoice::Kerfed => LiningKind::Kerfed,
        LiningChoice::Solid => LiningKind::Solid,
    };
    let wish = RimWish {
        outline: shape,
        depth_m,
        block_m,
        linings,
        held: arguments.edges == EdgeChoice::Held,
        braces: braces.iter().flat_map(|(_, share)| [*share, 1.0 - share]).collect(),
        brace,
        stations,
        band_hz: RIM_BAND_HZ,
    };
    let name = Path::new(outline).file_stem().map_or(outline.to_owned(), |s| s.to_string_lossy().into_owned());
    Ok((name, wish))
}

/// Tones of the outer blank when it is thinned.
fn sanded(plain: &Ply, tones: &[Figure], size: &str) -> anyhow::Result<(f64, Vec<(f64, Figure)>)> {
    let to = one_length(size, "--sand-to")?;
    if tones.is_empty() {
        bail!("--sand-to needs takes of the blank as --outer: a table knows no tones");
    }
    if to >= plain.thickness.value {
        bail!("--sand-to {size}: the blank is {:.2} mm thick already", 1e3 * plain.thickness.value);
    }
    Ok((to, tones_when_sanded(plain, tones, to)))
}
