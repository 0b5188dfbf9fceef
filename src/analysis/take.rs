//! A recording measured: its taps, its modes by name, and what the part is worth.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::options::Options;
use super::part_findings::{PartFindings, findings};
use super::problem::Problem;
use crate::modes::{Estimate, EstimateNote, Estimator, LeftOutReason, Mode, Spectrum};
use crate::sound::{NoiseSource, Recording, SoundError, Tap, TapReason, TapSearch, find_taps};
use crate::uncertainty::Scope;

/// A recording measured. What its pictures need (spectrum, waveform, envelopes) is not written down with it.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Take {
    /// The file as it was named.
    pub file: String,
    /// What is known of the recording itself; `None` if it could not be read.
    pub facts: Option<RecordingFacts>,
    /// Why there are no modes, if so.
    #[serde(skip)]
    pub problem: Option<Problem>,
    pub noise_source: Option<NoiseSource>,
    /// Steady lines (hum, fans) heard before the taps and left out (Hz).
    pub steady_lines_hz: Vec<f64>,
    /// All strikes, used or with the reason why not.
    pub taps: Vec<Tap>,
    /// By frequency.
    pub modes: Vec<NamedMode>,
    /// Peaks that are not listed as modes (Hz, ascending), and why.
    pub left_out: Vec<(f64, LeftOutReason)>,
    pub notes: Vec<EstimateNote>,
    /// What the part is worth, if it was described.
    pub part: Option<PartFindings>,
    /// Mean spectrum over the taps used.
    #[serde(skip)]
    pub spectrum: Spectrum,
    /// Lowest and highest sample in equal stretches of the recording.
    #[serde(skip)]
    pub waveform: Vec<(f32, f32)>,
}

/// What is known of a recording itself.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct RecordingFacts {
    pub sample_rate_hz: f64,
    /// Channels in the file, and the one in use, counted from 0.
    pub channels: usize,
    pub channel: usize,
    pub duration_s: f64,
    /// What the user should know of how the file was read, in words.
    pub notes: Vec<String>,
}

/// A mode, and which of the part's it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NamedMode {
    pub mode: Mode,
    /// "bending 4"; `None` if not identified.
    pub name: Option<String>,
    /// Where a uniform part would have it (Hz).
    pub expected_hz: Option<f64>,
}

impl Take {
    /// A recording that could not be measured.
    pub fn failed(file: String, problem: Problem) -> Self {
        Self { file, problem: Some(problem), ..Self::default() }
    }

    /// Taps that were used.
    pub fn taps_used(&self) -> usize {
        self.taps.iter().filter(|t| t.accepted()).count()
    }

    /// The plain modes, by frequency.
    pub fn plain_modes(&self) -> impl Iterator<Item = &Mode> {
        self.modes.iter().map(|m| &m.mode)
    }
}

/// Measures one recording: finds its taps, estimates its modes, and, if the part is described, names them and gives its moduli and
/// loss.
///
/// # Errors
/// Everything in [`Problem`]: the recording cannot be read, or no mode is found in it.
///
/// # Example
///
/// ```no_run
/// let take = ringwright::measure("take-01.wav".as_ref(), &ringwright::analysis::Options::default())?;
/// for named in &take.modes {
///     println!("{:.2} Hz, damping ratio {:.5}", named.mode.frequency.value, named.mode.damping_ratio.value);
/// }
/// # Ok::<(), ringwright::analysis::Problem>(())
/// ```
pub fn measure(path: &Path, options: &Options) -> Result<Take, Problem> {
    let mut take = measure_with(path, path.display().to_string(), options, &mut Estimator::default());
    take.problem.take().map_or(Ok(take), Err)
}

/// The same for many recordings: the estimator's plans of transforms are used again, the take has a name of its own, and a problem
/// stands in the take.
pub fn measure_with(path: &Path, name: String, options: &Options, estimator: &mut Estimator) -> Take {
    let mut recording = match Recording::open(path, &options.open) {
        Ok(recording) => recording,
        Err(error) => return Take::failed(name, error.into()),
    };
    measure_recording(&mut recording, &name, options, estimator)
        .unwrap_or_else(|error| Take::failed(name, error.into()))
}

fn measure_recording(
    recording: &mut Recording,
    name: &str,
    options: &Options,
    estimator: &mut Estimator,
) -> Result<Take, SoundError> {
    let found = find_taps(recording)?;
    let mut estimate = estimator.estimate(recording, &found, &options.estimate)?;
    let problem = nothing_found(&found, &mut estimate);
    let part = options.part.as_ref().map(|part| findings(part, &estimate.modes));
    let (names, expected) = part.as_ref().map(PartFindings::names_of_modes).unwrap_or_default();
    let of = |index: usize, mode: Mode| NamedMode {
        mode: mode.within(&[Scope::Mode(index), Scope::Recording(name.into())]),
        name: names.get(index).cloned().flatten(),
        expected_hz: expected.get(index).copied().flatten(),
    };
    let waveform = if options.estimate.with_spectrum { waveform(recording)? } else { Vec::new() };
    Ok(Take {
        file: name.to_owned(),
        facts: Some(RecordingFacts {
            sample_rate_hz: recording.sample_rate_hz(),
            channels: recording.channels(),
            channel: recording.channel(),
            duration_s: recording.duration_s(),
            notes: recording.notes().to_vec(),
        }),
        problem,
        noise_source: Some(estimate.noise_source),
        steady_lines_hz: estimate.steady_lines_hz,
        taps: estimate.taps,
        modes: estimate.modes.into_iter().enumerate().map(|(index, mode)| of(index, mode)).collect(),
        left_out: estimate.left_out,
        notes: estimate.notes,
        part,
        spectrum: estimate.spectrum,
        waveform,
    })
}

/// Why there is no mode; also marks taps that only the estimate could tell to be mere knocks.
fn nothing_found(found: &TapSearch, estimate: &mut Estimate) -> Option<Problem> {
    if !estimate.modes.is_empty() {
        return None;
    }
    if found.taps.is_empty() {
        return Some(Problem::NoTap { loudest_at_s: found.loudest_at_s, over_noise_db: found.loudest_over_noise_db });
    }
    let mut left = 0;
    for tap in estimate.taps.iter_mut().filter(|t| t.accepted()) {
        tap.reasons.push(TapReason::NoRingDown);
        left += 1;
    }
    let count = found.taps.len();
    Some(if left == count { Problem::NoRingdown { count } } else { Problem::NoUsableTap { count } })
}

/// Columns of the waveform.
const COLUMNS: usize = 1470;

/// Lowest and highest sample in equal stretches of the recording.
fn waveform(recording: &mut Recording) -> Result<Vec<(f32, f32)>, SoundError> {
    let length = recording.len();
    let columns = COLUMNS.min(length);
    let mut scratch = Vec::new();
    (0..columns)
        .map(|c| {
            let samples = recording.read(c * length / columns, (c + 1) * length / columns, &mut scratch)?;
            Ok(samples.iter().fold((f32::MAX, f32::MIN), |(low, high), s| (low.min(*s), high.max(*s))))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{TakeSpec, TrueMode};
    use crate::uncertainty::Figure;

    /// What moves one mode's frequency moves no other's, in this recording or in another: of a ratio nothing cancels.
    #[test]
    fn modes_do_not_share_their_doubts() {
        let mode = |frequency_hz| TrueMode { frequency_hz, damping_ratio: 0.006, amplitude: 0.1, phase_rad: 0.0 };
        let spec = TakeSpec { modes: vec![mode(187.3), mode(341.0)], ..TakeSpec::default() };
        let take = |name: &str| {
            let rate = spec.sample_rate_hz;
            let mut recording = Recording::from_samples(spec.make().samples, rate).expect("sound");
            measure_recording(&mut recording, name, &Options::default(), &mut Estimator::default()).expect("a take")
        };
        let (one, other) = (take("one"), take("other"));
        let frequency = |take: &Take, index: usize| -> Figure { take.modes[index].mode.frequency.clone() };
        for (a, b) in [(frequency(&one, 0), frequency(&one, 1)), (frequency(&one, 0), frequency(&other, 0))] {
            let apart = a.relative_u().hypot(b.relative_u());
            assert!((b.over(&a).relative_u() / apart - 1.0).abs() < 1e-3, "{a:?} {b:?}");
        }
    }
}
