//! This part against earlier ones, in words.

use super::numbers::rounded;
use super::paragraph::wrap;
use crate::compare::Chart;

/// What a chart's numbers are rounded for, in the unit shown: its scatter, or the reading's own uncertainty.
pub fn digits(c: &Chart) -> f64 {
    ((c.high - c.low).abs() / 4.0).max(c.new_u).max(1e-9) * c.shown.1
}

/// "381.2 (370.1 to 395.9 Hz)".
pub fn this_and_limits(c: &Chart) -> String {
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
