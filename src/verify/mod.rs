//! Proof on the user's machine: published values against what this program computes, and simulated takes against their truth.

mod published;
mod simulated;

pub use published::{Check, published_checks};
pub use simulated::{SimulatedCheck, simulated_check};
