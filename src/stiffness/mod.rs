//! Stiffness: from modes and sizes to moduli, bending stiffness and effective stiffness.
//!
//! This room knows numbers of modes and parts; it knows nothing of sound or pictures.

mod alignment;
mod blank;
mod blank_modes;
mod blank_moduli;
mod blank_note;
mod blank_quantities;
mod blank_result;
mod by_hand;
mod candidates;
mod grid;
mod numbering;
mod odd_doubts;
mod odd_fit;
mod odd_mean;
mod odd_node;
mod odd_plate;
mod odd_prior;
mod over_rivals;
mod plate;
mod polynomials;
mod quantity;
mod rivals;
mod station;
mod sure_names;
mod thickness_terms;
mod tone;
mod turned;
mod unnamed;
mod wood;

pub use blank::{blank_from_heard, blank_from_tones, odd_blank};
pub use blank_note::{BlankNote, Modulus};
pub use blank_quantities::blank_quantities;
pub use blank_result::BlankResult;
pub use by_hand::{stage_ratio, static_stiffness};
pub use numbering::Numbering;
pub use plate::{Constants, ModePlace, PlateMode, Size, bending_stiffnesses, free_plate_modes, mode_name};
pub use quantity::{Quantity, QuantityKind};
pub use station::{
    AddedMassError, EffectiveMass, MassAdvice, NoModalMass, SpotMotion, StationMasses, StationResult, StationTake,
    StationTone, station_masses, why_no_mass,
};
pub use tone::Tone;
