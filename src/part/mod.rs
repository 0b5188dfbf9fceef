//! What was tapped: kind, sizes and mass with their uncertainties, and the air around it.
//!
//! This room knows readings and wood; it knows nothing of sound.

mod day;
mod departures;
mod description;
mod holding;
mod moisture;
mod questions;
mod reader;
mod rim_build;
mod station;
mod units;

pub use day::Day;
pub use departures::Departures;
pub(crate) use description::PartTable;
pub use description::{Deflection, Kind, PartDescription, Ply, Sizes};
pub use holding::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_DOF, HUNG_AGAIN_FREQUENCY};
pub use moisture::{equilibrium_moisture, modulus_at_12_percent, moisture_in_air};
pub use reader::PartError;
pub(crate) use reader::line_of;
pub use rim_build::{LiningKind, RimBuild};
pub use station::{Station, misnamed, station_of};
pub use units::{Dimension, parse_readings, parse_uncertainty, parse_with_doubt};
