//! A comparison as a picture: bars with intervals first, then the words.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, Style, to_png};
use super::overlay::{overlay, overlay_height};
use super::sheet::{WIDTH, lines};
use super::take_picture::TakePicture;
use crate::compare::{Comparison, Row, Verdict};
use crate::report::text::comparison::{foretold, ratio};

/// The page as PNG, 1600 wide: how the stages sound laid over each other, if `pictures` has any (the baseline's first, then
/// those of the comparisons in their order), then a block for each comparison. `what` is compared: the part and its station.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn comparison_png(
    comparisons: &[Comparison],
    pictures: &[TakePicture],
    what: Option<&str>,
    remark: Option<&str>,
) -> Result<Vec<u8>, String> {
    let shown = overlay_height(pictures);
    let height: f64 = comparisons.iter().map(block_height).sum();
    let mut on = Drawing::new(WIDTH, 140.0 + shown + height);
    let first = comparisons.first().map_or("", |c| c.baseline.as_str());
    let title = what.map_or(format!("Compared with {first}"), |what| format!("{what}: compared with {first}"));
    on.text(40.0, 52.0, &title, Style { size: 30.0, bold: true, ..Style::default() });
    let note =
        remark.map_or(String::new(), |r| format!("{r} · ")) + "bars: 95 % intervals of the ratio to the baseline";
    on.text(40.0, 84.0, &note, Style { size: 19.0, colour: MUTED, ..Style::default() });
    if shown > 0.0 {
        overlay(&mut on, comparisons, pictures, 110.0);
    }
    let mut top = 110.0 + shown;
    for comparison in comparisons {
        block(&mut on, comparison, top);
        top += block_height(comparison);
    }
    to_png(&on.finish(), 1.0)
}

const ROW: f64 = 44.0;

fn block_height(c: &Comparison) -> f64 {
    let heading = lines(&format!("{}.", c.answer()), ANSWER).len() as f64 * 28.0;
    let notes = c.notes.iter().map(|n| lines(&format!("! {n}"), NOTE).len()).sum::<usize>() as f64 * 20.0;
    heading + notes + ROW * rows(c) + 190.0
}

/// Lines of bars.
fn rows(c: &Comparison) -> f64 {
    (c.whole.len() + c.foretold.len()).max(1) as f64
}

/// Characters in a line of the answer, and of a note.
const ANSWER: usize = 118;
const NOTE: usize = 150;
/// Characters in a line of a verdict beside its bar, and the step from line to line.
const VERDICT: usize = 44;
const VERDICT_LINE: f64 = 20.0;

fn colour(row: &Row) -> &'static str {
    match row.ratio.verdict {
        // The stages have the colours; here only certainty counts.
        Verdict::Larger | Verdict::Smaller => INK,
        Verdict::NotToldApart { .. } => MUTED,
    }
}

/// Lines of pairs.
const MOST_LINES: usize = 4;
/// Forecasts, apart from what was measured.
const FORETOLD: &str = "#6a4c93";

/// A ratio with its interval, as it is drawn.
struct Bar {
    what: String,
    value: f64,
    ends: (f64, f64),
    told: String,
    said: String,
    colour: &'static str,
}

fn block(on: &mut Drawing, c: &Comparison, top: f64) {
    let mut y = top;
    for line in lines(&format!("{}.", c.answer()), ANSWER) {
        y += 28.0;
        on.text(40.0, y, &line, Style { size: 22.0, bold: true, ..Style::default() });
    }
    for line in c.notes.iter().flat_map(|n| lines(&format!("! {n}"), NOTE)) {
        y += 20.0;
        on.text(40.0, y, &line, Style { size: 16.0, colour: BAD, ..Style::default() });
    }
    y += 50.0;
    let foretold_ends = c.foretold.iter().map(|f| (f.low, f.high));
    let ends: Vec<(f64, f64)> = c.whole.iter().map(|r| (r.ratio.low, r.ratio.high)).chain(foretold_ends).collect();
    let low = ends.iter().map(|e| e.0).fold(1.0, f64::min) / 1.25;
    let high = ends.iter().map(|e| e.1).fold(1.0, f64::max) * 1.25;
    let panel = Panel {
        left: 360.0,
        top: y,
        right: 860.0,
        bottom: y + ROW * rows(c),
        x: Axis::logarithmic(low.max(1e-3), high.min(1e3)),
        y: Axis::linear(0.0, rows(c)),
    };
    panel.draw_bare(on, "times the baseline");
    let (one, _) = panel.at(1.0, 0.0);
    on.line((one, panel.top), (one, panel.bottom), INK, 1.5, true);
    let bars = c.whole.iter().map(|row| Bar {
        what: row.what.clone(),
        value: row.ratio.value,
        ends: (row.ratio.low, row.ratio.high),
        told: ratio(row),
        said: row.sentence(),
        colour: colour(row),
    });
    let foretold = c.foretold.iter().map(|f| Bar {
        what: f.what.clone(),
        value: f.value,
        ends: (f.low, f.high),
        told: foretold(f),
        said: f.sentence().to_owned(),
        colour: if f.met { FORETOLD } else { BAD },
    });
    for (place, bar) in bars.chain(foretold).enumerate() {
        let middle = panel.top + ROW * (place as f64 + 0.5);
        let style = Style { size: 17.0, anchor: Anchor::End, ..Style::default() };
        on.text(panel.left - 14.0, middle + 6.0, &bar.what, style);
        let x = |v: f64| panel.at(v.clamp(panel.x.low, panel.x.high), 0.0).0;
        on.line((x(bar.ends.0), middle), (x(bar.ends.1), middle), bar.colour, 9.0, false);
        on.dot(x(bar.value), middle, 7.0, bar.colour);
        on.text(880.0, middle + 6.0, &bar.told, Style { size: 17.0, bold: true, ..Style::default() });
        let said = lines(&bar.said, VERDICT);
        let first = middle + 6.0 - 0.5 * VERDICT_LINE * (said.len() as f64 - 1.0);
        for (place, line) in said.iter().enumerate() {
            let y = first + VERDICT_LINE * place as f64;
            on.text(1200.0, y, line, Style { size: 17.0, colour: bar.colour, ..Style::default() });
        }
    }
    y = panel.bottom + 60.0;
    let told: Vec<String> = c
        .pairs
        .iter()
        .filter_map(|(name, rows)| {
            let f = rows.iter().find(|r| r.code == "frequency_hz")?;
            Some(format!("{name}: {:.1} → {:.1} Hz", f.baseline.value, f.other.value))
        })
        .collect();
    let mut listed = lines(&format!("{} pairs of modes: {}", c.pairs.len(), told.join("; ")), 150);
    if listed.len() > MOST_LINES {
        listed.truncate(MOST_LINES);
        listed.iter_mut().last().into_iter().for_each(|line| line.push_str(" … (all in the text report)"));
    }
    for line in listed {
        on.text(40.0, y, &line, Style { size: 16.0, colour: MUTED, ..Style::default() });
        y += 20.0;
    }
}
