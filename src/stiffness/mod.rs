//! Stiffness: from modes and sizes to moduli, bending stiffness and effective stiffness.
//!
//! This room knows numbers of modes and parts; it knows nothing of sound or pictures.

mod added_mass;
mod alignment;
mod beam;
mod blank;
mod loaded_modes;
mod plate;
mod quantity;
mod station_masses;

pub use added_mass::{
    AddedMassError, EffectiveMass, LoadedTone, advised_mass_kg, effective_mass, stage_ratio, static_stiffness,
};
pub use beam::{free_bar_hz, free_bar_root_squared, timoshenko_parameter};
pub use blank::{BlankResult, Numbering, Tone, blank_from_tones};
pub use loaded_modes::{StationResult, StationTake, StationTone, follow_modes};
pub use plate::{Constants, PlateMode, Size, bending_stiffnesses, free_plate_modes, mode_name};
pub use quantity::{NumberedLoss, Quantity, blank_quantities};
