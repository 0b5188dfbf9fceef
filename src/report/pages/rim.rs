//! A planned rim as a picture.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use super::sheet::{WIDTH, lines};
use crate::analysis::RimPlan;
use crate::plan::{RIM_BAND_HZ, RimStage};
use crate::report::text::numbers::{power, significant};
use crate::report::text::rim::{cell, model};
use crate::uncertainty::Figure;

/// The page as PNG, 1600 wide: the shapes of the joined rim's lowest modes, and the mobility of all stages at the first station.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn rim_png(report: &RimPlan, remark: Option<&str>) -> Result<Vec<u8>, String> {
    let mut on = Drawing::new(WIDTH, 1165.0);
    let title = format!("A {} rim: {}", report.outline, report.inner);
    on.text(40.0, 52.0, &title, Style { size: 30.0, bold: true, ..Style::default() });
    let note = remark.map_or(String::new(), |r| format!("{r} · "))
        + "top: the joined rim's lowest tones, blue and orange the two ends of the swing, grey at rest; below: mobility of all stages";
    on.text(40.0, 84.0, &note, Style { size: 19.0, colour: MUTED, ..Style::default() });
    if let Some(last) = report.stages.last() {
        for (place, tone) in last.in_plane_hz.iter().enumerate().take(last.modes.len()) {
            shape(&mut on, last, place, tone, 40.0 + 385.0 * place as f64);
        }
    }
    mobility(&mut on, report);
    if let Some(said) = power_of_joined(report) {
        on.text(40.0, 1084.0, &said, Style { size: 17.0, colour: INK, ..Style::default() });
    }
    for (place, line) in lines(&format!("! {}", model(report)), 160).iter().enumerate() {
        on.text(40.0, 1114.0 + 20.0 * place as f64, line, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
    to_png(&on.finish(), 1.0)
}

/// The last stage's three readings of power at the first station, in a line.
fn power_of_joined(report: &RimPlan) -> Option<String> {
    let ((station, _), last) = (report.stations.first()?, report.stages.last()?);
    let at = last.power.first()?;
    Some(format!(
        "Power at the {station}, {} against {}: from the top {}, from a given push {}, from a given movement {}",
        last.name,
        report.stages.first()?.name,
        power(&at.matched_top),
        power(&at.given_force),
        power(&at.given_speed)
    ))
}

fn shape(on: &mut Drawing, stage: &RimStage, place: usize, tone: &Figure, left: f64) {
    let nodes = stage.rim.nodes();
    let mode = &stage.modes[place];
    let (top, width, height) = (130.0, 350.0, 400.0);
    let (low, high) = nodes.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.1), h.max(p.1)));
    let scale = 0.78 * height / (high - low);
    let at = |x: f64, y: f64| (left + 0.5 * width + scale * x, top + 0.5 * height - scale * (y - 0.5 * (low + high)));
    let most = mode.shape.iter().map(|s| s[0].hypot(s[1])).fold(1e-12, f64::max);
    let swing = 0.12 * (high - low) / most;
    let closed = |sign: f64| -> Vec<(f64, f64)> {
        nodes
            .iter()
            .zip(&mode.shape)
            .chain(nodes.iter().zip(&mode.shape).take(1))
            .map(|(p, s)| at(p.0 + sign * swing * s[0], p.1 + sign * swing * s[1]))
            .collect()
    };
    on.polyline(&closed(0.0), "#b5b5b5", 2.0, 1.0);
    on.polyline(&closed(1.0), SERIES[0], 2.4, 1.0);
    on.polyline(&closed(-1.0), SERIES[1], 1.6, 0.8);
    let style = Style { size: 17.0, bold: true, anchor: Anchor::Middle, ..Style::default() };
    on.text(left + 0.5 * width, top + height + 10.0, &format!("{} Hz", cell(tone, 1.0)), style);
}

fn mobility(on: &mut Drawing, report: &RimPlan) {
    let Some((station, share)) = report.stations.first() else { return };
    let points = 900;
    let (low, high) = RIM_BAND_HZ;
    let curve = |s: &RimStage| -> Vec<(f64, f64)> {
        let node = s.rim.node_at(*share);
        let hz = |i: usize| low * (high / low).powf(i as f64 / points as f64);
        let level = |f: f64| 20.0 * s.rim.mobility(&s.modes, node, s.loss_factor, f).norm().log10();
        (0..=points).map(|i| (hz(i), level(hz(i)))).collect()
    };
    let curves: Vec<Vec<(f64, f64)>> = report.stages.iter().map(curve).collect();
    let all = || curves.iter().flatten().map(|p| p.1);
    let panel = Panel {
        left: 100.0,
        top: 640.0,
        right: WIDTH - 40.0,
        bottom: 990.0,
        x: Axis::logarithmic(low, high),
        y: Axis::linear(all().fold(f64::INFINITY, f64::min) - 3.0, all().fold(f64::NEG_INFINITY, f64::max) + 3.0),
    };
    panel.draw(on, &format!("Mobility across the side, {station}"), "frequency, Hz", "dB re 1 m/(N s)");
    let mut x = panel.left;
    for ((stage, curve), colour) in report.stages.iter().zip(&curves).zip(SERIES) {
        let points: Vec<_> = curve.iter().map(|p| panel.at(p.0, p.1)).collect();
        on.polyline(&points, colour, 2.0, 0.95);
        on.line((x, 1042.0), (x + 34.0, 1042.0), colour, 4.0, false);
        let told = format!("{}, {} g", stage.name, significant(1e3 * stage.mass.value, 3));
        on.text(x + 42.0, 1048.0, &told, Style { size: 17.0, bold: true, colour: INK, ..Style::default() });
        x += 90.0 + 11.0 * told.chars().count() as f64;
    }
}
