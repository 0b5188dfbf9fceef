//! The modes of a flat blank with free edges, as a tap near a corner makes them sound.

use super::take::TrueMode;
use crate::stiffness::{Constants, PlateMode, Size, bending_stiffnesses, free_plate_modes};

/// A rectangular blank of wood, the grain along its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blank {
    pub size: Size,
    pub constants: Constants,
    /// Damping ratios of bending along the grain, bending across it, and twist: a mode has the mean of them, weighted with
    /// its strain energy.
    pub damping: [f64; 3],
}

impl Blank {
    /// Frequency (Hz) and damping ratio of every mode in a band, and the mode.
    pub fn modes(&self, band_hz: (f64, f64)) -> Vec<(f64, f64, PlateMode)> {
        let stiffnesses = bending_stiffnesses(&self.constants, self.size.thickness_m);
        // 26 by 12 polynomials describe the 45 modes of a side blank below 1200 Hz.
        free_plate_modes(&stiffnesses, &self.size, (26, 12), 1.1 * band_hz.1)
            .into_iter()
            .filter_map(|mode| {
                let hz = mode.frequency_hz(&self.constants, &stiffnesses, self.size.thickness_m);
                let share = |p: usize| mode.slopes[p] * stiffnesses[p] / mode.omega_squared;
                let [along, across, twist] = self.damping;
                let damping = along * share(0) + across * (share(1) + share(2)) + twist * share(3);
                (hz > band_hz.0 && hz < band_hz.1).then_some((hz, damping, mode))
            })
            .collect()
    }

    /// The modes from 60 Hz to 1200 Hz, tapped at one point and heard near another (fractions of length and width). Levels
    /// fall with frequency as a soft tapper makes them; `amplitude` is that of a mode with mean shape at 0 Hz.
    pub fn sound(&self, tap: (f64, f64), heard: (f64, f64), amplitude: f64) -> Vec<TrueMode> {
        self.modes((60.0, 1200.0))
            .into_iter()
            .map(|(frequency_hz, damping_ratio, mode)| {
                let strength = mode.shape_at(tap.0, tap.1) * mode.shape_at(heard.0, heard.1);
                TrueMode {
                    frequency_hz,
                    damping_ratio,
                    amplitude: amplitude * strength.abs() * (-frequency_hz / 200.0).exp(),
                    // A velocity begins at once; its sign is that of the two shapes together.
                    phase_rad: if strength < 0.0 { std::f64::consts::PI } else { 0.0 },
                }
            })
            .collect()
    }
}
