//! The parts of a bench in its diary: stage against stage, side against side, this one against earlier ones.

use std::path::Path;

use anyhow::anyhow;

use super::assess::stations;
use super::bench_takes::{Wanted, input_path, part_pages};
use super::diary::Desk;
use super::foretell::{foretell_plies, foretell_rim};
use super::inputs::Input;
use super::ply_material::{best_take, material_of};
use super::print;
use super::stage::{Take, stage_of};
use super::take::station_page_name;
use crate::bench::{Bench, BenchPart, Found, StationFolder};
use crate::compare::{Comparison, Stage, compare, control_charts};
use crate::files::{MOST_REPORT_BYTES, read_bytes};
use crate::modes::COVERAGE_95;
use crate::part::{PartDescription, Station};
use crate::plan::{PastForecast, Ply, find_wood};
use crate::report::{
    Document, IndexAnswer, IndexPart, IndexPicture, IndexSection, TakePicture, comparison_png, comparison_text,
    control_png, control_text, station_png,
};

/// A comparison's foretold and measured stiffness, for the shop's record.
fn past_forecast(comparison: &Comparison, part: &str, stage: &str, station: &str) -> Option<PastForecast> {
    let foretold = comparison.foretold.iter().find(|f| f.code.contains("stiffness"))?;
    let row = comparison.whole.iter().find(|r| r.code == foretold.code)?;
    let relative = |low: f64, high: f64| (high / low).ln() / (2.0 * COVERAGE_95);
    Some(PastForecast {
        part: part.to_owned(),
        stage: stage.to_owned(),
        station: station.to_owned(),
        foretold: foretold.value,
        foretold_relative_u: relative(foretold.low, foretold.high),
        measured: row.ratio.value,
        measured_relative_u: relative(row.ratio.low, row.ratio.high),
    })
}

/// A bench with all its takes measured.
pub struct Session<'a> {
    desk: &'a Desk<'a>,
    bench: Bench,
    found: Found,
    /// Of every take, in the order of the stations: its station's place, and itself.
    wanted: Vec<(usize, Wanted)>,
    pictures: Vec<TakePicture>,
    /// Its recordings are the takes, in their order.
    pub document: Document,
    pub problems: Vec<String>,
    /// Laminations whose stiffness was foretold and measured.
    pub record: Vec<PastForecast>,
}

impl<'a> Session<'a> {
    /// Measures all takes of a bench.
    pub fn new(desk: &'a Desk<'a>, bench: Bench, found: Found) -> Self {
        let recordings = desk.folder.join("recordings");
        let want = |station: &StationFolder, file: &Path| Wanted {
            input: Ok(file.to_owned()),
            name: desk.name_of(file),
            page: desk.page_of(file, &recordings),
            part: Some(bench.parts[station.part].stages[station.stage].1.clone()),
        };
        let (places, mut wanted): (Vec<usize>, Vec<Wanted>) = found
            .stations
            .iter()
            .enumerate()
            .flat_map(|(place, station)| station.takes.iter().map(move |(file, _)| (place, station, file)))
            .map(|(place, station, file)| (place, want(station, file)))
            .unzip();
        part_pages(&mut wanted);
        let (takes, troubles) = desk.measure(&wanted);
        let (entries, pictures): (Vec<_>, Vec<_>) = takes.into_iter().map(|t| (t.entry, t.picture)).unzip();
        let mut problems = found.problems.clone();
        problems.extend(entries.iter().filter_map(|e| e.error.as_ref().map(|why| format!("{}: {why}", e.file))));
        problems.extend(troubles);
        let inputs: Vec<Input> = wanted.iter().map(|w| w.input.clone()).collect();
        let mut document = Document::new(entries);
        document.stations = stations(&inputs, &document.recordings, None);
        Self {
            desk,
            bench,
            found,
            wanted: places.into_iter().zip(wanted).collect(),
            pictures,
            document,
            problems,
            record: Vec::new(),
        }
    }

    /// Every part as the diary shows it.
    pub fn parts(&mut self) -> anyhow::Result<Vec<IndexPart>> {
        (0..self.bench.parts.len())
            .map(|index| {
                let part = self.bench.parts[index].clone();
                let mut sections = self.stages(index, &part)?;
                sections.extend(self.mates(index, &part)?);
                sections.extend(self.earlier(index, &part)?);
                sections.push(self.pages(index, &part)?);
                sections.retain(|s| !s.answers.is_empty() || !s.pictures.is_empty());
                let (name, kind, notes) = (part.name.clone(), part.kind.name().to_owned(), notes_of(&part));
                Ok(IndexPart { name, kind, notes, sections })
            })
            .collect()
    }

    /// The stations of a part, by name.
    fn station_names(&self, part: usize) -> Vec<String> {
        let mut names: Vec<String> =
            self.found.stations.iter().filter(|s| s.part == part).map(|s| s.station.clone()).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// A stage of a part at a station, called `name`, and what it sounds like; `None` without a take that could be measured.
    fn stage(&self, part: usize, stage: usize, station: &str, name: &str) -> Option<(Stage, TakePicture)> {
        let at = |f: &StationFolder| f.part == part && f.stage == stage && f.station == station;
        let place = self.found.stations.iter().position(at)?;
        let folder = &self.found.stations[place];
        let all = self.wanted.iter().zip(&self.document.recordings).zip(&self.pictures);
        let own = all.filter(|((wanted, _), _)| wanted.0 == place).zip(&folder.takes);
        let mut takes = Vec::new();
        let mut picture = None;
        for (((_, entry), shown), (_, station)) in own.filter(|(((_, entry), _), _)| entry.error.is_none()) {
            picture = picture.or((station.added.value == 0.0).then(|| shown.clone()));
            takes.push(Take { station: station.clone(), entry });
        }
        let described = &self.bench.parts[part].stages[stage].1;
        (!takes.is_empty()).then(|| (stage_of(name, &takes, Some(described)), picture.unwrap_or_default()))
    }

    /// The stages of a part against its first, station by station.
    fn stages(&mut self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let mut sections = Vec::new();
        if part.stages.len() < 2 {
            return Ok(sections);
        }
        for station in self.station_names(index) {
            let Some((baseline, picture)) = self.stage(index, 0, &station, &part.stages[0].0) else {
                self.problems.push(format!(
                    "part {:?}, station {station:?}: the baseline stage {:?} has no take here, so nothing is compared",
                    part.name, part.stages[0].0
                ));
                continue;
            };
            let mut pictures = vec![picture];
            let mut comparisons: Vec<Comparison> = Vec::new();
            for (stage, (name, _)) in part.stages.iter().enumerate().skip(1) {
                if let Some((other, picture)) = self.stage(index, stage, &station, name) {
                    let mut comparison = compare(&baseline, &other, &[]);
                    self.foretell(&mut comparison, &station, &part.stages[0].1, &part.stages[stage].1);
                    // Blocks and braces say nothing of a lamination.
                    if part.stages[stage].1.rim.as_ref().is_none_or(|rim| !rim.joined()) {
                        self.record.extend(past_forecast(&comparison, &part.name, name, &station));
                    }
                    comparisons.push(comparison);
                    pictures.push(picture);
                }
            }
            let what = format!("{}, {station}", part.name);
            let title = format!("{what}: stage against stage");
            let file = format!("{}-{station}-compared.png", part.name);
            sections.extend(self.compared((&what, &title), &file, &comparisons, &pictures)?);
        }
        Ok(sections)
    }

    /// Sets what the plies of two stages foretell beside what was measured.
    fn foretell(&self, comparison: &mut Comparison, station: &str, plain: &PartDescription, other: &PartDescription) {
        let plies = |described: &PartDescription| -> Option<Vec<Ply>> {
            described.plies.iter().enumerate().map(|(place, ply)| self.ply(place + 1, ply)).collect()
        };
        let Some((before, after)) = plies(plain).zip(plies(other)) else { return };
        // One board, and what is glued to it: with more plies before there is no plain side to compare with.
        let ([alone], false) = (&before[..], after.is_empty()) else { return };
        match (&plain.rim, &other.rim) {
            (Some(bare), Some(build)) if !bare.joined() => {
                foretell_rim(comparison, self.desk.folder, station, (alone, &after), build);
            }
            _ if after.len() > 1 => foretell_plies(comparison, (plain, other), (alone, &after)),
            _ => {}
        }
    }

    /// A ply as `bench.toml` names it: of a blank on this bench, or of a wood in the table.
    ///
    /// Plies of a tapped blank are of one board; two of a wood in the table are two boards.
    fn ply(&self, place: usize, ply: &crate::part::Ply) -> Option<Ply> {
        let blank = self.bench.parts.iter().position(|p| p.name == ply.wood);
        // Bare takes of the flat blank only: with a mass stuck on it is another body.
        let takes = || {
            let of = |(place, wanted): &(usize, Wanted)| {
                let folder = &self.found.stations[*place];
                let bare = |(file, station): &(std::path::PathBuf, Station)| {
                    file == input_path(wanted) && station.added.value == 0.0
                };
                blank == Some(folder.part) && folder.takes.iter().any(bare)
            };
            self.wanted.iter().zip(&self.document.recordings).filter(move |(w, _)| of(w)).map(|(_, entry)| entry)
        };
        let material = match blank {
            Some(_) => material_of(best_take(takes())?, &ply.wood, &ply.wood).ok()?,
            None => find_wood(&ply.wood).ok()?.material(&format!("{}, ply {place}", ply.wood)),
        };
        let thickness = ply.thickness.renamed(|_| format!("thickness of ply {place}"));
        Some(Ply { material, thickness, angle_rad: ply.grain_deg.to_radians() })
    }

    /// A part beside the one that it is to match, in every stage that both have.
    fn mates(&self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let mut sections = Vec::new();
        let Some(mate) = self.mate_of(index).filter(|mate| self.first_of_pair(index, *mate)) else {
            return Ok(sections);
        };
        let other = self.bench.parts[mate].clone();
        let theirs = self.station_names(mate);
        for (stage, (name, _)) in part.stages.iter().enumerate() {
            let Some(same) = other.stages.iter().position(|(n, _)| n == name) else { continue };
            for station in self.station_names(index).into_iter().filter(|s| theirs.contains(s)) {
                let both =
                    self.stage(index, stage, &station, &part.name).zip(self.stage(mate, same, &station, &other.name));
                let Some(((a, shown), (b, beside))) = both else { continue };
                let mut comparison = compare(&a, &b, &[]);
                comparison.alike = true;
                let title = format!("{} beside {}, {name}, {station}", other.name, part.name);
                let file = format!("{}-beside-{}-{name}-{station}.png", other.name, part.name);
                sections.extend(self.compared((&title, &title), &file, &[comparison], &[shown, beside])?);
            }
        }
        Ok(sections)
    }

    /// The part that one is to match: as `bench.toml` says, or the one that is called right where this is called left.
    fn mate_of(&self, index: usize) -> Option<usize> {
        let part = &self.bench.parts[index];
        let named = |name: String| self.bench.parts.iter().position(|p| p.name == name && p.kind == part.kind);
        let swapped = || part.name.contains("left").then(|| named(part.name.replacen("left", "right", 1))).flatten();
        part.mate.or_else(swapped)
    }

    /// Whether a pair is told at this part: not again at the other.
    fn first_of_pair(&self, index: usize, mate: usize) -> bool {
        self.mate_of(mate) != Some(index) || index < mate
    }

    /// A part among the shop's earlier ones, in its last stage that all of them have.
    fn earlier(&self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let mut sections = Vec::new();
        if part.earlier.len() < 2 {
            return Ok(sections);
        }
        let place = |p: usize, stage: &str| self.bench.parts[p].stages.iter().position(|(n, _)| n == stage);
        for station in self.station_names(index) {
            let charted = part.stages.iter().enumerate().rev().find_map(|(stage, (name, _))| {
                let this = self.stage(index, stage, &station, &part.name)?.0;
                let of = |p: &usize| Some(self.stage(*p, place(*p, name)?, &station, &self.bench.parts[*p].name)?.0);
                let all: Option<Vec<Stage>> = part.earlier.iter().map(of).collect();
                Some((name, control_charts(&this, &all?)))
            });
            let Some((stage, (charts, notes))) = charted else { continue };
            let title = format!("{}, {stage}, {station}: among the shop's earlier ones", part.name);
            print(&format!("{title}\n{}\n", control_text(&part.name, &charts, &notes)));
            let png = control_png(&part.name, &charts, &notes, self.remark()).map_err(|e| anyhow!(e))?;
            let file = format!("{}-{station}-earlier.png", part.name);
            self.desk.outlet.save(&self.desk.reports.join(&file), &png, true)?;
            sections.push(IndexSection {
                answers: vec![IndexAnswer::of_charts(&part.name, &charts, &notes)],
                pictures: vec![IndexPicture { shows: format!("A chart for every figure: {title}"), file, png }],
                heading: title,
            });
        }
        Ok(sections)
    }

    /// Prints comparisons, draws and saves their page: of what, and the heading above them.
    fn compared(
        &self,
        (what, title): (&str, &str),
        file: &str,
        comparisons: &[Comparison],
        pictures: &[TakePicture],
    ) -> anyhow::Result<Option<IndexSection>> {
        if comparisons.is_empty() {
            return Ok(None);
        }
        print(&format!("{title}\n{}\n", comparison_text(comparisons)));
        let png = comparison_png(comparisons, pictures, Some(what), self.remark()).map_err(|e| anyhow!(e))?;
        self.desk.outlet.save(&self.desk.reports.join(file), &png, true)?;
        Ok(Some(IndexSection {
            heading: title.to_owned(),
            answers: comparisons.iter().map(IndexAnswer::of_comparison).collect(),
            pictures: vec![IndexPicture {
                shows: format!("Spectra, decays, and ratios with their intervals: {title}"),
                file: file.to_owned(),
                png,
            }],
        }))
    }

    /// The pages of a part's stations with masses stuck on, and of the first bare take of each stage.
    fn pages(&self, index: usize, part: &BenchPart) -> anyhow::Result<IndexSection> {
        let mut pictures = Vec::new();
        for station in self.document.stations.iter().filter(|s| s.station.starts_with(&format!("{}/", part.name))) {
            let png = station_png(station, self.remark()).map_err(|e| anyhow!(e))?;
            let file = station_page_name(&station.station);
            self.desk.outlet.save(&self.desk.reports.join(&file), &png, true)?;
            pictures.push(IndexPicture {
                shows: format!("Shifts by stuck-on masses and mobility at {}", station.station),
                file,
                png,
            });
        }
        for (s, (stage, _)) in part.stages.iter().enumerate() {
            let bare = self.wanted.iter().find(|(place, wanted)| {
                let folder = &self.found.stations[*place];
                let station =
                    folder.takes.iter().find(|(file, _)| file == input_path(wanted)).map(|(_, station)| station);
                folder.part == index && folder.stage == s && station.is_some_and(|s| s.added.value == 0.0)
            });
            // A take that could not be measured may have no page; that was said already.
            let Some((_, wanted)) = bare else { continue };
            if let Ok(png) = read_bytes(&wanted.page, MOST_REPORT_BYTES) {
                let shows = format!("A take of {} {stage}: recording, spectrum, decays, table", part.name);
                pictures.push(IndexPicture { shows, file: file_name(&wanted.page), png });
            }
        }
        Ok(IndexSection { heading: "Takes and stations".into(), answers: Vec::new(), pictures })
    }

    fn remark(&self) -> Option<&str> {
        self.desk.report.remark.as_deref()
    }
}

/// The maker's notes on a part and its stages.
fn notes_of(part: &BenchPart) -> Vec<String> {
    let stages = part.stages.iter().filter_map(|(name, stage)| Some(format!("{name}: {}", stage.notes.as_ref()?)));
    part.notes.iter().cloned().chain(stages).collect()
}

/// The name of a page without its folder.
pub fn file_name(page: &Path) -> String {
    page.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
}
