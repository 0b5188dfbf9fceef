//! The mode shapes of a flat blank: where it stands still and may be held, where it moves and may be tapped.

use super::drawing::{Anchor, Drawing, INK, MUTED, Style, to_png};
use crate::analysis::Take;
use crate::stiffness::PlateMode;

/// A mode to draw: its shape, its name and frequency (Hz), and whether it was heard.
struct Shape<'a> {
    mode: &'a PlateMode,
    frequency_hz: f64,
    heard: bool,
}

const COLUMNS: usize = 3;
const MOST: usize = 15;
const CELL: (f64, f64) = (520.0, 170.0);

/// The shapes of a take's blank as PNG, at most fifteen, up to the highest mode that was heard; `None` if its modes are not
/// identified.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn shapes_png(take: &Take) -> Option<Result<Vec<u8>, String>> {
    let part = take.part.as_ref()?;
    let (ratio, blank) = part.blank.as_ref()?;
    let highest = take.plain_modes().last().map_or(0.0, |m| m.frequency.value);
    let of = |mode| {
        let heard = take.modes.iter().find(|m| m.name.as_deref() == Some(PlateMode::name(mode).as_str()));
        let plain = mode.omega_squared.sqrt() / std::f64::consts::TAU;
        Shape { mode, frequency_hz: heard.map_or(plain, |m| m.mode.frequency.value), heard: heard.is_some() }
    };
    let shapes: Vec<Shape<'_>> = blank.modes.iter().map(of).filter(|s| s.frequency_hz <= highest).collect();
    let title = format!("Where {} stands still", part.name.as_deref().unwrap_or("the blank"));
    Some(page(&title, &shapes, *ratio))
}

/// `ratio` is width over length of the blank.
fn page(title: &str, shapes: &[Shape<'_>], ratio: f64) -> Result<Vec<u8>, String> {
    let count = shapes.len().min(MOST);
    let rows = count.div_ceil(COLUMNS).max(1);
    let (width, height) = (40.0 + COLUMNS as f64 * CELL.0, 150.0 + rows as f64 * CELL.1);
    let mut on = Drawing::new(width, height);
    on.text(40.0, 52.0, title, Style { size: 28.0, bold: true, ..Style::default() });
    let how = "white: stands still (hold there, or hang it there); blue and orange: swing against each other (tap where it is darkest)";
    on.text(40.0, 84.0, how, Style { size: 18.0, colour: MUTED, ..Style::default() });
    for (place, shape) in shapes.iter().take(MOST).enumerate() {
        let left = 40.0 + CELL.0 * (place % COLUMNS) as f64;
        let top = 116.0 + CELL.1 * (place / COLUMNS) as f64;
        draw(&mut on, shape, left, top + 26.0, ratio);
        let heard = if shape.heard { "" } else { " (not heard)" };
        let text = format!("{}, {:.0} Hz{heard}", shape.mode.name(), shape.frequency_hz);
        let style = Style {
            size: 17.0,
            bold: shape.heard,
            colour: if shape.heard { INK } else { MUTED },
            anchor: Anchor::Start,
            halo: false,
        };
        on.text(left, top + 18.0, &text, style);
    }
    to_png(&on.finish(), 1.0)
}

fn draw(on: &mut Drawing, shape: &Shape<'_>, left: f64, top: f64, ratio: f64) {
    const LONG: usize = 96;
    let wide = ((LONG as f64 * ratio).round() as usize).clamp(6, 30);
    let (w, h) = (CELL.0 - 40.0, ((CELL.0 - 40.0) * ratio).min(CELL.1 - 50.0));
    let (dx, dy) = (w / LONG as f64, h / wide as f64);
    let at = |i: usize, j: usize| shape.mode.shape_at((i as f64 + 0.5) / LONG as f64, (j as f64 + 0.5) / wide as f64);
    let values: Vec<f64> = (0..LONG * wide).map(|k| at(k % LONG, k / LONG)).collect();
    let most = values.iter().map(|v| v.abs()).fold(1e-12, f64::max);
    for (k, value) in values.iter().enumerate() {
        // The square root shows the still lines narrow and the rest clear.
        let share = (value.abs() / most).sqrt();
        let mix = |full: f64| (255.0 - share * (255.0 - full)).round() as u8;
        let colour = if *value > 0.0 { [mix(0.0), mix(114.0), mix(178.0)] } else { [mix(213.0), mix(94.0), mix(0.0)] };
        let (x, y) = (left + (k % LONG) as f64 * dx, top + (k / LONG) as f64 * dy);
        on.area(
            &[(x, y), (x + dx, y), (x + dx, y + dy), (x, y + dy)],
            &format!("#{:02x}{:02x}{:02x}", colour[0], colour[1], colour[2]),
        );
    }
    let corners = [(left, top), (left + w, top), (left + w, top + h), (left, top + h), (left, top)];
    on.polyline(&corners, "#777777", 1.0, 1.0);
}
