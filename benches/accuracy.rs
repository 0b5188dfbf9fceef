//! Accuracy and honesty on simulated takes with known truth, family by family.
//!
//! `cargo bench --bench accuracy -- [files per family] [family name part]` prints the table that the README shows.
//! With RINGWRIGHT_TRACE set, files with a missed, false or far-off mode are listed.
//! RMSE is given over the Cramer-Rao bound; coverage is that of the 95 % interval; recall counts true modes found: of all, and of
//! those whose peak stands 20 dB over the floor around it (the room's noise and the skirts of the other modes).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
use realfft::num_complex::Complex64;
use ringwright::modes::{COVERAGE_95, EstimateOptions, Estimator};
use ringwright::simulate::{Blank, Echo, Mishap, NoiseColour, TakeSpec, TrueMode, cramer_rao};
use ringwright::sound::{Recording, find_taps};
use ringwright::stiffness::{Constants, Size};

struct Dice(ChaCha8Rng);

impl Dice {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
    fn log(&mut self, low: f64, high: f64) -> f64 {
        self.uniform(low.ln(), high.ln()).exp()
    }
}

/// Amplitude for a signal-to-noise ratio A^2/(2 sigma^2) in decibels.
fn amplitude(snr_db: f64, sigma: f64) -> f64 {
    sigma * (2.0 * 10f64.powf(snr_db / 10.0)).sqrt()
}

const SIGMA: f64 = 2e-4;

fn mode(dice: &mut Dice, frequency_hz: f64, damping: (f64, f64), snr_db: f64) -> TrueMode {
    TrueMode {
        frequency_hz,
        damping_ratio: dice.log(damping.0, damping.1),
        amplitude: amplitude(snr_db, SIGMA),
        phase_rad: dice.uniform(0.0, std::f64::consts::TAU),
    }
}

fn isolated(dice: &mut Dice, snr_db: f64) -> TakeSpec {
    let frequency = dice.log(80.0, 4000.0);
    TakeSpec { modes: vec![mode(dice, frequency, (0.003, 0.03), snr_db)], noise_sigma: SIGMA, ..TakeSpec::default() }
}

/// A family's name, the specification of its n-th file, and whether precision is judged against the bound.
type Family = (&'static str, fn(&mut Dice) -> TakeSpec);

fn strip(dice: &mut Dice, count: usize) -> Vec<TrueMode> {
    let first = dice.uniform(12.0, 40.0);
    let torsion = dice.uniform(25.0, 60.0);
    let mut modes = Vec::new();
    for n in 1..30 {
        let bending = first * ((2 * n + 1) as f64 / 3.0112).powi(2);
        let twisting = torsion * n as f64;
        for frequency in [bending, twisting] {
            if frequency > 70.0 && frequency < 2500.0 && modes.len() < count {
                let snr = dice.uniform(28.0, 50.0);
                modes.push(mode(dice, frequency, (0.004, 0.015), snr));
            }
        }
    }
    modes
}

const FAMILIES: &[Family] = &[
    ("isolated, 20 dB", |d| isolated(d, 20.0)),
    ("isolated, 40 dB", |d| isolated(d, 40.0)),
    ("isolated, 60 dB", |d| isolated(d, 60.0)),
    ("close pair, 1 to 3 bandwidths, 40 dB", |d| {
        let f = d.log(100.0, 2000.0);
        let damping = d.log(0.004, 0.02);
        let gap = 2.0 * damping * f * d.uniform(1.0, 3.0);
        let mut a = mode(d, f, (damping, damping * 1.01), 40.0);
        let mut b = mode(d, f + gap, (damping * 0.8, damping * 1.2), 40.0);
        a.amplitude *= d.log(0.5, 2.0);
        b.amplitude *= d.log(0.5, 2.0);
        TakeSpec { modes: vec![a, b], noise_sigma: SIGMA, ..TakeSpec::default() }
    }),
    ("strip, 8 modes, 28 to 50 dB", |d| TakeSpec { modes: strip(d, 8), noise_sigma: SIGMA, ..TakeSpec::default() }),
    ("hum and a whistle", |d| {
        let mut spec = isolated(d, 40.0);
        spec.steady_lines =
            vec![(50.0, 6e-3), (100.0, 3e-3), (150.0, 2e-3), (250.0, 1e-3), (d.uniform(500.0, 3000.0), 2e-3)];
        spec
    }),
    ("brown noise, 40 dB", |d| {
        let mut spec = isolated(d, 40.0);
        let density = NoiseColour::Brown.relative_density(spec.modes[0].frequency_hz).sqrt();
        spec.noise_colour = NoiseColour::Brown;
        spec.noise_sigma = SIGMA / density;
        spec
    }),
    ("contact of 1 to 4 ms, 40 dB", |d| {
        let mut spec = isolated(d, 40.0);
        spec.contact_s = d.uniform(1e-3, 4e-3);
        spec.modes[0].frequency_hz = d.log(80.0, 800.0);
        spec
    }),
    ("weak, 12 dB", |d| {
        let f = d.log(150.0, 1500.0);
        TakeSpec { modes: vec![mode(d, f, (0.003, 0.01), 12.0)], noise_sigma: SIGMA, ..TakeSpec::default() }
    }),
    ("a single tap, 40 dB", |d| TakeSpec { taps: 1, ..isolated(d, 40.0) }),
    ("one double hit among five, 40 dB", |d| {
        let mut spec = isolated(d, 40.0);
        spec.modes = strip(d, 4);
        let after_s = d.uniform(0.05, 0.15);
        spec.mishaps = vec![Mishap::DoubleHit { tap: 2, after_s, strength: d.uniform(0.3, 0.8) }];
        spec
    }),
    ("room echo, T60 0.4 s, -12 dB", |d| {
        let mut spec = isolated(d, 40.0);
        spec.echo = Some(Echo { ring_time_s: 0.4, energy_ratio: 0.06 });
        spec
    }),
    ("side blank, 20 to 40 modes", blank),
];

/// A flat side blank: every mode of the free orthotropic plate from 60 to 1200 Hz, the weakest far below the strongest ones' skirts.
fn blank(d: &mut Dice) -> TakeSpec {
    let (length_m, width_m, thickness_m) = (d.uniform(0.7, 0.9), d.uniform(0.09, 0.14), d.uniform(2.0e-3, 3.0e-3));
    let along_pa = d.uniform(9e9, 15e9);
    let blank = Blank {
        size: Size {
            length_m,
            width_m,
            thickness_m,
            mass_kg: d.uniform(450.0, 850.0) * length_m * width_m * thickness_m,
        },
        constants: Constants {
            along_pa,
            across_pa: along_pa * d.log(0.05, 0.16),
            shear_pa: along_pa * d.log(0.06, 0.13),
            poisson: d.uniform(0.3, 0.5),
        },
        damping: [d.log(0.003, 0.008), d.log(0.008, 0.015), d.log(0.005, 0.012)],
    };
    TakeSpec {
        modes: blank.sound((0.06, 0.12), (0.3, 0.35), 0.06),
        contact_s: 1.5e-3,
        interval_s: 1.3,
        after_last_s: 1.3,
        noise_colour: NoiseColour::Pink,
        noise_sigma: SIGMA,
        ..TakeSpec::default()
    }
}

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

fn run(family: &Family, seed: u64) -> Tally {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
    let mut spec = (family.1)(&mut dice);
    spec.seed = seed;
    let take = spec.make();
    let mut tally = Tally { files: 1, true_modes: spec.modes.len(), ..Tally::default() };
    let rate = spec.sample_rate_hz;
    let lengths: Vec<f64> = take
        .onsets
        .iter()
        .enumerate()
        .map(|(i, onset)| {
            let next = take.onsets.get(i + 1).copied().unwrap_or(take.samples.len());
            (next - onset) as f64 / rate
        })
        .collect();
    let sigmas: Vec<f64> = spec
        .modes
        .iter()
        .map(|m| spec.noise_sigma * spec.noise_colour.relative_density(m.frequency_hz).sqrt())
        .collect();
    let standing_out = stands_out(&spec, &take.amplitudes, &lengths, &sigmas);
    tally.standing_out = standing_out.iter().filter(|s| **s).count();
    let Ok(mut recording) = Recording::from_samples(take.samples.clone(), spec.sample_rate_hz) else { return tally };
    let Ok(found) = find_taps(&mut recording) else { return tally };
    let Ok(estimate) = Estimator::default().estimate(&mut recording, &found, &EstimateOptions::default()) else {
        return tally;
    };
    let bound = cramer_rao(&spec.modes, &take.amplitudes, rate, spec.contact_s, &lengths, &sigmas);
    let mut taken = vec![false; estimate.modes.len()];
    // The strongest first: of two that were heard as one it is the one that was heard.
    let mut truths: Vec<_> = spec.modes.iter().zip(bound).zip(standing_out).collect();
    let energy = |m: &TrueMode| m.amplitude * m.amplitude / (m.damping_ratio * m.frequency_hz);
    truths.sort_by(|a, b| energy(b.0.0).total_cmp(&energy(a.0.0)));
    for ((truth, bound), stands_out) in truths {
        let nearest = estimate.modes.iter().enumerate().filter(|(i, _)| !taken[*i]).min_by(|a, b| {
            let gap = |m: &ringwright::modes::Mode| (m.frequency_hz - truth.frequency_hz).abs();
            gap(a.1).total_cmp(&gap(b.1))
        });
        let Some((index, mode)) = nearest else { continue };
        let error = (mode.frequency_hz - truth.frequency_hz, mode.damping_ratio - truth.damping_ratio);
        if error.0.abs() > (truth.damping_ratio * truth.frequency_hz).max(8.0 * mode.frequency_hz_u) {
            continue;
        }
        taken[index] = true;
        tally.found += 1;
        tally.standing_out_found += usize::from(stands_out);
        tally.warned += usize::from(mode.reasons.iter().any(|r| r.is_doubt()));
        tally.over_bound.push((error.0 / bound.0, error.1 / bound.1));
        tally.over_stated.push((error.0 / mode.frequency_hz_u, error.1 / mode.damping_ratio_u));
    }
    tally.false_modes = taken.iter().filter(|t| !**t).count();
    if std::env::var_os("RINGWRIGHT_TRACE").is_some() {
        trace(family.0, seed, &spec, &estimate, &tally);
    }
    tally
}

/// Lists a file in which something was missed, false or far off.
fn trace(family: &str, seed: u64, spec: &TakeSpec, estimate: &ringwright::modes::Estimate, tally: &Tally) {
    let worst = tally.over_stated.iter().map(|(f, z)| f.abs().max(z.abs())).fold(0.0, f64::max);
    let far = tally.over_bound.iter().map(|(f, z)| f.abs().max(z.abs())).fold(0.0, f64::max);
    if worst < 4.0 && far < 8.0 && tally.false_modes == 0 && tally.found == tally.true_modes {
        return;
    }
    println!(
        "{family}, seed {seed}: worst {worst:.1} u, {far:.1} bounds, {} false, {} of {} found",
        tally.false_modes, tally.found, tally.true_modes
    );
    for m in &spec.modes {
        println!("   true {:12.6} {:.8} {:6.1} dB", m.frequency_hz, m.damping_ratio, 20.0 * m.amplitude.log10());
    }
    for m in &estimate.modes {
        println!(
            "   got  {:12.6} {:.8} {:6.1} dB u {:.3e} {:.3e} {:?}",
            m.frequency_hz, m.damping_ratio, m.level_full_scale_db, m.frequency_hz_u, m.damping_ratio_u, m.reasons
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

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let files: u64 = arguments.first().and_then(|a| a.parse().ok()).unwrap_or(300);
    let only = arguments.get(1).cloned().unwrap_or_default();
    println!("{files} files a family; RMSE over the Cramer-Rao bound, bias over RMSE, coverage of the 95 % interval");
    println!(
        "{:38} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7} {:>6} {:>6}",
        "family", "f", "zeta", "bias f", "bias z", "cover f", "cover z", "recall", "of all", "false", "warned"
    );
    for (index, family) in FAMILIES.iter().enumerate().filter(|(_, f)| f.0.contains(&only)) {
        let tally = (0..files)
            .into_par_iter()
            .map(|n| run(family, 1 + n + 1_000_000 * index as u64))
            .reduce(Tally::default, add);
        let (f, z) = (rms(tally.over_bound.iter().map(|e| e.0)), rms(tally.over_bound.iter().map(|e| e.1)));
        let count = tally.over_bound.len().max(1) as f64;
        let bias =
            |pick: fn(&(f64, f64)) -> f64, rms: f64| tally.over_bound.iter().map(pick).sum::<f64>() / count / rms;
        let cover = |pick: fn(&(f64, f64)) -> f64| {
            100.0 * tally.over_stated.iter().filter(|e| pick(e).abs() <= COVERAGE_95).count() as f64 / count
        };
        println!(
            "{:38} {:7.3} {:7.3} {:7.3} {:7.3} {:6.1}% {:6.1}% {:6.1}% {:6.1}% {:6} {:6}",
            family.0,
            f,
            z,
            bias(|e| e.0, f),
            bias(|e| e.1, z),
            cover(|e| e.0),
            cover(|e| e.1),
            100.0 * tally.standing_out_found as f64 / tally.standing_out.max(1) as f64,
            100.0 * tally.found as f64 / tally.true_modes.max(1) as f64,
            tally.false_modes,
            tally.warned
        );
    }
}
