//! Energy lost in one cycle of a free vibration.

/// Share of a mode's energy that is lost in one cycle: 1 - exp(-4 pi zeta/sqrt(1 - zeta^2)), exact for a viscous decay.
///
/// The usual short form 4 pi zeta (= 2 pi eta) is its limit for small damping and 3 % too high at zeta 0.005.
pub fn energy_lost_per_cycle(damping_ratio: f64) -> f64 {
    -(-4.0 * std::f64::consts::PI * damping_ratio / (1.0 - damping_ratio * damping_ratio).sqrt()).exp_m1()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Project reference (exact exponential): zeta 0.005, 0.01, 0.02, 0.05 lose 0.06089937, 0.11809416, 0.22227143, 0.46693153.
    #[test]
    fn agrees_with_the_reference() {
        for (zeta, lost) in [(0.005, 0.06089937), (0.01, 0.11809416), (0.02, 0.22227143), (0.05, 0.46693153)] {
            assert!((energy_lost_per_cycle(zeta) - lost).abs() < 1e-8);
        }
    }
}
