//! Stiffness: from modes and sizes to moduli, bending stiffness and effective stiffness.
//!
//! This room knows numbers of modes and parts; it knows nothing of sound or pictures.

mod added_mass;
mod alignment;
mod blank;
mod blank_modes;
mod blank_moduli;
mod blank_note;
mod blank_quantities;
mod candidates;
mod grid;
mod loaded_modes;
mod no_modal_mass;
mod numbering;
mod over_rivals;
mod plate;
mod polynomials;
mod quantity;
mod rivals;
mod station_masses;
mod sure_names;
mod thickness_terms;
mod tone;
mod unnamed;
mod wood;

pub use added_mass::{
    AddedMassError, EffectiveMass, LoadedTone, advised_mass_kg, effective_mass, stage_ratio, static_stiffness,
};
pub use blank::{BlankResult, blank_from_heard, blank_from_tones};
pub use blank_note::{BlankNote, Modulus};
pub use blank_quantities::blank_quantities;
pub use loaded_modes::{StationResult, StationTake, StationTone, follow_modes, why_no_mass};
pub use no_modal_mass::NoModalMass;
pub use numbering::Numbering;
pub use plate::{Constants, ModePlace, PlateMode, Size, bending_stiffnesses, free_plate_modes, mode_name};
pub use quantity::{Quantity, QuantityKind};
pub use tone::Tone;
