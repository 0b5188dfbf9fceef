//! The modes of a thin strip of wood with free edges, for a simulated flat side blank.

use super::take::TrueMode;

/// A rectangular strip, the grain along its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strip {
    pub length_m: f64,
    pub width_m: f64,
    pub thickness_m: f64,
    pub density_kg_m3: f64,
    /// Young's modulus along the grain, shear modulus in the plane (Pa).
    pub modulus_pa: f64,
    pub shear_modulus_pa: f64,
}

/// Squares of the roots of cos x cosh x = 1 for a free-free bar; from the sixth on ((2n+1) pi/2)^2 to 1e-9.
const FREE_BAR: [f64; 5] = [22.373285448, 61.672822868, 120.90339173, 199.85944813, 298.5555353];

impl Strip {
    /// Natural frequency (Hz) of the n-th bending mode along the length (n from 1).
    ///
    /// f = lambda^2/(2 pi L^2) sqrt(E t^2/(12 rho)); thin, narrow and free. Source: Euler-Bernoulli bar, roots as above.
    pub fn bending_hz(&self, n: usize) -> f64 {
        let root_squared =
            FREE_BAR.get(n - 1).copied().unwrap_or_else(|| ((2 * n + 1) as f64 * std::f64::consts::FRAC_PI_2).powi(2));
        let stiffness = self.modulus_pa * self.thickness_m.powi(2) / (12.0 * self.density_kg_m3);
        root_squared / (std::f64::consts::TAU * self.length_m.powi(2)) * stiffness.sqrt()
    }

    /// Natural frequency (Hz) of the n-th torsion mode of a thin strip (n from 1).
    ///
    /// f = n/(2 L) (2 t/b) sqrt(G/rho); thin-strip torsion (Saint-Venant), edges free.
    pub fn torsion_hz(&self, n: usize) -> f64 {
        n as f64 / (2.0 * self.length_m)
            * (2.0 * self.thickness_m / self.width_m)
            * (self.shear_modulus_pa / self.density_kg_m3).sqrt()
    }

    /// The modes from 60 Hz to 1200 Hz as a tap near one corner excites them: bending with damping ratio
    /// `along`, torsion with `twist`. Levels fall with frequency as a soft tapper makes them.
    pub fn modes(&self, along: f64, twist: f64, amplitude: f64) -> Vec<TrueMode> {
        let audible = 60.0..1200.0;
        let series = |frequency: &dyn Fn(usize) -> f64, damping: f64, share: f64| -> Vec<TrueMode> {
            (1..40)
                .map(|n| (n, frequency(n)))
                .filter(|(_, f)| audible.contains(f))
                .map(|(n, frequency_hz)| TrueMode {
                    frequency_hz,
                    // Shear makes the loss grow slowly with frequency.
                    damping_ratio: damping * (1.0 + frequency_hz / 4000.0),
                    amplitude: amplitude * share * (-frequency_hz / 180.0).exp() * (1.0 + 0.3 * (n as f64).sin()),
                    phase_rad: 0.7 * n as f64,
                })
                .collect()
        };
        let mut modes = series(&|n| self.bending_hz(n), along, 1.0);
        modes.extend(series(&|n| self.torsion_hz(n), twist, 0.4));
        modes.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
        modes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// E 12e9, rho 650, t 2.25 mm, L 0.8 m: 15.527294, 42.801582, 83.908215, 138.70454 Hz (project reference values,
    /// computed independently from the roots to 25 digits).
    #[test]
    fn bending_series_agrees_with_the_reference() {
        let strip = Strip {
            length_m: 0.8,
            width_m: 0.12,
            thickness_m: 2.25e-3,
            density_kg_m3: 650.0,
            modulus_pa: 12e9,
            shear_modulus_pa: 1e9,
        };
        for (n, expected) in [(1, 15.527294), (2, 42.801582), (3, 83.908215), (4, 138.70454)] {
            assert!((strip.bending_hz(n) / expected - 1.0).abs() < 1e-7, "{n}");
        }
    }

    /// Walnut 800 x 120 x 2.25 mm, G 0.986 GPa, rho 616: thin-strip torsion 29.6524 Hz (project reference table).
    #[test]
    fn torsion_agrees_with_the_reference() {
        let strip = Strip {
            length_m: 0.8,
            width_m: 0.12,
            thickness_m: 2.25e-3,
            density_kg_m3: 616.0,
            modulus_pa: 11.6e9,
            shear_modulus_pa: 0.986e9,
        };
        assert!((strip.torsion_hz(1) / 29.6524 - 1.0).abs() < 1e-5);
    }
}
