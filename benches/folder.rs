//! A whole folder's diary: on one core and on all, again with everything known, and its peak memory (Linux).
//!
//! `cargo bench --bench folder -- [takes]` (200 unless said; the README's figures are for 2000).

mod goals;
mod watched;

use std::path::Path;

use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode};
use ringwright::sound::{WavSamples, wav_bytes};

/// A take of 3 s at 48 kHz: two taps of a part with five modes.
fn take(seed: u64) -> TakeSpec {
    let mode = |n: i32| TrueMode {
        frequency_hz: 110.0 * 1.4f64.powi(n),
        damping_ratio: 0.008,
        amplitude: 0.1 * 0.8f64.powi(n),
        phase_rad: f64::from(n),
    };
    TakeSpec {
        modes: (0..5).map(mode).collect(),
        taps: 2,
        seed,
        first_tap_s: 0.6,
        interval_s: 1.2,
        after_last_s: 1.2,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 3e-4,
        contact_s: 1e-3,
        ..TakeSpec::default()
    }
}

fn write(path: &Path, samples: &[f32]) {
    let bytes = wav_bytes(samples, 1, 48_000, WavSamples::Integer(16)).expect("a WAV file");
    std::fs::write(path, bytes).expect("a temporary file can be written");
}

fn run(folder: &Path, cores: usize) -> (f64, u64) {
    watched::run(&["diary".as_ref(), "--quiet".as_ref(), folder.as_os_str()], cores)
}

fn main() {
    let takes: usize = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(200);
    let cores = watched::cores();
    let sounds: Vec<Vec<f32>> = (0..20).map(|seed| take(seed + 1).make().samples).collect();
    println!(
        "{:>6} {:>12} {:>12} {:>7} {:>10} {:>8} {:>10}",
        "takes",
        "1 core, s",
        format!("{cores} cores, s"),
        "ratio",
        "again, s",
        "share",
        "peak, MB"
    );
    let mut last = None;
    // Ten times as many each time, up to what was asked for.
    for takes in (0..5).rev().map(|power| takes / 10usize.pow(power)).filter(|takes| *takes >= 10) {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        for n in 0..takes {
            let inner = folder.path().join(format!("part-{}", n / 50));
            std::fs::create_dir_all(&inner).expect("it can be made");
            write(&inner.join(format!("take-{n}.wav")), &sounds[n % sounds.len()]);
        }
        let reports = folder.path().join("reports");
        let (one, _) = run(folder.path(), 1);
        std::fs::remove_dir_all(&reports).expect("it was written");
        let (all, peak) = run(folder.path(), cores);
        let (again, _) = run(folder.path(), cores);
        println!("{takes:>6} {one:>12.1} {all:>12.1} {:>7.2} {again:>10.2} {:>8.3} {peak:>10}", one / all, again / all);
        last = Some((takes, one / all, again / all));
    }
    if let Some((takes, ratio, share)) = last {
        let told = format!("{ratio:.2} times as fast on {cores} cores as on one; again {share:.3} of the time");
        let met = ratio > 0.9 * cores as f64 && share < 0.1;
        goals::tell(
            &format!("a folder of {takes} takes"),
            "scales with the cores (0.9 of them); known takes 0.1",
            &told,
            met,
        );
    }
}
