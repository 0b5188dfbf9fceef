//! One take measured: its entry for the report, its picture page, and what a comparison shows of it.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::{Deserialize, Serialize};

use super::assess::assess;
use super::inputs::Input;
use super::measure::ReportArguments;
use crate::files::Outlet;
use crate::modes::{Estimate, EstimateOptions, Estimator};
use crate::part::{Measured, PartDescription};
use crate::report::{PageInput, RecordingEntry, Shape, TakePicture, page_png, shapes_png};
use crate::sound::{OpenOptions, Recording, SoundError, TapReason, TapSearch, find_taps};
use crate::stiffness::BlankResult;

/// How every file is to be read.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    pub open: OpenOptions,
    pub estimate: EstimateOptions,
    /// The part that was tapped, if it was described.
    pub part: Option<PartDescription>,
}

/// What is known of a take once it is measured. Can be kept and read again.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct MeasuredTake {
    pub entry: RecordingEntry,
    /// The part's quantities with all their sources, in the entry's order, which the entry itself does not keep.
    sources: Vec<Measured>,
    pub picture: TakePicture,
}

impl MeasuredTake {
    fn new(entry: RecordingEntry, picture: TakePicture) -> Self {
        let sources = entry.part.iter().flat_map(|p| &p.quantities).filter_map(|q| q.measured.clone()).collect();
        Self { entry, sources, picture }
    }

    fn failed(name: String, why: String) -> Self {
        Self::new(RecordingEntry::failed(name, why), TakePicture::default())
    }

    /// As it was before it was kept.
    pub fn restored(mut self) -> Self {
        let quantities = self.entry.part.iter_mut().flat_map(|p| &mut p.quantities);
        quantities.zip(&self.sources).for_each(|(quantity, measured)| quantity.measured = Some(measured.clone()));
        self
    }
}

/// Measures one file without a picture page.
pub fn measure_alone(input: &Input, plan: &Plan, estimator: &mut Estimator) -> MeasuredTake {
    let name = path_of(input).display().to_string();
    measure_take(
        &Job { input, name, page: None, outlet: &Outlet::default() },
        plan,
        estimator,
        &ReportArguments::default(),
        &Mutex::default(),
    )
}

/// A file to measure: what it is called in the report, and where its picture page goes if one is wanted.
pub struct Job<'a> {
    pub input: &'a Input,
    pub name: String,
    pub page: Option<&'a Path>,
    /// The way in which the page is saved.
    pub outlet: &'a Outlet,
}

pub fn path_of(input: &Input) -> &Path {
    match input {
        Ok(path) | Err((path, _)) => path,
    }
}

/// Measures one file; draws its page if asked.
pub fn measure_take(
    job: &Job<'_>,
    plan: &Plan,
    estimator: &mut Estimator,
    report: &ReportArguments,
    troubles: &Mutex<Vec<String>>,
) -> MeasuredTake {
    let name = job.name.clone();
    let path = match job.input {
        Ok(path) => path,
        Err((_, why)) => return MeasuredTake::failed(name, why.clone()),
    };
    let failed = |error: SoundError| MeasuredTake::failed(name.clone(), error.to_string());
    let mut recording = match Recording::open(path, &plan.open) {
        Ok(recording) => recording,
        Err(error) => return failed(error),
    };
    let analysed = find_taps(&mut recording).and_then(|found| {
        let estimate = estimator.estimate(&mut recording, &found, &plan.estimate)?;
        Ok((found, estimate))
    });
    let (found, mut estimate) = match analysed {
        Ok(analysed) => analysed,
        Err(error) => return failed(error),
    };
    let error = nothing_found(&found, &mut estimate);
    let mut entry = RecordingEntry::measured(name.clone(), &recording, &estimate, error);
    let blank = plan.part.as_ref().and_then(|part| assess(part, &estimate.modes, &mut entry));
    if let Some(page) = job.page {
        let drawn = waveform(&mut recording).map_err(|e| e.to_string()).and_then(|waveform| {
            let input =
                PageInput { entry: &entry, estimate: &estimate, waveform: &waveform, remark: report.remark.as_deref() };
            page_png(&input)
        });
        let saved = drawn.and_then(|png| job.outlet.save(page, &png, report.force).map_err(|e| e.to_string()));
        let saved = saved.and_then(|()| match (&blank, &plan.part) {
            (Some(blank), Some(part)) => save_shapes(blank, part, &entry, page, (job.outlet, report.force)),
            _ => Ok(()),
        });
        if let (Err(trouble), Ok(mut list)) = (saved, troubles.lock()) {
            list.push(format!("{name}: no picture page: {trouble}"));
        }
    }
    MeasuredTake::new(entry, TakePicture::of(&estimate))
}

/// station-PART-STAGE-STATION.png.
pub fn station_page_name(station: &str) -> String {
    format!("station-{}.png", station.replace(['/', '\\', ':'], "-"))
}

/// Where the picture of a blank's mode shapes lies beside its page.
pub fn shapes_page(page: &Path) -> PathBuf {
    let stem = page.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    page.with_file_name(format!("{stem}-shapes.png"))
}

/// Saves the picture of the mode shapes beside the page: `take-01-shapes.png`.
fn save_shapes(
    blank: &BlankResult,
    part: &PartDescription,
    entry: &RecordingEntry,
    page: &Path,
    (outlet, force): (&Outlet, bool),
) -> Result<(), String> {
    let highest = entry.modes.last().map_or(0.0, |m| m.frequency_hz);
    let shapes: Vec<Shape<'_>> = blank
        .modes
        .iter()
        .map(|mode| {
            let heard = entry.modes.iter().find(|m| m.name.as_deref() == Some(mode.name().as_str()));
            let plain = mode.omega_squared.sqrt() / std::f64::consts::TAU;
            Shape { mode, frequency_hz: heard.map_or(plain, |m| m.frequency_hz), heard: heard.is_some() }
        })
        .filter(|s| s.frequency_hz <= highest)
        .collect();
    let ratio = match (&part.width, &part.length) {
        (Some(width), Some(length)) => width.value / length.value,
        _ => return Ok(()),
    };
    let title = format!("Where {} stands still", part.name.as_deref().unwrap_or("the blank"));
    let png = shapes_png(&title, &shapes, ratio)?;
    outlet.save(&shapes_page(page), &png, force).map_err(|e| e.to_string())
}

/// Why there is no mode, in words; also marks taps that only the estimate could tell to be mere knocks.
fn nothing_found(found: &TapSearch, estimate: &mut Estimate) -> Option<String> {
    if !estimate.modes.is_empty() {
        return None;
    }
    if found.taps.is_empty() {
        return Some(format!(
            "no tap found. The loudest moment, at {:.2} s, stands {:.0} dB over the noise and does not begin like a \
             strike. Tap harder, move the microphone closer, or switch noise suppression off",
            found.loudest_at_s, found.loudest_over_noise_db
        ));
    }
    let mut left = 0;
    for tap in estimate.taps.iter_mut().filter(|t| t.accepted()) {
        tap.reasons.push(TapReason::NoRingDown);
        left += 1;
    }
    let count = found.taps.len();
    Some(if left == count {
        format!(
            "{count} sharp sounds, but none rings on with the same tones: no mode found. Hold the part at its still \
             lines and tap it so that it can ring"
        )
    } else {
        format!("none of the {count} taps could be used: see the reasons")
    })
}

/// Lowest and highest sample in equal stretches of the recording.
fn waveform(recording: &mut Recording) -> Result<Vec<(f32, f32)>, SoundError> {
    const COLUMNS: usize = 1470;
    let length = recording.len();
    let mut scratch = Vec::new();
    (0..COLUMNS.min(length))
        .map(|c| {
            let (from, to) = (c * length / COLUMNS.min(length), (c + 1) * length / COLUMNS.min(length));
            let samples = recording.read(from, to, &mut scratch)?;
            Ok(samples.iter().fold((f32::MAX, f32::MIN), |(low, high), s| (low.min(*s), high.max(*s))))
        })
        .collect()
}
