//! Modes: from the taps of a take to frequencies and damping ratios with their uncertainties.
//!
//! The order of work: whiten the room's noise, transform each ring-down, search the spectra greedily for modes, refine
//! all modes jointly over all taps by maximum likelihood, check the evidence for each, and give its uncertainty.
//! This room knows samples and taps; it knows nothing of files, parts or pictures.

mod component;
mod density;
mod joint;
mod spectra;
mod whitening;
