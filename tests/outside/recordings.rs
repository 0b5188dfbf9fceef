//! Recordings of real struck things that anyone can fetch. They are not part of this crate; without network the checks
//! are skipped, and say so.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use ringwright::modes::Mode;
use ringwright::sound::{OpenOptions, Recording, SoundError, find_taps};

use super::{envelope_damping, measure, skipped};

/// Runs a command in a folder; `Err` says why it did not work.
fn run(folder: &Path, program: &str, arguments: &[&str]) -> Result<(), String> {
    let done = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .map_err(|e| format!("{program} cannot be run ({e})"))?;
    let last = || String::from_utf8_lossy(&done.stderr).trim().lines().last().unwrap_or_default().to_owned();
    if done.status.success() { Ok(()) } else { Err(format!("{program} failed ({})", last())) }
}

/// The folder `name` of the cache, filled by `fill` if it is not there yet.
fn cached(name: &str, fill: impl Fn(&Path) -> Result<(), String>) -> Result<PathBuf, String> {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let kept = cache.join(name);
    if !kept.is_dir() {
        // Filled elsewhere and moved, so that a broken fetch leaves nothing behind.
        let fresh = tempfile::tempdir_in(cache).map_err(|e| format!("no temporary folder ({e})"))?;
        fill(fresh.path())?;
        if let Err(e) = fs::rename(fresh.path(), &kept)
            && !kept.is_dir()
        {
            return Err(format!("cannot be kept ({e})"));
        }
    }
    Ok(kept)
}

/// Wooden xylophone bars, one strike each; npm package, samples CC-BY 3.0. Its notes say that the samples were trimmed,
/// ramped at both ends, freed from noise and in part corrected in pitch.
fn bars() -> Result<PathBuf, String> {
    static BARS: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let fetch = || {
        cached("tonejs-instrument-xylophone-wav-1.1.1", |folder| {
            let pack = ["pack", "--fetch-retries=0", "--fetch-timeout=60000", "tonejs-instrument-xylophone-wav@1.1.1"];
            run(folder, "npm", &pack)?;
            run(folder, "tar", &["-xzf", "tonejs-instrument-xylophone-wav-1.1.1.tgz"])
        })
    };
    BARS.get_or_init(fetch).clone().map(|folder| folder.join("package"))
}

/// The modes of a bar; `None` (and a word on it) if it cannot be fetched.
fn bar(file: &str) -> Option<Vec<Mode>> {
    let folder = bars().map_err(|reason| skipped(&format!("xylophone bar {file}: {reason}"))).ok()?;
    let mut recording =
        Recording::open(&folder.join(file), &OpenOptions::default()).unwrap_or_else(|e| panic!("{file} {e}"));
    let estimate = measure(&mut recording);
    for m in &estimate.modes {
        let reasons: Vec<_> = m.reasons.iter().map(|r| r.code()).collect();
        println!(
            "{file}: {:.3} +- {:.3} Hz, zeta {:.6} +- {:.6}, {:.1} dB, {reasons:?}",
            m.frequency_hz, m.frequency_hz_u, m.damping_ratio, m.damping_ratio_u, m.level_db
        );
    }
    Some(estimate.modes)
}

/// The strongest mode between two frequencies.
fn strongest(modes: &[Mode], from_hz: f64, to_hz: f64) -> &Mode {
    modes
        .iter()
        .filter(|m| (from_hz..to_hz).contains(&m.frequency_hz))
        .max_by(|a, b| a.level_db.total_cmp(&b.level_db))
        .unwrap_or_else(|| panic!("no mode from {from_hz} to {to_hz} Hz"))
}

/// The fundamental: the strongest of all.
fn fundamental(modes: &[Mode]) -> &Mode {
    strongest(modes, 0.0, f64::INFINITY)
}

/// Source: the name of the note in equal temperament with A4 = 440 to 446 Hz, as such instruments are tuned: C5 523.3 to
/// 530.4 Hz, G4 392.0 to 397.3 Hz.
///
/// Tolerance: that span, as fixed before the recordings were measured here.
#[test]
fn fundamentals_of_xylophone_bars_are_their_notes() {
    for (file, from_hz, to_hz) in [("C5.wav", 524.0, 530.0), ("G4.wav", 392.0, 397.0)] {
        let Some(modes) = bar(file) else { return };
        let first = fundamental(&modes).frequency_hz;
        assert!((from_hz..=to_hz).contains(&first), "{file}: {first} Hz");
    }
}

/// Source: xylophone bars are hollowed until the second bending mode is at 3 times the first (HyperPhysics, "The
/// Xylophone"; textbooks of the physics of instruments, from memory). A plain bar would have 2.76.
///
/// Tolerance 1 %: 17 cents, a maker's care for an overtone; the plain bar is 8 % off.
#[test]
fn second_mode_of_xylophone_bars_is_at_three_times_the_first() {
    for file in ["C5.wav", "G4.wav"] {
        let Some(modes) = bar(file) else { return };
        let first = fundamental(&modes).frequency_hz;
        let second = strongest(&modes, 2.0 * first, 4.0 * first).frequency_hz;
        println!("{file}: second over first {:.4}", second / first);
        assert!((second / first / 3.0 - 1.0).abs() < 0.01, "{file}: {}", second / first);
    }
}

/// Source: none outside; two readings of one decay, the fit and the line through the envelope, must tell the same.
///
/// Tolerance: 3 combined standard uncertainties or 3 %, whichever is larger: a real decay is no pure exponential, and the
/// two weigh its parts differently.
#[test]
fn two_readings_of_the_damping_of_a_xylophone_bar_agree() {
    for file in ["C5.wav", "G4.wav"] {
        let Some(modes) = bar(file) else { return };
        let first = fundamental(&modes);
        let (damping, u) = envelope_damping(first);
        let difference = (damping - first.damping_ratio).abs();
        println!(
            "{file}: fit {:.6} +- {:.6}, envelope {damping:.6} +- {u:.6}",
            first.damping_ratio, first.damping_ratio_u
        );
        let allowed = (3.0 * u.hypot(first.damping_ratio_u)).max(0.03 * first.damping_ratio);
        assert!(difference <= allowed, "{file}: {difference} of {} allowed", allowed);
    }
}

/// The bell of a typewriter from a PyPI package: nothing is known of it, but it must give modes or a plain reason.
#[test]
fn a_bell_gives_modes_or_a_reason() {
    let fetched = cached("chimed-0.1.2", |folder| {
        let download = ["-m", "pip", "download", "--no-deps", "--retries", "0", "--timeout", "30", "chimed==0.1.2"];
        run(folder, "python3", &download)?;
        run(folder, "python3", &["-m", "zipfile", "-e", "chimed-0.1.2-py2.py3-none-any.whl", "."])
    });
    let folder = match fetched {
        Ok(folder) => folder,
        Err(reason) => return skipped(&format!("bell: {reason}")),
    };
    let path = folder.join("chimed/_data/audio/stubb-typewriter-ding.wav");
    let opened: Result<Recording, SoundError> = Recording::open(&path, &OpenOptions::default());
    let mut recording = opened.unwrap_or_else(|e| panic!("{} {e}", path.display()));
    let estimate = measure(&mut recording);
    let found = find_taps(&mut recording).unwrap_or_else(|e| panic!("taps: {e}"));
    for m in &estimate.modes {
        println!("bell: {:.2} Hz, zeta {:.6} +- {:.6}", m.frequency_hz, m.damping_ratio, m.damping_ratio_u);
        assert!(m.frequency_hz > 0.0 && m.frequency_hz_u.is_finite() && m.damping_ratio_u.is_finite(), "{m:?}");
    }
    // Reasons: of a tap, of a peak that is no mode, a note, or how far the loudest moment is over the noise.
    let mut reasons: Vec<String> =
        estimate.taps.iter().flat_map(|t| &t.reasons).map(|r| r.sentence()).chain(estimate.notes.clone()).collect();
    reasons.extend(estimate.left_out.iter().map(|(f, why)| format!("{f:.1} Hz: {why}")));
    if found.taps.is_empty() {
        reasons.push(format!("no tap: loudest moment {:.1} dB over the noise", found.loudest_over_noise_db));
    }
    println!("bell: {reasons:?}");
    assert!(!estimate.modes.is_empty() || !reasons.is_empty());
}
