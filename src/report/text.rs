//! The table that a person reads: at most 100 columns wide, intervals of 95 %, doubts in words below.

use super::document::{Document, ModeEntry, RecordingEntry};
use super::numbers::{derived, minus, with_interval};
use crate::modes::COVERAGE_95;

/// The whole document as text; `verbose` also lists the peaks that are no modes.
pub fn to_text(document: &Document, verbose: bool) -> String {
    let mut out = String::new();
    for recording in &document.recordings {
        if !out.is_empty() {
            out.push('\n');
        }
        one(&mut out, recording, verbose);
    }
    if document.recordings.iter().any(|r| !r.modes.is_empty()) {
        out.push_str(
            "\n± is a 95 % interval. damping: ratio to critical; loss: loss factor, twice the damping ratio;\n\
             ring: time for 60 dB; dB: level at the strike, re the strongest mode.\n",
        );
    }
    out
}

/// Width that the text keeps to.
pub const WIDTH: usize = 100;

fn one(out: &mut String, recording: &RecordingEntry, verbose: bool) {
    let mut head = recording.file.clone();
    if let (Some(rate), Some(duration)) = (recording.sample_rate_hz, recording.duration_s) {
        let used = recording.taps.iter().filter(|t| t.accepted).count();
        head += &format!(": {duration:.1} s at {rate} Hz, {used} of {} taps used", recording.taps.len());
    }
    wrap(out, "", &head);
    for note in &recording.notes {
        wrap(out, "  ", note);
    }
    if let Some(error) = &recording.error {
        wrap(out, "  ", error);
    }
    for tap in &recording.taps {
        for sentence in &tap.explanations {
            wrap(out, "  ", &format!("tap at {:.2} s left out: {sentence}", tap.onset_s));
        }
    }
    if !recording.steady_lines_hz.is_empty() {
        let lines: Vec<String> = recording.steady_lines_hz.iter().map(|f| format!("{f:.1}")).collect();
        wrap(out, "  ", &format!("steady lines that were there before the taps, left out: {} Hz", lines.join(", ")));
    }
    if verbose {
        for left in &recording.left_out {
            wrap(out, "  ", &format!("peak at {:.1} Hz is not counted: {}", left.frequency_hz, left.reason));
        }
    }
    if recording.modes.is_empty() {
        return;
    }
    out.push_str(&format!(
        "\n  {:>3} {:>23} {:>20} {:>8} {:>6} {:>8} {:>6} {:>5}  {}\n",
        "no", "frequency, Hz", "damping, %", "loss", "Q", "ring, s", "dB", "taps", "see"
    ));
    let mut doubts: Vec<(String, Vec<usize>)> = Vec::new();
    for (index, mode) in recording.modes.iter().enumerate() {
        let mut letters = String::new();
        for sentence in &mode.explanations {
            let place = doubts.iter().position(|d| d.0 == *sentence).unwrap_or_else(|| {
                doubts.push((sentence.clone(), Vec::new()));
                doubts.len() - 1
            });
            doubts[place].1.push(index + 1);
            letters.push_str(&letter(place));
        }
        out.push_str(&row(index + 1, mode, &letters));
    }
    for (place, (sentence, _)) in doubts.iter().enumerate() {
        wrap(out, "    ", &format!("{}  {sentence}", letter(place)));
    }
}

/// A mark of its own for every doubt: a to z, A to Z, then numbers in brackets.
fn letter(place: usize) -> String {
    match place {
        0..26 => char::from(b'a' + place as u8).to_string(),
        26..52 => char::from(b'A' + (place - 26) as u8).to_string(),
        _ => format!("({})", place - 51),
    }
}

fn row(number: usize, mode: &ModeEntry, letters: &str) -> String {
    let half = |u: f64| COVERAGE_95 * u;
    format!(
        "  {number:>3} {:>23} {:>20} {:>8} {:>6} {:>8} {:>6} {:>5}  {letters}\n",
        with_interval(mode.frequency_hz, half(mode.frequency_hz_u)),
        with_interval(100.0 * mode.damping_ratio, half(100.0 * mode.damping_ratio_u)),
        derived(mode.loss_factor, half(mode.loss_factor_u)),
        derived(mode.q, half(mode.q_u)),
        derived(mode.ring_time_s, half(mode.ring_time_s_u)),
        minus(&format!("{:.1}", mode.level_db)),
        mode.taps_used,
    )
    .trim_end()
    .to_owned()
        + "\n"
}

/// Adds a paragraph, broken between words, with a hanging indent.
fn wrap(out: &mut String, indent: &str, text: &str) {
    let mut line = indent.to_owned();
    let mut empty = true;
    for word in text.split(' ') {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            out.push_str(line.trim_end());
            out.push('\n');
            line = format!("{indent}  ");
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}
