//! Mobilities of ideal structures, to see where a part lies between a limp strip and a rigid wall.
//!
//! Sources: Cremer and Heckl, Structure-borne sound (beams and plates; constants from memory, each solved again apart from
//! this code); the free edge as thin-plate theory gives it (0.462/sqrt(B m'') at nu 0.3), not the often quoted 1/3.5.

use std::f64::consts::{PI, TAU};

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

/// Mobility at the free end of a half-infinite beam: four times that in the middle of an infinite one.
pub fn end_of_beam(bending_stiffness: f64, mass_per_length: f64, frequency_hz: f64) -> Complex64 {
    4.0 * infinite_beam(bending_stiffness, mass_per_length, frequency_hz)
}

/// Mobility of an infinite isotropic plate: 1/(8 sqrt(B m'')). B in N m, m'' in kg/m2.
pub fn infinite_plate(bending_stiffness: f64, mass_per_area: f64) -> f64 {
    1.0 / (8.0 * (bending_stiffness * mass_per_area).sqrt())
}

/// Mobility of an infinite orthotropic plate: the mean over all directions of 1/(8 sqrt(m'' D(direction))).
///
/// `stiffnesses`: D_x, D_y, D_1, D_k (N m).
pub fn orthotropic_plate(stiffnesses: &[f64; 4], mass_per_area: f64) -> f64 {
    let [d_x, d_y, d_1, d_k] = *stiffnesses;
    const STEPS: usize = 720;
    let sum: f64 = (0..STEPS)
        .map(|i| {
            let (s, c) = (2.0 * PI * (i as f64 + 0.5) / STEPS as f64).sin_cos();
            (d_x * c.powi(4) + 2.0 * (d_1 + 2.0 * d_k) * c * c * s * s + d_y * s.powi(4)).powf(-0.5)
        })
        .sum::<f64>()
        / STEPS as f64;
    sum / (8.0 * mass_per_area.sqrt())
}

/// Real part of the mobility at the free edge of a half-infinite isotropic plate of Poisson's ratio 0.3: 0.462/sqrt(B m'').
pub fn edge_of_plate(bending_stiffness: f64, mass_per_area: f64) -> f64 {
    0.46198 / (bending_stiffness * mass_per_area).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Project reference: strip m' 0.190512 kg/m, EI 1.4352188 N m2 at 500 Hz: 0.01413168(1 - j), at its end 0.05652672(1 - j);
    /// plate B 13.143029 N m, m'' 1.5876 kg/m2: 0.02736477. Spruce E 11.5 GPa, rho 400, nu 0.3, 8 mm: 3.01e-3 s/kg (read in a
    /// published paper's transcription).
    #[test]
    fn ideal_structures_agree_with_the_reference() {
        let close = |a: f64, b: f64, by: f64| assert!((a / b - 1.0).abs() < by, "{a} {b}");
        let middle = infinite_beam(1.4352188, 0.190512, 500.0);
        close(middle.re, 0.01413168, 1e-6);
        close(-middle.im, 0.01413168, 1e-6);
        close(end_of_beam(1.4352188, 0.190512, 500.0).re, 0.05652672, 1e-6);
        close(infinite_plate(13.143029, 1.5876), 0.02736477, 1e-6);
        close(infinite_plate(11.5e9 * 0.008f64.powi(3) / (12.0 * 0.91), 400.0 * 0.008), 3.01e-3, 2e-3);
        close(orthotropic_plate(&[10.0, 10.0, 3.0, 3.5], 2.0), infinite_plate(10.0, 2.0), 1e-9);
        close(edge_of_plate(13.143029, 1.5876) / infinite_plate(13.143029, 1.5876), 3.70, 2e-3);
    }
}
