//! The takes of the demonstration.

use super::chance::{as_in_wood, held, seed_of};
use super::solids::SolidMode;
use super::stages::{ExampleStage, example_stages};
use super::woods::{ExampleBlank, example_blanks};
use crate::simulate::noise::NoiseColour;
use crate::simulate::take::{Mishap, TakeSpec, TrueMode};

/// A take of the demonstration: its place in `recordings/`, without an ending, and what it is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct ExampleTake {
    pub name: String,
    /// Stuck on (g).
    pub added_g: f64,
    /// Factors of frequency and damping from holding the part this time.
    pub held: (f64, f64),
    pub spec: TakeSpec,
}

/// A phone's recording, as phones keep them: AAC, which this program cannot write. `scripts/phone-take` makes it of
/// [`phone_take`].
pub const PHONE_TAKE: (&str, &[u8]) =
    ("left-blank/flat/corner/take-03-mishaps.m4a", include_bytes!("../../../assets/take-03-mishaps.m4a"));
const PHONE_NAME: &str = "left-blank/flat/corner/take-03-mishaps";

const RATE_HZ: f64 = 24_000.0;
/// Takes of each spot, with every mass.
const TAKES: usize = 2;

fn spec(name: &str, modes: &[(TrueMode, f64)]) -> (TakeSpec, (f64, f64)) {
    let held = held(name);
    let modes = modes.iter().map(|(mode, damping_ratio)| TrueMode {
        frequency_hz: mode.frequency_hz * held.0,
        damping_ratio: damping_ratio * held.1,
        ..*mode
    });
    let spec = TakeSpec {
        sample_rate_hz: RATE_HZ,
        modes: modes.collect(),
        taps: 4,
        first_tap_s: 0.5,
        contact_s: 1.5e-3,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 2e-4,
        steady_lines: vec![(50.0, 1e-3), (100.0, 5e-4), (150.0, 3e-4)],
        seed: seed_of(name),
        ..TakeSpec::default()
    };
    (spec, held)
}

fn take(name: String, added_g: f64, modes: &[(TrueMode, f64)]) -> ExampleTake {
    let (spec, held) = spec(&name, modes);
    ExampleTake { name, added_g, held, spec }
}

/// A blank's modes as they sound near a corner, each with its damping ratio in the mean over holdings.
pub fn blank_modes(example: &ExampleBlank) -> Vec<(TrueMode, f64)> {
    let modes = example.blank.sound((0.06, 0.12), (0.3, 0.35), 0.06);
    let even = modes.iter().map(|m| (m.frequency_hz, m.damping_ratio));
    let damping = as_in_wood(example.part, even);
    modes.into_iter().zip(damping).collect()
}

/// What a tap across the side makes sound at a spot with a mass (g) on.
pub fn spot_modes(stage: &ExampleStage, station: &str, added_g: f64) -> Vec<(TrueMode, f64)> {
    let mass_kg = stage.solid.mass_kg;
    let sounding = |(mode, damping_ratio): (SolidMode, f64)| {
        // A mode that all of the rim shares evenly has a shape of 1/sqrt(mass): that one has the amplitude given. Levels fall
        // with frequency as a soft tapper makes them.
        let strength = mode.outwards.powi(2) * mass_kg;
        let amplitude = 0.05 * strength * (-mode.frequency_hz / 250.0).exp();
        (TrueMode { frequency_hz: mode.frequency_hz, damping_ratio, amplitude, phase_rad: 0.0 }, damping_ratio)
    };
    stage.modes(station, 1e-3 * added_g).into_iter().map(sounding).collect()
}

/// The phone's take: one tap too loud, one double hit.
pub fn phone_take() -> ExampleTake {
    let mut phone = take(PHONE_NAME.to_owned(), 0.0, &blank_modes(&example_blanks()[0]));
    phone.spec.taps = 6;
    phone.spec.clip_at = 0.9;
    phone.spec.mishaps =
        vec![Mishap::TooLoud { tap: 1, times: 20.0 }, Mishap::DoubleHit { tap: 3, after_s: 0.09, strength: 0.6 }];
    phone
}

/// The takes of the demonstration, without the phone's.
pub fn example_takes() -> Vec<ExampleTake> {
    let mut all = Vec::new();
    for blank in example_blanks() {
        let modes = blank_modes(&blank);
        let name = |number: usize| format!("{}/flat/corner/take-{number:02}", blank.part);
        all.extend((1..=TAKES).map(|number| take(name(number), 0.0, &modes)));
    }
    for stage in example_stages() {
        for (station, masses_g) in &stage.stations {
            for added_g in [0.0].iter().chain(*masses_g) {
                let added = if *added_g > 0.0 { format!("+{added_g}g") } else { String::new() };
                let modes = spot_modes(&stage, station, *added_g);
                let name = |number| format!("{}/{}/{station}{added}/take-{number:02}", stage.part, stage.stage);
                all.extend((1..=TAKES).map(|number| take(name(number), *added_g, &modes)));
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::super::bench_text::example_bench;
    use super::*;
    use crate::bench::Bench;

    #[test]
    fn the_example_fits_its_own_bench() {
        let bench = Bench::from_toml(&example_bench()).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(example_stages().len(), 7);
        let takes = example_takes();
        assert_eq!(takes.len(), 46);
        for take in takes.iter().chain([&phone_take()]) {
            let names: Vec<&str> = take.name.split('/').collect();
            assert!(bench.stage(names[0], names[1]).is_some(), "{}", take.name);
            assert!(take.spec.modes.len() > 4, "{}: {} modes", take.name, take.spec.modes.len());
        }
        // With a mass stuck on no mode rises, and some sink.
        let stage = &example_stages()[0];
        let with = |grams: f64| spot_modes(stage, stage.stations[0].0, grams);
        let (bare, loaded) = (with(0.0), with(3.0));
        let both = || bare.iter().zip(&loaded).map(|(a, b)| b.0.frequency_hz / a.0.frequency_hz);
        assert!(both().all(|ratio| ratio <= 1.0 + 1e-9) && both().any(|ratio| ratio < 0.999));
    }
}
