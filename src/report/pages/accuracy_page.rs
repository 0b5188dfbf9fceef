//! How accurate the readings of simulated takes are, family by family, beside the usual way of reading them: a picture.

use super::drawing::{Anchor, Axis, Drawing, GRID, INK, MUTED, SERIES, Style, to_png};
use super::sheet::{WIDTH, lines};
use crate::modes::COVERAGE_95;

/// What one way of reading makes of a family of takes with known truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Errors over their Cramer-Rao bounds.
    pub frequency: Vec<f64>,
    pub damping: Vec<f64>,
    /// Share of the modes that stand out of the spectrum which was found.
    pub recall: f64,
    /// Modes per take that are none.
    pub false_modes: f64,
}

/// A family of simulated takes.
#[derive(Debug, Clone, PartialEq)]
pub struct AccuracyRow {
    pub family: String,
    pub ours: Reading,
    /// The usual way; `None` if it could not be run.
    pub usual: Option<Reading>,
    /// Share (%) of our 95 % intervals of (frequency, damping) that hold the truth.
    pub coverage: (f64, f64),
}

const ROW: f64 = 58.0;
const TOP: f64 = 190.0;
/// Left and right ends of the panels: errors of the frequency and of the damping, coverage; and where recall and false modes stand.
const FREQUENCY: (f64, f64) = (330.0, 690.0);
const DAMPING: (f64, f64) = (720.0, 1080.0);
const COVERAGE: (f64, f64) = (1110.0, 1290.0);
const FOUND: f64 = 1375.0;
const FALSE: f64 = 1500.0;
/// Of a normal error with the bound as its standard deviation, half are smaller than this.
const MEDIAN: f64 = 0.6745;

/// The picture as PNG, 1600 wide; `about` says how many takes it stands for.
///
/// # Errors
/// A message if it cannot be rendered.
pub fn accuracy_png(about: &str, rows: &[AccuracyRow]) -> Result<Vec<u8>, String> {
    let bottom = TOP + ROW * rows.len() as f64;
    let mut on = Drawing::new(WIDTH, bottom + 70.0);
    let small = Style { size: 17.0, colour: MUTED, ..Style::default() };
    on.text(40.0, 52.0, "How close the readings come", Style { size: 30.0, bold: true, ..Style::default() });
    on.text(40.0, 82.0, about, small);
    let key = "error over the least possible (Cramer-Rao bound): the dot is what half of the errors stay below, the line ends where \
               95 in 100 do; on average 1 cannot be beaten";
    on.text(40.0, 106.0, key, small);
    for (y, colour, what) in
        [(45.0, SERIES[0], "this program"), (75.0, SERIES[1], "usual way: band-pass, envelope, line")]
    {
        on.line((1130.0, y), (1180.0, y), colour, 4.0, false);
        on.dot(1150.0, y, 7.0, colour);
        on.text(1195.0, y + 6.0, what, Style { size: 18.0, ..Style::default() });
    }
    let error = Axis::logarithmic(0.5, 5000.0);
    let coverage = Axis::linear(88.0, 100.0);
    let x = |axis: &Axis, ends: (f64, f64), value: f64| ends.0 + axis.place(value).clamp(0.0, 1.0) * (ends.1 - ends.0);
    let titles = [(FREQUENCY, "frequency"), (DAMPING, "damping"), (COVERAGE, "intervals hold, %")];
    for (ends, title) in titles {
        on.text(ends.0, TOP - 38.0, title, Style { bold: true, ..Style::default() });
    }
    // What is wanted of 95 % intervals.
    let (low, high) = (x(&coverage, COVERAGE, 93.0), x(&coverage, COVERAGE, 97.0));
    on.area(&[(low, TOP), (high, TOP), (high, bottom), (low, bottom)], "#e3efe6");
    let ticks: [(&Axis, (f64, f64), &[f64]); 3] = [
        (&error, FREQUENCY, &[1.0, 10.0, 100.0, 1000.0]),
        (&error, DAMPING, &[1.0, 10.0, 100.0, 1000.0]),
        (&coverage, COVERAGE, &[90.0, 95.0, 100.0]),
    ];
    for (axis, ends, values) in ticks {
        for value in values {
            let at = x(axis, ends, *value);
            let colour = if *value == 1.0 { MUTED } else { GRID };
            on.line((at, TOP), (at, bottom), colour, 1.0, false);
            on.text(at, TOP - 10.0, &format!("{value}"), Style { size: 16.0, anchor: Anchor::Middle, ..small });
        }
    }
    for (at, title) in [(FOUND, "found, %"), (FALSE, "false in 100")] {
        on.text(at, TOP - 38.0, title, Style { bold: true, anchor: Anchor::Middle, ..Style::default() });
    }
    for (place, row) in rows.iter().enumerate() {
        let y = TOP + ROW * (place as f64 + 0.5);
        on.line((40.0, y + ROW / 2.0), (WIDTH - 40.0, y + ROW / 2.0), GRID, 1.0, false);
        let words = lines(&row.family, 30);
        for (n, line) in words.iter().enumerate() {
            let up = 10.0 * (words.len() as f64 - 1.0);
            on.text(40.0, y + 6.0 - up + 20.0 * n as f64, line, Style { size: 17.0, colour: INK, ..Style::default() });
        }
        let readings = [(Some(&row.ours), -12.0, SERIES[0]), (row.usual.as_ref(), 12.0, SERIES[1])];
        for (reading, aside, colour) in readings {
            let Some(reading) = reading else { continue };
            for (ends, errors) in [(FREQUENCY, &reading.frequency), (DAMPING, &reading.damping)] {
                let (Some(half), Some(most)) = (quantile(errors, 0.5), quantile(errors, 0.95)) else { continue };
                let (half, most) = (x(&error, ends, half / MEDIAN), x(&error, ends, most / COVERAGE_95));
                on.line((half, y + aside), (most, y + aside), colour, 4.0, false);
                on.dot(half, y + aside, 7.0, colour);
            }
            let number = Style { size: 17.0, colour, anchor: Anchor::Middle, ..Style::default() };
            on.text(FOUND, y + aside + 6.0, &format!("{:.1}", 100.0 * reading.recall), number);
            on.text(FALSE, y + aside + 6.0, &format!("{:.1}", 100.0 * reading.false_modes), number);
        }
        for (value, aside) in [(row.coverage.0, -12.0), (row.coverage.1, 12.0)] {
            on.dot(x(&coverage, COVERAGE, value), y + aside, 7.0, SERIES[0]);
        }
    }
    let foot = "intervals: upper dot frequency, lower dot damping, green is what is wanted (the usual way tells none); found: of \
                modes 20 dB out of the spectrum; false: in 100 takes";
    on.text(40.0, bottom + 40.0, foot, small);
    to_png(&on.finish(), 1.0)
}

/// A quantile of the sizes of some errors; `None` of no errors.
fn quantile(errors: &[f64], share: f64) -> Option<f64> {
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(((sizes.len() as f64 * share) as usize).min(sizes.len().saturating_sub(1))).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_of_sizes() {
        let errors: Vec<f64> = (0..100).map(|n| f64::from(n) * if n % 2 == 0 { 1.0 } else { -1.0 }).collect();
        assert_eq!(quantile(&errors, 0.5), Some(50.0));
        assert_eq!(quantile(&errors, 0.95), Some(95.0));
        assert_eq!(quantile(&[-3.0], 0.95), Some(3.0));
        assert_eq!(quantile(&[], 0.5), None);
    }
}
