//! Stiffness: from modes and sizes to moduli, bending stiffness and effective stiffness.
//!
//! This room knows numbers of modes and parts; it knows nothing of sound or pictures.

mod added_mass;
mod alignment;
mod blank;
mod blank_modes;
mod candidates;
mod loaded_modes;
mod numbering;
mod plate;
mod quantity;
mod rivals;
mod station_masses;
mod thickness_terms;
mod wood;

pub use added_mass::{
    AddedMassError, EffectiveMass, LoadedTone, advised_mass_kg, effective_mass, stage_ratio, static_stiffness,
};
pub use blank::{BlankResult, Tone, blank_from_tones};
pub use loaded_modes::{StationResult, StationTake, StationTone, follow_modes, why_no_mass};
pub use numbering::Numbering;
pub use plate::{Constants, ModePlace, PlateMode, Size, bending_stiffnesses, free_plate_modes, mode_name};
pub use quantity::{Quantity, blank_quantities};
