//! A rim as a thin closed ring, free in the air, with a mass stuck on at the station: exact by its modes.

use std::f64::consts::TAU;

use super::take::TrueMode;

/// A uniform ring that stands for a rim of the same length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    pub radius_m: f64,
    /// EI of the side bent in its plane (N m2).
    pub bending_stiffness_n_m2: f64,
    pub mass_per_length_kg_m: f64,
    pub damping_ratio: f64,
}

const MODES: usize = 40;

impl Ring {
    pub fn mass_kg(&self) -> f64 {
        TAU * self.radius_m * self.mass_per_length_kg_m
    }

    /// Frequency (Hz) of the in-plane bending mode with n waves around (n from 2).
    ///
    /// w = n (n^2 - 1)/sqrt(n^2 + 1) sqrt(EI/(m' R^4)), thin ring without stretch (Love; Rayleigh).
    pub fn frequency_hz(&self, n: usize) -> f64 {
        let n = n as f64;
        let stiffness = (self.bending_stiffness_n_m2 / self.mass_per_length_kg_m).sqrt() / self.radius_m.powi(2);
        n * (n * n - 1.0) / (n * n + 1.0).sqrt() * stiffness / TAU
    }

    /// Modal mass (kg) at a point that moves most: m (1 + 1/n^2)/2, for the radial and the smaller tangential motion.
    pub fn modal_mass_kg(&self, n: usize) -> f64 {
        0.5 * self.mass_kg() * (1.0 + 1.0 / (n * n) as f64)
    }

    /// The modes from 50 to 1200 Hz that a radial tap at the station makes sound, with a mass stuck on there: frequency (Hz)
    /// and modal mass at the station, the mass included.
    ///
    /// Roots of 1 = w^2 dm H(w), H the receptance at the station: every mode and the rigid motion (mass m radially).
    pub fn modes_with_mass(&self, added_kg: f64) -> Vec<(f64, f64)> {
        let modes: Vec<(f64, f64)> =
            (2..MODES + 2).map(|n| ((TAU * self.frequency_hz(n)).powi(2), self.modal_mass_kg(n))).collect();
        let mut found = Vec::new();
        for (place, (own, mass)) in modes.iter().enumerate() {
            let mut root = *own;
            if added_kg > 0.0 {
                // Between the mode below and the mode's own frequency lies exactly one root.
                let equation = |squared: f64| {
                    let receptance: f64 = modes.iter().map(|(o, m)| 1.0 / (m * (o - squared))).sum::<f64>()
                        - 1.0 / (self.mass_kg() * squared);
                    1.0 - squared * added_kg * receptance
                };
                let (mut low, mut high) =
                    (if place == 0 { 1e-6 * own } else { modes[place - 1].0 * (1.0 + 1e-12) }, own * (1.0 - 1e-12));
                for _ in 0..200 {
                    let middle = 0.5 * (low + high);
                    if equation(middle) > 0.0 { low = middle } else { high = middle }
                }
                root = 0.5 * (low + high);
            }
            let hz = root.sqrt() / TAU;
            if (50.0..1200.0).contains(&hz) {
                found.push((hz, mass + added_kg));
            }
        }
        found
    }

    /// The same as sounds; levels fall with frequency as a soft tapper makes them.
    pub fn sound(&self, added_kg: f64, amplitude: f64) -> Vec<TrueMode> {
        self.modes_with_mass(added_kg)
            .into_iter()
            .map(|(frequency_hz, _)| TrueMode {
                frequency_hz,
                damping_ratio: self.damping_ratio,
                amplitude: amplitude * (-frequency_hz / 250.0).exp(),
                phase_rad: 0.0,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RING: Ring =
        Ring { radius_m: 0.2, bending_stiffness_n_m2: 1.0, mass_per_length_kg_m: 0.16, damping_ratio: 0.01 };

    /// R 0.2 m, E 12 GPa, rho 700, h 2.25 mm: 28.71176, 81.20913, 155.71141 Hz; ring R 1 m, d 0.1 m, E 200 GPa, rho 8000 (a
    /// published benchmark): 53.38, 150.99, 289.51 Hz (from memory; computed 53.38219).
    #[test]
    fn ring_modes_agree_with_published_ones() {
        let h = 2.25e-3f64;
        let thin = Ring { bending_stiffness_n_m2: 12e9 * h.powi(3) / 12.0, mass_per_length_kg_m: 700.0 * h, ..RING };
        for (n, expected) in [(2, 28.71176), (3, 81.20913), (4, 155.71141)] {
            assert!((thin.frequency_hz(n) / expected - 1.0).abs() < 1e-6);
        }
        let (area, inertia) = (std::f64::consts::PI * 0.05f64.powi(2), std::f64::consts::PI * 0.05f64.powi(4) / 4.0);
        let round = Ring {
            radius_m: 1.0,
            bending_stiffness_n_m2: 200e9 * inertia,
            mass_per_length_kg_m: 8000.0 * area,
            ..RING
        };
        for (n, expected) in [(2, 53.38), (3, 150.99), (4, 289.51)] {
            assert!((round.frequency_hz(n) / expected - 1.0).abs() < 2e-4);
        }
    }

    /// A light mass shifts a mode by dm/(2 M), nearly.
    #[test]
    fn a_light_mass_shifts_as_rayleigh_says() {
        let (bare, loaded) = (RING.modes_with_mass(0.0), RING.modes_with_mass(1e-5));
        assert!(!bare.is_empty() && bare.len() == loaded.len());
        for ((f0, mass), (f, _)) in bare.iter().zip(loaded) {
            assert!((((f0 / f).powi(2) - 1.0) * mass / 1e-5 - 1.0).abs() < 2e-3);
        }
    }
}
