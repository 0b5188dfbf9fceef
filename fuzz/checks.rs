//! What must hold of anything that comes from outside, however wrong it is: used by the fuzz targets and by `tests/fuzz_finds.rs`,
//! which runs over what fuzzing has found.

use std::path::Path;

use ringwright::bench::Bench;
use ringwright::modes::{EstimateOptions, Estimator};
use ringwright::part::{Dimension, PartDescription, parse_readings, parse_uncertainty};
use ringwright::report::{Detail, Document, to_text};
use ringwright::rim::Outline;
use ringwright::sound::{OpenOptions, Recording, TapSearch, find_taps};

/// Sizes as people write them: whatever is read is a number that can be computed with.
pub fn units(text: &str) {
    for dimension in [Dimension::Length, Dimension::Mass, Dimension::Temperature, Dimension::Humidity] {
        if let Ok(readings) = parse_readings(text, dimension) {
            assert!(!readings.is_empty() && readings.iter().all(|r| r.is_finite()), "{text:?} {readings:?}");
        }
        if let Ok(u) = parse_uncertainty(text, dimension) {
            assert!(u.is_finite() && u >= 0.0, "{text:?} {u}");
        }
    }
}

/// `bench.toml` and part descriptions: read or refused in words, with a line.
pub fn bench_file(text: &str) {
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
}

/// Outlines as points and as drawings: a closed curve of a guitar's size, or refused.
pub fn outlines(text: &str) {
    for outline in [Outline::from_csv(text), Outline::from_svg(text)].into_iter().flatten() {
        assert!((1.0..=4.0).contains(&outline.length_m()), "{}", outline.length_m());
        for i in 0..=20 {
            let (x, y) = outline.at(f64::from(i) / 20.0);
            assert!(x.is_finite() && y.is_finite());
        }
        for name in ["lower bout", "waist", "upper bout"] {
            assert!(outline.station(name).is_none_or(|s| (0.0..=1.0).contains(&s)));
        }
    }
}

/// Reports read back from JSON, and told as text and CSV.
pub fn documents(text: &str) {
    if let Ok(document) = serde_json::from_str::<Document>(text) {
        let told = to_text(&document, Detail::default());
        assert!(document.recordings.is_empty() || !told.is_empty());
        let again = serde_json::to_string(&document).expect("it can be written");
        serde_json::from_str::<Document>(&again).expect("what was written can be read");
    }
}

/// Any samples as a recording of at most so many, if they make one.
fn recording(bytes: &[u8], most: usize) -> Option<Recording> {
    let (head, body) = bytes.split_first_chunk::<2>()?;
    let rate_hz = f64::from(8000 + u32::from(head[0]) * 300);
    // Each byte is held for some samples, so that a short input lasts, plus a little noise of its own.
    let held = 1 + usize::from(head[1]);
    let mut state = 1u32;
    let samples: Vec<f32> = body
        .iter()
        .flat_map(|b| std::iter::repeat_n(f32::from(*b as i8) / 128.0, held))
        .take(most)
        .map(|s| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            s + (state >> 8) as f32 * 1e-12
        })
        .collect();
    Recording::from_samples(samples, rate_hz).ok()
}

/// The taps that are found in it: in order, and inside.
fn found_in(recording: &mut Recording) -> TapSearch {
    let found = find_taps(recording).expect("it is in memory");
    let length = recording.len();
    assert!(found.taps.iter().all(|t| t.onset < t.end && t.end <= length), "{:?}", found.taps);
    assert!(found.taps.windows(2).all(|w| w[0].onset < w[1].onset), "{:?}", found.taps);
    found
}

/// The tap finder on any samples.
pub fn taps(bytes: &[u8]) {
    if let Some(mut recording) = recording(bytes, 40_000) {
        found_in(&mut recording);
    }
}

/// The estimator on at most so many of any samples: figures that are numbers.
pub fn modes(bytes: &[u8], most: usize) {
    let Some(mut recording) = recording(bytes, most) else { return };
    let found = found_in(&mut recording);
    let estimate = Estimator::default().estimate(&mut recording, &found, &EstimateOptions::default());
    for m in estimate.expect("it is in memory").modes {
        let all = [m.frequency.value, m.frequency.u_95(), m.damping_ratio.value, m.damping_ratio.u_95(), m.level_db];
        assert!(all.iter().all(|v| v.is_finite()) && m.frequency.value > 0.0 && m.damping_ratio.value > 0.0, "{m:?}");
        assert!(m.frequency.u_95() > 0.0 && m.damping_ratio.u_95() > 0.0, "{m:?}");
    }
}

/// Sound files of any kind: opened as sound that holds its promises, or refused.
pub fn decoders(file: &Path) {
    if let Ok(mut recording) = Recording::open(file, &OpenOptions::default()) {
        assert!(recording.sample_rate_hz() > 0.0 && !recording.is_empty());
        let mut scratch = Vec::new();
        let most = recording.len().min(1 << 16);
        if let Ok(samples) = recording.read(0, most, &mut scratch) {
            assert!(samples.len() == most && samples.iter().all(|s| s.is_finite()));
        }
    }
}
