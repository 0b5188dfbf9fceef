//! The figures that a flat blank has: what each is called, its unit, and what it means.

use serde::{Deserialize, Serialize};

use crate::uncertainty::Figure;

/// A figure about a part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    pub kind: QuantityKind,
    /// In SI units.
    pub figure: Figure,
}

/// What a figure is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum QuantityKind {
    Density,
    ModulusAlongLength,
    ModulusAlong,
    ModulusAcross,
    ShearModulus,
    BendingStiffness,
    BendingStiffnessPerWidth,
    SpecificStiffness,
    SoundSpeed,
    CharacteristicImpedance,
    RadiationRatio,
    MoistureContent,
    ModulusAlongAt12Percent,
    GrainAngle,
    Bow,
    StripMobility200Hz,
    PlateEdgeMobility,
    LossAlong,
    LossTwist,
}

/// Code, name, SI unit, unit that people read with the factor from SI, and meaning.
struct Words(&'static str, &'static str, &'static str, (&'static str, f64), &'static str);

impl QuantityKind {
    /// Stable short code.
    pub fn code(self) -> &'static str {
        self.words().0
    }

    pub fn name(self) -> &'static str {
        self.words().1
    }

    /// SI unit.
    pub fn unit(self) -> &'static str {
        self.words().2
    }

    /// How people write it: unit and the factor from SI.
    pub fn shown(self) -> (&'static str, f64) {
        self.words().3
    }

    /// What it means, in one plain sentence.
    pub fn meaning(self) -> &'static str {
        self.words().4
    }

    fn words(self) -> Words {
        match self {
            Self::Density => Words(
                "density_kg_m3",
                "density",
                "kg/m3",
                ("kg/m3", 1.0),
                "how heavy the wood itself is, from mass and sizes",
            ),
            Self::ModulusAlongLength => Words(
                "modulus_along_length_pa",
                "E of the blank along its length",
                "Pa",
                ("GPa", 1e-9),
                "how hard this blank's wood is to bend along its length, whichever way the grain goes in it",
            ),
            Self::GrainAngle => Words(
                "grain_angle_deg",
                "grain off the length",
                "deg",
                ("deg", 1.0),
                "how far the grain goes off the blank's length, as its tones and a reading, if there is one, say",
            ),
            Self::Bow => Words(
                "bow_m",
                "bow over the length",
                "m",
                ("mm", 1e3),
                "how far the blank rises over its length, as its tones and a reading, if there is one, say",
            ),
            Self::ModulusAlong => Words(
                "modulus_along_pa",
                "E along the grain",
                "Pa",
                ("GPa", 1e-9),
                "how hard the wood is to stretch or bend along the grain, whatever the part's sizes",
            ),
            Self::ModulusAcross => Words(
                "modulus_across_pa",
                "E across the grain",
                "Pa",
                ("GPa", 1e-9),
                "the same across the grain, where wood is ten to twenty times softer",
            ),
            Self::ShearModulus => {
                Words("shear_modulus_pa", "shear modulus G", "Pa", ("GPa", 1e-9), "how hard the wood is to twist")
            }
            Self::BendingStiffness => Words(
                "bending_stiffness_n_m2",
                "bending stiffness EI",
                "N m2",
                ("N m²", 1.0),
                "how hard this very strip is to bend over its length; it hardly depends on the thickness reading",
            ),
            Self::BendingStiffnessPerWidth => Words(
                "bending_stiffness_per_width_n_m",
                "the same per width, D",
                "N m",
                ("N m", 1.0),
                "bending stiffness of a strip one metre wide, to compare sides of different depth",
            ),
            Self::SpecificStiffness => Words(
                "specific_stiffness_m2_s2",
                "stiffness for its weight, E/density",
                "m2/s2",
                ("MN m/kg", 1e-6),
                "modulus for the weight: a higher one gives a lighter part of the same stiffness",
            ),
            Self::SoundSpeed => Words(
                "sound_speed_m_s",
                "speed of sound along the grain",
                "m/s",
                ("m/s", 1.0),
                "how fast a push travels along the grain",
            ),
            Self::CharacteristicImpedance => Words(
                "characteristic_impedance_kg_m2_s",
                "characteristic impedance",
                "kg/(m2 s)",
                ("MPa s/m", 1e-6),
                "how much the wood holds still against a vibration that comes to it: speed of sound times density",
            ),
            Self::RadiationRatio => Words(
                "radiation_ratio_m4_kg_s",
                "radiation ratio",
                "m4/(kg s)",
                ("m⁴/(kg s)", 1.0),
                "speed of sound over density: high in wood that is wanted to sound by itself, of little use for a side",
            ),
            Self::MoistureContent => Words(
                "moisture_content",
                "moisture content in this air",
                "1",
                ("%", 100.0),
                "what wood takes on when it lies in this air for weeks (Wood Handbook); the blank may not be there yet",
            ),
            Self::ModulusAlongAt12Percent => Words(
                "modulus_along_at_12_percent_pa",
                "E along, brought to 12 % moisture",
                "Pa",
                ("GPa", 1e-9),
                "for comparing with tables only: an average relation (Wood Handbook) that single boards do not keep to",
            ),
            Self::StripMobility200Hz => Words(
                "strip_mobility_200_hz_m_n_s",
                "mobility of an endless strip, 200 Hz",
                "m/(N s)",
                ("mm/(N s)", 1e3),
                "how readily an endless strip like this gives at 200 Hz; a rigid wall gives nothing, and a rim should lie far below",
            ),
            Self::PlateEdgeMobility => Words(
                "plate_edge_mobility_m_n_s",
                "mobility of an endless plate's edge",
                "m/(N s)",
                ("mm/(N s)", 1e3),
                "how readily the free edge of an endless plate like this gives, at any frequency",
            ),
            Self::LossAlong => Words(
                "loss_factor_along",
                "loss factor, bending along",
                "1",
                ("", 1.0),
                "share of the energy lost in each radian of bending along the grain; what holds the blank adds to it",
            ),
            Self::LossTwist => Words(
                "loss_factor_twist",
                "loss factor, twist",
                "1",
                ("", 1.0),
                "the same for twisting; larger, because shear loses more",
            ),
        }
    }
}
