//! Comparisons in words.

use super::numbers::with_interval;
use super::paragraph::wrap;
use crate::compare::{Comparison, Foretold, Row};

/// "5.90 (5.21 to 6.68)", with as many digits as the interval's width allows; a value without uncertainty alone.
fn with_bounds(value: f64, low: f64, high: f64) -> String {
    let width = (high - low).abs();
    if width <= 1e-9 * value.abs() {
        return format!("{value} (as given)");
    }
    let decimals = (1 - width.log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.decimals$} ({low:.decimals$} to {high:.decimals$})")
}

pub fn ratio(row: &Row) -> String {
    with_bounds(row.ratio.value, row.ratio.low, row.ratio.high)
}

pub fn foretold(f: &Foretold) -> String {
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
            let verdict = row.sentence();
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
        "\nEach figure: times the baseline's, with its 95 % interval.\nNothing here says how a guitar will sound.\n",
    );
    out
}
