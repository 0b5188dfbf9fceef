//! A spot tapped with and without masses stuck on: which mode is which, modal mass and effective stiffness of each.

mod advice;
mod chosen;
mod effective;
mod follow;
mod holding;
mod law;
mod masses;
mod no_modal_mass;
mod problem;
mod solution;
mod spot;
mod take;
#[cfg(test)]
mod tests;
mod unheard;

pub use advice::MassAdvice;
pub use effective::EffectiveMass;
pub use masses::{StationMasses, StationResult, station_masses, why_no_mass};
pub use no_modal_mass::{AddedMassError, NoModalMass};
pub use take::{SpotMotion, StationTake, StationTone};
