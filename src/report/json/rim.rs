//! A planned rim as entries of the JSON document.

use schemars::JsonSchema;
use serde::Serialize;

use crate::analysis::RimPlan;
use crate::loss::PowerRatios;
use crate::plan::{Patch, RimStage};
use crate::report::text::rim::model;
use crate::uncertainty::Figure;

/// What the model of its wall says of a rim (SI units; `*_u`: standard uncertainties).
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
    /// The same of an edge that gives 0.3 to 3 times as readily as the plain rim, and of an edge of given speed.
    power_matched_top: Vec<(String, f64, f64)>,
    power_given_speed: Vec<(String, f64, f64)>,
}

#[derive(Serialize, JsonSchema)]
struct PatchEntry {
    share_around: f64,
    mass_kg: f64,
    power_drawn_ratio: f64,
}

/// One of the readings of power at each station.
fn placed(report: &RimPlan, stage: &RimStage, of: fn(&PowerRatios) -> &Figure) -> Vec<(String, f64, f64)> {
    let own = report.stations.iter().zip(&stage.power);
    own.map(|((name, _), power)| (name.clone(), of(power).value, of(power).u_95())).collect()
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
            power_drawn: placed(report, s, |p| &p.given_force),
            power_matched_top: placed(report, s, |p| &p.matched_top),
            power_given_speed: placed(report, s, |p| &p.given_speed),
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
