//! `ringwright demo`: an example folder of simulated takes, and `measure` run over it.

use std::path::PathBuf;

use clap::Args;

use super::measure::{Plan, ReportArguments, measure};
use super::simulate::{Bits, wav};
use super::{Outcome, print, tell};
use crate::report::save;
use crate::simulate::{Mishap, NoiseColour, Strip, TakeSpec};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright demo
  ringwright demo my-trial --force")]
pub struct Arguments {
    /// Folder to make
    #[arg(value_name = "FOLDER", default_value = "ringwright-demo")]
    folder: PathBuf,
    /// Replace the demonstration's files if they exist
    #[arg(long)]
    force: bool,
}

/// An invented parlour guitar's side: black walnut, quartersawn. Moduli: E from the Wood Handbook's table for black
/// walnut, G from its ratio 0.085; density 616 kg/m3 at 12 % moisture. Damping: of the order published for walnut along
/// the grain (loss factor 0.008 to 0.013, from memory).
const BLANK: Strip = Strip {
    length_m: 0.8,
    width_m: 0.12,
    thickness_m: 2.25e-3,
    density_kg_m3: 616.0,
    modulus_pa: 11.6e9,
    shear_modulus_pa: 0.986e9,
};
const ALONG: f64 = 0.005;
const TWIST: f64 = 0.008;

/// The takes of the demonstration: name and specification.
pub fn takes() -> Vec<(&'static str, TakeSpec)> {
    let take = |seed: u64| TakeSpec {
        modes: BLANK.modes(ALONG, TWIST, 0.25),
        contact_s: 1.5e-3,
        interval_s: 1.3,
        after_last_s: 1.3,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 2e-4,
        steady_lines: vec![(50.0, 1e-3), (100.0, 5e-4), (150.0, 3e-4)],
        seed,
        ..TakeSpec::default()
    };
    let mut mishaps = take(13);
    mishaps.taps = 6;
    mishaps.clip_at = 0.9;
    mishaps.mishaps =
        vec![Mishap::TooLoud { tap: 1, times: 8.0 }, Mishap::DoubleHit { tap: 3, after_s: 0.09, strength: 0.6 }];
    let mut short = take(12);
    short.taps = 3;
    vec![("left-blank-take-01", take(11)), ("left-blank-take-02", short), ("left-blank-take-03-mishaps", mishaps)]
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let recordings = arguments.folder.join("recordings");
    for (name, spec) in takes() {
        let bytes = wav(&spec.make().samples, spec.sample_rate_hz as u32, Bits::B24)?;
        save(&recordings.join(format!("{name}.wav")), &bytes, arguments.force)?;
    }
    print(
        "Simulated takes of a flat side blank for an invented parlour guitar:\n\
         black walnut, 800 x 120 x 2.25 mm.\n\
         The third take has mishaps on purpose: one tap too loud, one double hit.\n\n",
    );
    let report = ReportArguments::with_pages(arguments.folder.join("reports"), "simulated");
    let outcome = measure(&[recordings], &Plan::default(), &report)?;
    tell(&format!(
        "the true modes: bending at {:.2}, {:.2}, ... Hz, torsion at {:.2}, {:.2}, ... Hz",
        BLANK.bending_hz(3),
        BLANK.bending_hz(4),
        BLANK.torsion_hz(3),
        BLANK.torsion_hz(4)
    ));
    Ok(outcome)
}
