//! A comparison as a picture: bars with intervals first, then the words.

use super::comparison::ratio;
use super::figure::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, Style, to_png};
use super::overlay::{overlay, overlay_height};
use super::page::{WIDTH, lines};
use super::take_picture::TakePicture;
use crate::compare::{Comparison, Row, Verdict};

/// The page as PNG, 1600 wide: how the stages sound laid over each other, if `pictures` has any (the baseline's first, then
/// those of the comparisons in their order), then a block for each comparison.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn comparison_png(
    comparisons: &[Comparison],
    pictures: &[TakePicture],
    remark: Option<&str>,
) -> Result<Vec<u8>, String> {
    let shown = overlay_height(pictures);
    let height: f64 = comparisons.iter().map(block_height).sum();
    let mut on = Drawing::new(WIDTH, 140.0 + shown + height);
    let first = comparisons.first().map_or("", |c| c.baseline.as_str());
    on.text(40.0, 52.0, &format!("Compared with {first}"), Style { size: 30.0, bold: true, ..Style::default() });
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
    heading + notes + ROW * c.whole.len().max(1) as f64 + 190.0
}

/// Characters in a line of the answer, and of a note.
const ANSWER: usize = 118;
const NOTE: usize = 150;

fn colour(row: &Row) -> &'static str {
    match row.ratio.verdict {
        // The stages have the colours; here only certainty counts.
        Verdict::Larger | Verdict::Smaller => INK,
        Verdict::NotToldApart { .. } => MUTED,
    }
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
    let low = c.whole.iter().map(|r| r.ratio.low).fold(1.0, f64::min) / 1.25;
    let high = c.whole.iter().map(|r| r.ratio.high).fold(1.0, f64::max) * 1.25;
    let panel = Panel {
        left: 360.0,
        top: y,
        right: 860.0,
        bottom: y + ROW * c.whole.len().max(1) as f64,
        x: Axis::logarithmic(low.max(1e-3), high.min(1e3)),
        y: Axis::linear(0.0, c.whole.len().max(1) as f64),
    };
    panel.draw_bare(on, "times the baseline");
    let (one, _) = panel.at(1.0, 0.0);
    on.line((one, panel.top), (one, panel.bottom), INK, 1.5, true);
    for (place, row) in c.whole.iter().enumerate() {
        let middle = panel.top + ROW * (place as f64 + 0.5);
        let style = Style { size: 17.0, anchor: Anchor::End, ..Style::default() };
        on.text(panel.left - 14.0, middle + 6.0, &row.what, style);
        let x = |v: f64| panel.at(v.clamp(panel.x.low, panel.x.high), 0.0).0;
        let colour = colour(row);
        on.line((x(row.ratio.low), middle), (x(row.ratio.high), middle), colour, 9.0, false);
        on.dot(x(row.ratio.value), middle, 7.0, colour);
        on.text(880.0, middle + 6.0, &ratio(row), Style { size: 17.0, bold: true, ..Style::default() });
        let said = row.ratio.verdict.sentence();
        on.text(1200.0, middle + 6.0, &said, Style { size: 17.0, colour, ..Style::default() });
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
    for line in lines(&format!("{} pairs of modes: {}", c.pairs.len(), told.join("; ")), 150).into_iter().take(4) {
        on.text(40.0, y, &line, Style { size: 16.0, colour: MUTED, ..Style::default() });
        y += 20.0;
    }
}
