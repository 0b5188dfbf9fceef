//! Comparisons as text, JSON and CSV.

use schemars::JsonSchema;
use serde::Serialize;

use super::csv_cell::text_cell;
use super::document::schema_text;
use super::numbers::with_interval;
use super::paragraph::wrap;
use crate::compare::{Comparison, Foretold, Row};

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
    notes: Vec<String>,
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

/// A figure in both stages and its ratio. SI units, standard uncertainties, 95 % interval of the ratio.
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
            explanation: row.ratio.verdict.sentence(),
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
        notes: c.notes.clone(),
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

/// One row a figure, with a heading.
pub fn comparison_csv(comparisons: &[Comparison]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    let heading =
        "baseline,other,pair,code,baseline_value,baseline_u,other_value,other_u,ratio,ratio_low,ratio_high,verdict";
    put(heading.split(',').map(str::to_owned).collect());
    for c in comparisons {
        let whole = c.whole.iter().map(|r| (String::new(), r));
        let pairs = c.pairs.iter().flat_map(|(name, rows)| rows.iter().map(move |r| (name.clone(), r)));
        for (pair, r) in whole.chain(pairs) {
            put(vec![
                text_cell(&c.baseline),
                text_cell(&c.other),
                text_cell(&pair),
                r.code.to_owned(),
                r.baseline.value.to_string(),
                r.baseline.u_95().to_string(),
                r.other.value.to_string(),
                r.other.u_95().to_string(),
                r.ratio.value.to_string(),
                r.ratio.low.to_string(),
                r.ratio.high.to_string(),
                r.ratio.verdict.code().to_owned(),
            ]);
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// "5.90 (5.21 to 6.68)", with as many digits as the interval's width allows.
fn with_bounds(value: f64, low: f64, high: f64) -> String {
    let width = (high - low).abs().max(1e-6);
    let decimals = (1 - width.log10().floor() as i32).clamp(0, 5) as usize;
    format!("{value:.decimals$} ({low:.decimals$} to {high:.decimals$})")
}

pub(super) fn ratio(row: &Row) -> String {
    with_bounds(row.ratio.value, row.ratio.low, row.ratio.high)
}

pub(super) fn foretold(f: &Foretold) -> String {
    with_bounds(f.value, f.low, f.high)
}

/// For people: the answer, the whole, the pairs.
pub fn comparison_text(comparisons: &[Comparison]) -> String {
    let mut out = String::new();
    for c in comparisons {
        if !out.is_empty() {
            out.push('\n');
        }
        wrap(&mut out, "", &format!("{}.", c.answer()));
        for note in &c.notes {
            wrap(&mut out, "  ", &format!("! {note}"));
        }
        out.push('\n');
        for row in &c.whole {
            let verdict = row.ratio.verdict.sentence();
            let (verdict, advice) = verdict.split_once("; ").unwrap_or((&verdict, ""));
            out.push_str(&format!("  {:<32} {:<26} {verdict}\n", row.what, ratio(row)));
            if !advice.is_empty() {
                out.push_str(&format!("  {:<32} {advice}\n", ""));
            }
        }
        for f in &c.foretold {
            out.push_str(&format!("  {:<32} {:<26} {}\n", f.what, foretold(f), f.sentence()));
        }
        if !c.pairs.is_empty() {
            out.push_str(&format!(
                "\n  {:<19} {:>20} {:>20}  {}\n",
                "pair", "frequency, Hz", "then, Hz", "damping, times (95 %)"
            ));
        }
        for (name, rows) in &c.pairs {
            let find = |code: &str| rows.iter().find(|r| r.code == code);
            let Some(f) = find("frequency_hz") else { continue };
            let damping = find("damping_ratio").map_or("unsure".to_owned(), ratio);
            let cell = |m: &crate::uncertainty::Figure| with_interval(m.value, m.half_95());
            let line = format!("  {name:<19} {:>20} {:>20}  {:<24}", cell(&f.baseline), cell(&f.other), damping);
            out.push_str(line.trim_end());
            out.push('\n');
        }
        for (stage, alone) in [(&c.baseline, &c.unpaired.0), (&c.other, &c.unpaired.1)] {
            if !alone.is_empty() {
                let list: Vec<String> = alone.iter().map(|f| format!("{f:.1}")).collect();
                wrap(&mut out, "  ", &format!("without a partner in {stage}: {} Hz", list.join(", ")));
            }
        }
    }
    out.push_str(
        "\nEach figure: times the baseline's, with its 95 % interval. Power drawn: by a station from an edge\n\
         that pushes with a given force. Nothing here says how a guitar will sound.\n",
    );
    out
}
