//! The families of simulated takes: what sounds in them, drawn anew for every file.

use super::dice::Dice;
use ringwright::simulate::{Blank, Echo, Mishap, NoiseColour, TakeSpec, TrueMode};
use ringwright::stiffness::{Constants, Size};

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
pub type Family = (&'static str, fn(&mut Dice) -> TakeSpec);

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

pub const FAMILIES: &[Family] = &[
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
