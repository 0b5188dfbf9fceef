//! Numbers drawn from a seed, the same on every machine.
// Each bench uses its own part of it.
#![allow(dead_code)]

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

pub struct Dice(ChaCha8Rng);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in the logarithm.
    pub fn log(&mut self, low: f64, high: f64) -> f64 {
        self.uniform(low.ln(), high.ln()).exp()
    }

    /// Normal, mean 0 and standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform(0.0, 1.0)).ln()).sqrt();
        radius * self.uniform(0.0, std::f64::consts::TAU).cos()
    }
}
