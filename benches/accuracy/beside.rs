//! The usual way with scipy on the same takes: `benches/pipeline.py`.

use std::path::Path;
use std::process::Command;

use ringwright::report::Reading;
use ringwright::sound::{WavSamples, wav_bytes};

use super::Case;
use super::families::Family;

/// It takes a hundred times as long: so many files show what it can do.
pub const MOST_FILES: u64 = 60;

/// What it reads of a family's takes; `None` (said once on stderr) where there is no python3 with scipy.
pub fn usual_way(family: &Family, seeds: impl Iterator<Item = u64>) -> Option<Reading> {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let cases: Vec<Case> = seeds.map(|seed| Case::new(family, seed)).collect();
    let mut paths = Vec::new();
    for (n, case) in cases.iter().enumerate() {
        let path = folder.path().join(format!("{n}.wav"));
        let bytes = wav_bytes(&case.take.samples, 1, case.spec.sample_rate_hz as u32, WavSamples::Float);
        std::fs::write(&path, bytes.expect("a WAV file")).expect("a temporary file can be written");
        paths.push(path);
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/pipeline.py");
    let output = Command::new("python3").arg(script).args(&paths).arg("--json").output();
    let json = match output {
        Ok(output) if output.status.success() => serde_json::from_slice::<serde_json::Value>(&output.stdout).ok()?,
        _ => {
            eprintln!("no python3 with scipy: the usual way is left out of {}", family.0);
            return None;
        }
    };
    let mut reading = Reading { frequency: Vec::new(), damping: Vec::new(), recall: 0.0, false_modes: 0.0 };
    let (mut standing_out, mut found) = (0u32, 0u32);
    for (case, file) in cases.iter().zip(json["files"].as_array()?) {
        let read = |mode: &serde_json::Value| Some((mode["frequency_hz"].as_f64()?, mode["damping_ratio"].as_f64()?));
        let modes: Vec<(f64, f64)> = file["modes"].as_array()?.iter().filter_map(read).collect();
        // It tells no uncertainty.
        let measured: Vec<(f64, f64)> = modes.iter().map(|m| (m.0, 0.0)).collect();
        let pairs = case.pairs(&measured);
        standing_out += case.standing_out.iter().map(|s| u32::from(*s)).sum::<u32>();
        reading.false_modes += (modes.len() - pairs.len()) as f64 / cases.len() as f64;
        for (truth, got) in pairs {
            found += u32::from(case.standing_out[truth]);
            let error = case.over_bound(truth, modes[got]);
            reading.frequency.push(error.0);
            reading.damping.push(error.1);
        }
    }
    reading.recall = f64::from(found) / f64::from(standing_out.max(1));
    Some(reading)
}
