//! Bars with free ends: the textbook's bending series and the exact shear correction, that plates and blanks are held against.

use std::f64::consts::{FRAC_PI_2, TAU};

use ringwright::stiffness::{Constants, Size, bending_stiffnesses, free_plate_modes};

/// Squares of the roots of cos x cosh x = 1; from the sixth on ((2n+1) pi/2)^2 to 1e-9 (any vibration textbook).
const FREE_BAR: [f64; 5] = [22.373285448, 61.672822868, 120.90339173, 199.85944813, 298.5555353];

/// lambda_n^2 of the n-th bending mode (n from 1) of a free-free Euler-Bernoulli bar.
pub(super) fn free_bar_root_squared(n: usize) -> f64 {
    FREE_BAR.get(n - 1).copied().unwrap_or_else(|| ((2 * n + 1) as f64 * FRAC_PI_2).powi(2))
}

/// Natural frequency (Hz) of the n-th bending mode: lambda_n^2/(2 pi L^2) sqrt(EI/m'), with EI in N m2 and m' in kg/m.
pub(super) fn free_bar_hz(n: usize, bending_stiffness: f64, mass_per_length: f64, length_m: f64) -> f64 {
    free_bar_root_squared(n) / (TAU * length_m * length_m) * (bending_stiffness / mass_per_length).sqrt()
}

/// Frequency parameter b_n = omega L^2 sqrt(m'/EI) of a free-free Timoshenko bar, rotary inertia and shear included.
///
/// `rotary` = I/(A L^2), `shear` = EI/(kappa G A L^2). Frequency equation of Huang (1961), from memory, checked against an
/// independent Ritz solution. `None` above the frequency at which shear waves begin (b^2 rotary shear = 1).
pub(super) fn timoshenko_parameter(n: usize, rotary: f64, shear: f64) -> Option<f64> {
    // Divided by cosh so that it stays finite.
    let equation = |b: f64| {
        let q = ((rotary - shear).powi(2) + 4.0 / (b * b)).sqrt();
        let alpha = ((q - rotary - shear) / 2.0).max(0.0).sqrt();
        let beta = ((q + rotary + shear) / 2.0).sqrt();
        let cosh = (b * alpha).min(700.0).cosh();
        let factor = b / (1.0 - b * b * rotary * shear).sqrt()
            * (b * b * rotary * (rotary - shear).powi(2) + 3.0 * rotary - shear);
        2.0 / cosh - 2.0 * (b * beta).cos() + factor * (b * alpha).tanh() * (b * beta).sin()
    };
    let cut_off = if rotary * shear > 0.0 { 1.0 / (rotary * shear).sqrt() } else { f64::INFINITY };
    let mut found = 0;
    // In steps of sqrt(b), over which the roots lie about pi apart.
    let mut low = 3.0f64;
    while found < n {
        let high = low + 0.05;
        if high * high >= cut_off {
            return None;
        }
        let (mut a, mut b) = (low * low, high * high);
        if equation(a) * equation(b) < 0.0 {
            found += 1;
            if found == n {
                let positive = equation(b) > 0.0;
                for _ in 0..60 {
                    let middle = 0.5 * (a + b);
                    if (equation(middle) > 0.0) == positive { b = middle } else { a = middle }
                }
                return Some(0.5 * (a + b));
            }
        }
        low = high;
    }
    None
}

/// Project reference (independent Ritz, 7 digits). Steel-like L 0.1, t 0.01, nu 0.3, kappa 5/6: r2 8.33333e-4, s2 2.6e-3;
/// wood L 0.3, t 0.02, E/G 9.009: r2 3.70370e-4, s2 4.004004e-3.
#[test]
fn timoshenko_agrees_with_an_independent_solution() {
    let cases = [
        (1.0 / 1200.0, 2.6e-3, [21.608485, 56.207824, 102.52558, 156.44094, 215.15636]),
        (1.0 / 2700.0, 4.004004e-3, [21.661522, 55.823001, 100.37694, 150.65571, 203.79796]),
    ];
    for (rotary, shear, expected) in cases {
        for (i, b) in expected.iter().enumerate() {
            let got = timoshenko_parameter(i + 1, rotary, shear).expect("below the cut-off");
            assert!((got / b - 1.0).abs() < 1e-6, "mode {}: {got} {b}", i + 1);
        }
    }
    // Without shear and rotary inertia it is the plain bar.
    let thin = timoshenko_parameter(3, 1e-12, 1e-12).expect("below the cut-off");
    assert!((thin / free_bar_root_squared(3) - 1.0).abs() < 1e-6);
}

/// E 200 GPa, rho 7850, t 5 mm, L 0.25 m: 415.07773, 1144.1777, 2243.0458, 3707.8687 Hz (project reference, from the roots).
#[test]
fn plain_bar_agrees_with_the_reference() {
    for (n, expected) in [(1, 415.07773), (2, 1144.1777), (3, 2243.0458), (4, 3707.8687)] {
        let f = free_bar_hz(n, 200e9 * 0.02 * 0.005f64.powi(3) / 12.0, 7850.0 * 0.02 * 0.005, 0.25);
        assert!((f / expected - 1.0).abs() < 1e-7);
    }
}

/// The first-order terms for rotary inertia and shear against the exact Timoshenko bar (a narrow strip).
#[test]
fn thickness_terms_agree_with_timoshenko() {
    let (length_m, thickness_m) = (0.8, 4e-3);
    let constants = Constants { along_pa: 12e9, across_pa: 1e9, shear_pa: 1.2e9, poisson: 0.0 };
    let size = Size { length_m, width_m: 0.02, thickness_m, mass_kg: 0.05 };
    let stiffnesses = bending_stiffnesses(&constants, thickness_m);
    let modes = free_plate_modes(&stiffnesses, &size, (24, 4), 2000.0);
    let rotary = (thickness_m / length_m).powi(2) / 12.0;
    for n in [1, 4, 8, 12] {
        let mode = modes.iter().find(|m| m.across_width == 0 && m.across_length == n + 1).expect("in the band");
        let (r, s) = mode.thickness_terms(&constants, &stiffnesses, thickness_m);
        let exact = timoshenko_parameter(n, rotary, rotary * 10.0 / (5.0 / 6.0)).expect("a root");
        let ratio = exact / free_bar_root_squared(n);
        let got = (1.0 + r + s).powf(-0.5);
        // First order: right to a sixteenth of the correction itself.
        assert!((got - ratio).abs() < 0.06 * (1.0 - ratio) + 1e-5, "{n}: {got} {ratio}");
    }
}

/// A bar as the standards for the dynamic modulus treat it (ASTM E1876, EN 843-2): E = 0.9465 (m f^2/b)(L/t)^3 T1, with
/// T1 = 1 + 6.585 (1 + 0.0752 nu + 0.8109 nu^2) x - 0.868 x^2 - 8.340 (1 + 0.2023 nu + 2.173 nu^2) x^2/(1 + 6.338 (1 + 0.1408 nu
/// + 1.536 nu^2) x), x = (t/L)^2 (read in public programs that quote the standard).
fn standard_modulus(size: &Size, nu: f64, f: f64) -> f64 {
    let x = (size.thickness_m / size.length_m).powi(2);
    let t1 = 1.0 + 6.585 * (1.0 + 0.0752 * nu + 0.8109 * nu * nu) * x
        - 0.868 * x * x
        - 8.340 * (1.0 + 0.2023 * nu + 2.173 * nu * nu) * x * x
            / (1.0 + 6.338 * (1.0 + 0.1408 * nu + 1.536 * nu * nu) * x);
    0.9465 * size.mass_kg * f * f / size.width_m * (size.length_m / size.thickness_m).powi(3) * t1
}

/// Free bars of E 200 GPa and 7850 kg/m3 as bodies of three dimensions (length, width, thickness in m, nu, first bending in Hz;
/// project reference: Ritz's method with Legendre polynomials of degree 15 by 7 by 7), and what the standard's formula makes of
/// them (GPa).
const BODIES: [([f64; 3], f64, f64, f64); 4] = [
    ([0.12, 0.02, 0.004], 0.0, 1436.008, 200.018),
    ([0.1, 0.02, 0.005], 0.0, 2573.221, 200.019),
    ([0.12, 0.02, 0.004], 0.3, 1437.165, 200.479),
    ([0.1, 0.02, 0.005], 0.3, 2574.881, 200.585),
];

/// The plate's first bending is that of the body, also where the bar is so wide that the standard's formula is 0.3 % off in E;
/// and the formula, fed with the plate's tone, gives what it gives for the body.
///
/// Tolerance: 3e-4 of the frequency, a tenth of what shear takes of the thickest of these (first order only).
#[test]
fn a_bar_agrees_with_the_body_and_with_the_standard() {
    for ([length_m, width_m, thickness_m], nu, exact, by_standard) in BODIES {
        let size = Size { length_m, width_m, thickness_m, mass_kg: 7850.0 * length_m * width_m * thickness_m };
        let constants = Constants { along_pa: 200e9, across_pa: 200e9, shear_pa: 100e9 / (1.0 + nu), poisson: nu };
        let stiffnesses = bending_stiffnesses(&constants, thickness_m);
        let modes = free_plate_modes(&stiffnesses, &size, (14, 10), 2.0 * exact);
        let first = modes.iter().find(|m| (m.across_length, m.across_width) == (2, 0)).expect("the first bending");
        let got = first.frequency_hz(&constants, &stiffnesses, thickness_m);
        println!("nu {nu}, {thickness_m} m: {got:.3} Hz, the body {exact} Hz, {:+.2e}", got / exact - 1.0);
        assert!((got / exact - 1.0).abs() < 3e-4, "{got} {exact}");
        assert!((1e-9 * standard_modulus(&size, nu, exact) / by_standard - 1.0).abs() < 1e-5);
        assert!((1e-9 * standard_modulus(&size, nu, got) / by_standard - 1.0).abs() < 7e-4);
    }
}
