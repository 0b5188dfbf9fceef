//! `ringwright verify`: whether the numbers hold on this machine.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::{Outcome, print};
use crate::report::room_check_text;
use crate::sound::{OpenOptions, Recording};
use crate::verify::{LEAST_NOISE_S, published_checks, room_check, simulated_check};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright verify
  ringwright verify --takes 200        a longer run, some 20 s
  ringwright verify --noise room.wav   what precision my room allows

Published values against what this program computes here, and simulated takes against their truth. With a
recording of a room in which nothing is tapped (20 s or more): the precision to expect in it from so many
taps, against simulated sessions in that very noise.
Exit codes: 0 everything holds; 1 something does not (it is marked); 2 wrong usage.")]
pub struct Arguments {
    /// Simulated takes to measure
    #[arg(long, value_name = "NUMBER", default_value_t = 50, value_parser = clap::value_parser!(u16).range(10..=5000))]
    takes: u16,
    /// A recording of the room, nothing tapped: forecast what it allows, and try it
    #[arg(long, value_name = "FILE")]
    noise: Option<PathBuf>,
    /// With --noise: taps of a session
    #[arg(long, value_name = "NUMBER", default_value_t = 5, requires = "noise", value_parser = clap::value_parser!(u8).range(1..=20))]
    taps: u8,
}

fn mark(passed: bool) -> &'static str {
    if passed { "holds" } else { "FAILS" }
}

/// Sessions that are simulated in a room's noise.
const SESSIONS: usize = 40;
/// So much of a longer recording of a room is used (s).
const MOST_NOISE_S: f64 = 600.0;

/// The forecast for a room, against sessions in its noise.
fn room(file: &Path, taps: usize) -> anyhow::Result<Outcome> {
    let told = || format!("{}: cannot be used as a room's noise", file.display());
    let mut recording = Recording::open(file, &OpenOptions::default()).with_context(told)?;
    let rate_hz = recording.sample_rate_hz();
    let most = recording.len().min((MOST_NOISE_S * rate_hz) as usize);
    let mut scratch = Vec::new();
    let noise = recording.read(0, most, &mut scratch).with_context(told)?.to_vec();
    let checked = (noise.len() as f64 >= LEAST_NOISE_S * rate_hz)
        .then(|| room_check(&noise, rate_hz.round() as u32, taps, SESSIONS).with_context(told))
        .transpose()?
        .flatten();
    let Some(check) = checked else {
        bail!(
            "{}: {:.1} s of noise are too short for a session of {taps} taps; record {:.0} s of the room or more",
            file.display(),
            noise.len() as f64 / rate_hz,
            (2.0 * (1.0 + 2.2 * taps as f64)).max(2.0 * LEAST_NOISE_S)
        );
    };
    let good = check.modes.iter().all(|m| m.holds(check.sessions));
    print(&room_check_text(&file.display().to_string(), noise.len() as f64 / rate_hz, &check));
    Ok(if good { Outcome::Done } else { Outcome::Partly })
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    if let Some(file) = &arguments.noise {
        return room(file, usize::from(arguments.taps));
    }
    let mut out = format!("{:<37} {:>10} {:>10} {:>8}          source\n", "", "published", "here", "within");
    let checks = published_checks();
    let mut good = checks.iter().all(|c| c.passed());
    for c in &checks {
        let unit = if c.unit == "1" { String::new() } else { format!(", {}", c.unit) };
        out.push_str(&format!(
            "{:<37} {:>10.5} {:>10.5} {:>6.3} % {}  {}\n",
            format!("{}{unit}", c.what),
            c.expected,
            c.got,
            100.0 * c.tolerance,
            mark(c.passed()),
            c.source
        ));
    }
    let run = simulated_check(usize::from(arguments.takes));
    good &= run.passed();
    let percent = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
    out.push_str(&format!(
        "\n{} simulated takes of 4 modes each: {:.1} % of the modes found; the 95 % interval holds the frequency in\n\
         {:.1} %, the damping in {:.1} %; {} false modes: {}\n",
        run.takes,
        percent(run.found, run.modes),
        percent(run.frequency_held, run.found),
        percent(run.damping_held, run.found),
        run.false_modes,
        mark(run.passed())
    ));
    out.push_str("How well it does in harder cases: README, \"How good it is\".\n");
    print(&out);
    Ok(if good { Outcome::Done } else { Outcome::Partly })
}
