//! The lower part of a take's page: which mode is which, and what the part is worth.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style};
use super::sheet::{WIDTH, lines};
use crate::modes::COVERAGE_95;
use crate::report::json::document::RecordingEntry;
use crate::report::text::numbers::with_interval;

/// Height of it where modes are numbered.
const TALL: f64 = 640.0;

/// Height that it needs: little where there is only something to say.
pub(super) fn height(entry: &RecordingEntry) -> f64 {
    match &entry.part {
        None => 0.0,
        Some(part) if part.quantities.is_empty() => {
            110.0 + 21.0 * part.notes.iter().map(|n| lines(&format!("! {n}"), NOTE).len()).sum::<usize>() as f64
        }
        Some(_) => TALL,
    }
}

/// Characters in a line of a note.
const NOTE: usize = 84;

/// The family and number in a mode's name: bending 0, twist 1, crosswise 2 and more.
fn family(name: &str) -> Option<(usize, f64)> {
    let (kind, number) = name.split_once(' ')?;
    match kind {
        "bending" => Some((0, number.parse().ok()?)),
        "twist" => Some((1, number.parse().ok()?)),
        _ => {
            let (across, along) = number.split_once('+')?;
            Some((1 + across.parse::<usize>().ok()?, along.parse().ok()?))
        }
    }
}

pub(super) fn draw(on: &mut Drawing, entry: &RecordingEntry, top: f64) {
    let Some(part) = &entry.part else { return };
    numbers(on, entry, top);
    let numbered = entry.modes.iter().any(|m| m.name.is_some());
    let (left, mut y) = (if numbered { 830.0 } else { 90.0 }, top + 4.0);
    let title = part.name.as_ref().map_or(part.kind.clone(), |n| format!("{n} ({})", part.kind));
    on.text(left, y, &title, Style { size: 20.0, bold: true, ..Style::default() });
    y += 8.0;
    for quantity in &part.quantities {
        y += 25.0;
        let (factor, figure) = (quantity.shown_factor, &quantity.figure);
        on.text(left, y, &quantity.name, Style { size: 17.0, ..Style::default() });
        let value = with_interval(figure.value * factor, COVERAGE_95 * figure.u * factor);
        on.text(left + 500.0, y, &value, Style { size: 17.0, bold: true, anchor: Anchor::End, ..Style::default() });
        on.text(left + 510.0, y, &quantity.shown_unit, Style { size: 17.0, ..Style::default() });
        let most = figure.moved_most_by.as_ref().zip(figure.moved_most_share);
        if let Some((by, share)) = most.filter(|(by, _)| by.chars().count() < 16) {
            let text = format!("{by} {:.0} %", 100.0 * share);
            on.text(
                WIDTH - 40.0,
                y,
                &text,
                Style { size: 14.0, colour: MUTED, anchor: Anchor::End, ..Style::default() },
            );
        }
    }
    if !part.quantities.is_empty() {
        y += 24.0;
        let style = Style { size: 14.0, colour: MUTED, anchor: Anchor::End, ..Style::default() };
        on.text(WIDTH - 40.0, y, "right: the reading that moves it most, its share of u²", style);
    }
    y += 6.0;
    for note in part.notes.iter().flat_map(|n| lines(&format!("! {n}"), NOTE)) {
        y += 21.0;
        if y > top + height(entry) - 40.0 {
            break;
        }
        on.text(left, y, &note, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
}

/// Frequency over mode number: measured points on the lines of a uniform part.
fn numbers(on: &mut Drawing, entry: &RecordingEntry, top: f64) {
    let points: Vec<(usize, f64, f64, Option<f64>)> = entry
        .modes
        .iter()
        .filter_map(|m| {
            let (family, number) = family(m.name.as_deref()?)?;
            Some((family, number, m.frequency_hz, m.expected_hz))
        })
        .collect();
    if points.is_empty() {
        return;
    }
    let most = points.iter().map(|p| p.1).fold(1.0, f64::max);
    let highest = points.iter().map(|p| p.2).fold(0.0, f64::max);
    let panel = Panel {
        left: 90.0,
        top: top + 10.0,
        right: 760.0,
        bottom: top + TALL - 150.0,
        x: Axis::linear(-0.5, 1.35 * most + 1.0),
        y: Axis::linear(0.0, highest * 1.08),
    };
    panel.draw(on, "Which mode is which", "number of the mode in its family", "Hz");
    let mut labels: Vec<f64> = Vec::new();
    let families = points.iter().map(|p| p.0).max().unwrap_or(0);
    for family in 0..=families {
        let colour = SERIES[family.min(SERIES.len() - 1)];
        let mut own: Vec<_> = points.iter().filter(|p| p.0 == family).collect();
        if own.is_empty() {
            continue;
        }
        own.sort_by(|a, b| a.1.total_cmp(&b.1));
        let line: Vec<_> = own.iter().filter_map(|p| p.3.map(|f| panel.at(p.1, f))).collect();
        on.polyline(&line, colour, 2.0, 0.7);
        for p in &own {
            let (x, y) = panel.at(p.1, p.2);
            on.dot(x, y, 5.0, colour);
        }
        let name = match family {
            0 => "bending along".to_owned(),
            1 => "twist".to_owned(),
            n => format!("crosswise {}", n - 1),
        };
        let last = own[own.len() - 1];
        let (x, mut y) = panel.at(last.1, last.2);
        while labels.iter().any(|l| (l - y).abs() < 19.0) {
            y += 5.0;
        }
        labels.push(y);
        on.text(x + 9.0, y + 5.0, &name, Style { size: 16.0, colour, halo: true, bold: true, ..Style::default() });
    }
    let style = Style { size: 15.0, colour: INK, ..Style::default() };
    on.text(
        panel.left,
        panel.bottom + 66.0,
        "dots: measured; lines: a uniform blank of the moduli at the right",
        style,
    );
}
