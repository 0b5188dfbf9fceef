//! A bench with all its takes measured: stage against stage, side against side, this part among earlier ones.

use std::path::Path;

use super::material::{best_take, material_of};
use super::prediction::{Plies, predict_plies, predict_rim};
use super::same_name::{both_names, partner};
use super::spot::{SpotFindings, spots};
use super::stage::{StageTake, repeatability_of, stage_knowing};
use super::take::Take;
use crate::bench::{Bench, Found, StationFolder};
use crate::compare::{Chart, Comparison, Repeatability, Stage, compare, control_charts};
use crate::part::{PartDescription, Station};
use crate::plan::{PastForecast, Ply, find_wood};
use crate::rim::Outline;
use crate::uncertainty::{COVERAGE_95, Cause};

/// Gives the outline of a rim by its name, or says why there is none.
type OutlineByName<'a> = Box<dyn Fn(&str) -> Result<Outline, String> + 'a>;

/// A bench with all its takes measured.
pub struct Shop<'a> {
    pub bench: Bench,
    found: Found,
    /// In the order of the stations and their takes.
    takes: Vec<Take>,
    /// Of each take, its station's place among those found, and where it was tapped.
    places: Vec<(usize, Station)>,
    /// How well takes repeat here: learned from every spot of every stage with two bare takes or more.
    known: Repeatability,
    /// The outline of a rim by its name, or why there is none.
    outline: OutlineByName<'a>,
}

/// Stages set against a baseline (or a part beside the one that it is to match) at one spot.
pub struct SpotComparison {
    pub station: String,
    /// The stage in which both are; of stages against the first, nothing.
    pub stage: Option<String>,
    pub comparisons: Vec<Comparison>,
    /// Places of the takes that show what was compared: the baseline's first bare one, then each other's.
    pub shown: Vec<Option<usize>>,
}

/// A part beside the one that it is to match.
pub struct Mates {
    /// Place of the other part.
    pub mate: usize,
    pub compared: Vec<SpotComparison>,
    /// Why nothing could be compared.
    pub why_none: Option<String>,
}

/// A part among the shop's earlier ones at one spot.
pub struct AmongEarlier {
    pub station: String,
    pub stage: String,
    pub charts: Vec<Chart>,
    pub notes: Vec<String>,
}

impl<'a> Shop<'a> {
    /// The files of all takes of a bench, station by station, each with the description of what was tapped.
    pub fn wanted<'b>(bench: &'b Bench, found: &'b Found) -> impl Iterator<Item = (&'b Path, &'b PartDescription)> {
        found.stations.iter().flat_map(|station| {
            let described = &bench.parts[station.part].stages[station.stage].1;
            station.takes.iter().map(move |(file, _)| (file.as_path(), described))
        })
    }

    /// `takes`: what was measured of the files that [`Shop::wanted`] lists, in their order. `outline` gives a rim's outline by its
    /// name.
    pub fn new(
        bench: Bench,
        found: Found,
        takes: Vec<Take>,
        outline: impl Fn(&str) -> Result<Outline, String> + 'a,
    ) -> Self {
        let of = |(place, station): (usize, &StationFolder)| {
            station.takes.iter().map(move |(_, tapped)| (place, tapped.clone())).collect::<Vec<_>>()
        };
        let places = found.stations.iter().enumerate().flat_map(of).collect();
        let mut shop =
            Self { bench, found, takes, places, known: Repeatability::default(), outline: Box::new(outline) };
        shop.known = shop.learned();
        shop
    }

    /// What all takes of this bench say of how well takes repeat.
    fn learned(&self) -> Repeatability {
        let mut spots: Vec<(usize, usize, &str)> =
            self.found.stations.iter().map(|s| (s.part, s.stage, s.station.as_str())).collect();
        spots.sort_unstable();
        spots.dedup();
        let of = |(part, stage, station): (usize, usize, &str)| {
            repeatability_of(&self.stage_takes(&self.measured(part, stage, Some(station))))
        };
        spots.into_iter().map(of).sum()
    }

    /// Takes by their places, as their stage takes them in.
    fn stage_takes(&self, places: &[usize]) -> Vec<StageTake> {
        let files: Vec<&Path> = self.found.stations.iter().flat_map(|s| &s.takes).map(|(f, _)| f.as_path()).collect();
        places.iter().map(|t| StageTake::in_file(&self.takes[*t], self.places[*t].1.clone(), files[*t])).collect()
    }

    pub fn takes(&self) -> &[Take] {
        &self.takes
    }

    /// Spots that were tapped with masses stuck on.
    pub fn spots(&self) -> Vec<SpotFindings> {
        let placed = |(take, (place, station)): (&Take, &(usize, Station))| {
            let folder = &self.found.stations[*place];
            let part = &self.bench.parts[folder.part];
            let place = format!("{}/{}/{}", part.name, part.stages[folder.stage].0, folder.station);
            StageTake::new(take, Station { place, ..station.clone() })
        };
        let all: Vec<StageTake> = self.takes.iter().zip(&self.places).map(placed).collect();
        let described = |place: &str| {
            let own = all.iter().position(|take| take.station.place == place)?;
            let folder = &self.found.stations[self.places[own].0];
            Some(&self.bench.parts[folder.part].stages[folder.stage].1)
        };
        spots(&all, described, None)
    }

    /// The stations of a part, by name.
    fn station_names(&self, part: usize) -> Vec<String> {
        let own = self.found.stations.iter().filter(|s| s.part == part);
        let mut names: Vec<String> = own.map(|s| s.station.clone()).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Places of the takes of a station that could be measured, each with what was stuck on.
    fn measured(&self, part: usize, stage: usize, station: Option<&str>) -> Vec<usize> {
        let own = |place: usize| {
            let folder = &self.found.stations[place];
            folder.part == part && folder.stage == stage && station.is_none_or(|s| folder.station == s)
        };
        (0..self.takes.len()).filter(|t| own(self.places[*t].0) && self.takes[*t].problem.is_none()).collect()
    }

    /// A stage of a part at a station, called `name`, and the place of its first bare take; `None` without a take that could be
    /// measured.
    fn stage(&self, part: usize, stage: usize, station: &str, name: &str) -> Option<(Stage, Option<usize>)> {
        let own = self.measured(part, stage, Some(station));
        let takes = self.stage_takes(&own);
        let shown = own.iter().zip(&takes).find(|(_, take)| !take.is_loaded()).map(|(place, _)| *place);
        let described = &self.bench.parts[part].stages[stage].1;
        (!takes.is_empty()).then(|| (stage_knowing(name, &takes, Some(described), self.known), shown))
    }

    /// Place of the first bare take of a stage at any station, whether it could be measured or not.
    pub fn first_bare_take(&self, part: usize, stage: usize) -> Option<usize> {
        self.places.iter().position(|(place, station)| {
            let folder = &self.found.stations[*place];
            folder.part == part && folder.stage == stage && station.added.value == 0.0
        })
    }

    /// The stages of a part against its first, station by station; and what keeps stations from being compared.
    pub fn stages(&self, index: usize) -> (Vec<SpotComparison>, Vec<String>) {
        let part = &self.bench.parts[index];
        let (mut all, mut problems) = (Vec::new(), Vec::new());
        if part.stages.len() < 2 {
            return (all, problems);
        }
        for station in self.station_names(index) {
            let Some((baseline, picture)) = self.stage(index, 0, &station, &part.stages[0].0) else {
                problems.push(format!(
                    "part {:?}, station {station:?}: the baseline stage {:?} has no take here, so nothing is compared",
                    part.name, part.stages[0].0
                ));
                continue;
            };
            let (mut comparisons, mut shown) = (Vec::new(), vec![picture]);
            for (stage, (name, described)) in part.stages.iter().enumerate().skip(1) {
                if let Some((other, picture)) = self.stage(index, stage, &station, name) {
                    let mut comparison = compare(&baseline, &other, &[]);
                    self.predict(&mut comparison, &station, &part.stages[0].1, described);
                    comparisons.push(comparison);
                    shown.push(picture);
                }
            }
            if !comparisons.is_empty() {
                all.push(SpotComparison { station, stage: None, comparisons, shown });
            }
        }
        (all, problems)
    }

    /// Laminations of a part whose stiffness was predicted and measured, for the shop's record. Blocks and braces say nothing of a
    /// lamination.
    pub fn record(&self, index: usize, compared: &[SpotComparison]) -> Vec<PastForecast> {
        let part = &self.bench.parts[index];
        let laminated = |stage: &str| {
            let described = part.stages.iter().find(|(name, _)| name == stage).map(|(_, d)| d);
            described.is_some_and(|d| d.rim.as_ref().is_none_or(|rim| !rim.joined()))
        };
        let of = |spot: &SpotComparison| -> Vec<PastForecast> {
            let own = spot.comparisons.iter().filter(|c| laminated(&c.other));
            own.filter_map(|c| past_forecast(c, &part.name, &spot.station)).collect()
        };
        compared.iter().flat_map(of).collect()
    }

    /// Sets what the plies of two stages lead to expect beside what was measured.
    fn predict(&self, comparison: &mut Comparison, station: &str, plain: &PartDescription, other: &PartDescription) {
        let plies = |described: &PartDescription| -> Option<Vec<Ply>> {
            described.plies.iter().enumerate().map(|(place, ply)| self.ply(place, ply)).collect()
        };
        let Some((before, after)) = plies(plain).zip(plies(other)) else { return };
        // One board, and what is glued to it: with more plies before there is no plain side to compare with.
        let ([alone], false) = (&before[..], after.is_empty()) else { return };
        let glued = Plies { alone, glued: &after };
        match (&plain.rim, &other.rim) {
            (Some(bare), Some(build)) if !bare.joined() => {
                predict_rim(comparison, (self.outline)(&build.outline), station, &glued, build);
            }
            _ if after.len() > 1 => predict_plies(comparison, plain, other, &glued),
            _ => {}
        }
    }

    /// A ply as the bench names it: of a blank on this bench, or of a wood in the table.
    ///
    /// Plies of a tapped blank are of one board; two of a wood in the table are two boards.
    fn ply(&self, place: usize, ply: &crate::part::Ply) -> Option<Ply> {
        let material = match self.bench.parts.iter().position(|p| p.name == ply.wood) {
            Some(blank) => {
                // Bare takes of the flat blank only: with a mass stuck on it is another body.
                let bare = self.takes.iter().zip(&self.places).filter(|(_, (folder, station))| {
                    self.found.stations[*folder].part == blank && station.added.value == 0.0
                });
                material_of(best_take(bare.map(|(take, _)| take))?, &ply.wood, &ply.wood).ok()?
            }
            None => find_wood(&ply.wood).ok()?.material(&format!("{}, ply {}", ply.wood, place + 1)),
        };
        let thickness = ply.thickness.of_source(Cause::PlyThickness((place + 1) as u8));
        Some(Ply { material, thickness, angle_rad: ply.grain_deg.to_radians() })
    }

    /// The part that one is to match, both beside each other in every stage and at every spot that both have; each pair once.
    pub fn mates(&self, index: usize) -> Option<Mates> {
        let mate = self.mate_of(index).filter(|mate| self.mate_of(*mate) != Some(index) || index < *mate)?;
        let (part, other) = (&self.bench.parts[index], &self.bench.parts[mate]);
        let spots = |part: usize, stage: usize| -> Vec<String> {
            let mut names = self.station_names(part);
            names.retain(|name| !self.measured(part, stage, Some(name)).is_empty());
            names
        };
        // Stages that were tapped.
        let tapped = |part: usize| -> Vec<(usize, &str)> {
            let stages = self.bench.parts[part].stages.iter().enumerate();
            stages
                .filter(|(stage, _)| !spots(part, *stage).is_empty())
                .map(|(s, (name, _))| (s, name.as_str()))
                .collect()
        };
        let (ours, theirs) = (tapped(index), tapped(mate));
        let names: Vec<&str> = theirs.iter().map(|(_, name)| *name).collect();
        let mut all = Vec::new();
        for (stage, name) in &ours {
            let Some(same) = partner(name, ours.len(), &names).map(|place| theirs[place].0) else { continue };
            let (here, there) = (spots(index, *stage), spots(mate, same));
            let there: Vec<&str> = there.iter().map(String::as_str).collect();
            for station in &here {
                let Some(beside_name) = partner(station, here.len(), &there).map(|place| there[place]) else {
                    continue;
                };
                let theirs = self.stage(mate, same, beside_name, &other.name);
                let both = self.stage(index, *stage, station, &part.name).zip(theirs);
                let Some(((a, shown), (b, beside))) = both else { continue };
                let mut comparison = compare(&a, &b, &[]);
                comparison.alike = true;
                all.push(SpotComparison {
                    station: both_names(station, beside_name),
                    stage: Some(both_names(name, &other.stages[same].0)),
                    comparisons: vec![comparison],
                    shown: vec![shown, beside],
                });
            }
        }
        let why_none = all.is_empty().then(|| self.why_no_mates(index, mate));
        Some(Mates { mate, compared: all, why_none })
    }

    /// Why two parts that are to match could not be set beside each other.
    fn why_no_mates(&self, index: usize, mate: usize) -> String {
        let tapped = |part: usize| -> String {
            let own = self.found.stations.iter().filter(|s| s.part == part);
            let stages = &self.bench.parts[part].stages;
            let mut places: Vec<String> = own.map(|s| format!("{}/{}", stages[s.stage].0, s.station)).collect();
            places.sort_unstable();
            places.dedup();
            if places.is_empty() { "nowhere".into() } else { places.join(", ") }
        };
        format!(
            "{:?} and {:?} are not compared: they share no stage and spot with takes that could be measured ({}; {})",
            self.bench.parts[index].name,
            self.bench.parts[mate].name,
            tapped(index),
            tapped(mate)
        )
    }

    /// The part that one is to match: as the bench says, or the one that is called right where this is called left.
    fn mate_of(&self, index: usize) -> Option<usize> {
        let part = &self.bench.parts[index];
        let named = |name: String| self.bench.parts.iter().position(|p| p.name == name && p.kind == part.kind);
        let swapped = || part.name.contains("left").then(|| named(part.name.replacen("left", "right", 1))).flatten();
        part.mate.or_else(swapped)
    }

    /// A part among the shop's earlier ones, in its last stage that all of them have.
    pub fn earlier(&self, index: usize) -> Vec<AmongEarlier> {
        let part = &self.bench.parts[index];
        if part.earlier.len() < 2 {
            return Vec::new();
        }
        let place = |p: usize, stage: &str| self.bench.parts[p].stages.iter().position(|(n, _)| n == stage);
        let charted = |station: String| {
            let (stage, (charts, notes)) = part.stages.iter().enumerate().rev().find_map(|(stage, (name, _))| {
                let this = self.stage(index, stage, &station, &part.name)?.0;
                let of = |p: &usize| Some(self.stage(*p, place(*p, name)?, &station, &self.bench.parts[*p].name)?.0);
                let all: Option<Vec<Stage>> = part.earlier.iter().map(of).collect();
                Some((name.clone(), control_charts(&this, &all?)))
            })?;
            Some(AmongEarlier { station, stage, charts, notes })
        };
        self.station_names(index).into_iter().filter_map(charted).collect()
    }
}

/// A comparison's predicted and measured stiffness, for the shop's record.
fn past_forecast(comparison: &Comparison, part: &str, station: &str) -> Option<PastForecast> {
    let foretold = comparison.foretold.iter().find(|f| f.code.contains("stiffness"))?;
    let row = comparison.whole.iter().find(|r| r.code == foretold.code)?;
    let relative = |low: f64, high: f64| (high / low).ln() / (2.0 * COVERAGE_95);
    Some(PastForecast {
        part: part.to_owned(),
        stage: comparison.other.clone(),
        station: station.to_owned(),
        foretold: foretold.value,
        foretold_relative_u: relative(foretold.low, foretold.high),
        measured: row.ratio.value,
        measured_relative_u: relative(row.ratio.low, row.ratio.high),
    })
}
