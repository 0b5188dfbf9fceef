//! What is known of a stage of a part.

use super::pairing::Paired;
use super::repeatability::Repeatability;
use super::same_mode::StageMode;
use super::session::Tapped;
use crate::loss::Mobility;
use crate::part::RimBuild;
use crate::uncertainty::Figure;

/// What is known of a stage.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stage {
    pub name: String,
    pub modes: Vec<StageMode>,
    /// Mass (kg); bending stiffness EI (N m2) and mass per length (kg/m) where it is a flat blank.
    pub mass: Option<Figure>,
    pub bending_stiffness: Option<Figure>,
    pub mass_per_length: Option<Figure>,
    /// Mobility at a station where it was tapped with masses stuck on.
    pub mobility: Option<Mobility>,
    /// How far the spot gives under a push across (m/N), rigid motion left out, where its lowest mode is among those measured.
    pub compliance: Option<Figure>,
    /// Takes without a mass stuck on.
    pub takes: usize,
    /// What is known of how well its takes repeat.
    pub known: Repeatability,
    /// How the rim is built, where that is described.
    pub build: Option<RimBuild>,
    /// Moisture content (fraction) that the air of the tapping gives to wood, if that air is known.
    pub moisture: Option<Figure>,
    /// Share of E along that a unit of moisture takes, if the wood is known.
    pub modulus_lost: Option<f64>,
    pub tapped: Tapped,
    pub notes: Vec<String>,
}

pub(super) fn paired(modes: &[StageMode]) -> Vec<Paired<'_>> {
    modes
        .iter()
        .map(|m| Paired { frequency_hz: m.frequency.value, level_db: m.level_db, name: m.name.as_deref() })
        .collect()
}
