//! A part as its maker describes it, in a file or in a few words.

use serde::{Deserialize, Serialize};
use toml::Spanned;

use super::day::Day;
use super::departures::{self, Departures};
use super::moisture::moisture_in_air;
use super::reader::{PartError, Reader, line_of};
use super::rim_build::{FileRim, RimBuild};
use super::units::{Dimension, parse_readings};
use crate::uncertainty::{Cause, Figure, mean_of_readings};

/// What a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A flat blank or strip, the grain along its length.
    #[default]
    Strip,
    /// A bent side.
    Side,
    /// A glued-up rim.
    Rim,
}

impl Kind {
    pub fn name(self) -> &'static str {
        match self {
            Self::Strip => "flat blank",
            Self::Side => "bent side",
            Self::Rim => "rim",
        }
    }
}

/// Sizes and mass of a flat blank (m, kg), all of them known.
#[derive(Debug, Clone, PartialEq)]
pub struct Sizes {
    pub length: Figure,
    pub width: Figure,
    pub thickness: Figure,
    pub mass: Figure,
}

impl Sizes {
    /// Density (kg/m3).
    pub fn density(&self) -> Figure {
        let inputs = [&self.mass, &self.length, &self.width, &self.thickness];
        Figure::combine(&inputs, |x| x[0] / (x[1] * x[2] * x[3]))
    }
}

/// A push at a station and how far it gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Deflection {
    /// The weight that was hung on or laid on (kg).
    pub weight: Figure,
    /// How far the dial moved (m).
    pub reading: Figure,
}

/// One layer of a laminate.
#[derive(Debug, Clone, PartialEq)]
pub struct Ply {
    pub wood: String,
    pub thickness: Figure,
    /// Angle of the grain to the part's length (degrees).
    pub grain_deg: f64,
}

/// A part as described. Whatever was not measured is missing.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PartDescription {
    pub name: Option<String>,
    pub kind: Kind,
    pub length: Option<Figure>,
    pub width: Option<Figure>,
    pub thickness: Option<Figure>,
    pub mass: Option<Figure>,
    /// Grain, bow and profile, as far as they were read.
    pub departures: Departures,
    /// Temperature (C) and relative humidity (fraction) of the room.
    pub temperature: Option<Figure>,
    pub humidity: Option<Figure>,
    /// The day of the tapping.
    pub date: Option<Day>,
    pub deflection: Option<Deflection>,
    /// Modulus of a bar of metal that is a check of the program (Pa).
    pub known_modulus: Option<Figure>,
    /// From outside to inside; empty if not said.
    pub plies: Vec<Ply>,
    /// A rim's shape and joints, if they are said.
    pub rim: Option<RimBuild>,
    pub notes: Option<String>,
}

/// Standard uncertainties of the usual instruments: a rule with millimetres (0.3 mm, half a division evenly spread), a
/// calliper (0.02 mm), a kitchen scale (1 g), a dial gauge (0.01 mm), a room thermometer (1 C) and hygrometer (3 %). Common
/// practice, no source; a file can say otherwise.
const RULE_M: f64 = 0.3e-3;
const CALLIPER_M: f64 = 0.02e-3;
const SCALE_KG: f64 = 1e-3;
const DIAL_M: f64 = 0.01e-3;
const THERMOMETER_C: f64 = 1.0;
const HYGROMETER: f64 = 0.03;
/// A handbook's modulus of steel or aluminium for a bar of unknown alloy and rolling (share of it, common practice).
const HANDBOOK: f64 = 0.02;

/// A part, or a stage of one, as a TOML table.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PartTable {
    pub(crate) name: Option<Spanned<String>>,
    pub(crate) notes: Option<String>,
    kind: Option<Kind>,
    length: Option<Spanned<String>>,
    width: Option<Spanned<String>>,
    thickness: Option<Spanned<String>>,
    thickness_profile: Option<Spanned<String>>,
    thickness_profile_across: Option<Spanned<String>>,
    grain: Option<Spanned<String>>,
    bow: Option<Spanned<String>>,
    mass: Option<Spanned<String>>,
    temperature: Option<Spanned<String>>,
    humidity: Option<Spanned<String>>,
    date: Option<Spanned<String>>,
    known_modulus: Option<Spanned<String>>,
    #[serde(default)]
    uncertainty: FileUncertainty,
    deflection: Option<FileDeflection>,
    #[serde(default)]
    ply: Vec<FilePly>,
    rim: Option<FileRim>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FilePly {
    wood: String,
    thickness: Spanned<String>,
    #[serde(default)]
    grain_deg: f64,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileUncertainty {
    length: Option<Spanned<String>>,
    width: Option<Spanned<String>>,
    thickness: Option<Spanned<String>>,
    mass: Option<Spanned<String>>,
    weight: Option<Spanned<String>>,
    reading: Option<Spanned<String>>,
    known_modulus: Option<Spanned<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileDeflection {
    weight: Spanned<String>,
    reading: Spanned<String>,
}

impl PartDescription {
    /// Reads a description from the text of a TOML file.
    ///
    /// # Errors
    /// The field, its line, and what is wrong with it.
    pub fn from_toml(text: &str) -> Result<Self, PartError> {
        let file: PartTable = toml::from_str(text).map_err(|error| {
            let line = error.span().map_or(1, |span| line_of(text, span.start));
            PartError::File(format!("line {line}: {}", error.message()))
        })?;
        Self::from_table(&file, text, None)
    }

    /// From a table of a longer file; `kind` is that of the part that it is a stage of.
    pub(crate) fn from_table(file: &PartTable, text: &str, kind: Option<Kind>) -> Result<Self, PartError> {
        let reader = Reader { text };
        let u = &file.uncertainty;
        let field = |name: &str, value: &Option<Spanned<String>>, u: Option<&Spanned<String>>, what, usual| {
            value.as_ref().map(|v| reader.read(name, v, u, what, usual)).transpose()
        };
        use Dimension::{Humidity, Length, Mass, Temperature};
        let deflection = match &file.deflection {
            Some(d) => Some(Deflection {
                weight: reader.read("weight", &d.weight, u.weight.as_ref(), (Cause::Weight, Mass), SCALE_KG)?,
                reading: reader.read("reading", &d.reading, u.reading.as_ref(), (Cause::Deflection, Length), DIAL_M)?,
            }),
            None => None,
        };
        let thickness =
            field("thickness", &file.thickness, u.thickness.as_ref(), (Cause::Thickness, Length), CALLIPER_M)?;
        let profiles = [&file.thickness_profile, &file.thickness_profile_across];
        let (departures, of_profile) =
            departures::read(&reader, [&file.grain, &file.bow], profiles, &file.thickness, CALLIPER_M)?;
        Ok(Self {
            name: file.name.as_ref().map(|n| n.get_ref().clone()),
            kind: file.kind.or(kind).unwrap_or_default(),
            length: field("length", &file.length, u.length.as_ref(), (Cause::Length, Length), RULE_M)?,
            width: field("width", &file.width, u.width.as_ref(), (Cause::Width, Length), RULE_M)?,
            thickness: of_profile.or(thickness),
            departures,
            mass: field("mass", &file.mass, u.mass.as_ref(), (Cause::Mass, Mass), SCALE_KG)?,
            temperature: field(
                "temperature",
                &file.temperature,
                None,
                (Cause::Temperature, Temperature),
                THERMOMETER_C,
            )?,
            humidity: field("humidity", &file.humidity, None, (Cause::Humidity, Humidity), HYGROMETER)?,
            known_modulus: field(
                "known_modulus",
                &file.known_modulus,
                u.known_modulus.as_ref(),
                (Cause::KnownModulus, Dimension::Modulus),
                0.0,
            )?
            .map(|known| match u.known_modulus {
                Some(_) => known,
                None => known.clone().plus_uncertainty(HANDBOOK * known.value, Cause::KnownModulus),
            }),
            date: match &file.date {
                Some(date) => Some(Day::parse(date.get_ref()).map_err(|why| reader.wrong("date", date, why))?),
                None => None,
            },
            notes: file.notes.clone(),
            rim: file.rim.as_ref().map(|r| r.read(&reader)).transpose()?,
            deflection,
            plies: file
                .ply
                .iter()
                .enumerate()
                .map(|(place, ply)| {
                    let name = format!("thickness of ply {}", place + 1);
                    let what = (Cause::PlyThickness((place + 1) as u8), Length);
                    let thickness = reader.read(&name, &ply.thickness, u.thickness.as_ref(), what, CALLIPER_M)?;
                    Ok(Ply { wood: ply.wood.clone(), thickness, grain_deg: ply.grain_deg })
                })
                .collect::<Result<_, PartError>>()?,
        })
    }

    /// A flat blank from sizes as people write them (each may be missing).
    ///
    /// # Errors
    /// The size and what is wrong with it.
    pub fn from_sizes(
        length: Option<&str>,
        width: Option<&str>,
        thickness: Option<&str>,
        mass: Option<&str>,
    ) -> Result<Self, String> {
        let read = |name: &str, text: Option<&str>, (cause, dimension): (Cause, Dimension), usual| {
            text.map(|t| parse_readings(t, dimension).map(|r| mean_of_readings(&r, usual, cause)))
                .transpose()
                .map_err(|why| format!("{name}: {why}"))
        };
        Ok(Self {
            length: read("length", length, (Cause::Length, Dimension::Length), RULE_M)?,
            width: read("width", width, (Cause::Width, Dimension::Length), RULE_M)?,
            thickness: read("thickness", thickness, (Cause::Thickness, Dimension::Length), CALLIPER_M)?,
            mass: read("mass", mass, (Cause::Mass, Dimension::Mass), SCALE_KG)?,
            departures: Departures { trend: thickness.is_some_and(departures::trend), ..Departures::default() },
            ..Self::default()
        })
    }

    /// All four of length, width, thickness and mass, or the names of those that are missing.
    pub fn sizes(&self) -> Result<Sizes, Vec<&'static str>> {
        match (&self.length, &self.width, &self.thickness, &self.mass) {
            (Some(length), Some(width), Some(thickness), Some(mass)) => Ok(Sizes {
                length: length.clone(),
                width: width.clone(),
                thickness: thickness.clone(),
                mass: mass.clone(),
            }),
            (length, width, thickness, mass) => {
                let all = [("length", length), ("width", width), ("thickness", thickness), ("mass", mass)];
                Err(all.iter().filter(|(_, v)| v.is_none()).map(|(n, _)| *n).collect())
            }
        }
    }

    /// Moisture content (fraction of the dry mass) that wood takes on in the air of the tapping, if that is known and wood in it has
    /// been measured.
    pub fn moisture(&self) -> Option<Figure> {
        moisture_in_air(self.temperature.as_ref()?, self.humidity.as_ref()?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_a_blank() {
        let part = PartDescription::from_toml(
            "name = \"left side\"\nlength = \"760 mm\"\nwidth = \"112 mm\"\nthickness = \"1.88 1.93 1.91 mm\"\n\
             mass = \"3.5 oz\"\n[uncertainty]\nlength = \"1 mm\"\n",
        )
        .unwrap_or_else(|e| panic!("{e}"));
        let sizes = part.sizes().unwrap_or_else(|missing| panic!("{missing:?}"));
        assert!((sizes.thickness.value - 1.906_666_7e-3).abs() < 1e-9);
        // s = 0.0252 mm over sqrt 3 is 0.01453 with two degrees of freedom, and the calliper's 0.02 mm: 0.02472 with
        // 2 (0.02472/0.01453)^4 = 16.8 of them (Welch and Satterthwaite), for which t is 2.112 (table, between 16 and 17).
        assert!((sizes.thickness.u() - 0.02472e-3).abs() < 1e-8 && (sizes.thickness.dof() - 16.8).abs() < 0.1);
        assert!((sizes.thickness.half_95() - 2.112 * 0.02472e-3).abs() < 2e-8, "{}", sizes.thickness.half_95());
        assert!((sizes.length.u() - 1e-3).abs() < 1e-12);
        assert!(part.questions().is_empty());
    }

    #[test]
    fn plies_must_make_up_the_thickness() {
        let text = |t: &str| {
            format!(
                "thickness = \"{t}\"\n[[ply]]\nwood = \"walnut\"\nthickness = \"1.9 mm\"\n[[ply]]\nwood = \"maple\"\nthickness = \"1.4 mm\"\n"
            )
        };
        let part = |t: &str| PartDescription::from_toml(&text(t)).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(part("3.4 mm").plies.len(), 2);
        assert!(part("3.4 mm").questions().is_empty());
        assert!(part("2.9 mm").questions()[0].contains("plies together are 3.30 mm"));
    }

    #[test]
    fn says_where_it_is_wrong() {
        let error = |text: &str| PartDescription::from_toml(text).expect_err("it is wrong").to_string();
        assert!(error("kind = \"strip\"\nthickness = \"1.9\"\n").starts_with("line 2, thickness: \"1.9\" has no unit"));
        assert!(
            error("length = \"1 m\"\n[uncertainty]\nlength = \"1 kg\"\n").starts_with("line 3, uncertainty.length")
        );
        assert!(error("lenght = \"1 m\"\n").contains("line 1: unknown field `lenght`"));
        assert!(error("length = 760\n").starts_with("line 1"));
        assert!(error("length = \"1 m\n").starts_with("line 1"));
    }

    #[test]
    fn questions_what_cannot_be() {
        let part = |l, w, t, m| PartDescription::from_sizes(Some(l), Some(w), Some(t), Some(m)).expect("readable");
        assert!(part("760 mm", "112 mm", "1.9 cm", "100 g").questions()[0].contains("too low for any wood"));
        assert!(part("760 mm", "112 mm", "1.9 mm", "1.00 kg").questions()[0].contains("too high"));
        assert!(part("760 mm", "1.9 mm", "112 mm", "100 g").questions()[0].contains("exchanged"));
        assert!(part("760 mm", "112 mm", "1.9 mm", "100 g").questions().is_empty());
        let no_mass = PartDescription::from_sizes(Some("1 m"), None, None, None).expect("readable");
        assert_eq!(no_mass.sizes(), Err(vec!["width", "thickness", "mass"]));
    }
}
