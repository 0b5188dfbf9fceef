//! The screen of a session at the bench: large words, level, the last tap, and the modes so far.

use ratatui::Frame;
use ratatui::layout::{Alignment, Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::canvas::{Canvas, Line as Stroke};
use ratatui::widgets::{Block, Paragraph, Wrap};
use tui_big_text::{BigText, PixelSize};

use super::live_text::{call, mode_text, room_text};
use crate::listen::{Phase, View};
use crate::modes::Spectrum;
use crate::report::text::numbers::minus;
use crate::report::text::shown::shown;

/// How the screen may look.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    pub colour: bool,
}

/// Range of the level meter (dB of full scale).
const METER_DB: (f64, f64) = (-80.0, 0.0);
/// Range of the spectrum (Hz), and how far below its top it reaches (dB).
const SPECTRUM_HZ: (f64, f64) = (40.0, 8000.0);
const SPECTRUM_DB: f64 = 80.0;

/// Draws a session; `title` says what is tapped.
pub fn draw_session(frame: &mut Frame<'_>, view: &View, title: &str, look: Look) {
    let area = frame.area();
    // What must be read comes first: a small terminal goes without the pictures, then without the large letters.
    let big = match area.height {
        30.. => 8,
        9.. => 4,
        _ => 0,
    };
    let narrow = area.width < 90;
    let rows = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(big),
        Constraint::Length(if narrow { 3 } else { 2 }),
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(if narrow && area.height > 14 { 2 } else { 1 }),
    ])
    .split(area);
    head(frame, rows[0], view, title);
    words(frame, rows[1], rows[2], view, look, big);
    meter(frame, rows[3], view, look);
    if matches!(view.phase, Some(Phase::Room { .. } | Phase::RoomAgain)) || view.waveform.is_empty() {
        room(frame, rows[4], view);
    } else if area.width >= 76 {
        let halves = Layout::horizontal([Constraint::Percentage(46), Constraint::Percentage(54)]).split(rows[4]);
        pictures(frame, halves[0], view, look);
        table(frame, halves[1], view);
    } else {
        table(frame, rows[4], view);
    }
    foot(frame, rows[5], view, look);
}

fn paint(look: Look, colour: Color) -> Style {
    if look.colour { Style::new().fg(colour) } else { Style::new() }
}

fn head(frame: &mut Frame<'_>, area: Rect, view: &View, title: &str) {
    let clock = format!("{:02}:{:02}", view.elapsed_s as u64 / 60, view.elapsed_s as u64 % 60);
    let steps = if view.steps > 1 { format!(", {} of {}", view.step_number, view.steps) } else { String::new() };
    // What is tapped now stays readable, whatever the part is called.
    let most = usize::from(area.width).saturating_sub(clock.len() + 1);
    let (title, own) = (shown(title), shown(&format!("{}{steps}", view.step)));
    let titled: String = title.chars().take(most.saturating_sub(own.chars().count() + 3)).collect();
    let left: String = format!("{titled} · {own}").chars().take(most).collect();
    let room = usize::from(area.width).saturating_sub(left.chars().count() + clock.len());
    let line = format!("{left}{}{clock}", " ".repeat(room));
    frame.render_widget(Paragraph::new(line).style(Style::new().add_modifier(Modifier::REVERSED)), area);
}

fn words(frame: &mut Frame<'_>, area: Rect, below: Rect, view: &View, look: Look, height: u16) {
    let (large, sentence) = call(view);
    let sentence = shown(&sentence);
    if height == 0 {
        let line = format!("{large}: {sentence}");
        frame.render_widget(Paragraph::new(line).wrap(Wrap { trim: true }), below);
        return;
    }
    let colour = match view.phase {
        Some(Phase::TapNow | Phase::Heard | Phase::GotIt { .. } | Phase::Done) => Color::Green,
        Some(Phase::Again { .. }) => Color::Yellow,
        _ => Color::Cyan,
    };
    let fits = usize::from(area.width) >= 8 * large.chars().count();
    let pixel = match (height, fits) {
        (8, true) => PixelSize::Full,
        (_, true) => PixelSize::HalfHeight,
        (..) => PixelSize::Quadrant,
    };
    let style = paint(look, colour).add_modifier(Modifier::BOLD);
    let text = BigText::builder().pixel_size(pixel).style(style).centered().lines([Line::from(large)]).build();
    frame.render_widget(text, area);
    let sentence = Paragraph::new(sentence).alignment(Alignment::Center).wrap(Wrap { trim: true });
    frame.render_widget(sentence, below);
}

fn meter(frame: &mut Frame<'_>, area: Rect, view: &View, look: Look) {
    let label = format!(" {:>4} dB ", minus(&format!("{:.0}", view.level_db.max(-120.0))));
    let clip = if view.clipped { " TOO LOUD " } else { "          " };
    let width = usize::from(area.width).saturating_sub(label.chars().count() + clip.len() + 2);
    let place = |db: f64| {
        let share = (db - METER_DB.0) / (METER_DB.1 - METER_DB.0);
        (share.clamp(0.0, 1.0) * width as f64) as usize
    };
    let (filled, peak) = (place(view.level_db), place(view.peak_db));
    let bar: String = (0..width)
        .map(|i| match i {
            i if i < filled => '#',
            i if i + 1 == peak => '|',
            _ => '·',
        })
        .collect();
    let line = Line::from(vec![
        Span::raw(label),
        Span::raw("["),
        Span::styled(bar, paint(look, Color::Green)),
        Span::raw("]"),
        Span::styled(clip, paint(look, Color::Red).add_modifier(Modifier::REVERSED | Modifier::BOLD)),
    ]);
    // Without an overload the mark is blank, and must not shine.
    let line = if view.clipped { line } else { Line::from(line.spans[..4].to_vec()) };
    frame.render_widget(Paragraph::new(line), area);
}

fn room(frame: &mut Frame<'_>, area: Rect, view: &View) {
    let lines: Vec<Line<'_>> = match &view.room {
        Some(room) => {
            let all = room_text(room, view.wanted, &view.forecast);
            all.into_iter().map(Line::from).collect()
        }
        None => vec![
            Line::from("Hold the part where it stands still, some 0.22 of its length from either end."),
            Line::from("Microphone a hand's width from where you tap; tap with a fingertip or a light mallet."),
        ],
    };
    frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: true }).block(Block::bordered().title(" room ")), area);
}

fn pictures(frame: &mut Frame<'_>, area: Rect, view: &View, look: Look) {
    let halves = Layout::vertical([Constraint::Percentage(45), Constraint::Percentage(55)]).split(area);
    let highest = view.waveform.iter().map(|w| w.0.abs().max(w.1.abs())).fold(1e-9, f32::max);
    let columns = view.waveform.len().max(1) as f64;
    let wave = Canvas::default()
        .block(Block::bordered().title(" last tap "))
        .marker(Marker::Braille)
        .x_bounds([0.0, columns])
        .y_bounds([-1.0, 1.0])
        .paint(|context| {
            for (i, (low, high)) in view.waveform.iter().enumerate() {
                let (y1, y2) = (f64::from(low / highest), f64::from(high / highest));
                context.draw(&Stroke::new(
                    i as f64,
                    y1,
                    i as f64,
                    y2,
                    if look.colour { Color::Cyan } else { Color::Reset },
                ));
            }
        });
    frame.render_widget(wave, halves[0]);
    let points = spectrum_points(view, 2 * usize::from(halves[1].width));
    let top = points.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let (from, to) = (SPECTRUM_HZ.0.log10(), SPECTRUM_HZ.1.log10());
    let spectrum = Canvas::default()
        .block(Block::bordered().title(" spectrum, 40 Hz to 8 kHz, 80 dB "))
        .marker(Marker::Braille)
        .x_bounds([from, to])
        .y_bounds([top - SPECTRUM_DB, top + 3.0])
        .paint(|context| {
            let colour = if look.colour { Color::Green } else { Color::Reset };
            for pair in points.windows(2) {
                context.draw(&Stroke::new(pair[0].0, pair[0].1, pair[1].0, pair[1].1, colour));
            }
        });
    frame.render_widget(spectrum, halves[1]);
}

/// The spectrum's highest level in equal steps of the logarithm of frequency.
fn spectrum_points(view: &View, columns: usize) -> Vec<(f64, f64)> {
    let spectrum = &view.spectrum;
    if spectrum.bin_hz <= 0.0 {
        return Vec::new();
    }
    let (from, to) = (SPECTRUM_HZ.0.log10(), SPECTRUM_HZ.1.log10());
    let edge = |c: usize| 10f64.powf(from + (to - from) * c as f64 / columns as f64) / spectrum.bin_hz;
    (0..columns)
        .filter_map(|c| {
            let (low, high) = (edge(c) as usize, (edge(c + 1) as usize).max(edge(c) as usize + 1));
            let part = spectrum.density.get(low..high.min(spectrum.density.len()))?;
            let highest = part.iter().copied().reduce(f32::max)?;
            Some((from + (to - from) * c as f64 / columns as f64, f64::from(Spectrum::db(highest))))
        })
        .collect()
}

fn table(frame: &mut Frame<'_>, area: Rect, view: &View) {
    let mut lines = vec![Line::from(format!("{:>18} {:>17}", "frequency, Hz", "damping, %"))];
    let room = usize::from(area.height).saturating_sub(3);
    // The strongest ones if there is not room for all, in the order of frequency.
    let mut shown: Vec<&crate::modes::Mode> = view.modes.iter().collect();
    shown.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
    let left_out = shown.len().saturating_sub(room);
    shown.truncate(if left_out > 0 { room.saturating_sub(1) } else { room });
    shown.sort_by(|a, b| a.frequency.value.total_cmp(&b.frequency.value));
    for mode in shown {
        let (f, z) = mode_text(mode);
        let doubt = if mode.reasons.iter().any(|r| r.is_doubt()) { " ?" } else { "" };
        lines.push(Line::from(format!("{f:>18} {z:>17}{doubt}")));
    }
    if left_out > 0 {
        lines.push(Line::from(format!("and {} weaker ones", view.modes.len() + 1 - room)));
    }
    let title = if view.modes.is_empty() { " modes " } else { " modes, ± 95 % (?: doubtful) " };
    frame.render_widget(Paragraph::new(lines).block(Block::bordered().title(title)), area);
}

fn foot(frame: &mut Frame<'_>, area: Rect, view: &View, look: Look) {
    let (text, style) = if let Some(trouble) = view.not_kept.as_ref().or(view.trouble.as_ref()) {
        (format!("TROUBLE: {trouble}"), paint(look, Color::Red).add_modifier(Modifier::BOLD))
    } else if view.lost_frames > 0 {
        (format!("{} samples were lost: the computer was too busy", view.lost_frames), paint(look, Color::Yellow))
    } else if let Some(stir) = &view.stir {
        (format!("not counted ({}): {stir}", view.stirs), Style::new().add_modifier(Modifier::DIM))
    } else {
        ("Ctrl-C ends; what is accepted is saved".to_owned(), Style::new().add_modifier(Modifier::DIM))
    };
    frame.render_widget(Paragraph::new(shown(&text)).style(style).wrap(Wrap { trim: true }), area);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A station may be called what it likes: the terminal gets letters.
    #[test]
    fn names_turn_no_screen_round() {
        let backend = ratatui::backend::TestBackend::new(100, 30);
        let mut terminal = ratatui::Terminal::new(backend).expect("a screen");
        let view =
            View { step: "wa\u{202e}ist".to_owned(), trouble: Some("no \u{2066}room".to_owned()), ..View::default() };
        let drawn = terminal.draw(|frame| draw_session(frame, &view, "rim\u{202d}", Look { colour: false }));
        let cells: String = drawn.expect("it is drawn").buffer.content().iter().map(|cell| cell.symbol()).collect();
        assert!(cells.contains("rim\\u{202d} · wa\\u{202e}ist") && cells.contains("no \\u{2066}room"), "{cells}");
        assert!(!cells.contains(['\u{202d}', '\u{202e}', '\u{2066}']));
    }
}
