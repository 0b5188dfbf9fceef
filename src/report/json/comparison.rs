//! Comparisons as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use super::document::schema_text;
use crate::compare::{Comparison, MoistureChange, Row};
use crate::uncertainty::Figure;

/// Name and version of the document's form.
pub const COMPARISON_SCHEMA: &str = "ringwright.compare/1";

#[derive(Debug, Serialize, JsonSchema)]
struct ComparisonDocument {
    schema: String,
    comparisons: Vec<ComparisonEntry>,
}

/// One stage against the baseline.
#[derive(Debug, Serialize, JsonSchema)]
struct ComparisonEntry {
    baseline: String,
    other: String,
    /// The answer in one sentence.
    answer: String,
    whole: Vec<RowEntry>,
    pairs: Vec<PairEntry>,
    /// Whether pairs are unsure: the modes can be paired in more than one way, or blocks, linings or braces differ between the
    /// stages. What hangs on such pairs is left out; a pair that is unsure has its frequencies only.
    undecided: bool,
    /// What was foretold from the plies, beside the rows of the same code.
    foretold: Vec<ForetoldEntry>,
    /// Frequencies of modes without a partner (Hz).
    unpaired_baseline_hz: Vec<f64>,
    unpaired_other_hz: Vec<f64>,
    moisture: MoistureEntry,
    notes: Vec<String>,
    /// Band of the power (Hz), its ends faded, where both stages' mobility was measured.
    power_band_hz: Option<[f64; 2]>,
}

/// What moisture makes of the two stages, and what was done about it.
#[derive(Debug, Serialize, JsonSchema)]
struct MoistureEntry {
    /// `one_session`: tapped in one session and air, nothing is corrected; `brought`: both airs are known, and the ratios are as at the
    /// baseline's moisture; `other_days`: tapped on different days, air not known, intervals are wider; `not_known`: nothing shows when or
    /// in which air, no allowance is made.
    state: String,
    /// Moisture content (fraction of the dry mass) that the air of the stage gives to wood; null where the air is not known.
    baseline_content: Option<MoistureFigure>,
    other_content: Option<MoistureFigure>,
    /// By how much the wood of the other stage is taken to be wetter (fraction).
    difference: MoistureFigure,
    /// Factors on the other stage's mass, stiffness, frequencies and losses in the ratios; what was measured stands in the rows.
    mass_factor: MoistureFigure,
    stiffness_factor: MoistureFigure,
    frequency_factor: MoistureFigure,
    loss_factor: MoistureFigure,
}

#[derive(Debug, Serialize, JsonSchema)]
struct MoistureFigure {
    value: f64,
    /// Standard uncertainty.
    u: f64,
}

impl MoistureFigure {
    fn new(figure: &Figure) -> Self {
        Self { value: figure.value, u: figure.u_95() }
    }
}

impl MoistureEntry {
    fn new(change: &MoistureChange) -> Self {
        Self {
            state: change.state.code().to_owned(),
            baseline_content: change.baseline.as_ref().map(MoistureFigure::new),
            other_content: change.other.as_ref().map(MoistureFigure::new),
            difference: MoistureFigure::new(&change.difference),
            mass_factor: MoistureFigure::new(&change.mass),
            stiffness_factor: MoistureFigure::new(&change.stiffness),
            frequency_factor: MoistureFigure::new(&change.pitch),
            loss_factor: MoistureFigure::new(&change.loss),
        }
    }
}

/// A ratio that was foretold, with its 95 % interval.
#[derive(Debug, Serialize, JsonSchema)]
struct ForetoldEntry {
    code: String,
    ratio: f64,
    ratio_95: [f64; 2],
    /// Whether it agrees with the measured one.
    met: bool,
}

#[derive(Debug, Serialize, JsonSchema)]
struct PairEntry {
    name: String,
    rows: Vec<RowEntry>,
}

/// A figure in both stages, as measured, and its ratio, as at one moisture. SI units, standard uncertainties, 95 % interval of the
/// ratio.
#[derive(Debug, Serialize, JsonSchema)]
struct RowEntry {
    code: String,
    what: String,
    baseline: f64,
    baseline_u: f64,
    other: f64,
    other_u: f64,
    ratio: f64,
    ratio_95: [f64; 2],
    /// `larger`, `smaller` or `not_told_apart`.
    verdict: String,
    /// Whether the difference matters: the whole interval lies beyond `matters_from`, or within it; null where it holds both.
    matters: Option<bool>,
    /// From which difference on (share) it is taken to matter.
    matters_from: f64,
    /// Pairs of modes that it rests on; 0 where it needs none.
    pairs: usize,
    explanation: String,
    /// Takes that each stage needs beyond those it has, held anew, to show a difference of the size seen; null where there is no
    /// such number.
    more_takes: Option<usize>,
    moved_most_by: Option<String>,
}

impl RowEntry {
    fn new(row: &Row) -> Self {
        Self {
            code: row.code.to_owned(),
            what: row.what.clone(),
            baseline: row.baseline.value,
            baseline_u: row.baseline.u_95(),
            other: row.other.value,
            other_u: row.other.u_95(),
            ratio: row.ratio.value,
            ratio_95: [row.ratio.low, row.ratio.high],
            verdict: row.ratio.verdict.code().to_owned(),
            matters: row.matters(),
            matters_from: row.matters_from(),
            pairs: row.pairs,
            explanation: row.sentence(),
            more_takes: row.ratio.verdict.more_takes(),
            moved_most_by: row.ratio.moved_most_by.as_ref().map(|(s, _)| s.to_string()),
        }
    }
}

/// As indented JSON with a final newline.
pub fn comparison_json(comparisons: &[Comparison]) -> String {
    let entry = |c: &Comparison| ComparisonEntry {
        baseline: c.baseline.clone(),
        other: c.other.clone(),
        answer: c.answer(),
        whole: c.whole.iter().map(RowEntry::new).collect(),
        pairs: c
            .pairs
            .iter()
            .map(|(name, rows)| PairEntry { name: name.clone(), rows: rows.iter().map(RowEntry::new).collect() })
            .collect(),
        undecided: c.undecided,
        foretold: c
            .foretold
            .iter()
            .map(|f| ForetoldEntry { code: f.code.to_owned(), ratio: f.value, ratio_95: [f.low, f.high], met: f.met })
            .collect(),
        unpaired_baseline_hz: c.unpaired.0.clone(),
        unpaired_other_hz: c.unpaired.1.clone(),
        moisture: MoistureEntry::new(&c.moisture),
        notes: c.notes.clone(),
        power_band_hz: c.power_band_hz.map(Into::into),
    };
    let document = ComparisonDocument {
        schema: COMPARISON_SCHEMA.to_owned(),
        comparisons: comparisons.iter().map(entry).collect(),
    };
    let mut text = serde_json::to_string_pretty(&document).unwrap_or_default();
    text.push('\n');
    text
}

/// JSON Schema of what [`comparison_json`] writes, as text with a final newline.
pub fn comparison_schema() -> String {
    schema_text(&schemars::schema_for!(ComparisonDocument))
}
