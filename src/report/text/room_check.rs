//! What a room's noise allows, forecast and tried, as text.

use super::numbers::significant;
use super::paragraph::wrap;
use crate::verify::RoomCheck;

/// A table for people.
pub fn room_check_text(file: &str, length_s: f64, check: &RoomCheck) -> String {
    let mut out = String::new();
    let (room, taps) = (&check.report, check.taps);
    out.push_str(&format!(
        "{file}: {length_s:.1} s of noise at {:.0} Hz, {:.0} dB of full scale\n",
        room.rate_hz, room.level_db
    ));
    if room.disturbed {
        wrap(&mut out, "  ", "! something was struck or spoke in it: the forecast is of the quiet between");
    }
    let first = check.modes.first();
    wrap(
        &mut out,
        "",
        &format!(
            "Expected (95 %) from {taps} tap{} that put {:.0} dB of full scale into a mode of {:.0} % damping, and what {} simulated \
             sessions in this noise reached:",
            if taps == 1 { "" } else { "s" },
            first.map_or(0.0, |m| m.forecast.level_db),
            first.map_or(0.0, |m| 100.0 * m.forecast.damping_ratio),
            check.sessions
        ),
    );
    out.push_str(&format!(
        "\n  {:>8}  {:>22}  {:>22}  {:>22}  {:>15}\n",
        "mode", "frequency, Hz", "damping, %", "stiffness, %", "intervals held"
    ));
    let two = |value: f64| significant(value, 2);
    for mode in &check.modes {
        let f = &mode.forecast;
        // A mode's stiffness goes with the square of its frequency.
        let stiffness = |hz: f64| 200.0 * hz / f.frequency_hz;
        let cell = |expected: f64, reached: f64| format!("± {} (± {})", two(expected), two(reached));
        out.push_str(&format!(
            "  {:>8}  {:>22}  {:>22}  {:>22}  {:>15}  {}\n",
            format!("{:.0} Hz", f.frequency_hz),
            cell(f.frequency_hz_95, mode.frequency_hz_95),
            cell(100.0 * f.damping_95, 100.0 * mode.damping_95),
            cell(stiffness(f.frequency_hz_95), stiffness(mode.frequency_hz_95)),
            format!("{}, {} of {}", mode.frequency_held, mode.damping_held, check.sessions),
            if mode.holds(check.sessions) { "holds" } else { "FAILS" }
        ));
    }
    out.push('\n');
    wrap(
        &mut out,
        "",
        "In brackets: reached. Damping in % of itself; stiffness as the square of the frequency, the part's sizes and mass not counted. \
         Intervals held: how often the stated 95 % intervals of frequency and of damping held the truth. What the hand, the part and the \
         room's echo add is not in it.",
    );
    out
}
