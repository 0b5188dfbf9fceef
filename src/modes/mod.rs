//! Modes: from the taps of a take to frequencies and damping ratios with their uncertainties.
//!
//! The order of work: whiten the room's noise, transform each ring-down, search the spectra greedily for modes, refine
//! all modes jointly over all taps by maximum likelihood, check the evidence for each, and give its uncertainty.
//! This room knows samples and taps; it knows nothing of files, parts or pictures.

mod band;
mod bend;
mod clusters;
mod component;
mod density;
mod echo;
mod envelope;
mod estimate;
mod evidence;
mod hidden;
mod joint;
mod merge;
mod mode;
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

pub use envelope::Envelope;
pub use estimate::{Estimate, EstimateOptions, Estimator};
pub use mode::{COVERAGE_95, Mode, ModeReason, student_factor};
pub use room_noise::RoomNoise;
pub use spectrum::Spectrum;
