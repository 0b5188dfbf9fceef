//! `ringwright demo`: an example folder of simulated takes, and `measure` run over it.

use std::path::PathBuf;

use anyhow::Context;
use clap::Args;

use super::measure::{ReportArguments, measure};
use super::{Outcome, print, tell};
use crate::analysis::Options;
use crate::bench::Bench;
use crate::files::Outlet;
use crate::simulate::{PHONE_TAKE, StageTruth, Truth, example_bench, example_takes, example_truth, truth_text};
use crate::sound::{WavSamples, wav_bytes};

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

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let recordings = arguments.folder.join("recordings");
    let (bench_file, truth) = (example_bench(), example_truth());
    let outlet = Outlet::of_bench(&arguments.folder);
    // Asked before the takes are made, which takes a while.
    outlet.make_folder(&recordings)?;
    for take in example_takes() {
        let spec = take.spec;
        let bytes = wav_bytes(&spec.make().samples, 1, spec.sample_rate_hz as u32, WavSamples::Integer(16))
            .context("a take cannot be made")?;
        outlet.save(&recordings.join(format!("{}.wav", take.name)), &bytes, arguments.force)?;
    }
    outlet.save(&recordings.join(PHONE_TAKE.0), PHONE_TAKE.1, arguments.force)?;
    outlet.save(&arguments.folder.join("bench.toml"), bench_file.as_bytes(), arguments.force)?;
    outlet.save(&arguments.folder.join("truth.toml"), truth_text(&truth).as_bytes(), arguments.force)?;
    print(
        "Simulated takes for an invented parlour guitar of black walnut and sugar maple, two or more of\n\
         every spot: three flat blanks (the left one's third take is a phone's, with mishaps on purpose:\n\
         one tap too loud, one double hit), the left side bent and then laminated with maple, the rim\n\
         plain, laminated and braced, with small masses stuck on, and two earlier rims.\n\n",
    );
    let bench = Bench::from_toml(&bench_file)?;
    let part = bench.parts.first().and_then(|p| p.stages.first()).map(|(_, described)| described.clone());
    let options = Options { part, ..Options::default() };
    let blank = measure(&[recordings.join("left-blank")], &options, &ReportArguments::default(), None)?;
    print("\n");
    let whole = super::diary::write(&arguments.folder, "simulated")?;
    tell_truth(&truth);
    tell(&format!("all that is true of these parts: {}", arguments.folder.join("truth.toml").display()));
    Ok(if blank == Outcome::Done { whole } else { blank })
}

/// What is true of the blanks, and of the modes that move most where masses were stuck on.
fn tell_truth(truth: &Truth) {
    for blank in &truth.blanks {
        let c = blank.constants;
        tell(&format!(
            "the truth: {}: E {:.2} GPa along and {:.3} GPa across, G {:.3} GPa",
            blank.part,
            1e-9 * c.along_pa,
            1e-9 * c.across_pa,
            1e-9 * c.shear_pa,
        ));
    }
    let loaded = |spot: &StageTruth| {
        let folder = format!("{}/{}/{}+", spot.part, spot.stage, spot.station);
        truth.takes.iter().any(|take| take.name.starts_with(&folder))
    };
    for spot in truth.stages.iter().filter(|spot| loaded(spot)) {
        let mut modes: Vec<_> = spot.modes.iter().zip(&spot.modal_mass_kg).collect();
        modes.sort_by(|a, b| a.1.total_cmp(b.1));
        let told = modes.iter().take(2).map(|(mode, mass_kg)| {
            format!("{:.2} Hz with a modal mass of {:.0} g", mode.frequency_hz, 1e3 * **mass_kg)
        });
        let told = told.collect::<Vec<_>>().join(", ");
        tell(&format!("the truth: {}, {}, {}: {told}", spot.part, spot.stage, spot.station));
    }
}
