//! A planned rim as text, as JSON entries and as a picture.

use schemars::JsonSchema;
use serde::Serialize;

use super::csv_cell::text_cell;
use super::figure::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use super::numbers::{power, significant, with_interval};
use super::paragraph::wrap;
use super::sheet::{WIDTH, lines};
use crate::analysis::RimPlan;
use crate::plan::{Patch, RIM_BAND_HZ, RimStage};
use crate::uncertainty::Figure;

/// What is to be known of all of it.
const MODEL: &str = "the rim is a frame of thin lines, free in the air, no plates glued on: how the side bends across its depth is \
                     left out, and 5 % of tones, 15 % of power (standard uncertainties) are allowed for it by judgement, and for \
                     power what it does to move the tones by that: it has not been set against real rims yet";

const HELD: &str = "the plates are taken to hold both edges of the sides like hinges, and the sides bow between them; power is at \
                    mid-depth. Real plates give, and real linings grip: 15 % of tones, 30 % of power (standard uncertainties) are \
                    allowed for that by judgement, and for power what it does to move the tones by that: it has not been set \
                    against real guitars yet";

fn model(report: &RimPlan) -> &'static str {
    if report.held { HELD } else { MODEL }
}

fn cell(m: &Figure, factor: f64) -> String {
    with_interval(factor * m.value, factor * m.half_95())
}

/// For people.
pub(super) fn rim_text(report: &RimPlan, out: &mut String) {
    out.push('\n');
    wrap(
        out,
        "",
        &format!("The rim, {}, {:.0} mm around, sides and {}:", report.outline, 1e3 * report.around_m, report.inner),
    );
    wrap(out, "  ", &format!("! {}", model(report)));
    out.push_str(&format!("\n  {:<30}", ""));
    report.stages.iter().for_each(|s| out.push_str(&format!(" {:>20}", s.name)));
    out.push('\n');
    let mut row = |what: &str, cells: Vec<String>| {
        out.push_str(&format!("  {what:<30}"));
        cells.iter().for_each(|c| out.push_str(&format!(" {c:>20}")));
        out.push('\n');
    };
    row("mass, g", report.stages.iter().map(|s| cell(&s.mass, 1e3)).collect());
    for tone in 0..report.stages.iter().map(|s| s.in_plane_hz.len()).min().unwrap_or(0) {
        let what = format!("tone {} {}, Hz", tone + 1, if report.held { "of the sides" } else { "in its plane" });
        row(&what, report.stages.iter().map(|s| cell(&s.in_plane_hz[tone], 1.0)).collect());
    }
    for tone in 0..report.stages.iter().map(|s| s.out_of_plane_hz.len()).min().unwrap_or(0).min(2) {
        let what = format!("tone {} out of it, Hz", tone + 1);
        row(&what, report.stages.iter().map(|s| cell(&s.out_of_plane_hz[tone], 1.0)).collect());
    }
    let squeeze = |s: &RimStage| s.squeeze_n_m.as_ref().map_or("—".to_owned(), |m| cell(m, 1e-3));
    if !report.held {
        row("waist pressed together, N/mm", report.stages.iter().map(squeeze).collect());
    }
    for (place, (station, _)) in report.stations.iter().enumerate() {
        let cells =
            report.stages.iter().map(|s| if s.name == "plain" { "—".to_owned() } else { power(&s.power[place]) });
        row(&format!("less power, {station}"), cells.collect());
    }
    if let Some(told) = best_patches(report) {
        out.push('\n');
        wrap(out, "  ", &told);
    }
}

/// Places nearer to each other than this (m) are one.
const APART_M: f64 = 0.08;

/// Where a further patch helps most, in a sentence.
fn best_patches(report: &RimPlan) -> Option<String> {
    let (station, _) = report.stations.first()?;
    let mut order: Vec<&Patch> = report.patches.iter().collect();
    order.sort_by(|a, b| a.power.total_cmp(&b.power));
    let mut best: Vec<&Patch> = Vec::new();
    for patch in order.into_iter().filter(|p| p.power < 0.95) {
        if best.len() < 2 && best.iter().all(|b| (b.share - patch.share).abs() * report.around_m > APART_M) {
            best.push(patch);
        }
    }
    let grams = report.patches.first().map(|p| 1e3 * p.mass_kg)?;
    let what = format!("A patch of 40 mm of a further inner ply on both sides ({grams:.0} g together)");
    if best.is_empty() {
        return Some(format!("{what} lowers the power at the {station} nowhere by more than 5 %."));
    }
    let told: Vec<String> = best
        .iter()
        .map(|p| {
            let less = 100.0 * (1.0 - p.power);
            format!(
                "{:.0} mm from the tail (some {less:.0} %, {:.1} % a gram)",
                1e3 * p.share * report.around_m,
                less / grams
            )
        })
        .collect();
    Some(format!(
        "{what} lowers the power at the {station} most near {}. A hint only: it hangs on where single tones fall, and the place may be \
         off by several centimetres.",
        told.join(" and ")
    ))
}

/// What the frame model says of a rim (SI units; `*_u`: standard uncertainties).
#[derive(Serialize, JsonSchema)]
pub(super) struct RimEntry {
    outline: String,
    around_m: f64,
    /// Whether plates hold the edges of the sides; the tones in the plane are then those of the sides between them.
    edges_held: bool,
    stages: Vec<RimStageEntry>,
    patches: Vec<PatchEntry>,
    assumes: String,
}

#[derive(Serialize, JsonSchema)]
struct RimStageEntry {
    name: String,
    mass_kg: f64,
    mass_kg_u: f64,
    /// Value and standard uncertainty of each.
    in_plane_hz: Vec<[f64; 2]>,
    out_of_plane_hz: Vec<[f64; 2]>,
    squeeze_n_m: Option<[f64; 2]>,
    /// Station, power drawn times the plain rim's, its standard uncertainty.
    power_drawn: Vec<(String, f64, f64)>,
}

#[derive(Serialize, JsonSchema)]
struct PatchEntry {
    share_around: f64,
    mass_kg: f64,
    power_drawn_ratio: f64,
}

impl RimEntry {
    pub(super) fn new(report: &RimPlan) -> Self {
        let pair = |m: &Figure| [m.value, m.u_95()];
        let stage = |s: &RimStage| RimStageEntry {
            name: s.name.to_owned(),
            mass_kg: s.mass.value,
            mass_kg_u: s.mass.u_95(),
            in_plane_hz: s.in_plane_hz.iter().map(pair).collect(),
            out_of_plane_hz: s.out_of_plane_hz.iter().map(pair).collect(),
            squeeze_n_m: s.squeeze_n_m.as_ref().map(pair),
            power_drawn: report
                .stations
                .iter()
                .zip(&s.power)
                .map(|((n, _), p)| (n.clone(), p.value, p.u_95()))
                .collect(),
        };
        let patch = |p: &Patch| PatchEntry { share_around: p.share, mass_kg: p.mass_kg, power_drawn_ratio: p.power };
        Self {
            outline: report.outline.clone(),
            around_m: report.around_m,
            edges_held: report.held,
            stages: report.stages.iter().map(stage).collect(),
            patches: report.patches.iter().map(patch).collect(),
            assumes: model(report).to_owned(),
        }
    }
}

/// The rim as CSV: a figure a line, in SI units, with its standard uncertainty.
pub fn rim_csv(report: &RimPlan) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: [&str; 6]| drop(writer.write_record(cells));
    put(["stage", "figure", "place", "value", "value_u", "unit"]);
    for stage in &report.stages {
        let mut figure = |what: &str, place: &str, m: &Figure, unit: &str| {
            put([stage.name, what, &text_cell(place), &m.value.to_string(), &m.u_95().to_string(), unit]);
        };
        figure("mass", "", &stage.mass, "kg");
        let sideways = if report.held { "tone of the sides, edges held" } else { "tone in its plane" };
        for (what, tones) in [(sideways, &stage.in_plane_hz), ("tone out of its plane", &stage.out_of_plane_hz)] {
            tones.iter().enumerate().for_each(|(n, hz)| figure(what, &(n + 1).to_string(), hz, "Hz"));
        }
        stage.squeeze_n_m.iter().for_each(|m| figure("waist pressed together", "", m, "N/m"));
        let placed = report.stations.iter().zip(&stage.power);
        placed.for_each(|((station, _), power)| figure("power drawn, times the plain rim's", station, power, ""));
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// The page as PNG, 1600 wide: the shapes of the joined rim's lowest modes, and the mobility of all stages at the first station.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn rim_png(report: &RimPlan, remark: Option<&str>) -> Result<Vec<u8>, String> {
    let mut on = Drawing::new(WIDTH, 1130.0);
    let title = format!("A {} rim: {}", report.outline, report.inner);
    on.text(40.0, 52.0, &title, Style { size: 30.0, bold: true, ..Style::default() });
    let note = remark.map_or(String::new(), |r| format!("{r} · "))
        + "top: the joined rim's lowest tones, blue and orange the two ends of the swing, grey at rest; below: mobility of all stages";
    on.text(40.0, 84.0, &note, Style { size: 19.0, colour: MUTED, ..Style::default() });
    if let Some(last) = report.stages.last() {
        for (place, tone) in last.in_plane_hz.iter().enumerate().take(last.modes.len()) {
            shape(&mut on, last, place, tone, 40.0 + 385.0 * place as f64);
        }
    }
    mobility(&mut on, report);
    for (place, line) in lines(&format!("! {}", model(report)), 160).iter().enumerate() {
        on.text(40.0, 1080.0 + 20.0 * place as f64, line, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
    to_png(&on.finish(), 1.0)
}

fn shape(on: &mut Drawing, stage: &RimStage, place: usize, tone: &Figure, left: f64) {
    let nodes = stage.rim.nodes();
    let mode = &stage.modes[place];
    let (top, width, height) = (130.0, 350.0, 400.0);
    let (low, high) = nodes.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.1), h.max(p.1)));
    let scale = 0.78 * height / (high - low);
    let at = |x: f64, y: f64| (left + 0.5 * width + scale * x, top + 0.5 * height - scale * (y - 0.5 * (low + high)));
    let most = mode.shape.iter().map(|s| s[0].hypot(s[1])).fold(1e-12, f64::max);
    let swing = 0.12 * (high - low) / most;
    let closed = |sign: f64| -> Vec<(f64, f64)> {
        nodes
            .iter()
            .zip(&mode.shape)
            .chain(nodes.iter().zip(&mode.shape).take(1))
            .map(|(p, s)| at(p.0 + sign * swing * s[0], p.1 + sign * swing * s[1]))
            .collect()
    };
    on.polyline(&closed(0.0), "#b5b5b5", 2.0, 1.0);
    on.polyline(&closed(1.0), SERIES[0], 2.4, 1.0);
    on.polyline(&closed(-1.0), SERIES[1], 1.6, 0.8);
    let style = Style { size: 17.0, bold: true, anchor: Anchor::Middle, ..Style::default() };
    on.text(left + 0.5 * width, top + height + 10.0, &format!("{} Hz", cell(tone, 1.0)), style);
}

fn mobility(on: &mut Drawing, report: &RimPlan) {
    let Some((station, share)) = report.stations.first() else { return };
    let points = 900;
    let (low, high) = RIM_BAND_HZ;
    let curve = |s: &RimStage| -> Vec<(f64, f64)> {
        let node = s.rim.node_at(*share);
        let hz = |i: usize| low * (high / low).powf(i as f64 / points as f64);
        let level = |f: f64| 20.0 * s.rim.mobility(&s.modes, node, s.loss_factor, f).norm().log10();
        (0..=points).map(|i| (hz(i), level(hz(i)))).collect()
    };
    let curves: Vec<Vec<(f64, f64)>> = report.stages.iter().map(curve).collect();
    let all = || curves.iter().flatten().map(|p| p.1);
    let panel = Panel {
        left: 100.0,
        top: 640.0,
        right: WIDTH - 40.0,
        bottom: 990.0,
        x: Axis::logarithmic(low, high),
        y: Axis::linear(all().fold(f64::INFINITY, f64::min) - 3.0, all().fold(f64::NEG_INFINITY, f64::max) + 3.0),
    };
    panel.draw(on, &format!("Mobility across the side, {station}"), "frequency, Hz", "dB re 1 m/(N s)");
    let mut x = panel.left;
    for ((stage, curve), colour) in report.stages.iter().zip(&curves).zip(SERIES) {
        let points: Vec<_> = curve.iter().map(|p| panel.at(p.0, p.1)).collect();
        on.polyline(&points, colour, 2.0, 0.95);
        on.line((x, 1042.0), (x + 34.0, 1042.0), colour, 4.0, false);
        let told = format!("{}, {} g", stage.name, significant(1e3 * stage.mass.value, 3));
        on.text(x + 42.0, 1048.0, &told, Style { size: 17.0, bold: true, colour: INK, ..Style::default() });
        x += 90.0 + 11.0 * told.chars().count() as f64;
    }
}
