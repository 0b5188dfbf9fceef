//! One picture of how to hold, tap and listen.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use crate::rim::Outline;

const PAGE: (f64, f64) = (1600.0, 1130.0);
/// Where a free strip's lowest bending mode stands still: share of the length from either end. (Roots of the free-free beam:
/// x/L = 0.2242; Blevins, Formulas for Natural Frequency and Mode Shape, from memory.)
const STILL: f64 = 0.224;

/// The picture as PNG.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn guide_png(outline: &Outline) -> Result<Vec<u8>, String> {
    let mut on = Drawing::new(PAGE.0, PAGE.1);
    on.text(40.0, 52.0, "At the bench: hold, tap, listen", Style { size: 28.0, bold: true, ..Style::default() });
    strip(&mut on);
    rim(&mut on, outline);
    decays(&mut on);
    to_png(&on.finish(), 1.0)
}

fn heading(on: &mut Drawing, x: f64, y: f64, text: &str) {
    on.text(x, y, text, Style { size: 20.0, bold: true, ..Style::default() });
}

fn note(on: &mut Drawing, x: f64, y: f64, text: &str, anchor: Anchor) {
    on.text(x, y, text, Style { size: 17.0, anchor, halo: true, ..Style::default() });
}

fn microphone(on: &mut Drawing, x: f64, y: f64) {
    on.area(&[(x - 9.0, y), (x + 9.0, y), (x + 9.0, y + 34.0), (x - 9.0, y + 34.0)], MUTED);
    on.dot(x, y, 13.0, INK);
}

/// A flat side blank from its broad face.
fn strip(on: &mut Drawing) {
    heading(on, 40.0, 110.0, "A flat side");
    let (left, right, top, bottom) = (60.0, 900.0, 190.0, 316.0);
    on.area(&[(left, top), (right, top), (right, bottom), (left, bottom)], "#e9ddcb");
    let length = right - left;
    for (share, place) in [(STILL, "0.224 of the length"), (1.0 - STILL, "0.224 from this end")] {
        let x = left + share * length;
        on.line((x, top - 14.0), (x, bottom + 14.0), SERIES[0], 2.5, true);
        note(on, x, top - 24.0, place, Anchor::Middle);
    }
    let x = left + STILL * length;
    on.dot(x, top + 8.0, 11.0, SERIES[0]);
    note(on, x + 20.0, top + 32.0, "finger and thumb here, on the edge: nowhere else", Anchor::Start);
    on.dot(right - 16.0, bottom - 16.0, 11.0, SERIES[1]);
    note(on, right - 40.0, bottom - 12.0, "tap near a corner: hears bending and twist", Anchor::End);
    on.dot(left + 0.5 * length, bottom - 50.0, 8.0, SERIES[1]);
    note(on, left + 0.5 * length + 18.0, bottom - 44.0, "or the middle: bending only", Anchor::Start);
    microphone(on, right + 70.0, bottom - 40.0);
    note(on, right + 36.0, bottom + 34.0, "microphone 10 to 20 cm away,", Anchor::Start);
    note(on, right + 36.0, bottom + 58.0, "not on the bench", Anchor::Start);
}

/// A rim from above, with its stations.
fn rim(on: &mut Drawing, outline: &Outline) {
    heading(on, 40.0, 440.0, "A rim, or a bent side");
    let scale = 1150.0;
    let at = |share: f64| {
        let (x, y) = outline.at(share);
        (80.0 + scale * y, 770.0 + scale * x)
    };
    let points: Vec<(f64, f64)> = (0..=240).map(|i| at(f64::from(i) / 240.0)).collect();
    on.polyline(&points, "#8a6d00", 7.0, 1.0);
    let middle = 770.0;
    for (name, dy) in [("lower bout", 34.0), ("waist", 34.0), ("upper bout", 34.0), ("tail", 0.0), ("neck", 0.0)] {
        let Some(share) = outline.station(name) else { continue };
        let (x, y) = at(share);
        // The half of the rim that is lower on the page carries the labels.
        let y = if dy > 0.0 { middle + (y - middle).abs() } else { y };
        on.dot(x, y, 11.0, SERIES[1]);
        match name {
            "tail" => note(on, x + 22.0, y + 6.0, "tail block", Anchor::Start),
            "neck" => note(on, x - 22.0, y + 6.0, "neck block", Anchor::End),
            _ => note(on, x, y + dy, name, Anchor::Middle),
        }
    }
    if let Some(share) = outline.station("waist") {
        let (x, y) = at(share);
        let y = middle - (y - middle).abs();
        on.area(&[(x - 13.0, y - 22.0), (x + 13.0, y - 22.0), (x + 13.0, y - 6.0), (x - 13.0, y - 6.0)], SERIES[2]);
        note(on, x + 24.0, y - 48.0, "added mass: wax or putty, flat and tight; tap beside it", Anchor::Start);
        microphone(on, x, y - 130.0);
        note(on, x + 26.0, y - 106.0, "microphone 10 to 20 cm off the station", Anchor::Start);
    }
    note(
        on,
        60.0,
        1040.0,
        "Hang it on two thin cords, or stand it on soft foam under the blocks; tap square to the side, the same way",
        Anchor::Start,
    );
    note(
        on,
        60.0,
        1066.0,
        "at every stage. A fingertip for low modes, a cork or a light hard-rubber mallet for more of them.",
        Anchor::Start,
    );
}

/// What a good tap looks like, and what goes wrong.
fn decays(on: &mut Drawing) {
    heading(on, 1000.0, 440.0, "What the level does after a tap");
    let level = |t: f64| -3.0 - 60.0 * t;
    let floor = -55.0f64;
    type Kind<'a> = (&'a str, &'a str, &'a dyn Fn(f64) -> f64);
    let kinds: [Kind<'_>; 4] = [
        ("good: one straight fall into the noise", SERIES[2], &level),
        ("double hit: let it bounce away", BAD, &|t| if t < 0.18 { level(t) } else { level(t - 0.15).max(level(t)) }),
        ("automatic gain or a noise gate: bends down", BAD, &|t| level(t) - 90.0 * t * t),
        ("held too tight: gone at once", BAD, &|t| -3.0 - 420.0 * t),
    ];
    for (place, (name, colour, shape)) in kinds.into_iter().enumerate() {
        let top = 490.0 + 150.0 * place as f64;
        let panel = Panel {
            left: 1010.0,
            top,
            right: 1540.0,
            bottom: top + 92.0,
            x: Axis::linear(0.0, 1.0),
            y: Axis::linear(-60.0, 0.0),
        };
        let curve: Vec<(f64, f64)> = (0..=300)
            .map(|i| {
                let t = f64::from(i) / 300.0;
                let under = if t < 0.06 { floor } else { shape(t - 0.06).max(floor) };
                panel.at(t, under)
            })
            .collect();
        let base = panel.bottom;
        on.line((panel.left, base), (panel.right, base), MUTED, 1.0, false);
        on.line((panel.left, panel.top), (panel.left, base), MUTED, 1.0, false);
        on.polyline(&curve, colour, 3.0, 1.0);
        note(on, panel.right, panel.top + 16.0, name, Anchor::End);
        on.text(panel.left, panel.top - 6.0, "dB", Style { size: 14.0, colour: MUTED, ..Style::default() });
        on.text(
            panel.right,
            base + 18.0,
            "time",
            Style { size: 14.0, colour: MUTED, anchor: Anchor::End, ..Style::default() },
        );
    }
}
