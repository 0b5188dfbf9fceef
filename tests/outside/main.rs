//! Checks against what others published or computed: none of the expected values comes from this crate.

use std::io::Write;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use ringwright::modes::{Estimate, EstimateOptions, Estimator, Mode};
use ringwright::sound::{Recording, find_taps};

mod added_mass;
mod bars;
mod comparison;
mod give;
#[path = "../../benches/goals/mod.rs"]
mod goals;
mod laminate;
mod moisture;
mod odd_plates;
mod plates;
mod recordings;
mod rim_elements;
mod rims;
mod rims_built;
mod scipy;
mod standards;

/// Decibels per neper, 20/ln 10.
const DB_PER_NEPER: f64 = 20.0 / std::f64::consts::LN_10;

/// Random numbers for simulated readings; the same seed gives the same.
struct Dice(ChaCha8Rng);

impl Dice {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    /// Evenly between 0 and 1.
    fn uniform(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
    /// Normal, mean 0 and standard deviation 1 (Box and Muller).
    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().max(1e-300).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Says on the real standard error that a check was not made: `eprintln!` is swallowed with a passing test's output.
fn skipped(reason: &str) {
    // One write, on a line of its own: other tests print meanwhile.
    let _ = std::io::stderr().write_all(format!("\nSKIPPED: {reason}\n").as_bytes());
}

/// The whole way of the library, as the command goes it.
fn measure(recording: &mut Recording) -> Estimate {
    let found = find_taps(recording).unwrap_or_else(|e| panic!("taps: {e}"));
    Estimator::default()
        .estimate(recording, &found, &EstimateOptions::default())
        .unwrap_or_else(|e| panic!("modes: {e}"))
}

/// Damping ratio as the slope of a mode's envelope tells it, and its standard uncertainty.
fn envelope_damping(mode: &Mode) -> (f64, f64) {
    let turn = std::f64::consts::TAU * mode.frequency.value;
    // The slope is -alpha, and alpha = zeta omega_0.
    (-mode.envelope.slope_db_per_s / DB_PER_NEPER / turn, mode.envelope.slope_db_per_s_u / DB_PER_NEPER / turn)
}
