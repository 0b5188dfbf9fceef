//! What several tests of the program share: running it, and simulated takes of a ring on disk.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use ringwright::simulate::{Ring, TakeSpec};
use ringwright::sound::{WavSamples, wav_bytes};

/// Rate of the takes (Hz).
pub const RATE: u32 = 16_000;

/// A limp rim as a ring.
#[allow(dead_code)]
pub const PLAIN: Ring =
    Ring { radius_m: 0.235, bending_stiffness_n_m2: 1.1, mass_per_length_kg_m: 0.14, damping_ratio: 0.008 };
/// Seven times as stiff, twice the mass.
#[allow(dead_code)]
pub const LAMINATED: Ring = Ring { bending_stiffness_n_m2: 7.7, mass_per_length_kg_m: 0.28, ..PLAIN };

/// Exit code, standard output and standard error of the program.
pub fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
    let output = command.current_dir(folder).stdin(Stdio::null()).args(arguments).output().expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    let (out, err) = (text(output.stdout), text(output.stderr));
    assert!(!format!("{out}{err}").contains("panicked"), "a panic\n{out}{err}");
    (output.status.code(), out, err)
}

/// Three taps at the tests' rate in a quiet room.
pub fn take() -> TakeSpec {
    TakeSpec {
        sample_rate_hz: f64::from(RATE),
        taps: 3,
        interval_s: 1.3,
        after_last_s: 1.3,
        noise_sigma: 1e-4,
        ..TakeSpec::default()
    }
}

/// Writes a take as a 32-bit float WAV file, with the folders that it needs.
pub fn write(path: &Path, spec: &TakeSpec) {
    fs::create_dir_all(path.parent().expect("a folder")).expect("it can be made");
    let bytes = wav_bytes(&spec.make().samples, 1, RATE, WavSamples::Float).expect("a WAV file");
    fs::write(path, bytes).expect("it can be written");
}

/// Writes a take of a ring.
#[allow(dead_code)]
pub fn write_ring(path: &Path, ring: &Ring, seed: u64) {
    write(path, &TakeSpec { modes: ring.sound(0.0, 0.1), seed, ..take() });
}
