//! `ringwright verify`: whether the numbers hold on this machine.

use clap::Args;

use super::{Outcome, print};
use crate::verify::{published_checks, simulated_check};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright verify
  ringwright verify --takes 200        a longer run, some 20 s

Published values against what this program computes here, and simulated takes against their truth.
Exit codes: 0 everything holds; 1 something does not (it is marked).")]
pub struct Arguments {
    /// Simulated takes to measure
    #[arg(long, value_name = "NUMBER", default_value_t = 50, value_parser = clap::value_parser!(u16).range(10..=5000))]
    takes: u16,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let mark = |passed: bool| if passed { "holds" } else { "FAILS" };
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
