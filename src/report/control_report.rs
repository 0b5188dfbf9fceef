//! This part against earlier ones: as text, JSON and CSV.

use serde::Serialize;

use super::csv_cell::text_cell;
use super::numbers::rounded;
use super::paragraph::wrap;
use crate::compare::Chart;

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

/// What a chart's numbers are rounded for, in the unit shown: its scatter, or the reading's own uncertainty.
pub(super) fn digits(c: &Chart) -> f64 {
    ((c.high - c.low).abs() / 4.0).max(c.new_u).max(1e-9) * c.shown.1
}

/// "381.2 (370.1 to 395.9 Hz)".
pub(super) fn this_and_limits(c: &Chart) -> String {
    let (unit, factor) = c.shown;
    let show = |v: f64| rounded(v * factor, digits(c));
    format!("{} ({} to {} {unit})", show(c.new), show(c.low), show(c.high))
}

/// The answer in one sentence.
pub fn answer(part: &str, charts: &[Chart]) -> String {
    let odd: Vec<&str> = charts.iter().filter(|c| !c.as_usual()).map(|c| c.what.as_str()).collect();
    let earlier = charts.first().map_or(0, |c| c.earlier.len());
    if charts.is_empty() {
        format!("{part}: nothing can be compared with the earlier parts")
    } else if odd.is_empty() {
        format!("{part} is as usual: {} figures lie within the limits of {earlier} earlier parts", charts.len())
    } else {
        format!("{part} is not as usual in {} of {} figures: {}", odd.len(), charts.len(), odd.join("; "))
    }
}

/// For people.
pub fn control_text(part: &str, charts: &[Chart], notes: &[String]) -> String {
    let mut out = String::new();
    wrap(&mut out, "", &format!("{}.", answer(part, charts)));
    notes.iter().for_each(|n| wrap(&mut out, "  ", &format!("! {n}")));
    if charts.is_empty() {
        return out;
    }
    out.push_str(&format!("\n  {:<28} {:>10} {:>10} {:>24}  {}\n", "", "this", "usual", "limits", "verdict"));
    for c in charts {
        let (unit, factor) = c.shown;
        let show = |v: f64| rounded(v * factor, digits(c));
        let limits = format!("{} to {} {unit}", show(c.low), show(c.high));
        let line = format!("  {:<28} {:>10} {:>10} {limits:>24}  {}", c.what, show(c.new), show(c.centre), c.verdict());
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out.push_str(
        "\nLimits: the mean of the earlier ones, give or take 2.66 mean steps from one to the next, and no\n\
                  less than three of the readings' own uncertainties.\n",
    );
    out
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

/// One row a figure, with a heading.
pub fn control_csv(part: &str, charts: &[Chart]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    put("part,what,new,new_u,centre,low,high,verdict".split(',').map(str::to_owned).collect());
    for c in charts {
        let numbers = [c.new, c.new_u, c.centre, c.low, c.high].map(|v| v.to_string());
        put([text_cell(part), text_cell(&c.what)].into_iter().chain(numbers).chain([c.verdict().to_owned()]).collect());
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
