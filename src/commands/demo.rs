//! `ringwright demo`: an example folder of simulated takes, and `measure` run over it.

use std::path::PathBuf;

use anyhow::Context;
use clap::Args;

use super::measure::{ReportArguments, measure};
use super::{Outcome, print, tell};
use crate::analysis::Options;
use crate::bench::Bench;
use crate::files::Outlet;
use crate::rim::{Plane, RimMode};
use crate::simulate::{EXAMPLE_BLANK, ExampleStage, example_bench, example_stages, example_takes};
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
    let bench_file = example_bench();
    let outlet = Outlet::of_bench(&arguments.folder);
    // Asked before the takes are made, which takes a while.
    outlet.make_folder(&recordings)?;
    for (name, spec) in example_takes() {
        let bytes = wav_bytes(&spec.make().samples, 1, spec.sample_rate_hz as u32, WavSamples::Integer(16))
            .context("a take cannot be made")?;
        outlet.save(&recordings.join(format!("{name}.wav")), &bytes, arguments.force)?;
    }
    outlet.save(&arguments.folder.join("bench.toml"), bench_file.as_bytes(), arguments.force)?;
    print(
        "Simulated takes for an invented parlour guitar of black walnut: two flat side blanks (the\n\
         left one's third take has mishaps on purpose: one tap too loud, one double hit), the left\n\
         side bent and then laminated with maple, the rim plain, laminated and braced (nothing, 5 g\n\
         and 10 g stuck on at its tail), and two earlier rims.\n\n",
    );
    let bench = Bench::from_toml(&bench_file)?;
    let part = bench.parts.first().and_then(|p| p.stages.first()).map(|(_, described)| described.clone());
    let options = Options { part, ..Options::default() };
    let blank = measure(&[recordings.join("left-blank")], &options, &ReportArguments::default(), None)?;
    print("\n");
    let whole = super::diary::write(&arguments.folder, "simulated")?;
    let truth = EXAMPLE_BLANK.constants;
    tell(&format!(
        "the truth: left blank's E {:.2} GPa along and {:.2} GPa across, G {:.3} GPa",
        1e-9 * truth.along_pa,
        1e-9 * truth.across_pa,
        1e-9 * truth.shear_pa,
    ));
    for stage in example_stages() {
        for (station, node, _) in stage.stations.iter().filter(|s| s.2.len() > 1) {
            tell(&format!("the truth: {}, {}, {station}: {}", stage.part, stage.stage, heaviest(&stage, *node)));
        }
    }
    Ok(if blank == Outcome::Done { whole } else { blank })
}

/// Frequency and modal mass of the two modes that move most at the station.
fn heaviest(stage: &ExampleStage, node: usize) -> String {
    let mut modes = stage.rim.modes(Plane::In, 12).unwrap_or_default();
    // Those that the takes hold.
    modes.retain(|m| (40.0..1000.0).contains(&m.frequency_hz));
    let mass = |m: &RimMode| stage.rim.outward_shape(m, node).powi(-2);
    modes.sort_by(|a, b| mass(a).total_cmp(&mass(b)));
    let told =
        modes.iter().take(2).map(|m| format!("{:.2} Hz with a modal mass of {:.0} g", m.frequency_hz, 1e3 * mass(m)));
    told.collect::<Vec<_>>().join(", ")
}
