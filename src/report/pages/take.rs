//! The picture page of one take: waveform with its taps, spectrum with its modes, decays with their lines, table.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use super::part_page;
use super::sheet::{WIDTH, lines};
use crate::analysis::{Take, damping_ratio_of_part, frequency_of_part, ring_time_of_part};
use crate::modes::{Mode, ModeReason, Spectrum};
use crate::report::json::document::RecordingEntry;
use crate::report::text::numbers::{minus, rounded, significant, with_interval};

/// A take, its view in the report's words, and a line under the title, such as "simulated".
struct PageInput<'a> {
    take: &'a Take,
    entry: RecordingEntry,
    modes: Vec<&'a Mode>,
    remark: Option<&'a str>,
}

const HEIGHT: f64 = 1200.0;
/// Decays drawn over each other; more cannot be told apart.
const MOST_DECAYS: usize = 6;
const MOST_ROWS: usize = 14;

/// The page as PNG, 1600 by 1200 pixels, higher with a part.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn page_png(take: &Take, remark: Option<&str>) -> Result<Vec<u8>, String> {
    to_png(&page_svg(take, remark), 1.0)
}

/// The page as SVG; `remark` is a line under the title, such as "simulated".
pub fn page_svg(take: &Take, remark: Option<&str>) -> String {
    let input = &PageInput { take, entry: RecordingEntry::new(take), modes: take.plain_modes().collect(), remark };
    let mut on = Drawing::new(WIDTH, HEIGHT + part_page::height(&input.entry));
    heading(&mut on, input);
    waveform(&mut on, input);
    // Strongest first; their colours are the same in spectrum, decays and table.
    let mut order: Vec<usize> = (0..input.modes.len()).collect();
    order.sort_by(|a, b| input.modes[*b].level_db.total_cmp(&input.modes[*a].level_db));
    order.truncate(MOST_DECAYS);
    order.sort_unstable();
    let colour = |mode: usize| order.iter().position(|o| *o == mode).map_or(MUTED, |p| SERIES[p]);
    spectrum(&mut on, input, &colour);
    decays(&mut on, input, &order);
    table(&mut on, input, &colour);
    part_page::draw(&mut on, &input.entry, HEIGHT + 40.0);
    on.finish()
}

fn shorten(text: &str, most: usize) -> String {
    let count = text.chars().count();
    if count <= most {
        return text.to_owned();
    }
    let tail: String = text.chars().skip(count - (most - 1)).collect();
    format!("…{tail}")
}

fn heading(on: &mut Drawing, input: &PageInput<'_>) {
    let entry = &input.entry;
    on.text(40.0, 52.0, &shorten(&entry.file, 72), Style { size: 30.0, bold: true, ..Style::default() });
    let used = entry.taps.iter().filter(|t| t.accepted).count();
    let mut line = format!(
        "{} s at {} Hz · {used} of {} taps used",
        significant(entry.duration_s.unwrap_or(0.0), 3),
        entry.sample_rate_hz.unwrap_or(0.0),
        entry.taps.len()
    );
    if let Some(remark) = input.remark {
        line += &format!(" · {remark}");
    }
    on.text(40.0, 84.0, &line, Style { size: 19.0, colour: MUTED, ..Style::default() });
    on.text(
        WIDTH - 40.0,
        84.0,
        concat!("ringwright ", env!("CARGO_PKG_VERSION")),
        Style { size: 16.0, colour: MUTED, anchor: Anchor::End, ..Style::default() },
    );
}

fn waveform(on: &mut Drawing, input: &PageInput<'_>) {
    let duration = input.entry.duration_s.unwrap_or(1.0);
    let peak = input.take.waveform.iter().map(|(a, b)| a.abs().max(b.abs())).fold(1e-6, f32::max);
    let panel = Panel {
        left: 90.0,
        top: 140.0,
        right: WIDTH - 40.0,
        bottom: 300.0,
        x: Axis::linear(0.0, duration),
        y: Axis::linear(-1.25 * f64::from(peak), 1.25 * f64::from(peak)),
    };
    panel.draw(on, "Recording", "time, s", "share of full scale");
    let count = input.take.waveform.len().max(1) as f64;
    let at = |i: usize, v: f32| panel.at((i as f64 + 0.5) / count * duration, f64::from(v));
    let upper = input.take.waveform.iter().enumerate().map(|(i, w)| at(i, w.1));
    let lower = input.take.waveform.iter().enumerate().rev().map(|(i, w)| at(i, w.0));
    on.area(&upper.chain(lower).collect::<Vec<_>>(), "#5b7f95");
    let mut last_label = f64::NEG_INFINITY;
    for (index, tap) in input.entry.taps.iter().enumerate() {
        let (x, _) = panel.at(tap.onset_s, 0.0);
        let colour = if tap.accepted { INK } else { BAD };
        on.line((x, panel.top), (x, panel.bottom), colour, 1.5, !tap.accepted);
        let label = if tap.accepted {
            (index + 1).to_string()
        } else {
            format!("✗ {}", tap.reasons.join(", ").replace('_', " "))
        };
        // Labels that would run into each other are left to the text output.
        if x > last_label {
            let style = Style { size: 16.0, colour, halo: true, bold: tap.accepted, ..Style::default() };
            on.text(x + 5.0, panel.top + 19.0, &label, style);
            last_label = x + 12.0 + 9.5 * label.chars().count() as f64;
        }
    }
}

fn spectrum<'c>(on: &mut Drawing, input: &PageInput<'_>, colour: &dyn Fn(usize) -> &'c str) {
    let picture = &input.take.spectrum;
    let modes = &input.modes;
    let nyquist = picture.bin_hz * picture.density.len() as f64;
    let highest = modes.last().map_or(2000.0, |m| m.frequency.value * 1.6).max(600.0).min(nyquist.max(700.0));
    let lowest = modes.first().map_or(40.0, |m| m.frequency.value / 1.8).clamp(25.0, 200.0);
    // One point a pixel: the highest bin that falls on it.
    let pixels = 1400usize;
    let x = Axis::logarithmic(lowest, highest);
    let columns = |densities: &[f32]| -> Vec<(f64, f64)> {
        let mut points: Vec<(f64, f64)> = Vec::with_capacity(pixels);
        let mut column = usize::MAX;
        for (k, density) in densities.iter().enumerate().skip(1) {
            let f = k as f64 * picture.bin_hz;
            if f < lowest || f > highest {
                continue;
            }
            let level = f64::from(Spectrum::db(*density));
            let here = (x.place(f) * pixels as f64) as usize;
            match points.last_mut() {
                Some(last) if column == here => {
                    if level > last.1 {
                        *last = (f, level);
                    }
                }
                _ => points.push((f, level)),
            }
            column = here;
        }
        points
    };
    let level = columns(&picture.density);
    let noise = columns(&picture.noise_density);
    let top = level.iter().map(|p| p.1).fold(-200.0, f64::max);
    let mut sorted: Vec<f64> = level.iter().map(|p| p.1).collect();
    sorted.sort_by(f64::total_cmp);
    let quiet = sorted.get(sorted.len() / 10).copied().unwrap_or(top - 60.0);
    let panel = Panel {
        left: 90.0,
        top: 390.0,
        right: WIDTH - 40.0,
        bottom: 660.0,
        x,
        y: Axis::linear(quiet.max(top - 110.0) - 8.0, top + 22.0),
    };
    panel.draw(on, "Spectrum after the taps", "frequency, Hz", "dB re full scale² per Hz");
    let points: Vec<_> = level.iter().map(|p| panel.at(p.0, p.1)).collect();
    on.polyline(&points, "#33536b", 1.3, 1.0);
    let points: Vec<_> = noise.iter().map(|p| panel.at(p.0, p.1)).collect();
    on.polyline(&points, BAD, 1.6, 0.85);
    // Below the panel, where no number can lie.
    let (colour_of_note, of_noise) = match (level.is_empty(), noise.is_empty()) {
        (true, _) => (MUTED, ""),
        (false, false) => (BAD, "red: the room's noise before the taps"),
        (false, true) => (MUTED, "the room's noise could not be read before the taps"),
    };
    let style = Style { size: 15.0, colour: colour_of_note, ..Style::default() };
    on.text(panel.left, panel.bottom + 44.0, of_noise, style);
    // Numbers above their peaks; strong modes first, so that weak ones give way.
    let height = |frequency_hz: f64, reach: f64| {
        let near = level.iter().filter(|p| (p.0 / frequency_hz - 1.0).abs() < reach).map(|p| p.1);
        near.reduce(f64::max).map(|top| panel.at(frequency_hz, top))
    };
    let mut placed: Vec<(f64, f64)> = Vec::new();
    // Lifted until it covers nothing that stands already.
    let mut lifted = |x: f64, y: f64| {
        let mut y = y.max(panel.top + 18.0);
        while placed.iter().any(|p| (p.0 - x).abs() < 22.0 && (p.1 - y).abs() < 18.0) && y > panel.top + 20.0 {
            y -= 18.0;
        }
        placed.push((x, y));
        y
    };
    let mut order: Vec<usize> = (0..modes.len()).collect();
    order.sort_by(|a, b| modes[*b].level_db.total_cmp(&modes[*a].level_db));
    for index in order {
        let mode = modes[index];
        let Some((x, y)) = height(mode.frequency.value, 0.01 + mode.damping_ratio.value) else { continue };
        let y = lifted(x, y - 10.0);
        let style = Style { size: 17.0, colour: colour(index), bold: true, anchor: Anchor::Middle, halo: true };
        on.text(x, y, &(index + 1).to_string(), style);
    }
    // What stands out but is no mode is marked too, so that nobody takes it for forgotten.
    let mut mark = |at_hz: &mut dyn Iterator<Item = f64>, sign: &str| {
        let mut any = false;
        for frequency_hz in at_hz {
            let Some((x, y)) = height(frequency_hz, (picture.bin_hz / frequency_hz).max(0.003)) else { continue };
            let y = lifted(x, y - 6.0);
            on.text(x, y, sign, Style { size: 17.0, colour: MUTED, anchor: Anchor::Middle, halo: true, bold: false });
            any = true;
        }
        any
    };
    let mut legend = Vec::new();
    if mark(&mut input.take.steady_lines_hz.iter().copied(), "~") {
        legend.push("~ a steady line, there before the taps");
    }
    if mark(&mut input.take.left_out.iter().map(|(f, _)| *f), "×") {
        legend.push("× a peak that is not listed");
    }
    let style = Style { size: 15.0, colour: MUTED, ..Style::default() };
    on.text(panel.left + 440.0, panel.bottom + 44.0, &legend.join(" · "), style);
}

fn decays(on: &mut Drawing, input: &PageInput<'_>, order: &[usize]) {
    let modes: Vec<(usize, &Mode)> = order.iter().map(|i| (*i, input.modes[*i])).collect();
    // Until the longest line has ended, with a little of the noise behind it.
    let until = modes.iter().map(|(_, m)| m.envelope.used_s.1 * 1.3).filter(|t| t.is_finite()).fold(0.05, f64::max);
    let floor = modes.iter().map(|(_, m)| m.level_db + m.envelope.noise_db).fold(-40.0, f64::min).max(-90.0);
    let panel = Panel {
        left: 90.0,
        top: 755.0,
        right: 760.0,
        bottom: 1130.0,
        x: Axis::linear(0.0, until),
        y: Axis::linear(floor - 5.0, 8.0),
    };
    panel.draw(on, "How the modes die away", "time after the strike, s", "dB re the strongest");
    for (place, (index, mode)) in modes.iter().enumerate() {
        let colour = SERIES[place];
        let envelope = &mode.envelope;
        let points: Vec<_> = envelope
            .time_s
            .iter()
            .zip(&envelope.level_db)
            .filter(|(t, _)| **t <= until)
            .map(|(t, level)| panel.at(*t, level + mode.level_db))
            .collect();
        on.polyline(&points, colour, 1.4, 0.55);
        let (from, to) = envelope.used_s;
        if envelope.slope_db_per_s.is_finite() {
            let on_line = |t: f64| panel.at(t, mode.level_db + envelope.slope_db_per_s * t);
            on.line(on_line(0.0), on_line(from), colour, 1.5, true);
            on.line(on_line(from), on_line(to), colour, 3.2, false);
            let (x, y) = on_line(to);
            let style = Style { size: 17.0, colour, bold: true, halo: true, ..Style::default() };
            on.text((x + 6.0).min(panel.right - 16.0), y + 4.0, &(index + 1).to_string(), style);
        }
    }
    let style = Style { size: 15.0, colour: MUTED, ..Style::default() };
    on.text(panel.left, panel.bottom + 44.0, "thick: the stretch that the line is fitted to", style);
}

fn table<'c>(on: &mut Drawing, input: &PageInput<'_>, colour: &dyn Fn(usize) -> &'c str) {
    let (left, top) = (830.0, 743.0);
    on.text(left, top, "Modes, with 95 % intervals", Style { size: 20.0, bold: true, ..Style::default() });
    let columns = [
        (left + 28.0, "no"),
        (left + 245.0, "frequency, Hz"),
        (left + 455.0, "damping, %"),
        (left + 565.0, "ring, s"),
        (left + 640.0, "dB"),
        (left + 730.0, "taps"),
    ];
    let mut y = top + 32.0;
    for (x, title) in columns {
        on.text(x, y, title, Style { size: 16.0, colour: MUTED, anchor: Anchor::End, ..Style::default() });
    }
    on.line((left, y + 9.0), (WIDTH - 40.0, y + 9.0), "#999999", 1.0, false);
    let modes = &input.modes;
    if modes.is_empty() {
        let why = input.entry.error.clone().unwrap_or_default();
        for (i, piece) in lines(&why, 80).iter().enumerate() {
            on.text(left, y + 40.0 + 24.0 * i as f64, piece, Style { size: 17.0, colour: BAD, ..Style::default() });
        }
        return;
    }
    // With more modes than rows the strongest are shown, by frequency.
    let mut shown: Vec<usize> = (0..modes.len()).collect();
    shown.sort_by(|a, b| modes[*b].level_db.total_cmp(&modes[*a].level_db));
    shown.truncate(MOST_ROWS);
    shown.sort_unstable();
    for index in shown {
        let mode = modes[index];
        y += 24.0;
        let doubtful = mode.reasons.iter().any(ModeReason::is_doubt);
        let frequency = frequency_of_part(mode);
        let (damping, ring) = (damping_ratio_of_part(mode).times(100.0), ring_time_of_part(mode));
        let cells = [
            (index + 1).to_string(),
            with_interval(frequency.value, frequency.half_95()),
            with_interval(damping.value, damping.half_95()),
            rounded(ring.value, ring.half_95()),
            minus(&format!("{:.0}", mode.level_db)),
            format!("{}{}", if doubtful { "! " } else { "" }, mode.taps_used),
        ];
        for ((x, _), cell) in columns.iter().zip(&cells) {
            let first = *x == columns[0].0;
            let style = Style {
                size: 16.0,
                colour: if first {
                    colour(index)
                } else if doubtful && *x == columns[5].0 {
                    BAD
                } else {
                    INK
                },
                bold: first,
                anchor: Anchor::End,
                halo: false,
            };
            on.text(*x, y, cell, style);
        }
    }
    if modes.len() > MOST_ROWS {
        y += 22.0;
        let more = format!("and {} weaker modes", modes.len() - MOST_ROWS);
        on.text(left, y, &more, Style { size: 15.0, colour: MUTED, ..Style::default() });
    }
    // The doubts in words, as many as fit.
    let mut said: Vec<String> = Vec::new();
    for (index, mode) in modes.iter().enumerate() {
        for reason in mode.reasons.iter().filter(|r| r.is_doubt()) {
            said.push(format!("! {}: {}", index + 1, reason.sentence()));
        }
    }
    y += 12.0;
    for (place, sentence) in said.iter().enumerate() {
        let broken = lines(sentence, 88);
        // The last line is kept for saying that there is more.
        let last = place + 1 == said.len();
        if y + 20.0 * (broken.len() + usize::from(!last)) as f64 > HEIGHT - 24.0 {
            let (left_over, and) = (said.len() - place, if place > 0 { "and " } else { "" });
            let more = format!("! {and}{left_over} doubt{} in the text report", if left_over > 1 { "s" } else { "" });
            on.text(left, y + 20.0, &more, Style { size: 15.0, colour: BAD, ..Style::default() });
            break;
        }
        for line in broken {
            y += 20.0;
            on.text(left, y, &line, Style { size: 15.0, colour: BAD, ..Style::default() });
        }
    }
}
