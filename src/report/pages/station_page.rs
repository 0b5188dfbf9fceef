//! The page of a station that was tapped with masses stuck on: shifts, mobility, table.

use super::drawing::{Anchor, Axis, BAD, Drawing, INK, MUTED, Panel, SERIES, Style, to_png};
use super::sheet::{WIDTH, lines};
use crate::analysis::SpotFindings;
use crate::loss::Mobility;
use crate::report::json::part_entry::{FigureEntry, StationEntry};
use crate::report::text::numbers::{grams, with_interval};
use crate::uncertainty::COVERAGE_95;

const HEIGHT: f64 = 1000.0;
const MOST_ROWS: usize = 10;

/// The page as PNG, 1600 by 1000 pixels.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn station_png(spot: &SpotFindings, remark: Option<&str>) -> Result<Vec<u8>, String> {
    let station = &StationEntry::new(spot);
    let mut on = Drawing::new(WIDTH, HEIGHT);
    on.text(40.0, 52.0, &format!("Station {}", station.station), Style { size: 30.0, bold: true, ..Style::default() });
    let masses: Vec<String> = station
        .added_kg
        .iter()
        .map(|m| if *m == 0.0 { "nothing".into() } else { format!("{} g", grams(*m)) })
        .collect();
    let mut line = format!("stuck on: {}", masses.join(", "));
    if let Some(remark) = remark {
        line += &format!(" · {remark}");
    }
    on.text(40.0, 84.0, &line, Style { size: 19.0, colour: MUTED, ..Style::default() });
    shifts(&mut on, station);
    if let Some(known) = &spot.mobility {
        mobility(&mut on, station, known);
    }
    table(&mut on, station);
    to_png(&on.finish(), 1.0)
}

fn shifts(on: &mut Drawing, station: &StationEntry) {
    let told: Vec<_> =
        station.modes.iter().enumerate().filter(|(_, m)| !m.shifts.is_empty()).take(SERIES.len()).collect();
    let most = told.iter().flat_map(|(_, m)| &m.shifts).fold((0.0f64, 0.0f64), |(x, y), s| (x.max(s[0]), y.max(s[1])));
    let panel = Panel {
        left: 90.0,
        top: 140.0,
        right: 700.0,
        bottom: 520.0,
        x: Axis::linear(0.0, 1.25e3 * most.0),
        y: Axis::linear(0.0, 115.0 * most.1),
    };
    panel.draw(on, "How a stuck-on mass lowers the modes", "mass stuck on, g", "(f0/f)² − 1, %");
    for (place, (index, mode)) in told.iter().enumerate() {
        let colour = SERIES[place];
        let mut line = vec![panel.at(0.0, 0.0)];
        line.extend(mode.shifts.iter().map(|s| panel.at(1e3 * s[0], 100.0 * s[1])));
        on.polyline(&line, colour, 2.0, 0.8);
        for (x, y) in &line[1..] {
            on.dot(*x, *y, 5.0, colour);
        }
        let style = Style { size: 16.0, colour, bold: true, halo: true, ..Style::default() };
        let f = mode.frequency_hz.value;
        on.text(panel.left + 16.0, panel.top + 26.0 + 22.0 * place as f64, &format!("{}: {f:.0} Hz", index + 1), style);
    }
}

fn mobility(on: &mut Drawing, station: &StationEntry, mobility: &Mobility) {
    let band = [mobility.band_hz.0, mobility.band_hz.1];
    const STEPS: usize = 900;
    let points: Vec<(f64, f64)> = (0..=STEPS)
        .map(|i| {
            let f = band[0] * (band[1] / band[0]).powf(i as f64 / STEPS as f64);
            (f, 20.0 * (1e3 * mobility.at(f).norm()).max(1e-9).log10())
        })
        .collect();
    let (low, high) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.1), h.max(p.1)));
    let panel = Panel {
        left: 830.0,
        top: 140.0,
        right: WIDTH - 40.0,
        bottom: 520.0,
        x: Axis::logarithmic(band[0], band[1]),
        y: Axis::linear(low.max(high - 70.0) - 3.0, high + 5.0),
    };
    panel.draw(on, "Mobility: how readily the station gives", "Hz", "dB re 1 mm/(N s)");
    on.polyline(&points.iter().map(|p| panel.at(p.0, p.1)).collect::<Vec<_>>(), SERIES[0], 2.0, 1.0);
    if let Some(mean) = &station.mean_mobility_m_n_s {
        let level = 20.0 * (1e3 * mean.value).log10();
        on.line(panel.at(band[0], level), panel.at(band[1], level), SERIES[1], 2.0, true);
        let (x, y) = panel.at(band[0], level);
        let style = Style { size: 16.0, colour: SERIES[1], halo: true, ..Style::default() };
        on.text(x + 8.0, y - 8.0, "mean of the real part: what a given edge force loses here", style);
    }
    let style = Style { size: 15.0, colour: MUTED, ..Style::default() };
    on.text(panel.left, panel.bottom + 44.0, "from the modes heard; nothing is said outside their band", style);
}

fn table(on: &mut Drawing, station: &StationEntry) {
    let columns = [
        (130.0, "no"),
        (380.0, "frequency, Hz"),
        (640.0, "modal mass M, g"),
        (920.0, "stiffness k, kN/m"),
        (1250.0, "peak mobility, mm/(N s)"),
    ];
    let mut y = 620.0;
    for (x, title) in columns {
        on.text(x, y, title, Style { size: 16.0, colour: MUTED, anchor: Anchor::End, ..Style::default() });
    }
    on.line((90.0, y + 9.0), (1250.0, y + 9.0), "#999999", 1.0, false);
    let cell = |f: &Option<FigureEntry>, factor: f64| {
        f.as_ref().map_or("—".to_owned(), |f| with_interval(f.value * factor, COVERAGE_95 * f.u * factor))
    };
    for (index, mode) in station.modes.iter().enumerate().take(MOST_ROWS) {
        y += 25.0;
        let f = &mode.frequency_hz;
        let cells = [
            (index + 1).to_string(),
            with_interval(f.value, COVERAGE_95 * f.u),
            cell(&mode.modal_mass_kg, 1e3),
            cell(&mode.stiffness_n_m, 1e-3),
            cell(&mode.peak_mobility_m_n_s, 1e3),
        ];
        for ((x, _), text) in columns.iter().zip(&cells) {
            on.text(*x, y, text, Style { size: 16.0, anchor: Anchor::End, ..Style::default() });
        }
    }
    if station.modes.len() > MOST_ROWS {
        y += 23.0;
        let more = format!("and {} more", station.modes.len() - MOST_ROWS);
        on.text(130.0, y, &more, Style { size: 15.0, colour: MUTED, ..Style::default() });
    }
    y += 14.0;
    let mut say = |text: &str, colour: &str| {
        for line in lines(text, 130) {
            y += 22.0;
            if y < HEIGHT - 16.0 {
                on.text(90.0, y, &line, Style { size: 17.0, colour, ..Style::default() });
            }
        }
    };
    if let Some(error) = &station.error {
        say(error, BAD);
    }
    for sentence in station.sentences() {
        say(&sentence, INK);
    }
}
