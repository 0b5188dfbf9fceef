//! Accuracy and honesty on simulated takes with known truth, family by family.
//!
//! `cargo bench --bench accuracy -- [files per family] [family name part] [picture FILE]` prints the table that the README shows. Families
//! whose files have several modes take fewer files, down to a fifth: their modes make up for it.
//! With RINGWRIGHT_TRACE set, files with a missed, false or far-off mode are listed.
//! RMSE is given over the Cramer-Rao bound; coverage is that of the 95 % interval; recall counts true modes found: of all, and of
//! those whose peak stands 20 dB over the floor around it (the room's noise and the skirts of the other modes).
//! With a picture the usual way with scipy (`benches/pipeline.py`) is run on some of the takes as well, and shown beside ours.

mod beside;
#[path = "../dice/mod.rs"]
mod dice;
mod families;
#[path = "../goals/mod.rs"]
mod goals;
mod promises;

use rayon::prelude::*;
use realfft::num_complex::Complex64;
use ringwright::modes::{COVERAGE_95, EstimateOptions, Estimator};
use ringwright::report::{AccuracyRow, Reading, accuracy_png};
use ringwright::simulate::{Take, TakeSpec, TrueMode, cramer_rao};
use ringwright::sound::{Recording, find_taps};

use dice::Dice;
use families::{FAMILIES, Family};
use promises::Promises;

#[derive(Default)]
struct Tally {
    /// Errors over the bound, and over the stated standard uncertainty: (frequency, damping).
    over_bound: Vec<(f64, f64)>,
    over_stated: Vec<(f64, f64)>,
    true_modes: usize,
    found: usize,
    /// The same for modes that stand out of the spectrum.
    standing_out: usize,
    standing_out_found: usize,
    false_modes: usize,
    files: usize,
    warned: usize,
}

/// The error of frequency or of damping out of both.
type Pick = fn(&(f64, f64)) -> f64;

/// Power ratio of 20 dB.
const STANDS_OUT: f64 = 100.0;

/// Whether each true mode's peak in the mean spectrum of the taps stands 20 dB over the floor at its frequency.
///
/// A decay A exp(-a t) that is heard for T seconds has the spectrum A/2 (1 - exp(-(a + i dw) T))/(a + i dw).
fn stands_out(spec: &TakeSpec, amplitudes: &[Vec<Complex64>], lengths_s: &[f64], sigmas: &[f64]) -> Vec<bool> {
    let power = |of: usize, at_rad_s: f64| -> f64 {
        let mode = &spec.modes[of];
        let rates = Complex64::new(-mode.decay_rate(), mode.damped_angular_frequency() - at_rad_s);
        let each = amplitudes.iter().zip(lengths_s).map(|(tap, length_s)| {
            (tap[of] * 0.5 * (1.0 - (rates * length_s).exp()) / rates * spec.sample_rate_hz).norm_sqr()
        });
        each.sum()
    };
    (0..spec.modes.len())
        .map(|own| {
            let at = spec.modes[own].damped_angular_frequency();
            let skirts: f64 = (0..spec.modes.len()).filter(|other| *other != own).map(|other| power(other, at)).sum();
            let samples: f64 = lengths_s.iter().map(|s| s * spec.sample_rate_hz).sum();
            power(own, at) > STANDS_OUT * (skirts + samples * sigmas[own] * sigmas[own])
        })
        .collect()
}

/// One simulated take, and what is to be expected of it.
struct Case {
    spec: TakeSpec,
    take: Take,
    /// Least standard deviations of (frequency, damping) of each mode.
    bound: Vec<(f64, f64)>,
    standing_out: Vec<bool>,
}

impl Case {
    fn new(family: &Family, seed: u64) -> Self {
        let mut spec = (family.1)(&mut Dice::new(seed));
        spec.seed = seed;
        let take = spec.make();
        let rate = spec.sample_rate_hz;
        let ends = take.onsets.iter().skip(1).copied().chain([take.samples.len()]);
        let lengths: Vec<f64> = take.onsets.iter().zip(ends).map(|(onset, end)| (end - onset) as f64 / rate).collect();
        let sigma = |m: &TrueMode| spec.noise_sigma * spec.noise_colour.relative_density(m.frequency_hz).sqrt();
        let sigmas: Vec<f64> = spec.modes.iter().map(sigma).collect();
        let standing_out = stands_out(&spec, &take.amplitudes, &lengths, &sigmas);
        let bound = cramer_rao(&spec.modes, &take.amplitudes, rate, spec.contact_s, &lengths, &sigmas);
        Self { spec, take, bound, standing_out }
    }

    /// Pairs of a true mode and the measured one (frequency and its uncertainty, Hz) that is nearest, if it is near enough. The
    /// strongest choose first: of two that were heard as one it is the one that was heard.
    fn pairs(&self, measured: &[(f64, f64)]) -> Vec<(usize, usize)> {
        let energy = |m: &TrueMode| m.amplitude * m.amplitude / (m.damping_ratio * m.frequency_hz);
        let mut truths: Vec<usize> = (0..self.spec.modes.len()).collect();
        truths.sort_by(|a, b| energy(&self.spec.modes[*b]).total_cmp(&energy(&self.spec.modes[*a])));
        let mut free: Vec<usize> = (0..measured.len()).collect();
        let mut pairs = Vec::new();
        for truth in truths {
            let mode = &self.spec.modes[truth];
            let gap = |got: &usize| (measured[*got].0 - mode.frequency_hz).abs();
            let nearest = free.iter().copied().min_by(|a, b| gap(a).total_cmp(&gap(b)));
            if let Some(got) = nearest
                && gap(&got) <= (mode.damping_ratio * mode.frequency_hz).max(8.0 * measured[got].1)
            {
                free.retain(|i| *i != got);
                pairs.push((truth, got));
            }
        }
        pairs
    }

    /// Errors of a measured (frequency, damping) over the bound.
    fn over_bound(&self, truth: usize, got: (f64, f64)) -> (f64, f64) {
        let (mode, bound) = (&self.spec.modes[truth], self.bound[truth]);
        ((got.0 - mode.frequency_hz) / bound.0, (got.1 - mode.damping_ratio) / bound.1)
    }
}

fn run(family: &Family, seed: u64) -> Tally {
    let case = Case::new(family, seed);
    let mut tally = Tally { files: 1, true_modes: case.spec.modes.len(), ..Tally::default() };
    tally.standing_out = case.standing_out.iter().filter(|s| **s).count();
    let samples = case.take.samples.clone();
    let Ok(mut recording) = Recording::from_samples(samples, case.spec.sample_rate_hz) else { return tally };
    let Ok(found) = find_taps(&mut recording) else { return tally };
    let Ok(estimate) = Estimator::default().estimate(&mut recording, &found, &EstimateOptions::default()) else {
        return tally;
    };
    let measured: Vec<(f64, f64)> = estimate.modes.iter().map(|m| (m.frequency.value, m.frequency.u_95())).collect();
    for (truth, got) in case.pairs(&measured) {
        let (mode, bound) = (&estimate.modes[got], case.bound[truth]);
        let error = case.over_bound(truth, (mode.frequency.value, mode.damping_ratio.value));
        tally.found += 1;
        tally.standing_out_found += usize::from(case.standing_out[truth]);
        tally.warned += usize::from(mode.reasons.iter().any(|r| r.is_doubt()));
        tally.over_bound.push(error);
        tally
            .over_stated
            .push((error.0 * bound.0 / mode.frequency.u_95(), error.1 * bound.1 / mode.damping_ratio.u_95()));
    }
    tally.false_modes = estimate.modes.len() - tally.found;
    if std::env::var_os("RINGWRIGHT_TRACE").is_some() {
        trace(family.0, seed, &case, &estimate, &tally);
    }
    tally
}

/// Lists a file in which something was missed, false or far off.
fn trace(family: &str, seed: u64, case: &Case, estimate: &ringwright::modes::Estimate, tally: &Tally) {
    let worst = tally.over_stated.iter().map(|(f, z)| f.abs().max(z.abs())).fold(0.0, f64::max);
    let far = tally.over_bound.iter().map(|(f, z)| f.abs().max(z.abs())).fold(0.0, f64::max);
    if worst < 4.0 && far < 8.0 && tally.false_modes == 0 && tally.found == tally.true_modes {
        return;
    }
    println!(
        "{family}, seed {seed}: worst {worst:.1} u, {far:.1} bounds, {} false, {} of {} found",
        tally.false_modes, tally.found, tally.true_modes
    );
    for (m, stands_out) in case.spec.modes.iter().zip(&case.standing_out) {
        let mark = if *stands_out { " stands out" } else { "" };
        println!("   true {:12.6} {:.8} {:6.1} dB{mark}", m.frequency_hz, m.damping_ratio, 20.0 * m.amplitude.log10());
    }
    for m in &estimate.modes {
        println!(
            "   got  {:12.6} {:.8} {:6.1} dB u {:.3e} {:.3e} {:?}",
            m.frequency.value,
            m.damping_ratio.value,
            m.level_full_scale_db,
            m.frequency.u_95(),
            m.damping_ratio.u_95(),
            m.reasons
        );
    }
    for t in &estimate.taps {
        println!("   tap at sample {} {:?}", t.onset, t.reasons);
    }
    println!("   left out {:?} {:?}", estimate.left_out, estimate.notes);
}

fn add(mut a: Tally, b: Tally) -> Tally {
    a.over_bound.extend(b.over_bound);
    a.over_stated.extend(b.over_stated);
    a.true_modes += b.true_modes;
    a.found += b.found;
    a.standing_out += b.standing_out;
    a.standing_out_found += b.standing_out_found;
    a.false_modes += b.false_modes;
    a.files += b.files;
    a.warned += b.warned;
    a
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v * v, n + 1.0));
    (sum / f64::max(count, 1.0)).sqrt()
}

impl Tally {
    fn reading(&self) -> Reading {
        Reading {
            frequency: self.over_bound.iter().map(|e| e.0).collect(),
            damping: self.over_bound.iter().map(|e| e.1).collect(),
            recall: self.standing_out_found as f64 / self.standing_out.max(1) as f64,
            false_modes: self.false_modes as f64 / self.files.max(1) as f64,
        }
    }

    /// Share (%) of the intervals that hold the truth.
    fn cover(&self, pick: Pick) -> f64 {
        let held = self.over_stated.iter().filter(|e| pick(e).abs() <= COVERAGE_95).count();
        100.0 * held as f64 / self.over_stated.len().max(1) as f64
    }
}

fn print(name: &str, tally: &Tally) {
    let (f, z) = (rms(tally.over_bound.iter().map(|e| e.0)), rms(tally.over_bound.iter().map(|e| e.1)));
    let count = tally.over_bound.len().max(1) as f64;
    let bias = |pick: Pick, rms: f64| tally.over_bound.iter().map(pick).sum::<f64>() / count / rms;
    println!(
        "{name:38} {f:7.3} {z:7.3} {:7.3} {:7.3} {:6.1}% {:6.1}% {:6.1}% {:6.1}% {:6} {:6}",
        bias(|e| e.0, f),
        bias(|e| e.1, z),
        tally.cover(|e| e.0),
        tally.cover(|e| e.1),
        100.0 * tally.standing_out_found as f64 / tally.standing_out.max(1) as f64,
        100.0 * tally.found as f64 / tally.true_modes.max(1) as f64,
        tally.false_modes,
        tally.warned
    );
}

/// A family of several modes takes so many times fewer files at most.
const MOST_FEWER: usize = 5;

fn main() {
    let mut arguments: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let picture = arguments.iter().position(|a| a == "picture").map(|at| {
        let file = arguments.get(at + 1).expect("`picture` needs the name of a file").clone();
        arguments.truncate(at);
        file
    });
    let files: u64 = arguments.first().and_then(|a| a.parse().ok()).unwrap_or(300);
    let only = arguments.get(1).cloned().unwrap_or_default();
    println!(
        "{files} files a family (fewer with several modes); RMSE over the Cramer-Rao bound, bias over RMSE, coverage of the 95 % interval"
    );
    println!(
        "{:38} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>6} {:>6}",
        "family", "f", "zeta", "bias f", "bias z", "cover f", "cover z", "recall", "of all", "false", "warned"
    );
    let (mut rows, mut promises) = (Vec::new(), Promises::default());
    for (index, family) in FAMILIES.iter().enumerate().filter(|(_, f)| f.0.contains(&only)) {
        let seed = |n: u64| 1 + n + 1_000_000 * index as u64;
        let modes = (family.1)(&mut Dice::new(seed(0))).modes.len().clamp(1, MOST_FEWER) as u64;
        let files = files.div_ceil(modes);
        let tally = (0..files).into_par_iter().map(|n| run(family, seed(n))).reduce(Tally::default, add);
        print(family.0, &tally);
        promises.add(family.0, &tally);
        if picture.is_some() {
            rows.push(AccuracyRow {
                family: family.0.to_owned(),
                ours: tally.reading(),
                usual: beside::usual_way(family, (0..files.min(beside::MOST_FILES)).map(seed)),
                coverage: (tally.cover(|e| e.0), tally.cover(|e| e.1)),
            });
        }
    }
    promises.tell();
    if let Some(file) = picture {
        let about =
            format!("up to {files} simulated takes a family ({} for the usual way)", files.min(beside::MOST_FILES));
        let png = accuracy_png(&about, &rows).expect("the picture can be drawn");
        std::fs::write(&file, png).unwrap_or_else(|e| panic!("{file} cannot be written: {e}"));
    }
}
