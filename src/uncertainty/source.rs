//! Where a contribution to an uncertainty comes from: an identifier, so that what is one unknown stays one unknown.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// One unknown: a cause, and what it belongs to. Contributions of equal sources are fully correlated, all others are independent.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Source {
    pub cause: Cause,
    /// From the inside out; empty where there is only one of its kind.
    pub scopes: Vec<Scope>,
    /// Which of several independent directions of one cause: a known covariance is kept as such directions.
    #[serde(default)]
    pub axis: u8,
}

/// What a source belongs to: in another stage, board, spot, recording or mode it is another unknown.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    Stage(Arc<str>),
    Board(Arc<str>),
    Spot(Arc<str>),
    Recording(Arc<str>),
    /// A mode by its place, from 0.
    Mode(usize),
    /// Takes with this mass stuck on, in tenths of a gram; 0 for those without.
    LoadTenthGram(u32),
}

/// A cause of uncertainty. Each has a stable short code and a name in words.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Cause {
    // What a tap's recording leaves open.
    /// The room's noise under the ring-down.
    Noise,
    /// Scatter between the taps of a take.
    TapScatter,
    /// Decay that is no clean exponential.
    Misfit,
    /// The room rings on with the part.
    Reverberation,
    /// The fit moves with the moment at which it begins.
    StartOfFit,
    /// A second mode may hide in this one.
    UnresolvedMode,
    /// The envelope disagrees with the fit.
    Envelope,
    /// A decay that bends at its beginning.
    EarlyBend,
    /// Groups of taps that were analysed apart and differ.
    TapGroups,
    /// A frequency, a damping as a whole, where its budget is not known.
    Frequency,
    Damping,
    // Holding and masses.
    /// The part was held anew for each take.
    HeldAnewFrequency,
    HeldAnewDamping,
    AddedMass(Arc<str>),
    FrequencyShift,
    NextTerm,
    ModesOutsideBand,
    /// The spot slides along as it moves to and fro.
    SlidesAlong,
    ModalMassUnknown,
    /// How readily the top's edge gives.
    TopEdge,
    // Readings.
    Length,
    Width,
    Thickness,
    PlyThickness(u8),
    ThicknessAsMade(Arc<str>),
    Mass,
    Temperature,
    Humidity,
    Weight,
    Deflection,
    // The plate and its wood.
    /// Frequencies and the deviation of the wood from a uniform plate: the fit of all moduli together.
    PlateFit,
    PoissonsRatio,
    ShearThroughThickness,
    /// The grain goes at an angle to the length.
    GrainAngle,
    /// A blank that is curved along its length.
    Bow,
    /// A wedge that is taken as even.
    ThicknessProfile,
    MoistureEquation,
    MoistureRelation,
    /// Wood that had not yet taken on what its air would give it, or never takes on as much.
    NotAtEquilibrium,
    /// Stages of other days whose air nobody wrote down.
    MoistureNotKnown,
    SwellingWithMoisture,
    LossWithMoisture,
    /// Glue and lacquer take up less water than wood.
    ShareOfWood,
    PlateTakenAsEven,
    /// A metal bar's, from a handbook.
    KnownModulus,
    ModeToMode,
    CompetingAssignments,
    ModulusAlong,
    AcrossOverAlong,
    ShearOverAlong,
    Density,
    LossAlong,
    LossAcross,
    LossInShear,
    LossAcrossOverShear,
    BendingStiffness,
    // Glue, rims, forecasts.
    GlueFilm,
    GlueShear,
    RimModel,
    TonesDiffer,
    BlocksAndLinings,
    ShopFactor,
    LaminationToLamination,
    // Comparison.
    ModesDiffer,
    OnePairOnly,
    UnpairedModes,
    /// A caller's own.
    Named(Arc<str>),
}

impl Cause {
    /// Stable short code.
    pub fn code(&self) -> &str {
        match self {
            Self::Noise => "noise",
            Self::TapScatter => "tap_scatter",
            Self::Misfit => "misfit",
            Self::Reverberation => "reverberation",
            Self::StartOfFit => "start_of_fit",
            Self::UnresolvedMode => "unresolved_mode",
            Self::Envelope => "envelope",
            Self::EarlyBend => "early_bend",
            Self::TapGroups => "tap_groups",
            Self::Frequency => "frequency",
            Self::Damping => "damping",
            Self::HeldAnewFrequency => "held_anew_frequency",
            Self::HeldAnewDamping => "held_anew_damping",
            Self::AddedMass(_) => "added_mass",
            Self::FrequencyShift => "frequency_shift",
            Self::NextTerm => "next_term",
            Self::ModesOutsideBand => "modes_outside_band",
            Self::SlidesAlong => "slides_along",
            Self::ModalMassUnknown => "modal_mass_unknown",
            Self::TopEdge => "top_edge",
            Self::Length => "length",
            Self::Width => "width",
            Self::Thickness => "thickness",
            Self::PlyThickness(_) => "ply_thickness",
            Self::ThicknessAsMade(_) => "thickness_as_made",
            Self::Mass => "mass",
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::Weight => "weight",
            Self::Deflection => "deflection",
            Self::PlateFit => "plate_fit",
            Self::PoissonsRatio => "poissons_ratio",
            Self::ShearThroughThickness => "shear_through_thickness",
            Self::GrainAngle => "grain_angle",
            Self::Bow => "bow",
            Self::ThicknessProfile => "thickness_profile",
            Self::MoistureEquation => "moisture_equation",
            Self::MoistureRelation => "moisture_relation",
            Self::NotAtEquilibrium => "not_at_equilibrium",
            Self::MoistureNotKnown => "moisture_not_known",
            Self::SwellingWithMoisture => "swelling_with_moisture",
            Self::LossWithMoisture => "loss_with_moisture",
            Self::ShareOfWood => "share_of_wood",
            Self::PlateTakenAsEven => "plate_taken_as_even",
            Self::KnownModulus => "known_modulus",
            Self::ModeToMode => "mode_to_mode",
            Self::CompetingAssignments => "competing_assignments",
            Self::ModulusAlong => "modulus_along",
            Self::AcrossOverAlong => "across_over_along",
            Self::ShearOverAlong => "shear_over_along",
            Self::Density => "density",
            Self::LossAlong => "loss_along",
            Self::LossAcross => "loss_across",
            Self::LossInShear => "loss_in_shear",
            Self::LossAcrossOverShear => "loss_across_over_shear",
            Self::BendingStiffness => "bending_stiffness",
            Self::GlueFilm => "glue_film",
            Self::GlueShear => "glue_shear",
            Self::RimModel => "rim_model",
            Self::TonesDiffer => "tones_differ",
            Self::BlocksAndLinings => "blocks_and_linings",
            Self::ShopFactor => "shop_factor",
            Self::LaminationToLamination => "lamination_to_lamination",
            Self::ModesDiffer => "modes_differ",
            Self::OnePairOnly => "one_pair_only",
            Self::UnpairedModes => "unpaired_modes",
            Self::Named(_) => "named",
        }
    }

    /// Whether more takes, held anew, make it smaller.
    pub fn shrinks_with_takes(&self) -> bool {
        matches!(
            self,
            Self::Noise
                | Self::TapScatter
                | Self::Misfit
                | Self::StartOfFit
                | Self::UnresolvedMode
                | Self::Envelope
                | Self::EarlyBend
                | Self::TapGroups
                | Self::Frequency
                | Self::Damping
                | Self::HeldAnewFrequency
                | Self::HeldAnewDamping
        )
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Noise => "noise",
            Self::TapScatter => "scatter of the taps",
            Self::Misfit => "decay not quite exponential",
            Self::Reverberation => "the room",
            Self::StartOfFit => "where the decay begins",
            Self::UnresolvedMode => "a second mode may hide in it",
            Self::Envelope => "the envelope disagrees",
            Self::EarlyBend => "the decay bends at first",
            Self::TapGroups => "groups of taps differ",
            Self::Frequency => "frequency",
            Self::Damping => "damping",
            Self::HeldAnewFrequency => "held anew",
            Self::HeldAnewDamping => "held anew, damping",
            Self::AddedMass(piece) => return write!(f, "added {piece}"),
            Self::FrequencyShift => "frequency shift",
            Self::NextTerm => "the curve's next term",
            Self::ModesOutsideBand => "modes outside the band",
            Self::SlidesAlong => "the spot slides along",
            Self::ModalMassUnknown => "modal mass not known",
            Self::TopEdge => "how readily the top's edge gives",
            Self::Length => "length",
            Self::Width => "width",
            Self::Thickness => "thickness",
            Self::PlyThickness(ply) => return write!(f, "thickness of ply {ply}"),
            Self::ThicknessAsMade(ply) => return write!(f, "thickness of {ply}, as made"),
            Self::Mass => "mass",
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::Weight => "weight",
            Self::Deflection => "reading",
            Self::PlateFit => "frequencies and uneven wood",
            Self::PoissonsRatio => "Poisson's ratio",
            Self::ShearThroughThickness => "shear through the thickness",
            Self::GrainAngle => "the grain's angle",
            Self::Bow => "bow",
            Self::ThicknessProfile => "the wedge",
            Self::MoistureEquation => "moisture equation",
            Self::MoistureRelation => "moisture relation",
            Self::NotAtEquilibrium => "wood that lags behind its air",
            Self::MoistureNotKnown => "moisture not known",
            Self::SwellingWithMoisture => "swelling with moisture",
            Self::LossWithMoisture => "loss with moisture",
            Self::ShareOfWood => "share of wood in the mass",
            Self::PlateTakenAsEven => "plate taken as even",
            Self::KnownModulus => "the known modulus",
            Self::ModeToMode => "mode to mode",
            Self::CompetingAssignments => "which mode is which",
            Self::ModulusAlong => "E along",
            Self::AcrossOverAlong => "E across over along",
            Self::ShearOverAlong => "G over E along",
            Self::Density => "density",
            Self::LossAlong => "loss along",
            Self::LossAcross => "loss across",
            Self::LossInShear => "loss in shear",
            Self::LossAcrossOverShear => "loss across over shear",
            Self::BendingStiffness => "bending stiffness",
            Self::GlueFilm => "glue film",
            Self::GlueShear => "glue's shear modulus",
            Self::RimModel => "the rim's model",
            Self::TonesDiffer => "tones differ",
            Self::BlocksAndLinings => "blocks and linings",
            Self::ShopFactor => "this shop's factor",
            Self::LaminationToLamination => "from lamination to lamination",
            Self::ModesDiffer => "modes differ",
            Self::OnePairOnly => "one pair only",
            Self::UnpairedModes => "modes without a partner",
            Self::Named(name) => name,
        })
    }
}

impl Source {
    /// The same cause in another scope is another unknown.
    pub fn within(&self, scope: Scope) -> Self {
        let mut scopes = self.scopes.clone();
        scopes.push(scope);
        Self { scopes, ..self.clone() }
    }

    /// The same without its direction: what a budget adds up.
    pub fn whole(&self) -> Self {
        Self { axis: 0, ..self.clone() }
    }
}

impl From<Cause> for Source {
    fn from(cause: Cause) -> Self {
        Self { cause, scopes: Vec::new(), axis: 0 }
    }
}

/// A source of the caller's own name.
impl From<&str> for Source {
    fn from(name: &str) -> Self {
        Cause::Named(name.into()).into()
    }
}

impl From<&String> for Source {
    fn from(name: &String) -> Self {
        name.as_str().into()
    }
}

impl From<String> for Source {
    fn from(name: String) -> Self {
        name.as_str().into()
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.cause)?;
        for scope in &self.scopes {
            match scope {
                Scope::Stage(name) | Scope::Spot(name) | Scope::Recording(name) => write!(f, ", {name}")?,
                Scope::Board(name) => write!(f, " of {name}")?,
                Scope::Mode(place) => write!(f, ", mode {}", place + 1)?,
                Scope::LoadTenthGram(0) => write!(f, " without mass")?,
                Scope::LoadTenthGram(tenths) => write!(f, " with {:.1} g", f64::from(*tenths) / 10.0)?,
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scopes_make_other_unknowns() {
        let thickness = Source::from(Cause::Thickness);
        let plain = thickness.within(Scope::Stage("plain".into()));
        assert_ne!(thickness, plain);
        assert_eq!(plain.to_string(), "thickness, plain");
        assert_eq!(thickness.within(Scope::Board("maple".into())).to_string(), "thickness of maple");
        let held = Source::from(Cause::HeldAnewFrequency);
        assert_eq!(held.within(Scope::LoadTenthGram(50)).to_string(), "held anew with 5.0 g");
        assert_eq!(held.within(Scope::LoadTenthGram(0)).to_string(), "held anew without mass");
        assert_eq!(Source { axis: 2, ..plain.clone() }.whole(), plain);
    }
}
