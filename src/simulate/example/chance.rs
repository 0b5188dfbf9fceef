//! What differs from mode to mode, and from one holding of a part to the next: draws from a seed.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// What a part's modes lose beside a common law (relative, standard deviation).
const LOSS_SCATTER: f64 = 0.04;
/// How much more a mode at 1 kHz loses than one at 0 Hz.
const LOSS_RISE: f64 = 0.3;
/// Holding the part anew moves all frequencies alike, and all dampings alike (relative, standard deviations): what this shop
/// does, whatever the program assumes of shops.
const HELD_FREQUENCY: f64 = 5e-4;
const HELD_DAMPING: f64 = 0.03;

/// Standard normal deviates, always the same ones for a name.
pub struct Normal(ChaCha8Rng);

impl Normal {
    /// The seed is the FNV-1a hash of the name: a new take changes no other one's draw.
    pub fn of(name: &str) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed_of(name)))
    }

    pub fn draw(&mut self) -> f64 {
        let mut uniform = || ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
        // Box and Muller.
        (-2.0 * uniform().ln()).sqrt() * (TAU * uniform()).cos()
    }
}

/// A seed for a name.
pub fn seed_of(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// Damping ratios of a stage's modes from those of an even law: rising with frequency, each mode a little off.
pub fn as_in_wood(stage: &str, modes: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
    let mut normal = Normal::of(&format!("losses of {stage}"));
    modes.map(|(hz, even)| even * (1.0 + LOSS_RISE * hz / 1000.0) * (LOSS_SCATTER * normal.draw()).exp()).collect()
}

/// Factors of all frequencies and of all damping ratios in a take.
pub fn held(take: &str) -> (f64, f64) {
    let mut normal = Normal::of(&format!("holding for {take}"));
    ((HELD_FREQUENCY * normal.draw()).exp(), (HELD_DAMPING * normal.draw()).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean 0 and variance 1 of many, within four standard errors; and the same again for the same name.
    #[test]
    fn deviates_are_normal_and_repeat() {
        let mut normal = Normal::of("a name");
        let many: Vec<f64> = (0..10_000).map(|_| normal.draw()).collect();
        let mean = many.iter().sum::<f64>() / 1e4;
        let variance = many.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 1e4;
        assert!(mean.abs() < 0.04 && (variance - 1.0).abs() < 0.057, "{mean} {variance}");
        assert_eq!(held("x"), held("x"));
        assert_ne!(held("x"), held("y"));
    }
}
