//! The recordings of a bench, found where they belong; and what lies elsewhere.

use std::path::{Path, PathBuf};

use super::file::Bench;
use crate::part::{Station, station_of};

/// Endings of files that are looked at inside folders. A file that is named outright is tried whatever its ending.
pub const RECORDING_ENDINGS: [&str; 14] =
    ["wav", "wave", "bwf", "rf64", "aif", "aiff", "aifc", "flac", "mp3", "m4a", "mp4", "caf", "ogg", "oga"];

/// Whether a file's ending is that of a recording.
pub fn is_recording(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|e| RECORDING_ENDINGS.contains(&e.as_str()))
}

/// The takes of one station of one stage.
#[derive(Debug, Clone, PartialEq)]
pub struct StationFolder {
    /// Places in the bench's parts and the part's stages.
    pub part: usize,
    pub stage: usize,
    /// Name of the station, without masses.
    pub station: String,
    /// The takes, each with its station (and the mass that was stuck on).
    pub takes: Vec<(PathBuf, Station)>,
}

/// What a bench folder holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    pub stations: Vec<StationFolder>,
    /// What does not fit `bench.toml`, each as a sentence with its path or line.
    pub problems: Vec<String>,
}

/// Sets the sound files of a bench against its `bench.toml`. `files`: every sound file below `recordings`.
pub fn find(bench: &Bench, recordings: &Path, files: &[PathBuf]) -> Found {
    let mut found = Found::default();
    for file in files {
        let inside = file.strip_prefix(recordings).unwrap_or(file);
        let names: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
        let [part_name, stage_name, station_name, _take] = &names[..] else {
            found.problems.push(format!(
                "{}: lies in the wrong place; it belongs to recordings/PART/STAGE/STATION/take-01.wav",
                file.display()
            ));
            continue;
        };
        let Some(part) = bench.parts.iter().position(|p| p.name == *part_name) else {
            found.problems.push(format!("{}: bench.toml has no part {part_name:?}", file.display()));
            continue;
        };
        let Some(stage) = bench.parts[part].stages.iter().position(|(n, _)| n == stage_name) else {
            let line = bench.parts[part].line;
            found.problems.push(format!(
                "{}: part {part_name:?} (bench.toml, line {line}) has no stage {stage_name:?}",
                file.display()
            ));
            continue;
        };
        let station = station_of(&PathBuf::from(station_name).join("take-01.wav"));
        if station_name.contains('+') && station.added.value == 0.0 {
            found.problems.push(format!(
                "{}: {station_name:?} names no mass that can be read; write it like waist+5g",
                file.display()
            ));
            continue;
        }
        let name = station.place.clone();
        let same = |s: &&mut StationFolder| s.part == part && s.stage == stage && s.station == name;
        match found.stations.iter_mut().find(same) {
            Some(known) => known.takes.push((file.clone(), station)),
            None => {
                found.stations.push(StationFolder { part, stage, station: name, takes: vec![(file.clone(), station)] })
            }
        }
    }
    for (p, part) in bench.parts.iter().enumerate() {
        for (s, (name, _)) in part.stages.iter().enumerate() {
            if !found.stations.iter().any(|f| f.part == p && f.stage == s) {
                found.problems.push(format!(
                    "bench.toml, line {}: stage {name:?} of part {:?} has no recording in recordings/{}/{name}/",
                    part.line, part.name, part.name
                ));
            }
        }
    }
    for station in &found.stations {
        if station.takes.iter().all(|(_, s)| s.added.value > 0.0) {
            let part = &bench.parts[station.part];
            found.problems.push(format!(
                "recordings/{}/{}/{}: only takes with a mass stuck on, none without",
                part.name, part.stages[station.stage].0, station.station
            ));
        }
    }
    found.stations.sort_by(|a, b| (a.part, &a.station, a.stage).cmp(&(b.part, &b.station, b.stage)));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_in_its_place() {
        let text = "format = 1\n[[part]]\nname = \"rim\"\nkind = \"rim\"\n[[part.stage]]\nname = \"plain\"\n[[part.stage]]\nname = \"braced\"\n";
        let bench = Bench::from_toml(text).unwrap_or_else(|e| panic!("{e}"));
        let root = Path::new("r");
        let files = [
            "r/rim/plain/waist/take-01.wav",
            "r/rim/plain/waist+5g/take-01.wav",
            "r/rim/glued/waist/take-01.wav",
            "r/x.wav",
            "r/rim/plain/waist+heavy/take-01.wav",
        ];
        let found = find(&bench, root, &files.map(PathBuf::from));
        assert_eq!(found.stations.len(), 1);
        assert_eq!(found.stations[0].takes.len(), 2);
        let told = found.problems.join("\n");
        for words in [
            "no stage \"glued\"",
            "r/x.wav: lies in the wrong place",
            "waist+heavy",
            "stage \"braced\" of part \"rim\" has no recording",
        ] {
            assert!(told.contains(words), "{words}\n{told}");
        }
    }
}
