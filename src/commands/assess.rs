//! What `measure` says beyond modes: the described part's moduli, and stations that were tapped with masses stuck on.

use std::path::PathBuf;

use anyhow::{Context, anyhow};
use clap::Args;

use super::inputs::Input;
use crate::modes::Mode;
use crate::part::{Kind, Measured, PartDescription, station_of};
use crate::report::{FigureEntry, PartEntry, RecordingEntry, StationEntry};
use crate::stiffness::{
    BlankResult, NumberedLoss, StationTake, StationTone, Tone, blank_from_tones, blank_quantities, follow_modes,
    mode_name, static_stiffness,
};

/// The part that was tapped.
#[derive(Debug, Args)]
pub struct PartArguments {
    /// A file that describes the part: kind, sizes, mass (see docs/part.md)
    #[arg(long, value_name = "FILE", conflicts_with_all = ["length", "width", "thickness", "mass"])]
    part: Option<PathBuf>,
    /// Length of a flat blank along the grain, such as "800 mm"
    #[arg(long, value_name = "SIZE")]
    length: Option<String>,
    /// Its width, such as "120 mm"
    #[arg(long, value_name = "SIZE")]
    width: Option<String>,
    /// Its thickness; several readings are averaged: "2.21 2.26 2.24 mm"
    #[arg(long, value_name = "SIZE")]
    thickness: Option<String>,
    /// Its mass, such as "132 g"
    #[arg(long, value_name = "MASS")]
    mass: Option<String>,
}

impl PartArguments {
    /// The description, if one was given.
    pub fn read(&self) -> anyhow::Result<Option<PartDescription>> {
        if let Some(file) = &self.part {
            let text = std::fs::read_to_string(file).with_context(|| format!("{}: cannot be read", file.display()))?;
            let part = PartDescription::from_toml(&text).map_err(|e| anyhow!("{}: {e}", file.display()))?;
            return Ok(Some(part));
        }
        let sizes = [&self.length, &self.width, &self.thickness, &self.mass].map(Option::as_deref);
        if sizes.iter().all(Option::is_none) {
            return Ok(None);
        }
        let part = PartDescription::from_sizes(sizes[0], sizes[1], sizes[2], sizes[3]).map_err(|e| anyhow!(e))?;
        Ok(Some(part))
    }
}

/// Adds to a recording what its part is worth; gives the blank back if its modes are numbered.
pub fn assess(part: &PartDescription, modes: &[Mode], entry: &mut RecordingEntry) -> Option<BlankResult> {
    let mut numbered = None;
    let mut told = PartEntry { name: part.name.clone(), kind: part.kind.name().to_owned(), ..PartEntry::default() };
    let questions = part.questions();
    let described = part.sizes();
    if !questions.is_empty() {
        told.notes.extend(questions);
        told.notes.push("no modulus is computed until that is settled".into());
    } else if part.kind != Kind::Strip {
        told.notes.push(format!(
            "a {} has no modulus that a tap alone could tell: its frequency and mass compare its stages, and takes with a \
             small mass stuck on (folder STATION+5g) give its effective stiffness",
            part.kind.name()
        ));
    } else {
        match described {
            Err(missing) => told.notes.push(format!(
                "{} not given: modes, damping and loss can still be told, the modulus and stiffness cannot",
                missing.join(", ")
            )),
            Ok(_) if modes.is_empty() => {}
            Ok(sizes) => {
                let tones: Vec<Tone> = modes
                    .iter()
                    .map(|m| Tone { frequency_hz: m.frequency_hz, frequency_hz_u: m.frequency_hz_u })
                    .collect();
                let blank = blank_from_tones(&sizes, &tones);
                let mut losses = Vec::new();
                if blank.decided()
                    && let Some(numbering) = blank.numberings.first()
                {
                    for (index, numbers) in numbering.numbers.iter().enumerate() {
                        let Some((across_length, across_width)) = *numbers else { continue };
                        losses.push(NumberedLoss {
                            across_width,
                            loss_factor: modes[index].loss_factor(),
                            loss_factor_u: 2.0 * modes[index].damping_ratio_u,
                        });
                        entry.modes[index].name = Some(mode_name(across_length, across_width));
                        entry.modes[index].expected_hz = numbering.expected_hz[index];
                    }
                }
                let quantities = blank_quantities(part, &sizes, &blank, &losses);
                told = told.with_blank(&blank, &quantities);
                numbered = blank.decided().then_some(blank);
            }
        }
    }
    entry.part = Some(told);
    numbered
}

/// One take's modes as its station knows them, with the mass that was stuck on.
pub fn station_take(added: Measured, recording: &RecordingEntry) -> StationTake {
    let tone = |m: &crate::report::ModeEntry| StationTone {
        frequency_hz: m.frequency_hz,
        frequency_hz_u: m.frequency_hz_u,
        damping_ratio: m.damping_ratio,
        damping_ratio_u: m.damping_ratio_u,
        level_db: m.level_db,
    };
    StationTake { added, tones: recording.modes.iter().map(tone).collect() }
}

/// The stations among some recordings: those that were tapped with a mass stuck on, and without.
pub fn stations(inputs: &[Input], recordings: &[RecordingEntry], part: Option<&PartDescription>) -> Vec<StationEntry> {
    let mut places: Vec<(String, Vec<StationTake>)> = Vec::new();
    for (input, recording) in inputs.iter().zip(recordings) {
        let Ok(path) = input else { continue };
        let station = station_of(path);
        let take = station_take(station.added, recording);
        match places.iter_mut().find(|(place, _)| *place == station.place) {
            Some((_, takes)) => takes.push(take),
            None => places.push((station.place, vec![take])),
        }
    }
    let loaded = |takes: &[StationTake]| takes.iter().any(|t| t.added.value > 0.0);
    // One weight on one place: it cannot belong to several.
    let single = places.iter().filter(|(_, takes)| loaded(takes)).count() == 1;
    let mut entries: Vec<StationEntry> = places
        .into_iter()
        .filter(|(_, takes)| loaded(takes))
        .map(|(place, takes)| {
            let mut added: Vec<f64> = takes.iter().map(|t| t.added.value).collect();
            added.sort_by(f64::total_cmp);
            added.dedup();
            // Part, stage and station name it; where the bench lies does not.
            let names: Vec<&str> = place.split('/').filter(|n| !n.is_empty()).collect();
            let shown = names[names.len().saturating_sub(3)..].join("/");
            let mut entry = StationEntry::new(shown, added, follow_modes(&takes));
            if single && let Some(deflection) = part.and_then(|p| p.deflection.as_ref()) {
                let stiffness = static_stiffness(&deflection.weight, &deflection.reading);
                entry.static_stiffness_n_m = Some(FigureEntry::new(&stiffness));
            }
            entry
        })
        .collect();
    // The first station is the baseline of the others.
    if let Some((first, rest)) = entries.split_first_mut() {
        rest.iter_mut().for_each(|entry| entry.against(first));
    }
    entries
}
