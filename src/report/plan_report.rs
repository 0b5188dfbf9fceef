//! A plan as text, JSON and CSV.

use schemars::JsonSchema;
use serde::Serialize;

use super::csv_cell::text_cell;
use super::document::schema_text;
use super::numbers::{power, with_interval};
use super::paragraph::wrap;
use super::rim_report::{RimEntry, rim_text};
use crate::analysis::{LaminationPlan, PlanSeries};
use crate::modes::COVERAGE_95;
use crate::plan::{Forecast, ShopFactor};
use crate::uncertainty::Figure;

/// Name and version of the document's form.
pub const PLAN_SCHEMA: &str = "ringwright.plan/1";

/// What should be known before anything is believed.
pub(super) fn doubts(report: &LaminationPlan) -> Vec<String> {
    let mut doubts = Vec::new();
    let mut tables: Vec<&str> = report.series.iter().filter(|s| s.from_table).map(|s| s.inner.as_str()).collect();
    if report.outer_from_table {
        tables.insert(0, &report.outer);
    }
    tables.dedup();
    if !tables.is_empty() {
        doubts.push(format!(
            "{}: table values of the species, and boards differ by a fifth; a tapped blank makes these intervals far narrower",
            tables.join(" and ")
        ));
    }
    let gives = report.series.iter().flat_map(|s| &s.rows).filter(|r| r.forecast.glue_matters);
    if let Some(most) = gives.map(|r| r.forecast.glue_gives).reduce(f64::max) {
        doubts.push(format!(
            "this glue line gives way in shear: up to {:.0} % of the stiffness is lost at 200 Hz, more at higher tones",
            100.0 * most
        ));
    }
    if let (Some((factor, file)), false) = (&report.record, report.series.is_empty()) {
        doubts.push(record_text(factor, file));
    }
    doubts
}

/// "5.9 (4.8 to 7.3)", interval in the logarithm as a ratio has it.
fn times(m: &Figure) -> String {
    let half = COVERAGE_95 * m.relative_u_95();
    let (low, high) = (m.value * (-half).exp(), m.value * half.exp());
    let decimals = (1 - (high - low).max(1e-4).log10().floor() as i32).clamp(0, 4) as usize;
    format!("{:.decimals$} ({low:.decimals$} to {high:.decimals$})", m.value)
}

/// "this shop's record: ..."
fn record_text(factor: &ShopFactor, file: &str) -> String {
    let count = factor.from.len();
    let what = if count == 1 { "one lamination".to_owned() } else { format!("{count} laminations") };
    format!(
        "this shop's record ({file}): {what} foretold and measured ({}). The next one is expected to be {} times as stiff as its \
         plies say, and stiffness, power and tones hold that factor already, the rim's too",
        factor.from.join("; "),
        times(&factor.next)
    )
}

/// The sources that move a figure most, with their shares of the variance (%).
fn sensitivity(m: &Figure) -> Vec<(String, f64)> {
    let total: f64 = m.parts().map(|(_, p)| p * p).sum();
    let mut all: Vec<(String, f64)> =
        m.parts().map(|(s, p)| (s.to_string(), 100.0 * p * p / total.max(1e-300))).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all.retain(|(_, share)| *share >= 1.0);
    all.truncate(5);
    all
}

/// Tones that a maker follows while sanding: the lowest.
const MOST_TONES: usize = 8;

/// For people.
pub fn plan_text(report: &LaminationPlan) -> String {
    let mut out = String::new();
    let thickness = |m: &Figure| format!("{:.2}", 1e3 * m.value);
    wrap(&mut out, "", &format!("Outer ply: {}, {} mm.", report.outer, thickness(&report.outer_thickness)));
    doubts(report).iter().for_each(|d| wrap(&mut out, "  ", &format!("! {d}")));
    for series in &report.series {
        let glue = report.glue.map_or("no glue line".to_owned(), |(name, film)| format!("{name}, {} mm", 1e3 * film));
        let grain =
            if series.grain_deg == 0.0 { String::new() } else { format!(", grain at {} degrees", series.grain_deg) };
        out.push('\n');
        wrap(
            &mut out,
            "",
            &format!("Inner ply: {}{grain}; {glue}. Times the outer ply alone, 95 % intervals:", series.inner),
        );
        out.push_str(&format!(
            "\n  {:>8} {:>21} {:>19} {:>21} {:>20}\n",
            "mm", "stiffness", "mass", "less power drawn", "tap tones"
        ));
        for row in &series.rows {
            let f = &row.forecast;
            out.push_str(&format!(
                "  {:>8} {:>21} {:>19} {:>21} {:>20}\n",
                thickness(&row.thickness),
                times(&f.stiffness_ratio),
                times(&f.mass_ratio),
                power(&f.power_ratio),
                times(&f.tone_ratio)
            ));
        }
        if let Some(last) = series.rows.last() {
            let loss = &last.forecast.loss;
            let told = format!(
                "Loss factor at {} mm: {}. ",
                thickness(&last.thickness),
                with_interval(loss.value, loss.half_95())
            );
            let moved: Vec<String> = sensitivity(&last.forecast.stiffness_ratio)
                .iter()
                .map(|(s, share)| format!("{s} ({share:.0} %)"))
                .collect();
            wrap(&mut out, "  ", &format!("{told}What moves the stiffness most: {}.", moved.join(", ")));
        }
        for target in &series.targets {
            match &target.found {
                Ok(t) => wrap(
                    &mut out,
                    "  ",
                    &format!(
                        "{}: {} of {:.2} mm; {} times the stiffness, {} times the mass, {} less power",
                        target.wish,
                        target.ply,
                        1e3 * t.thickness_m,
                        times(&t.forecast.stiffness_ratio),
                        times(&t.forecast.mass_ratio),
                        power(&t.forecast.power_ratio)
                    ),
                ),
                Err(why) => wrap(&mut out, "  ", &format!("! {}: {why}", target.wish)),
            }
        }
    }
    if let Some((to, tones)) = &report.sanded {
        let told: Vec<String> = tones
            .iter()
            .take(MOST_TONES)
            .map(|(now, then)| format!("{now:.1} to {}", with_interval(then.value, then.half_95())))
            .collect();
        out.push('\n');
        wrap(
            &mut out,
            "",
            &format!(
                "Sanded evenly to {:.2} mm the tones go from, to (Hz): {}{}.",
                1e3 * to,
                told.join("; "),
                if tones.len() > told.len() { "; and so on" } else { "" }
            ),
        );
    }
    if let Some(rim) = &report.rim {
        rim_text(rim, &mut out);
    }
    out.push('\n');
    report.cautions.iter().for_each(|c| wrap(&mut out, "", &format!("Mind: {c}.")));
    if !report.series.is_empty() {
        out.push_str("\nPower drawn from an edge that pushes with a given force: in the tables by an endless strip");
        out.push_str(if report.rim.is_some() {
            ", of the rim by\nits stations' mobility, 80 to 1000 Hz.\n"
        } else {
            ".\n"
        });
    }
    out.push_str("Nothing here says how a guitar will sound.\n");
    out
}

#[derive(Serialize, JsonSchema)]
struct PlanDocument {
    schema: String,
    outer: String,
    outer_thickness_m: f64,
    outer_thickness_m_u: f64,
    glue: Option<String>,
    glue_film_m: Option<f64>,
    inner: Vec<SeriesEntry>,
    sanded: Option<SandedEntry>,
    rim: Option<RimEntry>,
    /// The shop's own factor on stiffness, which the forecasts hold already; null if there is no record or it was left out.
    record: Option<RecordEntry>,
    doubts: Vec<String>,
    cautions: Vec<String>,
}

/// What the shop's laminations were worth, times what was foretold.
#[derive(Serialize, JsonSchema)]
struct RecordEntry {
    file: String,
    factor: f64,
    factor_u: f64,
    /// The laminations that it is from.
    laminations: Vec<String>,
}

#[derive(Serialize, JsonSchema)]
struct SeriesEntry {
    wood: String,
    from_table: bool,
    grain_deg: f64,
    rows: Vec<RowEntry>,
    targets: Vec<TargetEntry>,
}

/// A forecast. Ratios: to the outer ply alone. `*_u`: standard uncertainties.
#[derive(Serialize, JsonSchema)]
struct RowEntry {
    thickness_m: f64,
    stiffness_per_width_n_m: f64,
    stiffness_per_width_n_m_u: f64,
    stiffness_ratio: f64,
    stiffness_ratio_u: f64,
    mass_per_area_kg_m2: f64,
    mass_per_area_kg_m2_u: f64,
    mass_ratio: f64,
    mass_ratio_u: f64,
    power_drawn_ratio: f64,
    power_drawn_ratio_u: f64,
    tone_ratio: f64,
    tone_ratio_u: f64,
    loss_factor: f64,
    loss_factor_u: f64,
    glue_gives: f64,
    /// Sources that move the stiffness ratio, and their shares of its variance (%).
    moved_by: Vec<(String, f64)>,
}

#[derive(Serialize, JsonSchema)]
struct TargetEntry {
    wish: String,
    /// Null if it cannot be reached.
    thickness_m: Option<f64>,
    forecast: Option<RowEntry>,
    why_not: Option<String>,
}

#[derive(Serialize, JsonSchema)]
struct SandedEntry {
    thickness_m: f64,
    /// Each tone now, then, and the standard uncertainty of the latter (Hz).
    tones_hz: Vec<[f64; 3]>,
}

impl RowEntry {
    fn new(thickness_m: f64, f: &Forecast) -> Self {
        Self {
            thickness_m,
            stiffness_per_width_n_m: f.stiffness.value,
            stiffness_per_width_n_m_u: f.stiffness.u_95(),
            stiffness_ratio: f.stiffness_ratio.value,
            stiffness_ratio_u: f.stiffness_ratio.u_95(),
            mass_per_area_kg_m2: f.mass_per_area.value,
            mass_per_area_kg_m2_u: f.mass_per_area.u_95(),
            mass_ratio: f.mass_ratio.value,
            mass_ratio_u: f.mass_ratio.u_95(),
            power_drawn_ratio: f.power_ratio.value,
            power_drawn_ratio_u: f.power_ratio.u_95(),
            tone_ratio: f.tone_ratio.value,
            tone_ratio_u: f.tone_ratio.u_95(),
            loss_factor: f.loss.value,
            loss_factor_u: f.loss.u_95(),
            glue_gives: f.glue_gives,
            moved_by: sensitivity(&f.stiffness_ratio),
        }
    }
}

/// As indented JSON with a final newline.
pub fn plan_json(report: &LaminationPlan) -> String {
    let series = |s: &PlanSeries| SeriesEntry {
        wood: s.inner.clone(),
        from_table: s.from_table,
        grain_deg: s.grain_deg,
        rows: s.rows.iter().map(|r| RowEntry::new(r.thickness.value, &r.forecast)).collect(),
        targets: s
            .targets
            .iter()
            .map(|t| TargetEntry {
                wish: t.wish.clone(),
                thickness_m: t.found.as_ref().ok().map(|f| f.thickness_m),
                forecast: t.found.as_ref().ok().map(|f| RowEntry::new(f.thickness_m, &f.forecast)),
                why_not: t.found.as_ref().err().cloned(),
            })
            .collect(),
    };
    let document = PlanDocument {
        schema: PLAN_SCHEMA.to_owned(),
        outer: report.outer.clone(),
        outer_thickness_m: report.outer_thickness.value,
        outer_thickness_m_u: report.outer_thickness.u_95(),
        glue: report.glue.map(|g| g.0.to_owned()),
        glue_film_m: report.glue.map(|g| g.1),
        inner: report.series.iter().map(series).collect(),
        sanded: report.sanded.as_ref().map(|(to, tones)| SandedEntry {
            thickness_m: *to,
            tones_hz: tones.iter().map(|(now, then)| [*now, then.value, then.u_95()]).collect(),
        }),
        rim: report.rim.as_ref().map(RimEntry::new),
        record: report.record.as_ref().map(|(factor, file)| RecordEntry {
            file: file.clone(),
            factor: factor.next.value,
            factor_u: factor.next.u_95(),
            laminations: factor.from.clone(),
        }),
        doubts: doubts(report),
        cautions: report.cautions.clone(),
    };
    let mut text = serde_json::to_string_pretty(&document).unwrap_or_default();
    text.push('\n');
    text
}

/// JSON Schema of what [`plan_json`] writes, as text with a final newline.
pub fn plan_schema() -> String {
    schema_text(&schemars::schema_for!(PlanDocument))
}

/// One row a forecast, with a heading.
pub fn plan_csv(report: &LaminationPlan) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    let heading = "outer,inner,thickness_m,stiffness_ratio,stiffness_ratio_u,mass_ratio,mass_ratio_u,power_drawn_ratio,\
                   power_drawn_ratio_u,tone_ratio,tone_ratio_u,loss_factor,loss_factor_u";
    put(heading.split(',').map(str::to_owned).collect());
    for series in &report.series {
        for row in &series.rows {
            let f = &row.forecast;
            let pairs = [&f.stiffness_ratio, &f.mass_ratio, &f.power_ratio, &f.tone_ratio, &f.loss];
            let numbers = pairs.iter().flat_map(|m| [m.value.to_string(), m.u_95().to_string()]);
            let names = [text_cell(&report.outer), text_cell(&series.inner), row.thickness.value.to_string()];
            put(names.into_iter().chain(numbers).collect());
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
