//! `bench.toml` and part descriptions: read or refused in words, with a line.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ringwright::bench::Bench;
use ringwright::part::PartDescription;

fuzz_target!(|text: &str| {
    match Bench::from_toml(text) {
        Ok(bench) => {
            for part in &bench.parts {
                assert!(!part.stages.is_empty());
                part.stages.iter().for_each(|(_, stage)| drop(stage.sizes()));
            }
        }
        Err(error) => assert!(!error.0.is_empty()),
    }
    if let Ok(part) = PartDescription::from_toml(text) {
        part.questions();
        for size in [&part.length, &part.width, &part.thickness, &part.mass].into_iter().flatten() {
            assert!(size.value.is_finite() && size.u().is_finite(), "{text:?}");
        }
    }
});
