//! A plan as a picture: stiffness against mass, with lines of equal power drawn and the maker's budget.

use super::drawing::{Anchor, Axis, BAD, Drawing, GRID, INK, MUTED, Panel, SERIES, Style, to_png};
use super::sheet::{WIDTH, lines};
use crate::analysis::LaminationPlan;
use crate::modes::COVERAGE_95;
use crate::report::text::plan::doubts;

/// Power drawn (share of the plain side's) whose lines are drawn.
const LINES: [f64; 7] = [0.8, 0.65, 0.5, 0.4, 0.3, 0.2, 0.1];

/// The page as PNG, 1600 wide.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn plan_png(report: &LaminationPlan) -> Result<Vec<u8>, String> {
    let doubts: Vec<String> =
        doubts(report).iter().chain(&report.cautions).flat_map(|d| lines(&format!("! {d}"), 150)).collect();
    let mut on = Drawing::new(WIDTH, 1000.0 + 20.0 * doubts.len() as f64);
    let title = format!("Inner plies for {}, {:.2} mm", report.outer, 1e3 * report.outer_thickness.value);
    on.text(40.0, 52.0, &title, Style { size: 30.0, bold: true, ..Style::default() });
    let remark = report.remark.as_deref().map_or(String::new(), |r| format!("{r} · "));
    let note = format!(
        "{remark}numbers at the dots: thickness of the inner ply, mm; bars: 95 % intervals; grey lines: less power from a given push"
    );
    on.text(40.0, 84.0, &note, Style { size: 19.0, colour: MUTED, ..Style::default() });
    draw(&mut on, report);
    for (place, line) in doubts.iter().enumerate() {
        on.text(40.0, 990.0 + 20.0 * place as f64, line, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
    to_png(&on.finish(), 1.0)
}

fn draw(on: &mut Drawing, report: &LaminationPlan) {
    let all = || report.series.iter().flat_map(|s| &s.rows).map(|r| &r.forecast);
    let most_mass = all().map(|f| f.mass_ratio.value).chain(report.most_mass).fold(1.2, f64::max);
    let most = all().map(|f| f.stiffness_ratio.value * (COVERAGE_95 * f.stiffness_ratio.relative_u_95()).exp());
    let high = most.fold(1.5, f64::max).min(200.0);
    let panel = Panel {
        left: 100.0,
        top: 150.0,
        right: WIDTH - 60.0,
        bottom: 890.0,
        x: Axis::linear(1.0, 1.0 + 1.06 * (most_mass - 1.0)),
        y: Axis::logarithmic(1.0, high * 1.15),
    };
    panel.draw(on, "Stiffness, times the plain side", "mass, times the plain side", "");
    // Equal power drawn: stiffness^(1/4) mass^(3/4) = 1/power.
    for power in LINES {
        let at = |mass: f64| (mass, (power * mass.powf(0.75)).powi(-4));
        let points: Vec<(f64, f64)> = (0..=100)
            .map(|i| at(panel.x.low + (panel.x.high - panel.x.low) * f64::from(i) / 100.0))
            .filter(|p| p.1 >= panel.y.low && p.1 <= panel.y.high)
            .map(|p| panel.at(p.0, p.1))
            .collect();
        let Some(first) = points.first().copied() else { continue };
        on.polyline(&points, "#9a9a9a", 1.3, 0.8);
        let style = Style { size: 15.0, colour: MUTED, halo: true, ..Style::default() };
        on.text(
            first.0 + 8.0,
            first.1.max(panel.top + 6.0) + 14.0,
            &format!("{:.0} % less", 100.0 * (1.0 - power)),
            style,
        );
    }
    if let Some(mass) = report.most_mass {
        let (x, _) = panel.at(mass, 1.0);
        on.line((x, panel.top), (x, panel.bottom), INK, 2.0, true);
        let style = Style { size: 16.0, anchor: Anchor::End, halo: true, ..Style::default() };
        on.text(x - 8.0, panel.bottom - 12.0, "the most mass wanted", style);
    }
    for (series, colour) in report.series.iter().zip(SERIES.iter().cycle()) {
        let points: Vec<_> = series
            .rows
            .iter()
            .map(|r| panel.at(r.forecast.mass_ratio.value, r.forecast.stiffness_ratio.value))
            .collect();
        on.polyline(&points, colour, 2.4, 0.9);
        for (row, (x, y)) in series.rows.iter().zip(&points) {
            let f = &row.forecast.stiffness_ratio;
            let half = COVERAGE_95 * f.relative_u_95();
            let mass = row.forecast.mass_ratio.value;
            let end = |v: f64| panel.at(mass, v.clamp(panel.y.low, panel.y.high));
            on.line(end(f.value * (-half).exp()), end(f.value * half.exp()), colour, 1.6, false);
            on.dot(*x, *y, 6.0, colour);
            let label = format!("{:.2}", 1e3 * row.thickness.value);
            let style = Style { size: 15.0, colour, bold: true, halo: true, ..Style::default() };
            on.text(x + 10.0, y + 20.0, label.trim_end_matches('0').trim_end_matches('.'), style);
        }
    }
    // Which colour is which wood, below the axis.
    let mut x = panel.left;
    for (series, colour) in report.series.iter().zip(SERIES.iter().cycle()) {
        on.line((x, 950.0), (x + 34.0, 950.0), colour, 4.0, false);
        on.text(x + 42.0, 956.0, &series.inner, Style { size: 17.0, bold: true, ..Style::default() });
        x += 90.0 + 11.0 * series.inner.chars().count() as f64;
    }
    on.line((panel.left, panel.bottom), (panel.right, panel.bottom), GRID, 1.0, false);
}
