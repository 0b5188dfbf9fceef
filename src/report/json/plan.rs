//! A plan as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use super::document::schema_text;
use super::rim::RimEntry;
use crate::analysis::{LaminationPlan, PlanSeries};
use crate::plan::Forecast;
use crate::report::text::plan::{doubts, sensitivity};

/// Name and version of the document's form.
pub const PLAN_SCHEMA: &str = "ringwright.plan/1";

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
