//! Where a part was tapped and what was stuck on, as the names of folders and files say it: `waist+5g/take-01.wav`.

use std::path::Path;

use super::units::{Dimension, parse_readings};
use crate::uncertainty::{Cause, Figure};

/// A station and the mass that was stuck on.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Folder and name of the station, without the mass.
    pub place: String,
    /// The mass stuck on (kg), exactly 0 if none.
    pub added: Figure,
    /// Whether a folder is the station; else the file's own name is.
    pub is_folder: bool,
}

/// Standard uncertainty of a small added mass (kg): a pocket scale's tenth of a gram. Common practice, no source.
const POCKET_SCALE_KG: f64 = 0.05e-3;

/// What is wrong with a name that begins a mass but does not say one: "waist+10" has no unit.
pub fn misnamed(path: &Path) -> Option<String> {
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned());
    let folder = path.parent().and_then(|p| p.file_name()).map(|s| s.to_string_lossy().into_owned());
    [stem, folder].into_iter().flatten().find_map(|name| {
        let (_, mass) = without_take(&name).rsplit_once('+')?;
        let number = mass.starts_with(|c: char| c.is_ascii_digit());
        (number && split_mass(without_take(&name)).is_none())
            .then(|| format!("{}: \"+{mass}\" is no mass that can be read; write it like +5g", path.display()))
    })
}

/// Reads a station from a recording's path: the folder it lies in (`PART/STAGE/STATION+5g/take-01.wav`), or the file's own
/// name if that names a mass or the folder has no name (`waist+5g.wav`, `waist+5g-take-02.wav`).
pub fn station_of(path: &Path) -> Station {
    let folder = path.parent().map(|p| p.to_string_lossy().into_owned()).unwrap_or_default();
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    if let Some((place, added)) = split_mass(&folder) {
        return Station { place, added, is_folder: true };
    }
    let join = |name: &str| if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") };
    let (bare, added) =
        split_mass(without_take(&stem)).unwrap_or_else(|| (without_take(&stem).into(), Figure::exact(0.0)));
    // In a station's folder the files are called take-01, take-02, ...: the folder is the station.
    if bare.is_empty() {
        return Station { place: folder, added, is_folder: true };
    }
    Station { place: join(&bare), added, is_folder: false }
}

/// "waist-take-02" is "waist"; "take-02" is nothing.
fn without_take(stem: &str) -> &str {
    // "take-03-mishaps" is a take like any other.
    let rest = stem.get(..4).filter(|s| s.eq_ignore_ascii_case("take")).map(|_| &stem[4..]);
    if rest.is_some_and(|r| r.is_empty() || r.starts_with(|c: char| c.is_ascii_digit() || "-_ ".contains(c))) {
        return "";
    }
    let digits = stem.trim_end_matches(|c: char| c.is_ascii_digit());
    let mark = digits.trim_end_matches(['-', '_', ' ']);
    if digits.len() == stem.len() || !mark.to_lowercase().ends_with("take") {
        return if stem.eq_ignore_ascii_case("take") { "" } else { stem };
    }
    mark[..mark.len() - 4].trim_end_matches(['-', '_', ' '])
}

/// "waist+5g" is ("waist", 5 g).
fn split_mass(name: &str) -> Option<(String, Figure)> {
    let (place, mass) = name.rsplit_once('+')?;
    if mass.contains(['/', '\\']) {
        return None;
    }
    let mass = mass.replace('_', " ");
    let readings = parse_readings(&mass, Dimension::Mass).ok()?;
    // Masses of one name are one thing: the same weight in two takes is off by the same amount.
    Some((place.to_owned(), Figure::new(readings[0], POCKET_SCALE_KG, Cause::AddedMass(mass.into()))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_stations_from_names() {
        let read = |path: &str| {
            let station = station_of(Path::new(path));
            (station.place, (station.added.value * 1e6).round() / 1e3)
        };
        assert_eq!(read("rim/braced/waist+5g/take-01.wav"), ("rim/braced/waist".into(), 5.0));
        assert_eq!(read("rim/braced/waist/take-01.wav"), ("rim/braced/waist".into(), 0.0));
        assert_eq!(read("waist+10g-take-02.wav"), ("waist".into(), 10.0));
        assert_eq!(read("waist.wav"), ("waist".into(), 0.0));
        assert_eq!(read("x/waist-take-1.flac"), ("x/waist".into(), 0.0));
        assert_eq!(read("x/waist/take-03-mishaps.wav"), ("x/waist".into(), 0.0));
        assert!(misnamed(Path::new("x/waist+10.wav")).is_some() && misnamed(Path::new("x/waist+10g.wav")).is_none());
        assert_eq!(read("x/waist+0.25oz.wav"), ("x/waist".into(), 7.087));
        assert_eq!(read("a+b/knock.wav"), ("a+b/knock".into(), 0.0));
    }
}
