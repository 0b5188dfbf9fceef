//! The same decays in the same noise, read by `scipy.optimize.curve_fit` and by this crate.
//!
//! Source: `scipy_reference.json`, written by `scipy_reference.py` beside it; that says how the sound is made.

use std::f64::consts::TAU;
use std::path::Path;
use std::process::Command;

use ringwright::modes::Mode;
use ringwright::sound::Recording;
use serde::Deserialize;

use super::{envelope_damping, measure, skipped};

#[derive(Deserialize)]
struct Reference {
    cases: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    name: String,
    sample_rate_hz: f64,
    length: usize,
    onset: usize,
    seed: u64,
    noise_sigma: f64,
    modes: Vec<Truth>,
    noise_first: Vec<f64>,
    least_squares: LeastSquares,
    envelope: Option<Slope>,
}

#[derive(Deserialize)]
struct Truth {
    frequency_hz: f64,
    damping_ratio: f64,
    amplitude: f64,
    phase_rad: f64,
}

#[derive(Deserialize)]
struct LeastSquares {
    modes: Vec<Fitted>,
}

#[derive(Deserialize)]
struct Fitted {
    frequency_hz: f64,
    frequency_hz_se: f64,
    damping_ratio: f64,
    damping_ratio_se: f64,
}

#[derive(Deserialize)]
struct Slope {
    damping_ratio: f64,
    damping_ratio_se: f64,
}

fn reference() -> Reference {
    serde_json::from_str(include_str!("scipy_reference.json")).unwrap_or_else(|e| panic!("scipy_reference.json: {e}"))
}

impl Case {
    fn noise(&self) -> Vec<f64> {
        let mut x = self.seed;
        let mut uniform = || {
            x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (x >> 11) as f64 / (1u64 << 53) as f64
        };
        let mut numbers = Vec::with_capacity(self.length + 1);
        while numbers.len() < self.length {
            let (u1, u2) = (uniform(), uniform());
            let r = (-2.0 * u1.max(1e-300).ln()).sqrt();
            numbers.extend([r * (TAU * u2).cos(), r * (TAU * u2).sin()]);
        }
        numbers.truncate(self.length);
        numbers
    }

    fn sound(&self) -> Vec<f32> {
        let mut sound: Vec<f64> = self.noise().iter().map(|n| self.noise_sigma * n).collect();
        for m in &self.modes {
            let omega0 = TAU * m.frequency_hz;
            let turn = omega0 * (1.0 - m.damping_ratio.powi(2)).sqrt();
            for (n, s) in sound[self.onset..].iter_mut().enumerate() {
                let t = n as f64 / self.sample_rate_hz;
                *s += m.amplitude * (-m.damping_ratio * omega0 * t).exp() * (turn * t + m.phase_rad).cos();
            }
        }
        // As f32 it is off by up to 2e-8, a ten-thousandth of the noise.
        sound.iter().map(|s| *s as f32).collect()
    }

    /// What this crate finds: as many modes as there are, by frequency.
    fn measured(&self) -> Vec<Mode> {
        let mut recording =
            Recording::from_samples(self.sound(), self.sample_rate_hz).unwrap_or_else(|e| panic!("{e}"));
        let modes = measure(&mut recording).modes;
        let found: Vec<f64> = modes.iter().map(|m| m.frequency.value).collect();
        assert_eq!(found.len(), self.modes.len(), "{}: {found:?}", self.name);
        modes
    }
}

/// One figure as both see it.
struct Pair {
    what: String,
    scipy: (f64, f64),
    ours: (f64, f64),
}

impl Pair {
    /// Difference in combined standard uncertainties.
    fn distance(&self) -> f64 {
        (self.ours.0 - self.scipy.0).abs() / self.scipy.1.hypot(self.ours.1)
    }

    /// Whether it is so many combined standard uncertainties at most; a NaN is not.
    fn within(&self, limit: f64) -> bool {
        self.distance() <= limit
    }

    fn line(&self) -> String {
        format!(
            "{}: scipy {:.9} +- {:.2e}, ours {:.9} +- {:.2e}; {:.2} combined, u/se {:.2}",
            self.what,
            self.scipy.0,
            self.scipy.1,
            self.ours.0,
            self.ours.1,
            self.distance(),
            self.ours.1 / self.scipy.1
        )
    }
}

fn pairs() -> Vec<Pair> {
    let mut pairs = Vec::new();
    for case in &reference().cases {
        assert_eq!(case.least_squares.modes.len(), case.modes.len(), "{}", case.name);
        for (fitted, mode) in case.least_squares.modes.iter().zip(case.measured()) {
            let what = |name| format!("{}, {:.0} Hz, {name}", case.name, fitted.frequency_hz);
            pairs.push(Pair {
                what: what("frequency"),
                scipy: (fitted.frequency_hz, fitted.frequency_hz_se),
                ours: (mode.frequency.value, mode.frequency.u_95()),
            });
            pairs.push(Pair {
                what: what("damping"),
                scipy: (fitted.damping_ratio, fitted.damping_ratio_se),
                ours: (mode.damping_ratio.value, mode.damping_ratio.u_95()),
            });
        }
    }
    assert_eq!(pairs.len(), 26);
    pairs
}

/// `bad` as a failure that shows the whole line of each.
fn none<'a>(bad: impl Iterator<Item = &'a Pair>) {
    let lines: Vec<String> = bad.map(Pair::line).collect();
    assert!(lines.is_empty(), "\n{}", lines.join("\n"));
}

/// Tolerance 1e-12: numbers of order 1 after ln, cos and sin, whose last bits may differ between libraries.
#[test]
fn the_noise_is_the_same() {
    for case in reference().cases {
        assert!(case.noise_first.len() > 3, "{}", case.name);
        for (ours, theirs) in case.noise().iter().zip(&case.noise_first) {
            assert!((ours - theirs).abs() < 1e-12, "{}: {ours} for {theirs}", case.name);
        }
    }
}

/// Both see the same noise, and scipy sees all of the ring while we leave out its first milliseconds. Scipy's fit is
/// the best there is, so the difference is what the left-out part is worth: its variance is u^2 - se^2.
///
/// Tolerances. 3 sqrt(se^2 + u^2): would hold 99.7 % even of readings of different noise. 1 sqrt(se^2 + u^2) in 80 %:
/// with u = 1.5 se, the most that is allowed below, the difference has the deviation 1.12 se against a limit of 1.80
/// se, and 89 % lie within; some fewer since there are 26 of them only. Readings of different noise would come to 68 %.
#[test]
fn modes_agree_with_least_squares() {
    let pairs = pairs();
    pairs.iter().for_each(|p| println!("{}", p.line()));
    none(pairs.iter().filter(|p| !p.within(3.0)));
    let close = pairs.iter().filter(|p| p.within(1.0)).count();
    println!("{close} of {} within one combined standard uncertainty", pairs.len());
    assert!(10 * close >= 8 * pairs.len(), "only {close} of {}", pairs.len());
}

/// Tolerance: a factor 1.5 either way, chosen beforehand. Leaving out the first T of a ring costs exp(alpha T), 1.33
/// for the quickest decay here (188/s) and the 1.5 ms of the contact; the noise level is known to a few per cent.
#[test]
fn uncertainties_agree_with_least_squares() {
    let pairs = pairs();
    none(pairs.iter().filter(|p| !(1.0 / 1.5..=1.5).contains(&(p.ours.1 / p.scipy.1))));
}

/// Scipy's envelope is the Hilbert transform's and its line an ordinary one over other stretches: another method, so
/// the two may differ as independent readings do.
///
/// Tolerance: 3 combined standard uncertainties, 99.7 %.
#[test]
fn envelopes_agree_with_the_hilbert_envelope() {
    let mut outside = Vec::new();
    let mut compared = 0;
    for case in &reference().cases {
        let Some(slope) = &case.envelope else { continue };
        let pair = Pair {
            what: format!("{}, envelope", case.name),
            scipy: (slope.damping_ratio, slope.damping_ratio_se),
            ours: envelope_damping(&case.measured()[0]),
        };
        println!("{}", pair.line());
        compared += 1;
        if !pair.within(3.0) {
            outside.push(pair);
        }
    }
    assert!(compared > 0, "no case with a single mode");
    none(outside.iter());
}

/// The reference itself, computed again where scipy is at hand. Its tolerances are explained in the script.
#[test]
fn the_reference_can_be_computed_again() {
    let import = Command::new("python3").args(["-c", "import numpy, scipy"]).output();
    match import {
        Err(e) => return skipped(&format!("reference not computed again: python3 cannot be run ({e})")),
        Ok(o) if !o.status.success() => {
            let last = String::from_utf8_lossy(&o.stderr).lines().last().unwrap_or_default().to_owned();
            return skipped(&format!("reference not computed again: python3 has no numpy and scipy ({last})"));
        }
        Ok(_) => {}
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside");
    let run = Command::new("python3")
        .arg(folder.join("scipy_reference.py"))
        .arg("--check")
        .arg(folder.join("scipy_reference.json"))
        .output()
        .unwrap_or_else(|e| panic!("python3: {e}"));
    assert!(run.status.success(), "{}{}", String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
}
