//! What was tapped at a spot: the modes of each take and the mass that was stuck on.

use crate::part::HUNG_AGAIN_FREQUENCY;
use crate::uncertainty::{COVERAGE_95, Figure};

/// A mode of one take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationTone {
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
    pub damping_ratio: f64,
    pub damping_ratio_u: f64,
    pub level_db: f64,
}

/// The modes of one take and the mass that was stuck on.
#[derive(Debug, Clone, PartialEq)]
pub struct StationTake {
    pub added: Figure,
    pub tones: Vec<StationTone>,
}

/// What is known of a spot before anything is stuck on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotMotion {
    /// Whether it may slide along the part as it moves to and fro. On a rim's middle line symmetry forbids it, on the face of a flat
    /// part its stiffness in its own plane.
    pub may_slide: bool,
    /// Mass of the whole part (kg), which says how much of it moves rigidly.
    pub part_kg: Option<f64>,
}

impl Default for SpotMotion {
    /// Nothing is known.
    fn default() -> Self {
        Self { may_slide: true, part_kg: None }
    }
}

/// Masses that differ by less than this share are one and the same.
const SAME_MASS: f64 = 0.02;
/// Holding the part anew moves its modes between two takes by less than so many standard uncertainties of one take.
const FAR_SIGMAS: f64 = 4.0 * std::f64::consts::SQRT_2;

/// How far (in ln f) the same mode may lie apart in two takes of the same mass.
pub(super) const HELD_APART: f64 = FAR_SIGMAS * HUNG_AGAIN_FREQUENCY;

/// Which of the different masses each take had on, from 0 for none, and how many there are besides none. One piece in several takes is
/// one mass, also when it was weighed anew: masses are different if they lie apart by more than 2 % and by more than two readings of one
/// piece do.
///
/// The takes are sorted by their masses.
pub(super) fn mass_places(takes: &[&StationTake]) -> (Vec<usize>, usize) {
    let mut places = Vec::with_capacity(takes.len());
    let mut last: Option<&Figure> = None;
    let mut count = 0;
    for take in takes {
        let mass = &take.added;
        if mass.value > 0.0 {
            let new = last.is_none_or(|last| {
                let weighed_twice = COVERAGE_95 * last.u_95().hypot(mass.u_95());
                mass.value - last.value > (SAME_MASS * last.value).max(weighed_twice)
            });
            if new {
                count += 1;
                last = Some(mass);
            }
        }
        places.push(count);
    }
    (places, count)
}
