//! Speed as ratios within one run, on one core: against decoding the file plus one real transform of it (the floor), and
//! against the straightforward scipy pipeline in `pipeline.py`; no pictures, the least disturbed of several runs.
//!
//! `cargo bench --bench speed` prints the table; `cargo bench --bench speed -- growth 4` also measures recordings from
//! a second to so many hours, with a tap every six seconds, and prints the peak memory (Linux);
//! `cargo bench --bench speed -- again 3 50` measures the last take 50 times and nothing else, for a profiler to watch.

mod goals;
mod watched;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use realfft::RealFftPlanner;
use ringwright::modes::{EstimateOptions, Estimator};
use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode};
use ringwright::sound::{OpenOptions, Recording, WavSamples, find_taps, wav_bytes};

fn take(modes: usize, seed: u64, taps: usize) -> TakeSpec {
    let list = (0..modes)
        .map(|n| TrueMode {
            frequency_hz: 90.0 * 1.37f64.powi(n as i32),
            damping_ratio: 0.005 + 0.001 * (n % 5) as f64,
            amplitude: 0.1 * 0.8f64.powi(n as i32),
            phase_rad: n as f64,
        })
        .collect();
    TakeSpec {
        modes: list,
        taps,
        seed,
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

const RUNS: usize = 7;

/// Best of several runs (s): the least disturbed one.
fn best(runs: usize, mut work: impl FnMut()) -> f64 {
    (0..runs)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn measure(path: &Path, estimator: &mut Estimator) -> usize {
    let mut recording = Recording::open(path, &OpenOptions::default()).expect("the file was just written");
    let found = find_taps(&mut recording).expect("it is in memory");
    let estimate = estimator
        .estimate(&mut recording, &found, &EstimateOptions { with_spectrum: false, ..Default::default() })
        .expect("it is in memory");
    estimate.modes.len()
}

fn floor(path: &Path, planner: &mut RealFftPlanner<f32>) {
    let mut recording = Recording::open(path, &OpenOptions::default()).expect("the file was just written");
    let length = recording.len();
    let mut scratch = Vec::new();
    let mut samples = recording.read(0, length, &mut scratch).expect("it is in memory").to_vec();
    let plan = planner.plan_fft_forward(length);
    let mut spectrum = plan.make_output_vec();
    plan.process(&mut samples, &mut spectrum).expect("the lengths agree");
    std::hint::black_box(&spectrum);
}

/// Scipy's times (s), the best of as many runs as ours.
fn pipeline(paths: &[PathBuf]) -> Option<Vec<f64>> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/pipeline.py");
    let again = paths.iter().cycle().take(RUNS * paths.len());
    let output =
        Command::new("python3").arg(script).args(again).arg("--json").env("OPENBLAS_NUM_THREADS", "1").output().ok()?;
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).ok()?;
    let times: Option<Vec<f64>> = json["files"].as_array()?.iter().map(|f| f["seconds_analysis"].as_f64()).collect();
    let of_file = |index: usize, times: &[f64]| times.iter().skip(index).step_by(paths.len()).copied().reduce(f64::min);
    let times = times?;
    (0..paths.len()).map(|index| of_file(index, &times)).collect()
}

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let cases =
        [("1 mode, 5 taps", 1, 5), ("4 modes, 5 taps", 4, 5), ("8 modes, 5 taps", 8, 5), ("12 modes, 8 taps", 12, 8)];
    let mut paths = Vec::new();
    for (index, (_, modes, taps)) in cases.iter().enumerate() {
        let path = folder.path().join(format!("{index}.wav"));
        write(&path, &take(*modes, 7 + index as u64, *taps).make().samples);
        paths.push(path);
    }
    if again(&paths) {
        return;
    }
    let scipy = pipeline(&paths);
    println!(
        "{:20} {:>6} {:>10} {:>11} {:>10} {:>9} {:>9}",
        "take", "modes", "ours, ms", "floor, ms", "scipy, ms", "x floor", "x scipy"
    );
    let (mut estimator, mut planner) = (Estimator::default(), RealFftPlanner::new());
    let (mut over_floor, mut under_scipy) = (Vec::new(), Vec::new());
    for (index, path) in paths.iter().enumerate() {
        let mut modes = 0;
        let ours = best(RUNS, || modes = measure(path, &mut estimator));
        let least = best(RUNS, || floor(path, &mut planner));
        let theirs = scipy.as_ref().and_then(|s| s.get(index)).copied();
        over_floor.push(ours / least);
        under_scipy.extend(theirs.map(|t| t / ours));
        let or_none = |v: Option<f64>, digits: usize| v.map_or("no scipy".into(), |v| format!("{v:.digits$}"));
        println!(
            "{:20} {modes:>6} {:>10.2} {:>11.2} {:>10} {:>9.1} {:>9}",
            cases[index].0,
            1e3 * ours,
            1e3 * least,
            or_none(theirs.map(|t| 1e3 * t), 1),
            ours / least,
            or_none(theirs.map(|t| t / ours), 1),
        );
    }
    let all = |ratios: &[f64]| ratios.iter().map(|r| format!("{r:.1}")).collect::<Vec<_>>().join(", ");
    let goal = "time of a take of 1, 4, 8, 12 modes";
    let met = over_floor.iter().all(|r| *r <= 6.0);
    goals::tell(&format!("{goal}, over decoding and one FFT"), "6 at most", &all(&over_floor), met);
    for (which, of) in [("a take of 1 mode", 0..1), ("takes of 4, 8, 12 modes", 1..cases.len())] {
        let ratios = under_scipy.get(of).unwrap_or_default();
        let told = if ratios.is_empty() { "not measured: no scipy".into() } else { all(ratios) };
        let met = !ratios.is_empty() && ratios.iter().all(|r| *r >= 20.0);
        goals::tell(&format!("time of {which}, scipy's over ours"), "20 at least", &told, met);
    }
    let mut growth_to = std::env::args().skip_while(|a| a != "growth");
    if growth_to.next().is_some() {
        growth(folder.path(), growth_to.next().and_then(|a| a.parse().ok()).unwrap_or(1));
    }
}

/// Measures one take many times, if that was asked for.
fn again(paths: &[PathBuf]) -> bool {
    let arguments: Vec<String> = std::env::args().collect();
    let Some(at) = arguments.iter().position(|a| a == "again") else { return false };
    let number = |i: usize| arguments.get(at + i).and_then(|a| a.parse::<usize>().ok());
    let mut estimator = Estimator::default();
    for _ in 0..number(2).unwrap_or(1) {
        std::hint::black_box(measure(&paths[number(1).unwrap_or(0)], &mut estimator));
    }
    true
}

/// Recordings from a second to hours, a tap every six seconds: time of the whole process, and peak memory as Linux counts it.
fn growth(folder: &Path, hours: usize) {
    let samples = TakeSpec { interval_s: 6.0, after_last_s: 5.4, ..take(6, 99, 10) }.make().samples;
    let path = folder.join("long.wav");
    println!("{:>8} {:>6} {:>8} {:>13} {:>9}", "sound, s", "taps", "time, s", "ms per second", "peak, MB");
    for seconds in [1, 10, 60, 600, 3600].into_iter().chain((hours > 1).then_some(3600 * hours)) {
        let length = (seconds as f64 * samples.len() as f64 / 60.0) as usize;
        let all: Vec<f32> = samples.iter().copied().cycle().take(length).collect();
        write(&path, &all);
        drop(all);
        let (time_s, peak_mb) = watched::run(
            &["measure".as_ref(), "--format".as_ref(), "csv".as_ref(), path.as_os_str()],
            watched::cores(),
        );
        let taps = seconds.div_ceil(6);
        if seconds == 3600 {
            let told = format!("{peak_mb} MB in {time_s:.1} s");
            goals::tell("an hour of sound, peak memory", "300 MB", &told, peak_mb <= 300);
        }
        println!("{seconds:>8} {taps:>6} {time_s:>8.2} {:>13.2} {peak_mb:>9}", 1e3 * time_s / seconds as f64);
    }
}
