//! This part against earlier ones, as JSON.

use serde::Serialize;

use crate::compare::Chart;
use crate::report::text::control::answer;

#[derive(Serialize)]
struct ChartEntry<'a> {
    what: &'a str,
    /// SI values.
    earlier: &'a [f64],
    new: f64,
    new_u: f64,
    centre: f64,
    limits: [f64; 2],
    verdict: &'a str,
}

/// As indented JSON with a final newline.
pub fn control_json(part: &str, charts: &[Chart], notes: &[String]) -> String {
    let entries: Vec<ChartEntry<'_>> = charts
        .iter()
        .map(|c| ChartEntry {
            what: &c.what,
            earlier: &c.earlier,
            new: c.new,
            new_u: c.new_u,
            centre: c.centre,
            limits: [c.low, c.high],
            verdict: c.verdict(),
        })
        .collect();
    let value = serde_json::json!({ "schema": "ringwright.earlier/1", "part": part, "answer": answer(part, charts), "notes": notes, "charts": entries });
    format!("{value:#}\n")
}
