//! What `measure` says beyond modes: the described part's moduli, and stations that were tapped with masses stuck on.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use clap::Args;

use super::inputs::Input;
use crate::files::{MOST_WRITTEN_BYTES, read_text};
use crate::loss::{NumberedLoss, loss_quantities, power_drawn_ratio, station_mobility};
use crate::modes::Mode;
use crate::part::{Kind, Measured, PartDescription, Sizes, station_of};
use crate::report::{FigureEntry, PartEntry, RecordingEntry, StationEntry};
use crate::stiffness::{
    BlankResult, StationTake, StationTone, Tone, blank_from_tones, blank_quantities, follow_modes, mode_name,
    static_stiffness,
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
    /// The file that describes the part, if one was named.
    pub fn file(&self) -> Option<&Path> {
        self.part.as_deref()
    }

    /// The description, if one was given.
    pub fn read(&self) -> anyhow::Result<Option<PartDescription>> {
        if let Some(file) = &self.part {
            let text =
                read_text(file, MOST_WRITTEN_BYTES).with_context(|| format!("{}: cannot be read", file.display()))?;
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
    let mut told = PartEntry { name: part.name.clone(), kind: part.kind.name().to_owned(), ..PartEntry::default() };
    let sizes = match sizes_of_blank(part) {
        Ok(sizes) => sizes,
        Err(notes) => {
            told.notes = notes;
            entry.part = Some(told);
            return None;
        }
    };
    let tones: Vec<Tone> =
        modes.iter().map(|m| Tone { frequency_hz: m.frequency_hz, frequency_hz_u: m.frequency_hz_u }).collect();
    let blank = blank_from_tones(&sizes, &tones);
    let numbers = blank.numbering().map_or(&[][..], |n| &n.numbers);
    let mut losses = Vec::new();
    for (index, (across_length, across_width)) in numbers.iter().enumerate().filter_map(|(i, n)| n.map(|n| (i, n))) {
        losses.push(NumberedLoss {
            across_width,
            loss_factor: modes[index].loss_factor(),
            loss_factor_u: 2.0 * modes[index].damping_ratio_u,
        });
        entry.modes[index].name = Some(mode_name(across_length, across_width));
        entry.modes[index].expected_hz = blank.numbering().and_then(|n| n.expected_hz[index]);
    }
    let mut quantities = blank_quantities(part, &sizes, &blank);
    quantities.extend(loss_quantities(&sizes, &blank, &losses));
    entry.part = Some(told.with_blank(&blank, &quantities));
    blank.decided().then_some(blank)
}

/// The sizes of a flat blank that a modulus can be computed from, or why not.
fn sizes_of_blank(part: &PartDescription) -> Result<Sizes, Vec<String>> {
    let mut questions = part.questions();
    if !questions.is_empty() {
        questions.push("no modulus is computed until that is settled".into());
        return Err(questions);
    }
    if part.kind != Kind::Strip {
        return Err(vec![format!(
            "a {} has no modulus that a tap alone could tell: its frequency and mass compare its stages, and takes with a \
             small mass stuck on (folder STATION+5g) give its effective stiffness",
            part.kind.name()
        )]);
    }
    part.sizes().map_err(|missing| {
        vec![format!(
            "{} not given: modes, damping and loss can still be told, the modulus and stiffness cannot",
            missing.join(", ")
        )]
    })
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

/// What a station's place is called: part, stage and station name it; where the bench lies does not.
pub fn station_name(place: &str) -> String {
    let names: Vec<&str> = place.split('/').filter(|n| !n.is_empty()).collect();
    names[names.len().saturating_sub(3)..].join("/")
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
    places
        .into_iter()
        .filter(|(_, takes)| loaded(takes))
        .map(|(place, takes)| {
            let mut added: Vec<f64> = takes.iter().map(|t| t.added.value).collect();
            added.sort_by(f64::total_cmp);
            added.dedup();
            let shown = station_name(&place);
            let mut entry = match follow_modes(&takes) {
                Ok(results) => {
                    let mobility = station_mobility(&results, &place);
                    StationEntry::new(shown, added, &results, mobility)
                }
                Err(error) => StationEntry::failed(shown, added, error.to_string()),
            };
            if single && let Some(deflection) = part.and_then(|p| p.deflection.as_ref()) {
                let stiffness = static_stiffness(&deflection.weight, &deflection.reading);
                entry.static_stiffness_n_m = Some(FigureEntry::new(&stiffness));
            }
            entry
        })
        .collect()
}

/// Sets the power that each station draws against the first of them.
pub fn against_first(entries: &mut [StationEntry]) {
    let Some((first, rest)) = entries.split_first_mut() else { return };
    let Some(baseline) = &first.mobility else { return };
    for entry in rest {
        let power = entry.mobility.as_ref().and_then(|own| power_drawn_ratio(baseline, own));
        if let Some((ratio, band)) = power {
            entry.set_power((first.station.clone(), ratio, band));
        }
    }
}
