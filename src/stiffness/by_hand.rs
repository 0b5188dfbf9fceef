//! Stiffness from readings alone: from a weight and a dial, from frequency and mass of two stages.

use crate::uncertainty::Figure;

/// Stiffness from a weight and the way it pushed the part down: k = m g/d (N/m), with standard gravity.
///
/// It is the sum of all modes' give and of the supports', so it is less than the effective stiffness of one mode.
pub fn static_stiffness(weight: &Figure, deflection: &Figure) -> Figure {
    const GRAVITY: f64 = 9.80665;
    Figure::combine(&[weight, deflection], |x| x[0] * GRAVITY / x[1])
}

/// Stiffness ratio of one part in two stages from frequency and mass alone: (f2/f1)^2 (m2/m1).
///
/// It assumes that the mode's shape, and where the mass sits along it, did not change.
pub fn stage_ratio(before: (&Figure, &Figure), after: (&Figure, &Figure)) -> Figure {
    Figure::combine(&[before.0, before.1, after.0, after.1], |x| (x[2] / x[0]).powi(2) * x[3] / x[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_and_stages_by_hand() {
        let read = |value, u: f64, source| Figure::new(value, u, source);
        let k = static_stiffness(&read(1.0, 0.01, "weight"), &read(2e-3, 4e-5, "deflection"));
        assert!((k.value - 4903.325).abs() < 1e-6 && (k.relative_u() - 5f64.sqrt() * 0.01).abs() < 1e-4);
        let (f1, f2, m2) = (read(200.0, 2.0, "f1"), read(220.0, 0.0, "f2"), read(0.12, 0.0, "m2"));
        let ratio = stage_ratio((&f1, &read(0.1, 0.0, "m1")), (&f2, &m2));
        assert!((ratio.value - 1.21 * 1.2).abs() < 1e-12 && (ratio.relative_u() - 0.02).abs() < 1e-4);
    }
}
