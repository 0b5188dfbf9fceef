//! Proof on the user's machine: published values against what this program computes, and simulated takes against their truth.

mod published;
mod room;
mod simulated;

pub use published::{Check, published_checks};
pub use room::{LEAST_NOISE_S, RoomCheck, RoomMode, room_check};
pub use simulated::{SimulatedCheck, simulated_check};
