//! Modes: from the taps of a take to frequencies and damping ratios with their uncertainties.
//!
//! The order of work: whiten the room's noise, transform each ring-down, search the spectra greedily for modes, refine
//! all modes jointly over all taps by maximum likelihood, check the evidence for each, and give its uncertainty.
//! This room knows samples and taps; it knows nothing of files, parts or pictures.

mod band;
mod bend;
mod cluster;
mod clusters;
mod component;
mod density;
mod double_hit;
mod echo;
mod envelope;
mod estimate;
mod estimate_note;
mod evidence;
mod fast_length;
mod group;
mod hidden;
mod interval;
mod joint;
mod left_out;
mod merge;
mod mode;
mod noise_of_fit;
mod odd_tap;
mod presence;
mod rings;
mod room_noise;
mod search;
mod spectra;
mod spectrum;
mod steady_line;
#[cfg(test)]
mod tests;
mod window;

pub use crate::uncertainty::{COVERAGE_95, student_factor};
pub use envelope::Envelope;
pub use estimate::{Estimate, EstimateOptions, Estimator};
pub use estimate_note::EstimateNote;
pub use left_out::LeftOutReason;
pub use mode::{Mode, ModeReason};
pub use room_noise::RoomNoise;
pub use spectrum::Spectrum;
