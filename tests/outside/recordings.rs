//! Recordings of real struck things that anyone can fetch. They are not part of this crate; without network the checks
//! are skipped, and say so.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use ringwright::listen::{Goal, Phase, Session, Settings, Step, attend};
use ringwright::modes::{Estimator, Mode};
use ringwright::sound::{OpenOptions, Recording, SoundError, find_taps};

use super::{Dice, envelope_damping, measure, skipped};

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
            m.frequency.value,
            m.frequency.u_95(),
            m.damping_ratio.value,
            m.damping_ratio.u_95(),
            m.level_db
        );
    }
    for tap in &estimate.taps {
        let at_s = tap.onset as f64 / recording.sample_rate_hz();
        let reasons: Vec<_> = tap.reasons.iter().map(|r| r.sentence()).collect();
        println!("{file}: tap at {at_s:.4} s, {:.0} dB over the noise, {reasons:?}", tap.over_noise_db);
    }
    for (frequency_hz, why) in &estimate.left_out {
        println!("{file}: {frequency_hz:.1} Hz left out: {why}");
    }
    println!("{file}: {:?}", estimate.notes);
    Some(estimate.modes)
}

/// The strongest mode between two frequencies.
fn strongest<'a>(file: &str, modes: &'a [Mode], from_hz: f64, to_hz: f64) -> &'a Mode {
    modes
        .iter()
        .filter(|m| (from_hz..to_hz).contains(&m.frequency.value))
        .max_by(|a, b| a.level_db.total_cmp(&b.level_db))
        .unwrap_or_else(|| panic!("{file}: no mode from {from_hz:.1} to {to_hz:.1} Hz"))
}

/// The fundamental is by definition the lowest mode. (It need not be the strongest at the strike: a hard mallet makes
/// the high ones louder.)
fn fundamental<'a>(file: &str, modes: &'a [Mode]) -> &'a Mode {
    modes.first().unwrap_or_else(|| panic!("{file}: no mode"))
}

/// Source: the names of the files; in equal temperament with A4 = 440 Hz C5 is 523.25 Hz and G4 392.00 Hz.
///
/// Tolerance: spans of about 1 % (20 cents) from the note upwards, set by hand and not derived: they catch a wrong mode,
/// channel or sample rate, and say nothing of precision.
#[test]
fn fundamentals_of_xylophone_bars_are_their_notes() {
    for (file, from_hz, to_hz) in [("C5.wav", 524.0, 530.0), ("G4.wav", 392.0, 397.0)] {
        let Some(modes) = bar(file) else { return };
        let first = fundamental(file, &modes).frequency.value;
        assert!((from_hz..=to_hz).contains(&first), "{file}: {first} Hz");
    }
}

/// Source: xylophone bars are hollowed until the second bending mode is at 3 times the first (HyperPhysics, "The
/// Xylophone"; textbooks of the physics of instruments, from memory). A plain bar would have 2.76.
///
/// Tolerance 1 %: 17 cents, a maker's care for an overtone; the plain bar is 8 % off.
fn second_mode_is_at_three_times_the_first(file: &str) {
    let Some(modes) = bar(file) else { return };
    let first = fundamental(file, &modes).frequency.value;
    let second = strongest(file, &modes, 2.0 * first, 4.0 * first).frequency.value;
    println!("{file}: second over first {:.4}", second / first);
    assert!((second / first / 3.0 - 1.0).abs() < 0.01, "{file}: {}", second / first);
}

#[test]
fn second_mode_of_the_c5_bar_is_at_three_times_the_first() {
    second_mode_is_at_three_times_the_first("C5.wav");
}

#[test]
fn second_mode_of_the_g4_bar_is_at_three_times_the_first() {
    second_mode_is_at_three_times_the_first("G4.wav");
}

/// Source: none outside; two readings of one decay, the fit and the line through the envelope, must tell the same.
///
/// Tolerance: 3 combined standard uncertainties or 3 %, whichever is larger: a real decay is no pure exponential, and
/// the two weigh its parts differently.
#[test]
fn two_readings_of_the_damping_of_a_xylophone_bar_agree() {
    for file in ["C5.wav", "G4.wav"] {
        let Some(modes) = bar(file) else { return };
        let first = fundamental(file, &modes);
        let (damping, u) = envelope_damping(first);
        let difference = (damping - first.damping_ratio.value).abs();
        let (fitted, fitted_u) = (first.damping_ratio.value, first.damping_ratio.u_95());
        println!("{file}: fit {fitted:.6} +- {fitted_u:.6}, envelope {damping:.6} +- {u:.6}");
        let allowed = (3.0 * u.hypot(fitted_u)).max(0.03 * fitted);
        assert!(difference <= allowed, "{file}: {difference} of {allowed} allowed");
    }
}

/// A session at the bench in which a bar is struck again and again, with a room's noise added to its one strike.
///
/// Source: none outside for what must come of it; a clean strike on a real bar is a tap, and as many must be counted as sound.
/// (The samples are ramped at their beginning: with 3 of 16 other seeds of the noise a strike is taken back as swelling.)
#[test]
fn strikes_on_real_bars_are_counted_at_the_bench() {
    for file in ["C5.wav", "G4.wav"] {
        let folder = match bars() {
            Ok(folder) => folder,
            Err(reason) => return skipped(&format!("xylophone bar {file} at the bench: {reason}")),
        };
        let mut bar =
            Recording::open(&folder.join(file), &OpenOptions::default()).unwrap_or_else(|e| panic!("{file} {e}"));
        let rate_hz = bar.sample_rate_hz();
        let mut scratch = Vec::new();
        let strike = bar.read(0, bar.len(), &mut scratch).unwrap_or_else(|e| panic!("{file} {e}")).to_vec();
        // Three strikes after the room's check, in noise 50 dB under full scale: it covers the fade at the samples' end, which
        // would rightly be taken for automatic gain.
        let pause = (3.0 * rate_hz) as usize;
        let mut sound = vec![0.0; pause + 3 * (strike.len() + pause)];
        for k in 0..3 {
            let from = pause + k * (strike.len() + pause);
            sound[from..from + strike.len()].copy_from_slice(&strike);
        }
        let mut dice = Dice::new(7);
        sound.iter_mut().for_each(|s| *s += 3e-3 * dice.normal() as f32);
        let mut session = Session::new(Settings {
            rate_hz: rate_hz as u32,
            channels: 1,
            goal: Goal { taps: 4, until: None, most_taps: 4 },
            steps: vec![Step { name: "bar".into(), change: String::new() }],
            change_s: 0.0,
            bell: true,
        });
        let mut estimator = Estimator::default();
        let mut told = Vec::new();
        for piece in sound.chunks(882) {
            session.hear(piece);
            let phase = session.view().phase.clone();
            if matches!(phase, Some(Phase::Again { .. } | Phase::Heard)) && told.last() != Some(&phase) {
                told.push(phase);
            }
            for order in session.take_orders() {
                if let Some(answer) = attend(&order, 1, rate_hz as u32, &mut estimator) {
                    session.answer(answer);
                }
            }
        }
        let view = session.view();
        assert_eq!((view.good, view.rejected), (3, 0), "{file}: {told:?} {:?}", view.stir);
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
        println!(
            "bell: {:.2} Hz, zeta {:.6} +- {:.6}",
            m.frequency.value,
            m.damping_ratio.value,
            m.damping_ratio.u_95()
        );
        assert!(
            m.frequency.value > 0.0 && m.frequency.u_95().is_finite() && m.damping_ratio.u_95().is_finite(),
            "{m:?}"
        );
    }
    // Reasons: of a tap, of a peak that is no mode, a note, or how far the loudest moment is over the noise.
    let mut reasons: Vec<String> = estimate
        .taps
        .iter()
        .flat_map(|t| &t.reasons)
        .map(|r| r.sentence())
        .chain(estimate.notes.iter().map(|n| n.sentence()))
        .collect();
    reasons.extend(estimate.left_out.iter().map(|(f, why)| format!("{f:.1} Hz: {why}")));
    if found.taps.is_empty() {
        reasons.push(format!("no tap: loudest moment {:.1} dB over the noise", found.loudest_over_noise_db));
    }
    println!("bell: {reasons:?}");
    assert!(!estimate.modes.is_empty() || !reasons.is_empty());
}
