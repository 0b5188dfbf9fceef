//! The parts of a bench in its diary: what the analysis says of them, printed, drawn, saved and written up.

use std::path::Path;

use anyhow::anyhow;

use super::bench_takes::{Wanted, part_pages};
use super::diary_desk::{Desk, file_name};
use super::print;
use super::rim_outline::outline_named;
use super::take::station_page_name;
use crate::analysis::{AmongEarlier, Mates, Shop, SpotComparison, SpotFindings};
use crate::bench::{Bench, BenchPart, Found};
use crate::compare::Comparison;
use crate::files::{MOST_REPORT_BYTES, read_bytes};
use crate::plan::PastForecast;
use crate::report::{
    Document, IndexAnswer, IndexPart, IndexPicture, IndexSection, TakePicture, comparison_png, comparison_text,
    control_png, control_text, station_png,
};

/// A bench's diary as it is written.
pub struct Diary<'a> {
    desk: &'a Desk<'a>,
    shop: Shop<'a>,
    spots: Vec<SpotFindings>,
    /// Of every take, in the order of the shop's.
    wanted: Vec<Wanted>,
    pictures: Vec<TakePicture>,
    pub problems: Vec<String>,
    /// Laminations whose stiffness was predicted and measured.
    pub record: Vec<PastForecast>,
}

impl<'a> Diary<'a> {
    /// Measures all takes of a bench.
    pub fn new(desk: &'a Desk<'a>, bench: Bench, found: Found) -> Self {
        let recordings = desk.folder.join("recordings");
        let want = |(file, part): (&Path, &crate::part::PartDescription)| Wanted {
            input: Ok(file.to_owned()),
            name: desk.name_of(file),
            page: desk.page_of(file, &recordings),
            part: Some(part.clone()),
        };
        let mut wanted: Vec<Wanted> = Shop::wanted(&bench, &found).map(want).collect();
        part_pages(&mut wanted);
        let (takes, troubles) = desk.measure(&wanted);
        let (takes, pictures): (Vec<_>, Vec<_>) = takes.into_iter().map(|t| (t.take, t.picture)).unzip();
        let mut problems = found.problems.clone();
        problems.extend(takes.iter().filter_map(|t| t.problem.as_ref().map(|why| format!("{}: {why}", t.file))));
        problems.extend(troubles);
        let outline = |name: &str| outline_named(name, desk.folder).map_err(|e| format!("{e:#}"));
        let shop = Shop::new(bench, found, takes, outline);
        let spots = shop.spots();
        Self { desk, shop, spots, wanted, pictures, problems, record: Vec::new() }
    }

    /// All takes and spots, as the report's document.
    pub fn document(&self) -> Document {
        Document::new(self.shop.takes(), &self.spots)
    }

    /// Every part as the diary shows it.
    pub fn parts(&mut self) -> anyhow::Result<Vec<IndexPart>> {
        (0..self.shop.bench.parts.len())
            .map(|index| {
                let part = self.shop.bench.parts[index].clone();
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

    /// The stages of a part against its first, station by station.
    fn stages(&mut self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let (compared, problems) = self.shop.stages(index);
        self.problems.extend(problems);
        self.record.extend(self.shop.record(index, &compared));
        let section = |spot: &SpotComparison| {
            let what = format!("{}, {}", part.name, spot.station);
            let title = format!("{what}: stage against stage");
            let file = format!("{}-{}-compared.png", part.name, spot.station);
            self.compared((&what, &title), &file, &spot.comparisons, &self.shown(spot))
        };
        compared.iter().map(section).collect()
    }

    /// A part beside the one that it is to match, in every stage that both have.
    fn mates(&mut self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let Some(Mates { mate, compared, why_none }) = self.shop.mates(index) else { return Ok(Vec::new()) };
        self.problems.extend(why_none);
        let other = &self.shop.bench.parts[mate].name;
        let section = |spot: &SpotComparison| {
            let (stage, station) = (spot.stage.as_deref().unwrap_or_default(), &spot.station);
            let title = format!("{other} beside {}, {stage}, {station}", part.name);
            let file = format!("{other}-beside-{}-{stage}-{station}.png", part.name);
            self.compared((&title, &title), &file, &spot.comparisons, &self.shown(spot))
        };
        compared.iter().map(section).collect()
    }

    /// A part among the shop's earlier ones.
    fn earlier(&self, index: usize, part: &BenchPart) -> anyhow::Result<Vec<IndexSection>> {
        let section = |among: &AmongEarlier| {
            let (charts, notes) = (&among.charts, &among.notes);
            let title = format!("{}, {}, {}: among the shop's earlier ones", part.name, among.stage, among.station);
            print(&format!("{title}\n{}\n", control_text(&part.name, charts, notes)));
            let png = control_png(&part.name, charts, notes, self.remark()).map_err(|e| anyhow!(e))?;
            let file = format!("{}-{}-earlier.png", part.name, among.station);
            self.desk.outlet.save(&self.desk.reports.join(&file), &png, true)?;
            Ok(IndexSection {
                answers: vec![IndexAnswer::of_charts(&part.name, charts, notes)],
                pictures: vec![IndexPicture { shows: format!("A chart for every figure: {title}"), file, png }],
                heading: title,
            })
        };
        self.shop.earlier(index).iter().map(section).collect()
    }

    /// What the takes that were compared sound like.
    fn shown(&self, spot: &SpotComparison) -> Vec<TakePicture> {
        let of = |place: &Option<usize>| place.map(|p| self.pictures[p].clone()).unwrap_or_default();
        spot.shown.iter().map(of).collect()
    }

    /// Prints comparisons, draws and saves their page: of what, and the heading above them.
    fn compared(
        &self,
        (what, title): (&str, &str),
        file: &str,
        comparisons: &[Comparison],
        pictures: &[TakePicture],
    ) -> anyhow::Result<IndexSection> {
        print(&format!("{title}\n{}\n", comparison_text(comparisons)));
        let png = comparison_png(comparisons, pictures, Some(what), self.remark()).map_err(|e| anyhow!(e))?;
        self.desk.outlet.save(&self.desk.reports.join(file), &png, true)?;
        Ok(IndexSection {
            heading: title.to_owned(),
            answers: comparisons.iter().map(IndexAnswer::of_comparison).collect(),
            pictures: vec![IndexPicture {
                shows: format!("Spectra, decays, and ratios with their intervals: {title}"),
                file: file.to_owned(),
                png,
            }],
        })
    }

    /// The pages of a part's stations with masses stuck on, and of the first bare take of each stage.
    fn pages(&self, index: usize, part: &BenchPart) -> anyhow::Result<IndexSection> {
        let mut pictures = Vec::new();
        for spot in self.spots.iter().filter(|s| s.station.starts_with(&format!("{}/", part.name))) {
            let png = station_png(spot, self.remark()).map_err(|e| anyhow!(e))?;
            let file = station_page_name(&spot.station);
            self.desk.outlet.save(&self.desk.reports.join(&file), &png, true)?;
            pictures.push(IndexPicture {
                shows: format!("Shifts by stuck-on masses and mobility at {}", spot.station),
                file,
                png,
            });
        }
        for (s, (stage, _)) in part.stages.iter().enumerate() {
            // A take that could not be measured may have no page; that was said already.
            let Some(place) = self.shop.first_bare_take(index, s) else { continue };
            let page = &self.wanted[place].page;
            if let Ok(png) = read_bytes(page, MOST_REPORT_BYTES) {
                let shows = format!("A take of {} {stage}: recording, spectrum, decays, table", part.name);
                pictures.push(IndexPicture { shows, file: file_name(page), png });
            }
        }
        Ok(IndexSection { heading: "Takes and stations".into(), answers: Vec::new(), pictures })
    }

    fn remark(&self) -> Option<&str> {
        self.desk.remark.as_deref()
    }
}

/// The maker's notes on a part and its stages.
fn notes_of(part: &BenchPart) -> Vec<String> {
    let stages = part.stages.iter().filter_map(|(name, stage)| Some(format!("{name}: {}", stage.notes.as_ref()?)));
    part.notes.iter().cloned().chain(stages).collect()
}
