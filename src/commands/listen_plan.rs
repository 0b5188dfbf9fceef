//! What a session at the bench taps: part, stage, stations and added masses, from flags or asked for.

use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};

use crate::bench::{Bench, name_trouble};
use crate::files::{MOST_WRITTEN_BYTES, read_text};
use crate::listen::Step;
use crate::part::station_of;
use crate::report::shown;

/// The session's place on the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Agenda {
    pub part: String,
    pub stage: String,
    pub steps: Vec<Step>,
    /// Folder of each step's takes.
    pub folders: Vec<PathBuf>,
    /// Folder of each step's station without a mass.
    pub stations: Vec<PathBuf>,
}

/// What was named; what was not is asked for.
#[derive(Debug, Clone, Default)]
pub struct Named<'a> {
    pub part: Option<&'a str>,
    pub stage: Option<&'a str>,
    pub stations: &'a [String],
    pub masses: &'a [String],
    /// Takes of each station without a mass, the part hung again before each.
    pub takes: usize,
    /// Parts and stages that `bench.toml` does not know may be recorded.
    pub new: bool,
}

/// A mass heavier than this (kg) moves with no side or rim as it was.
const MOST_ADDED_KG: f64 = 0.2;

fn twice(names: &[String]) -> Option<&String> {
    names.iter().enumerate().find(|(i, n)| names[..*i].contains(n)).map(|(_, n)| n)
}

fn described_part(part: Option<&str>, what: &str) -> String {
    match (part, what) {
        (Some(part), "stage") => format!(" of part {part:?}"),
        _ => String::new(),
    }
}

/// Suggestions where the bench has none.
const STAGES: [&str; 3] = ["plain", "laminated", "braced"];
const STATIONS: [&str; 5] = ["lower bout", "waist", "upper bout", "neck block", "tail block"];

/// Reads `bench.toml` if the folder has one.
pub fn bench_of(folder: &Path) -> anyhow::Result<Option<Bench>> {
    let file = folder.join("bench.toml");
    match read_text(&file, MOST_WRITTEN_BYTES) {
        Ok(text) => Ok(Some(Bench::from_toml(&text).map_err(|e| anyhow!("{}: {e}", folder.display()))?)),
        Err(error) if error.is_missing() => Ok(None),
        Err(error) => Err(error).with_context(|| format!("{}: cannot be read", file.display())),
    }
}

/// Settles what is tapped.
///
/// # Errors
/// Something is missing and nobody can be asked, or a name or a mass cannot be used.
pub fn agenda(folder: &Path, bench: Option<&Bench>, named: &Named<'_>) -> anyhow::Result<Agenda> {
    let known: Vec<String> = bench.map(|b| b.parts.iter().map(|p| p.name.clone()).collect()).unwrap_or_default();
    let strict = |given: Option<&str>, what: &str, known: &[String]| -> anyhow::Result<()> {
        let unknown = given.map(str::trim).filter(|g| bench.is_some() && !named.new && !known.iter().any(|k| k == g));
        match unknown {
            Some(name) => bail!(
                "bench.toml has no {what} {name:?}{}; it has: {}. Add it there, or say --new to record it all the same",
                described_part(named.part, what),
                known.join(", ")
            ),
            None => Ok(()),
        }
    };
    strict(named.part, "part", &known)?;
    let part = choose("part", "--part left-side", named.part, &known)?;
    let described = bench.and_then(|b| b.parts.iter().find(|p| p.name == part));
    let stages = match described {
        Some(part) => part.stages.iter().map(|(name, _)| name.clone()).collect(),
        None => STAGES.map(str::to_owned).to_vec(),
    };
    if described.is_some() {
        strict(named.stage, "stage", &stages)?;
    }
    let stage = choose("stage", "--stage plain", named.stage, &stages)?;
    let at = folder.join("recordings").join(&part);
    let stations = if named.stations.is_empty() {
        let tapped = stations_in(&at);
        let suggestions = if tapped.is_empty() { STATIONS.map(str::to_owned).to_vec() } else { tapped };
        ask_stations(&suggestions)?
    } else {
        named.stations.iter().map(|s| s.trim().to_owned()).collect()
    };
    if let Some(twice) = twice(&stations) {
        bail!("station {twice:?} is named twice");
    }
    if let Some(twice) = twice(named.masses) {
        bail!("--added {twice:?} is named twice");
    }
    for (what, names) in [("part", vec![&part]), ("stage", vec![&stage]), ("station", stations.iter().collect())] {
        if let Some(trouble) = names.into_iter().find_map(|n| name_trouble(n, what)) {
            bail!("{trouble}");
        }
    }
    let mut agenda = Agenda { part, stage, steps: Vec::new(), folders: Vec::new(), stations: Vec::new() };
    let at = at.join(&agenda.stage);
    for station in &stations {
        let mut add = |name: String, change: String, folder: String| {
            agenda.steps.push(Step { name, change });
            agenda.folders.push(at.join(folder));
            agenda.stations.push(at.join(station));
        };
        let change = match named.masses {
            [] => format!("tap at {station}"),
            _ => format!("take every added mass off, and tap at {station}"),
        };
        add(station.clone(), change, station.clone());
        for mass in named.masses {
            let written: String = mass.chars().filter(|c| !c.is_whitespace()).collect();
            let name = format!("{station}+{written}");
            match station_of(&PathBuf::from(&name).join("take-01.wav")).added.value {
                kg if kg <= 0.0 => {
                    bail!("--added {mass:?}: is no mass that can be read; write it like \"5 g\" or \"0.25 oz\"")
                }
                kg if kg > MOST_ADDED_KG => {
                    bail!("--added {mass:?}: more than 200 g is no small mass beside what moves at a station")
                }
                _ => {}
            }
            add(
                format!("{station} + {mass}"),
                format!("stick {mass} on at {station}, flat and tight, and tap beside it"),
                name,
            );
        }
        for take in 2..=named.takes {
            let masses_off = if named.masses.is_empty() { "" } else { "take every added mass off, " };
            add(
                format!("{station}, take {take}"),
                format!("{masses_off}lift the part off, hang it again just as it was, and tap at {station}"),
                station.clone(),
            );
        }
    }
    Ok(agenda)
}

/// Stations that this part was tapped at before.
fn stations_in(part: &Path) -> Vec<String> {
    let folders = |path: &Path| -> Vec<PathBuf> {
        std::fs::read_dir(path).into_iter().flatten().flatten().map(|e| e.path()).filter(|p| p.is_dir()).collect()
    };
    let mut names: Vec<String> = folders(part)
        .iter()
        .flat_map(|stage| folders(stage))
        .filter_map(|p| p.file_name().map(|n| n.to_string_lossy().into_owned()))
        .filter(|n| !n.contains('+') && !n.starts_with('.'))
        .collect();
    names.sort();
    names.dedup();
    names
}

/// One or more stations, in the order in which they will be tapped.
fn ask_stations(suggestions: &[String]) -> anyhow::Result<Vec<String>> {
    ask("station", "several with commas between", "--station waist", suggestions, &|line| {
        let all: Result<Vec<String>, String> = line.split(',').map(|s| completed(s.trim(), suggestions)).collect();
        all.and_then(|all| all.iter().find_map(|n| name_trouble(n, "station")).map_or(Ok(all), Err))
    })
}

/// The name that was given, or the answer of the person at the terminal: a number of the list, the beginning of a name, or a
/// new name.
fn choose(what: &str, flag: &str, given: Option<&str>, known: &[String]) -> anyhow::Result<String> {
    if let Some(given) = given {
        return Ok(given.trim().to_owned());
    }
    ask(what, "or a new name", flag, known, &|line| {
        let name = completed(line, known)?;
        name_trouble(&name, what).map_or(Ok(name), Err)
    })
}

/// Asks until the answer can be read.
fn ask<T>(
    what: &str,
    more: &str,
    flag: &str,
    known: &[String],
    read: &dyn Fn(&str) -> Result<T, String>,
) -> anyhow::Result<T> {
    if !std::io::stdin().is_terminal() {
        bail!("which {what}? Say it like {flag}");
    }
    let mut out = std::io::stderr().lock();
    loop {
        writeln!(out, "which {what}?")?;
        for (index, name) in known.iter().enumerate() {
            writeln!(out, "  {} {}", index + 1, shown(name))?;
        }
        write!(out, "number, or beginning of a name; {more}: ")?;
        out.flush()?;
        let mut line = String::new();
        if std::io::stdin().lock().read_line(&mut line)? == 0 {
            bail!("no {what} was named");
        }
        // Arrow keys and the like leave marks that are no part of a name.
        let line: String = strip_escapes(&line);
        match read(line.trim()) {
            Ok(answer) => return Ok(answer),
            Err(trouble) => writeln!(out, "{}", shown(&trouble))?,
        }
    }
}

/// Without the sequences that arrow keys send.
fn strip_escapes(line: &str) -> String {
    let mut out = String::new();
    let mut chars = line.chars();
    while let Some(c) = chars.next() {
        if c == '\u{1b}' {
            // ESC [ ... letter
            let _ = chars.by_ref().find(|c| c.is_ascii_alphabetic() || *c == '~');
        } else if !c.is_control() {
            out.push(c);
        }
    }
    out
}

fn completed(answer: &str, known: &[String]) -> Result<String, String> {
    if answer.is_empty() {
        return Err("an empty line names nothing".into());
    }
    if let Ok(number) = answer.parse::<usize>() {
        let beyond = || format!("there is no number {number} in the list");
        return number.checked_sub(1).and_then(|i| known.get(i)).cloned().ok_or_else(beyond);
    }
    if known.iter().any(|k| k == answer) {
        return Ok(answer.to_owned());
    }
    let low = answer.to_lowercase();
    let fitting: Vec<&String> = known.iter().filter(|k| k.to_lowercase().starts_with(&low)).collect();
    match &fitting[..] {
        [] => Ok(answer.to_owned()),
        [one] => Ok((*one).clone()),
        several => Err(format!("{answer:?} fits {several:?}: write a little more")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_completed() {
        let known = ["left-side".to_owned(), "left-blank".to_owned(), "rim".to_owned()];
        assert_eq!(completed("3", &known), Ok("rim".into()));
        assert_eq!(completed("R", &known), Ok("rim".into()));
        assert_eq!(completed("back", &known), Ok("back".into()));
        assert!(
            completed("left", &known).is_err() && completed("7", &known).is_err() && completed("", &known).is_err()
        );
    }

    #[test]
    fn every_station_is_tapped_bare_with_each_mass_and_hung_again() {
        let stations = ["waist".to_owned(), "lower bout".to_owned()];
        let masses = ["5 g".to_owned()];
        let named = Named {
            part: Some("rim"),
            stage: Some("plain"),
            stations: &stations,
            masses: &masses,
            takes: 2,
            new: false,
        };
        let agenda = agenda(Path::new("shop"), None, &named).expect("all is named");
        let names: Vec<&str> = agenda.steps.iter().map(|s| s.name.as_str()).collect();
        let waist = ["waist", "waist + 5 g", "waist, take 2"];
        assert_eq!(names, [&waist[..], &["lower bout", "lower bout + 5 g", "lower bout, take 2"]].concat());
        assert_eq!(agenda.folders[2], agenda.folders[0], "the next number in the same folder");
        assert!(agenda.steps[2].change.starts_with("take every added mass off, lift the part off, hang it again"));
        assert_eq!(agenda.folders[1], Path::new("shop/recordings/rim/plain/waist+5g"));
        assert_eq!(agenda.stations[1], Path::new("shop/recordings/rim/plain/waist"));
        let bad = Named { masses: &["heavy".to_owned()], ..named };
        let told = super::agenda(Path::new("."), None, &bad).expect_err("no mass").to_string();
        assert!(told.contains("--added \"heavy\""), "{told}");
    }
}
