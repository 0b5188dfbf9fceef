//! Conversions and closed forms that are written down elsewhere.

use std::f64::consts::{PI, TAU};

use realfft::num_complex::Complex64;
use ringwright::modes::{Envelope, Mode};
use ringwright::simulate::{TakeSpec, TrueMode, cramer_rao};
use ringwright::uncertainty::Figure;

/// A mode of which only frequency and damping matter.
fn mode(frequency_hz: f64, damping_ratio: f64) -> Mode {
    Mode {
        frequency: Figure::new(frequency_hz, 1e-6 * frequency_hz, "taps"),
        damping_ratio: Figure::new(damping_ratio, 1e-3 * damping_ratio, "taps"),
        level_db: 0.0,
        level_full_scale_db: -20.0,
        taps_used: 5,
        decay_seen_db: 40.0,
        reasons: vec![],
        envelope: Envelope::default(),
        per_tap: vec![],
    }
}

/// Source: ISO 10848-1:2006, 7.3.1: eta = 2.2/(f T), so 1000 Hz and 0.5 s make 0.0044.
///
/// Tolerance: the standard rounds ln(1000)/pi = 2.198807 to 2.2, which is 0.0543 % more; nothing else may differ.
#[test]
fn ring_time_is_that_of_iso_10848() {
    let it = mode(1000.0, 0.0044 / 2.0);
    assert!((it.ring_time_s().value / 0.5 - 1.0).abs() < 5.5e-4, "{}", it.ring_time_s().value);
    // With the constant that was rounded it is exact.
    let constant = it.loss_factor().value * it.frequency.value * it.ring_time_s().value;
    assert!((constant - 1000f64.ln() / PI).abs() < 1e-12, "{constant}");
    assert_eq!(format!("{constant:.1}"), "2.2");
}

/// Source: definitions, eta = 2 zeta and Q = 1/eta. Tolerance: rounding of f64.
#[test]
fn loss_factor_and_quality_follow_their_definitions() {
    for (damping_ratio, loss_factor, q) in [(0.005, 0.01, 100.0), (0.0125, 0.025, 40.0), (0.05, 0.1, 10.0)] {
        let it = mode(300.0, damping_ratio);
        assert!((it.loss_factor().value / loss_factor - 1.0).abs() < 1e-14);
        assert!((it.q().value / q - 1.0).abs() < 1e-14);
    }
}

/// Source: definition of the half-power bandwidth. Of the mobility i w/(w0^2 - w^2 + 2 i zeta w0 w) it is 2 zeta f0
/// without approximation (the points are f0 (sqrt(1 + zeta^2) -+ zeta)); here they are sought on the curve itself.
///
/// Tolerance: bisection of f64 leaves 1e-16 of the frequency, and the bandwidth is no less than 1e-3 of it.
#[test]
fn half_power_bandwidth_is_loss_factor_times_frequency() {
    for (frequency_hz, damping_ratio) in [(97.0, 0.0005), (220.0, 0.01), (1500.0, 0.05)] {
        let it = mode(frequency_hz, damping_ratio);
        let power = |f: f64| {
            let stiffness = frequency_hz.powi(2) - f * f;
            f * f / (stiffness.powi(2) + (2.0 * damping_ratio * frequency_hz * f).powi(2))
        };
        let half = 0.5 * power(frequency_hz);
        let crossing = |mut inside: f64, mut outside: f64| {
            for _ in 0..100 {
                let middle = 0.5 * (inside + outside);
                if power(middle) > half { inside = middle } else { outside = middle }
            }
            inside
        };
        let bandwidth = crossing(frequency_hz, 2.0 * frequency_hz) - crossing(frequency_hz, 0.5 * frequency_hz);
        assert!((bandwidth / (it.loss_factor().value * it.frequency.value) - 1.0).abs() < 1e-10, "{bandwidth}");
        assert!((bandwidth / (it.frequency.value / it.q().value) - 1.0).abs() < 1e-10, "{bandwidth}");
    }
}

/// Source: definition of the logarithmic decrement, delta = 2 pi zeta/sqrt(1 - zeta^2); the figures come from outside.
///
/// Tolerance: a sample as f32 is right to 2^-24 = 6e-8 of itself, a peak laid through three of them to twice that; two
/// peaks 20 periods apart make 4 x 6e-8/20 = 1.2e-8, the last figure printed 0.5e-8, the parabola (480 samples to a
/// period) less than 0.1e-8: 2e-8 in all.
#[test]
fn logarithmic_decrement_of_a_simulated_decay() {
    for (damping_ratio, expected) in [(0.005, 0.03141632), (0.01, 0.06283499), (0.02, 0.12568885)] {
        let spec = TakeSpec {
            sample_rate_hz: 96_000.0,
            modes: vec![TrueMode { frequency_hz: 200.0, damping_ratio, amplitude: 0.9, phase_rad: 0.3 }],
            taps: 1,
            spread: 0.0,
            noise_sigma: 0.0,
            ..TakeSpec::default()
        };
        let take = spec.make();
        let peaks: Vec<f64> = take.samples[take.onsets[0]..]
            .windows(3)
            .filter(|w| w[1] > 0.0 && w[1] >= w[0] && w[1] > w[2])
            .map(|w| {
                let [before, at, after] = [w[0], w[1], w[2]].map(f64::from);
                at - (after - before).powi(2) / (8.0 * (before - 2.0 * at + after))
            })
            .collect();
        let measured = (peaks[0] / peaks[20]).ln() / 20.0;
        assert!((measured - expected).abs() < 2e-8, "zeta {damping_ratio}: {measured:.9} for {expected}");
    }
}

/// Source: closed form for a long record, var(alpha) = var(omega) = 16 sigma^2 alpha^3/(A^2 fs). It follows from the
/// Fisher information A^2 fs/(2 sigma^2) (I2 - I1^2/I0), where Ik is the integral of t^k exp(-2 alpha t):
/// I0 = 1/(2 alpha), I1 = 1/(4 alpha^2), I2 = 1/(4 alpha^3).
///
/// Tolerance: the form averages over the phase, which is worth about zeta/2 = 0.5 % either way; the sum instead of an
/// integral moves it by alpha/(2 fs) = 0.08 %. 1 % holds both.
#[test]
fn least_variance_of_a_long_decay_is_that_of_the_closed_form() {
    let (frequency_hz, damping_ratio, rate_hz, sigma) = (200.0, 0.01, 8000.0, 0.05);
    let alpha: f64 = damping_ratio * TAU * frequency_hz;
    let closed = (16.0 * sigma * sigma * alpha.powi(3) / rate_hz).sqrt();
    let it = TrueMode { frequency_hz, damping_ratio, amplitude: 1.0, phase_rad: 0.0 };
    // After 2 s it has fallen by e^-25: as good as endless.
    let found = cramer_rao(&[it], &[vec![Complex64::new(1.0, 0.0)]], rate_hz, 0.0, &[2.0], &[sigma])[0];
    let (omega, alpha) = (found.0 * TAU, found.1 * TAU * frequency_hz);
    assert!((alpha / closed - 1.0).abs() < 1e-2, "alpha {alpha}");
    assert!((omega / closed - 1.0).abs() < 1e-2, "omega {omega}");
}
