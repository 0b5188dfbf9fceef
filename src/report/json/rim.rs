//! A planned rim as entries of the JSON document.

use schemars::JsonSchema;
use serde::Serialize;

use crate::analysis::RimPlan;
use crate::plan::{Patch, RimStage};
use crate::report::text::rim::model;
use crate::uncertainty::Figure;

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
