//! From the measured takes of a stage to what can be compared.

use std::path::Path;

use super::lowest_mode::lowest_is_known;
use super::spot_motion::{NO_MOBILITY_ACROSS, motion_of};
use super::take::Take;
use crate::compare::{Repeatability, Stage, StageMode, Tapped, merge_takes_knowing};
use crate::files::written_s;
use crate::loss::{Mobility, compliance, station_mobility};
use crate::part::{Kind, PartDescription, Station};
use crate::plan::find_wood;
use crate::stiffness::{QuantityKind, StationMasses, StationTake, StationTone, station_masses, why_no_mass};
use crate::uncertainty::{Cause, Figure, Scope, Source};

/// One take as its stage takes it in: where it was tapped, with what stuck on, and what was found.
#[derive(Debug, Clone)]
pub struct StageTake {
    pub station: Station,
    pub modes: Vec<StageMode>,
    /// Bending stiffness EI (N m2) of a flat blank.
    pub bending_stiffness: Option<Figure>,
    /// When its file was written (s since 1970), and how long it lasts (s), if it lies in one.
    pub recorded: Option<(f64, f64)>,
}

impl StageTake {
    /// A measured take at a station.
    pub fn new(take: &Take, station: Station) -> Self {
        let mode = |named: &super::NamedMode| StageMode {
            frequency: named.mode.frequency.clone(),
            damping_ratio: named.mode.damping_ratio.clone(),
            level_db: named.mode.level_db,
            name: named.name.clone(),
            taps: named.mode.taps_used,
        };
        let bending_stiffness =
            take.part.as_ref().and_then(|part| part.quantity(QuantityKind::BendingStiffness)).cloned();
        Self { station, modes: take.modes.iter().map(mode).collect(), bending_stiffness, recorded: None }
    }

    /// The same of a take that lies in a file: when that was written is when it was tapped.
    pub fn in_file(take: &Take, station: Station, file: &Path) -> Self {
        let recorded = written_s(file).zip(take.facts.as_ref().map(|facts| facts.duration_s));
        Self { recorded, ..Self::new(take, station) }
    }

    /// Whether a mass was stuck on.
    pub fn is_loaded(&self) -> bool {
        self.station.added.value > 0.0
    }

    /// Its modes as its station knows them, with the mass that was stuck on.
    pub(super) fn at_station(&self) -> StationTake {
        let tone = |m: &StageMode| StationTone {
            frequency_hz: m.frequency.value,
            frequency_hz_u: m.frequency.u_95(),
            damping_ratio: m.damping_ratio.value,
            damping_ratio_u: m.damping_ratio.u_95(),
            level_db: m.level_db,
        };
        StationTake { added: self.station.added.clone(), tones: self.modes.iter().map(tone).collect() }
    }
}

/// How the bare takes among these, all of one station of a stage, repeat.
pub fn repeatability_of(takes: &[StageTake]) -> Repeatability {
    Repeatability::of_takes(&bare_modes(takes))
}

/// All modes of the takes without a mass.
pub(super) fn bare_of(takes: &[StageTake]) -> Vec<&StageMode> {
    takes.iter().filter(|t| !t.is_loaded()).flat_map(|t| &t.modes).collect()
}

fn bare_modes(takes: &[StageTake]) -> Vec<Vec<StageMode>> {
    takes.iter().filter(|t| !t.is_loaded()).map(|take| take.modes.clone()).collect()
}

/// Joins the takes of one station of a stage called `name`; they alone say how well they repeat.
pub fn stage_of(name: &str, takes: &[StageTake], part: Option<&PartDescription>) -> Stage {
    stage_knowing(name, takes, part, repeatability_of(takes))
}

/// The same with what is known of how well takes repeat: these takes' own scatter and that of the shop's others.
pub fn stage_knowing(name: &str, takes: &[StageTake], part: Option<&PartDescription>, known: Repeatability) -> Stage {
    let mut stage = Stage { name: name.to_owned(), ..Stage::default() };
    let scope = Scope::Stage(name.into());
    let own = |figure: &Figure| figure.scoped(&scope, is_read_anew);
    let bare: Vec<&StageTake> = takes.iter().filter(|t| !t.is_loaded()).collect();
    let lists = bare_modes(takes);
    stage.takes = lists.len();
    stage.modes = merge_takes_knowing(name, &lists, &known);
    stage.known = known;
    stage.tapped = tapped(takes, part);
    let measured: Vec<&Figure> = bare.iter().filter_map(|t| t.bending_stiffness.as_ref()).collect();
    stage.bending_stiffness = mean_stiffness(&measured, &known).as_ref().map(own);
    if let Some(part) = part {
        stage.build = part.rim.clone();
        let read = |s: &Source| matches!(s.cause, Cause::Temperature | Cause::Humidity);
        stage.moisture = part.moisture().map(|m| m.scoped(&scope, read));
        stage.modulus_lost = modulus_lost(part);
        stage.mass = part.mass.as_ref().map(own);
        if let (Some(mass), Some(length)) = (&part.mass, &part.length) {
            stage.mass_per_length = Some(own(&mass.over(length)));
        }
    }
    if takes.iter().any(StageTake::is_loaded) {
        match mobility(takes, name, part) {
            Ok((mobility, lowest)) => {
                match lowest {
                    // What the modes above add is another unknown in another stage.
                    Ok(()) => {
                        let above = |s: &Source| s.cause == Cause::ModesOutsideBand;
                        stage.compliance = Some(compliance(&mobility).scoped(&scope, above));
                    }
                    Err(why) => stage.notes.push(format!("{name}: how far the spot gives is not known: {why}")),
                }
                stage.mobility = Some(mobility);
            }
            Err(why) => stage.notes.push(format!("{name}: no mobility: {why}")),
        }
    }
    stage
}

/// When a stage was tapped. A take that lies in no file leaves that open.
fn tapped(takes: &[StageTake], part: Option<&PartDescription>) -> Tapped {
    let files: Option<Vec<(f64, f64)>> = takes.iter().map(|t| t.recorded).collect();
    Tapped { day: part.and_then(|p| p.date), files: files.unwrap_or_default() }
}

/// How much of its modulus the wood of a part loses with moisture: mean of its plies by their thickness, if the table has them all.
fn modulus_lost(part: &PartDescription) -> Option<f64> {
    let of =
        |ply: &crate::part::Ply| Some((ply.thickness.value, find_wood(&ply.wood).ok()?.modulus_lost_with_moisture()));
    let plies: Vec<(f64, f64)> = part.plies.iter().map(of).collect::<Option<_>>()?;
    let whole: f64 = plies.iter().map(|p| p.0).sum();
    (whole > 0.0).then(|| plies.iter().map(|p| p.0 * p.1).sum::<f64>() / whole)
}

/// Bending stiffness by several takes: their geometric mean. What keeps it from being known is the same in all (sizes, uneven wood) but
/// holding anew, which moves all frequencies of a take, and the stiffness by twice as much.
fn mean_stiffness(takes: &[&Figure], known: &Repeatability) -> Option<Figure> {
    let widest = takes.iter().max_by(|a, b| a.relative_u().total_cmp(&b.relative_u()))?;
    let n = takes.len() as f64;
    let mean = (takes.iter().map(|f| f.value.ln()).sum::<f64>() / n).exp();
    let held = 2.0 * mean * known.of_frequency() / n.sqrt();
    // By what this shop knows of it, in place of what a single take assumes.
    let others = widest.contributions().filter(|(source, _)| source.cause != Cause::HeldAnewFrequency);
    let widest = Figure::with_contributions(widest.value, others.map(|(source, part)| (source.clone(), part)));
    Some(widest.times(mean / widest.value).plus_uncertainty(held, Cause::HeldAnewFrequency))
}

/// Everything is read anew in another stage but the masses that are stuck on, which are taken to be the same pieces (the
/// comparison says so), and Poisson's ratio, which is a guess for both.
fn is_read_anew(source: &Source) -> bool {
    !matches!(source.cause, Cause::PoissonsRatio | Cause::AddedMass(_))
}

/// The mobility of the takes' spot, and whether its lowest mode is among those known.
fn mobility(
    takes: &[StageTake],
    stage: &str,
    part: Option<&PartDescription>,
) -> Result<(Mobility, Result<(), String>), String> {
    let station: Vec<StationTake> = takes.iter().map(StageTake::at_station).collect();
    let motion = motion_of(takes.first().map_or("", |t| &t.station.place), part);
    if motion.may_slide && station.iter().any(|t| t.added.value > 0.0) {
        return Err(NO_MOBILITY_ACROSS.into());
    }
    let found = station_masses(&station, &motion).map_err(|e| e.to_string())?;
    let place = takes.first().map_or("", |t| t.station.place.as_str());
    let mobility = mobility_of(&found, stage, part)?;
    Ok((mobility, lowest_is_known(place, &bare_of(takes), &found.modes, part)))
}

/// The mobility of a station named `at` by what stuck-on masses told, or why there is none, in words.
pub(super) fn mobility_of(found: &StationMasses, at: &str, part: Option<&PartDescription>) -> Result<Mobility, String> {
    let kg = part.and_then(|p| p.mass.as_ref()).map(|m| m.value);
    // On its middle line a rim does not turn under a push across.
    let turns = part.is_none_or(|p| p.kind == Kind::Strip);

    let why = || {
        let reason = why_no_mass(&found.modes).map(ToString::to_string);
        let reason = reason.unwrap_or_else(|| "no mode rings clearly enough to be followed".to_owned());
        found.advice_if_wanted().map_or(reason.clone(), |advice| format!("{reason}; {}", advice.sentence()))
    };
    station_mobility(&found.modes, at).map(|m| m.of_part(kg, turns)).ok_or_else(why)
}
