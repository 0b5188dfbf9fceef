//! This part against earlier ones, as a picture: a small chart for every figure.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use super::sheet::{WIDTH, lines};
use crate::compare::Chart;
use crate::modes::COVERAGE_95;
use crate::report::text::control::{answer, digits};
use crate::report::text::numbers::rounded;

const COLUMNS: usize = 3;
const ROW: f64 = 300.0;

/// The page as PNG, 1600 wide.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn control_png(part: &str, charts: &[Chart], notes: &[String], remark: Option<&str>) -> Result<Vec<u8>, String> {
    let said = lines(&format!("{}.", answer(part, charts)), 118);
    let doubts: Vec<String> = notes.iter().flat_map(|n| lines(&format!("! {n}"), 150)).collect();
    let head = 120.0 + 28.0 * said.len() as f64 + 20.0 * doubts.len() as f64;
    let rows = charts.len().div_ceil(COLUMNS);
    let mut on = Drawing::new(WIDTH, head + ROW * rows as f64 + 60.0);
    on.text(40.0, 52.0, &format!("{part} among earlier ones"), Style { size: 30.0, bold: true, ..Style::default() });
    let note = remark.map_or(String::new(), |r| format!("{r} · "))
        + "dashed: mean of the earlier ones; red: limits (2.66 mean steps, or 3 uncertainties of a reading if larger); the last point is this one, with its 95 % interval";
    on.text(40.0, 84.0, &note, Style { size: 17.0, colour: MUTED, ..Style::default() });
    let mut y = 92.0;
    for line in said {
        y += 28.0;
        on.text(40.0, y, &line, Style { size: 22.0, bold: true, ..Style::default() });
    }
    for line in doubts {
        y += 20.0;
        on.text(40.0, y, &line, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
    for (place, chart) in charts.iter().enumerate() {
        let (column, row) = (place % COLUMNS, place / COLUMNS);
        draw(&mut on, chart, 110.0 + 520.0 * column as f64, head + 50.0 + ROW * row as f64);
    }
    to_png(&on.finish(), 1.0)
}

fn draw(on: &mut Drawing, chart: &Chart, left: f64, top: f64) {
    let (unit, factor) = chart.shown;
    let all: Vec<f64> = chart.earlier.iter().copied().chain([chart.new]).collect();
    let reach = COVERAGE_95 * chart.new_u;
    let ends = [chart.low, chart.high, chart.new - reach, chart.new + reach];
    let low = all.iter().chain(&ends).copied().fold(f64::INFINITY, f64::min) * factor;
    let high = all.iter().chain(&ends).copied().fold(f64::NEG_INFINITY, f64::max) * factor;
    let edge = 0.08 * (high - low).max(1e-12);
    let panel = Panel {
        left,
        top,
        right: left + 390.0,
        bottom: top + 190.0,
        x: Axis::linear(0.5, all.len() as f64 + 0.5),
        y: Axis { low: low - edge, high: high + edge, logarithmic: false },
    };
    let odd = !chart.as_usual();
    let small = Style { size: 15.0, colour: MUTED, ..Style::default() };
    on.text(left, top - 10.0, &chart.what, Style { size: 17.0, bold: true, ..Style::default() });
    let verdict = Style { size: 15.0, colour: if odd { BAD } else { MUTED }, anchor: Anchor::End, ..Style::default() };
    on.text(panel.right, top + 212.0, chart.verdict(), verdict);
    let corners = [(left, top), (panel.right, top), (panel.right, panel.bottom), (left, panel.bottom), (left, top)];
    on.polyline(&corners, "#999999", 1.0, 1.0);
    for (value, colour, dashed) in [(chart.low, BAD, false), (chart.high, BAD, false), (chart.centre, INK, true)] {
        let (x, y) = panel.at(panel.x.low, value * factor);
        on.line((x, y), (panel.right, y), colour, 1.4, dashed);
        let label = rounded(value * factor, digits(chart));
        on.text(left - 8.0, y + 5.0, &label, Style { anchor: Anchor::End, ..small });
    }
    on.text(left, top + 212.0, unit, small);
    let points: Vec<_> = all.iter().enumerate().map(|(i, v)| panel.at(i as f64 + 1.0, v * factor)).collect();
    on.polyline(&points, SERIES[0], 1.2, 0.6);
    let last = all.len() as f64;
    let colour = if odd { BAD } else { SERIES[1] };
    on.line(
        panel.at(last, (chart.new - reach) * factor),
        panel.at(last, (chart.new + reach) * factor),
        colour,
        3.0,
        false,
    );
    for (i, (x, y)) in points.iter().enumerate() {
        let new = i + 1 == points.len();
        on.dot(*x, *y, if new { 7.0 } else { 5.0 }, if new { colour } else { SERIES[0] });
    }
}
