//! A bent side or a rim as its frame model makes it sound.

use super::take::TrueMode;
use crate::rim::{Plane, Rim};

/// Modes that are looked for.
const MODES: usize = 36;

/// The modes from 40 to 1200 Hz that a tap across the side at a node makes sound, a mass (kg) stuck on there: exact by the
/// frame with that mass. Levels go with the mode's movement at the node, and fall with frequency as a soft tapper makes them.
///
/// Empty if the frame cannot be solved.
pub fn frame_sound(rim: &Rim, node: usize, added_kg: f64, damping_ratio: f64, amplitude: f64) -> Vec<TrueMode> {
    let loaded = if added_kg > 0.0 { rim.clone().with_mass(node, added_kg) } else { rim.clone() };
    let modes = loaded.modes(Plane::In, MODES).unwrap_or_default();
    modes
        .iter()
        .filter(|mode| (40.0..1200.0).contains(&mode.frequency_hz))
        .map(|mode| TrueMode {
            frequency_hz: mode.frequency_hz,
            damping_ratio,
            // A mode that all of the rim shares evenly has a shape of 1/sqrt(mass): that one has the amplitude given.
            amplitude: amplitude
                * loaded.outward_shape(mode, node).powi(2)
                * loaded.mass_kg()
                * (-mode.frequency_hz / 250.0).exp(),
            phase_rad: 0.0,
        })
        .collect()
}
