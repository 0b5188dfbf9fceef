//! From the measured takes of a stage to what can be compared.

use super::assess::station_take;
use crate::compare::{Stage, StageMode, merge_takes};
use crate::loss::{Mobility, station_mobility};
use crate::part::{Measured, PartDescription, Station};
use crate::report::RecordingEntry;
use crate::stiffness::{StationTake, follow_modes, why_no_mass};

/// A measured take and where it was tapped.
pub struct Take<'a> {
    pub station: Station,
    pub entry: &'a RecordingEntry,
}

/// Joins the takes of one station of a stage.
pub fn stage_of(name: &str, takes: &[Take<'_>], part: Option<&PartDescription>) -> Stage {
    let mut stage = Stage { name: name.to_owned(), ..Stage::default() };
    let bare: Vec<&Take<'_>> = takes.iter().filter(|t| t.station.added.value == 0.0).collect();
    let lists: Vec<Vec<StageMode>> = bare
        .iter()
        .map(|take| {
            let mode = |m: &crate::report::ModeEntry| StageMode {
                frequency: Measured::new(m.frequency_hz, m.frequency_hz_u, "frequency"),
                damping_ratio: Measured::new(m.damping_ratio, m.damping_ratio_u, "damping"),
                level_db: m.level_db,
                name: m.name.clone(),
                taps: m.taps_used,
            };
            take.entry.modes.iter().map(mode).collect()
        })
        .collect();
    stage.takes = lists.len();
    stage.modes = merge_takes(name, &lists);
    stage.bending_stiffness = bare
        .iter()
        .flat_map(|t| t.entry.part.iter().flat_map(|p| &p.quantities))
        .find(|q| q.code == "bending_stiffness_n_m2")
        .map(|q| q.measured.clone().unwrap_or_else(|| Measured::new(q.figure.value, q.figure.u, "bending stiffness")))
        .map(|m| m.renamed(|s| own_source(s, name)));
    if let Some(part) = part {
        stage.build = part.rim.clone();
        stage.mass = part.mass.as_ref().map(|m| m.renamed(|s| own_source(s, name)));
        if let (Some(mass), Some(length)) = (&part.mass, &part.length) {
            let per_length = Measured::combine(&[mass, length], |x| x[0] / x[1]);
            stage.mass_per_length = Some(per_length.renamed(|s| own_source(s, name)));
        }
    }
    if takes.iter().any(|t| t.station.added.value > 0.0) {
        match mobility(takes, name) {
            Ok(mobility) => stage.mobility = Some(mobility),
            Err(why) => stage.notes.push(format!("{name}: no mobility: {why}")),
        }
    }
    stage
}

/// Everything is read anew in another stage but the masses that are stuck on, which are taken to be the same pieces (the
/// comparison says so), and Poisson's ratio, which is a guess for both.
fn own_source(source: &str, stage: &str) -> String {
    let shared = source == "Poisson's ratio" || source.starts_with("added ");
    if shared { source.to_owned() } else { format!("{source}, {stage}") }
}

fn mobility(takes: &[Take<'_>], stage: &str) -> Result<Mobility, String> {
    let station: Vec<StationTake> =
        takes.iter().map(|take| station_take(take.station.added.clone(), take.entry)).collect();
    let results = follow_modes(&station).map_err(|e| e.to_string())?;
    station_mobility(&results, stage)
        .ok_or_else(|| why_no_mass(&results).unwrap_or("no mode rings clearly enough to be followed").to_owned())
}
