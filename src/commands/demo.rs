//! `ringwright demo`: an example folder of simulated takes, and `measure` run over it.

use std::path::PathBuf;

use clap::Args;

use super::measure::{ReportArguments, measure};
use super::simulate::{Bits, wav};
use super::take::Plan;
use super::{Outcome, print, tell};
use crate::bench::Bench;
use crate::report::save;
use crate::simulate::{Blank, Mishap, NoiseColour, Ring, TakeSpec, TrueMode};
use crate::stiffness::{Constants, Size};

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
/// walnut, across and shear from its ratios 0.106 and 0.085; density 616 kg/m3 at 12 % moisture. Damping: of the order
/// published for walnut along the grain (loss factor 0.008 to 0.013, from memory), twice that across.
const BLANK: Blank = Blank {
    size: Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133_056 },
    constants: Constants { along_pa: 11.6e9, across_pa: 1.23e9, shear_pa: 0.986e9, poisson: 0.45 },
    damping: [0.005, 0.011, 0.008],
};

/// What the maker wrote down. The masses are rounded as a kitchen scale shows them.
const BENCH_FILE: &str = "# The demonstration: an invented shop and guitar, every recording simulated.
format = 1
shop = \"an invented shop (simulated)\"

[[part]]
name = \"left-blank\"
kind = \"strip\"
notes = \"Side blank of black walnut for a parlour guitar, flat. Its third take has mishaps on purpose.\"

  [[part.stage]]
  name = \"flat\"
  length = \"800 mm\"
  width = \"120 mm\"
  thickness = \"2.24 2.26 2.25 2.25 mm\"
  mass = \"133 g\"
  temperature = \"21 C\"
  humidity = \"45 %\"

[[part]]
name = \"rim\"
kind = \"rim\"
notes = \"The same guitar's rim: the plain side, then with an inner ply of maple glued in.\"

  [[part.stage]]
  name = \"plain\"
  mass = \"205 g\"

  [[part.stage]]
  name = \"laminated\"
  mass = \"413 g\"
";

/// The rim of the same guitar as a ring: the plain side (2.25 mm of walnut, 100 mm deep), and with an inner ply of maple
/// (2 mm, E 12.6 GPa, 706 kg/m3; Wood Handbook) glued in. EI and mass of the two plies: composite beam about its neutral axis.
const PLAIN: Ring =
    Ring { radius_m: 0.235, bending_stiffness_n_m2: 1.101, mass_per_length_kg_m: 0.1386, damping_ratio: 0.008 };
const LAMINATED: Ring =
    Ring { radius_m: 0.235, bending_stiffness_n_m2: 7.725, mass_per_length_kg_m: 0.2798, damping_ratio: 0.010 };

const RATE_HZ: f64 = 24_000.0;

/// The takes of the demonstration: name and specification.
pub fn takes() -> Vec<(String, TakeSpec)> {
    let take = |seed: u64, modes: Vec<TrueMode>| TakeSpec {
        sample_rate_hz: RATE_HZ,
        modes,
        contact_s: 1.5e-3,
        interval_s: 1.3,
        after_last_s: 1.3,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 2e-4,
        steady_lines: vec![(50.0, 1e-3), (100.0, 5e-4), (150.0, 3e-4)],
        seed,
        ..TakeSpec::default()
    };
    let blank = |seed| take(seed, BLANK.sound((0.06, 0.12), (0.3, 0.35), 0.06));
    let mut mishaps = blank(13);
    mishaps.taps = 6;
    mishaps.clip_at = 0.9;
    mishaps.mishaps =
        vec![Mishap::TooLoud { tap: 1, times: 20.0 }, Mishap::DoubleHit { tap: 3, after_s: 0.09, strength: 0.6 }];
    let mut short = blank(12);
    short.taps = 3;
    let mut all = vec![
        ("left-blank/flat/corner/take-01".to_owned(), blank(11)),
        ("left-blank/flat/corner/take-02".to_owned(), short),
        ("left-blank/flat/corner/take-03-mishaps".to_owned(), mishaps),
    ];
    for (stage, ring, seed) in [("plain", PLAIN, 20), ("laminated", LAMINATED, 30)] {
        for (place, grams) in [0.0, 5.0, 10.0].into_iter().enumerate() {
            let added = if grams > 0.0 { format!("+{grams}g") } else { String::new() };
            let mut spec = take(seed + place as u64, ring.sound(1e-3 * grams, 0.12));
            spec.taps = 4;
            all.push((format!("rim/{stage}/lower-bout{added}/take-01"), spec));
        }
    }
    all
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let recordings = arguments.folder.join("recordings");
    for (name, spec) in takes() {
        let bytes = wav(&spec.make().samples, spec.sample_rate_hz as u32, Bits::B16)?;
        save(&recordings.join(format!("{name}.wav")), &bytes, arguments.force)?;
    }
    save(&arguments.folder.join("bench.toml"), BENCH_FILE.as_bytes(), arguments.force)?;
    print(
        "Simulated takes for an invented parlour guitar: a flat side blank of black walnut,\n\
         800 x 120 x 2.25 mm (its third take has mishaps on purpose: one tap too loud, one\n\
         double hit), and a rim, plain and laminated with maple, tapped at its lower bout\n\
         with nothing, 5 g and 10 g stuck on.\n\n",
    );
    let bench = Bench::from_toml(BENCH_FILE)?;
    let part = bench.parts.first().and_then(|p| p.stages.first()).map(|(_, described)| described.clone());
    let plan = Plan { part, ..Plan::default() };
    let blank = measure(&[recordings.join("left-blank")], &plan, &ReportArguments::default())?;
    print("\n");
    let whole = super::diary::write(&arguments.folder, "simulated")?;
    let truth = BLANK.constants;
    tell(&format!(
        "the truth: E {:.2} GPa along and {:.2} GPa across, G {:.3} GPa; the plain rim's mode of three waves at {:.2} Hz with a \
         modal mass of {:.1} g, the laminated one's at {:.2} Hz with {:.1} g",
        1e-9 * truth.along_pa,
        1e-9 * truth.across_pa,
        1e-9 * truth.shear_pa,
        PLAIN.frequency_hz(3),
        1e3 * PLAIN.modal_mass_kg(3),
        LAMINATED.frequency_hz(3),
        1e3 * LAMINATED.modal_mass_kg(3),
    ));
    Ok(if blank == Outcome::Done { whole } else { blank })
}
