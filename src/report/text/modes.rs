//! The table that a person reads: at most 100 columns wide, intervals of 95 %, doubts in words below.

use super::numbers::{derived, minus, with_interval};
use super::paragraph::wrap;
use super::part as part_text;
use crate::modes::COVERAGE_95;
use crate::report::json::document::{Document, ModeEntry, RecordingEntry};

/// How much is said.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Detail {
    /// Why each peak that is not listed as a mode was left out.
    pub verbose: bool,
    /// A plain sentence with every figure about the part, and what each interval comes from.
    pub explain: bool,
    /// All digits that the recording gives, with its own intervals; else those of the part, with what holding it anew changes.
    pub all_digits: bool,
    /// How the reader gets to see why peaks are not listed, such as an option's name; empty if there is no way.
    pub why: &'static str,
}

/// The whole document as text.
pub fn to_text(document: &Document, detail: Detail) -> String {
    let mut out = String::new();
    for recording in &document.recordings {
        if !out.is_empty() {
            out.push('\n');
        }
        one(&mut out, recording, detail);
    }
    for station in &document.stations {
        part_text::station(&mut out, station, detail.explain);
    }
    if document.recordings.iter().any(|r| !r.modes.is_empty()) {
        let of = if detail.all_digits {
            "of this recording, the part held as it was"
        } else {
            "of the part; holding it anew is in it, as far as that is known or assumed"
        };
        let explained = format!(
            "± is a 95 % interval {of}. damping: ratio to critical; loss: loss factor, twice the damping ratio; ring: time for 60 dB; \
             dB: level at the strike, re the strongest mode."
        );
        out.push('\n');
        wrap(&mut out, "", &explained);
    }
    out
}

/// Peaks that are not listed as modes, named without being asked for.
const MOST_LEFT_OUT: usize = 12;

fn one(out: &mut String, recording: &RecordingEntry, detail: Detail) {
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
    if detail.verbose {
        for left in &recording.left_out {
            wrap(out, "  ", &format!("peak at {:.1} Hz is not listed: {}", left.frequency_hz, left.reason));
        }
    } else if !recording.left_out.is_empty() {
        let shown: Vec<String> =
            recording.left_out.iter().take(MOST_LEFT_OUT).map(|left| format!("{:.1}", left.frequency_hz)).collect();
        let more = match recording.left_out.len() - shown.len() {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let peaks = shown.join(", ");
        let why = if detail.why.is_empty() { String::new() } else { format!(" ({} says why)", detail.why) };
        wrap(out, "  ", &format!("peaks not listed, though some may be modes{why}: {peaks} Hz{more}"));
    }
    if recording.modes.is_empty() {
        return;
    }
    let named = recording.modes.iter().any(|m| m.name.is_some());
    let heading = format!(
        "\n  {:>3} {:<6} {:>20} {:>20} {:>8} {:>6} {:>8} {:>6} {:>5} {}",
        "no",
        if named { "is" } else { "" },
        "frequency, Hz",
        "damping, %",
        "loss",
        "Q",
        "ring, s",
        "dB",
        "taps",
        "see"
    );
    out.push_str(heading.trim_end());
    out.push('\n');
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
        out.push_str(&row(index + 1, mode, &letters, detail.all_digits));
    }
    for (place, (sentence, _)) in doubts.iter().enumerate() {
        wrap(out, "    ", &format!("{}  {sentence}", letter(place)));
    }
    if detail.explain {
        explain_intervals(out, recording);
    }
    if named {
        wrap(out, "    ", "is: b bending along, t twist, c crosswise, each with its number; blank: not told");
    }
    if let Some(part) = &recording.part {
        part_text::part(out, part, detail.explain);
    }
}

/// What each mode's intervals come from.
fn explain_intervals(out: &mut String, recording: &RecordingEntry) {
    wrap(out, "    ", "what the intervals come from (shares of u²):");
    for (index, mode) in recording.modes.iter().enumerate() {
        let figures = [("frequency", &mode.frequency_hz_budget), ("damping", &mode.damping_ratio_budget)];
        let said = figures.iter().filter(|(_, lines)| !lines.is_empty());
        let said: Vec<String> = said.map(|(what, lines)| format!("{what}: {}", part_text::budget(lines))).collect();
        if !said.is_empty() {
            wrap(out, "    ", &format!("{:>3}  {}", index + 1, said.join("; ")));
        }
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

fn row(number: usize, mode: &ModeEntry, letters: &str, all_digits: bool) -> String {
    let (frequency_u, damping) = if all_digits {
        (mode.frequency_hz_u, mode.damping_ratio_u / mode.damping_ratio)
    } else {
        (mode.frequency_hz_u_of_part(), mode.relative_damping_u_of_part())
    };
    // The loss factor, Q and the ring time are as uncertain as the damping (of the frequency nothing is seen there).
    let half = |value: f64| COVERAGE_95 * damping * value;
    format!(
        "  {number:>3} {:<6} {:>20} {:>20} {:>8} {:>6} {:>8} {:>6} {:>5} {letters}\n",
        mode.name.as_deref().map_or(String::new(), short_name),
        with_interval(mode.frequency_hz, COVERAGE_95 * frequency_u),
        with_interval(100.0 * mode.damping_ratio, half(100.0 * mode.damping_ratio)),
        derived(mode.loss_factor, half(mode.loss_factor)),
        derived(mode.q, half(mode.q)),
        derived(mode.ring_time_s, half(mode.ring_time_s)),
        minus(&format!("{:.1}", mode.level_db)),
        mode.taps_used,
    )
    .trim_end()
    .to_owned()
        + "\n"
}

/// "bending 3" as "b3", "twist 2" as "t2", "crosswise 1+0" as "c1+0": what fits the line; the line below the table says so.
fn short_name(name: &str) -> String {
    match name.split_once(' ') {
        Some((family, number)) => format!("{}{number}", &family[..1]),
        None => name.to_owned(),
    }
}
