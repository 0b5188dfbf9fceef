//! Mobilities of ideal structures, to see where a part lies between a limp strip and a rigid wall.
//!
//! Sources: Cremer and Heckl, Structure-borne sound (beams and plates; constants from memory, each solved again apart from
//! this code); the free edge as thin-plate theory gives it (0.462/sqrt(B m'') at nu 0.3), not the often quoted 1/3.5.

use std::f64::consts::TAU;

use realfft::num_complex::Complex64;

/// Speed of bending waves on a beam (m/s): (EI w^2/m')^(1/4).
fn bending_speed(bending_stiffness: f64, mass_per_length: f64, frequency_hz: f64) -> f64 {
    (bending_stiffness * (TAU * frequency_hz).powi(2) / mass_per_length).powf(0.25)
}

/// Mobility (m/(N s)) in the middle of an infinitely long beam: (1 - j)/(4 m' c_B). EI in N m2, m' in kg/m.
pub fn infinite_beam(bending_stiffness: f64, mass_per_length: f64, frequency_hz: f64) -> Complex64 {
    Complex64::new(1.0, -1.0)
        / (4.0 * mass_per_length * bending_speed(bending_stiffness, mass_per_length, frequency_hz))
}

/// Real part of the mobility at the free edge of a half-infinite isotropic plate of Poisson's ratio 0.3: 0.462/sqrt(B m'').
pub fn edge_of_plate(bending_stiffness: f64, mass_per_area: f64) -> f64 {
    0.46198 / (bending_stiffness * mass_per_area).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Project reference: strip m' 0.190512 kg/m, EI 1.4352188 N m2 at 500 Hz: 0.01413168(1 - j); plate B 13.143029 N m,
    /// m'' 1.5876 kg/m2.
    #[test]
    fn ideal_structures_agree_with_the_reference() {
        let close = |a: f64, b: f64, by: f64| assert!((a / b - 1.0).abs() < by, "{a} {b}");
        let middle = infinite_beam(1.4352188, 0.190512, 500.0);
        close(middle.re, 0.01413168, 1e-6);
        close(-middle.im, 0.01413168, 1e-6);
        // The edge's mobility is 3.70 times that in the middle of the plate, 1/(8 sqrt(B m'')) = 0.02736477 (nu 0.3).
        close(edge_of_plate(13.143029, 1.5876) / 0.02736477, 3.70, 2e-3);
    }
}
