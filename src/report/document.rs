//! The JSON document of `measure`: the contract with other programs. Fields may be added, never renamed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::part_entry::{PartEntry, StationEntry};
use crate::loss::energy_lost_per_cycle;
use crate::modes::{COVERAGE_95, Estimate, Mode};
use crate::part::Measured;
use crate::sound::{NoiseSource, Recording};

/// Name and version of the document's form.
pub const SCHEMA_NAME: &str = "ringwright.measure/1";

/// Everything that `measure` found. SI units; `*_u` are standard uncertainties (an interval of 95 % is 1.96 times as wide
/// on either side; small numbers of taps are already allowed for).
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Document {
    /// `ringwright.measure/1`.
    pub schema: String,
    /// One entry for each file, in the order in which they were given.
    pub recordings: Vec<RecordingEntry>,
    /// Stations that were tapped with and without added masses.
    #[serde(default)]
    pub stations: Vec<StationEntry>,
}

/// One recording.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordingEntry {
    /// The file as it was named.
    pub file: String,
    /// Samples per second; null if the file could not be read.
    pub sample_rate_hz: Option<f64>,
    /// Channels in the file.
    pub channels: Option<usize>,
    /// The channel used, counted from 1.
    pub channel_used: Option<usize>,
    /// Length of the recording (s).
    pub duration_s: Option<f64>,
    /// Why the file could not be measured; null if it could.
    pub error: Option<String>,
    /// What else the user should know, in words.
    pub notes: Vec<String>,
    /// Where the room's noise was read: `before_taps`, `tail` or `none`.
    pub noise_source: Option<String>,
    /// Steady lines (hum, fans) heard before the taps and left out (Hz).
    pub steady_lines_hz: Vec<f64>,
    pub taps: Vec<TapEntry>,
    /// By frequency.
    pub modes: Vec<ModeEntry>,
    /// Peaks that are not modes, and why.
    pub left_out: Vec<LeftOutEntry>,
    /// What the part is worth; null if it was not described.
    #[serde(default)]
    pub part: Option<PartEntry>,
}

/// One strike.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TapEntry {
    /// First sample of the strike (s).
    pub onset_s: f64,
    /// End of the ring-down that was looked at (s).
    pub end_s: f64,
    /// Height over the room's noise (dB).
    pub over_noise_db: f64,
    pub accepted: bool,
    /// Short codes of why it was left out.
    pub reasons: Vec<String>,
    /// The same in plain words.
    pub explanations: Vec<String>,
}

/// One mode.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ModeEntry {
    /// Undamped natural frequency f0 (Hz).
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
    /// Bounds of the 95 % interval (Hz).
    pub frequency_hz_95: [f64; 2],
    /// Damping ratio zeta (no unit).
    pub damping_ratio: f64,
    pub damping_ratio_u: f64,
    /// Bounds of the 95 % interval (no unit).
    pub damping_ratio_95: [f64; 2],
    /// Loss factor eta = 2 zeta (no unit).
    pub loss_factor: f64,
    pub loss_factor_u: f64,
    /// Quality factor Q = 1/(2 zeta) (no unit).
    pub q: f64,
    pub q_u: f64,
    /// Time for 60 dB of decay (s).
    pub ring_time_s: f64,
    pub ring_time_s_u: f64,
    /// Share of its energy lost in one cycle, exact (0 to 1).
    pub energy_lost_per_cycle: f64,
    pub energy_lost_per_cycle_u: f64,
    /// Which mode of the part it is ("bending 4"), and where a uniform part would have it (Hz); null if not known.
    pub name: Option<String>,
    pub expected_hz: Option<f64>,
    /// Level at the strike relative to the strongest mode (dB).
    pub level_db: f64,
    /// Decibels of its decay seen over the noise.
    pub decay_seen_db: f64,
    /// Damping ratio from the slope of the envelope alone, for comparison; null if there was too little of it.
    pub envelope_damping_ratio: Option<f64>,
    /// Taps in which it was heard.
    pub taps_used: usize,
    /// Frequency (Hz) and damping ratio of each used tap by itself.
    pub per_tap: Vec<[Option<f64>; 2]>,
    /// Short codes of what makes it doubtful.
    pub reasons: Vec<String>,
    /// The same in plain words.
    pub explanations: Vec<String>,
}

/// A peak that is not a mode.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LeftOutEntry {
    pub frequency_hz: f64,
    pub reason: String,
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl Document {
    pub fn new(recordings: Vec<RecordingEntry>) -> Self {
        Self { schema: SCHEMA_NAME.to_owned(), recordings, stations: Vec::new() }
    }

    /// As indented JSON with a final newline.
    pub fn to_json(&self) -> String {
        // Plain structs of strings and finite numbers: nothing in them can fail to be written.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }
}

impl RecordingEntry {
    /// A file that could not be measured.
    pub fn failed(file: String, error: String) -> Self {
        Self { file, error: Some(error), ..Self::default() }
    }

    /// A file that was measured; `error` says what is missing if no mode could be found.
    pub fn measured(file: String, recording: &Recording, estimate: &Estimate, error: Option<String>) -> Self {
        let rate = recording.sample_rate_hz();
        let source = match estimate.noise_source {
            NoiseSource::BeforeTaps => "before_taps",
            NoiseSource::Tail => "tail",
            NoiseSource::None => "none",
        };
        Self {
            file,
            sample_rate_hz: Some(rate),
            channels: Some(recording.channels()),
            channel_used: Some(recording.channel() + 1),
            duration_s: Some(recording.duration_s()),
            error,
            notes: recording.notes().iter().chain(&estimate.notes).cloned().collect(),
            noise_source: Some(source.to_owned()),
            steady_lines_hz: estimate.steady_lines_hz.clone(),
            taps: estimate
                .taps
                .iter()
                .map(|tap| TapEntry {
                    onset_s: tap.onset as f64 / rate,
                    end_s: tap.end as f64 / rate,
                    over_noise_db: tap.over_noise_db,
                    accepted: tap.accepted(),
                    reasons: tap.reasons.iter().map(|r| r.code().to_owned()).collect(),
                    explanations: tap.reasons.iter().map(|r| r.sentence()).collect(),
                })
                .collect(),
            modes: estimate.modes.iter().map(ModeEntry::new).collect(),
            left_out: estimate
                .left_out
                .iter()
                .map(|(frequency_hz, why)| LeftOutEntry { frequency_hz: *frequency_hz, reason: (*why).to_owned() })
                .collect(),
            part: None,
        }
    }
}

impl ModeEntry {
    fn new(mode: &Mode) -> Self {
        let around = |value: f64, u: f64| [value - COVERAGE_95 * u, value + COVERAGE_95 * u];
        let relative = mode.damping_relative_u();
        let slope = mode.envelope.slope_db_per_s;
        let omega0 = std::f64::consts::TAU * mode.frequency_hz;
        Self {
            frequency_hz: mode.frequency_hz,
            frequency_hz_u: mode.frequency_hz_u,
            frequency_hz_95: around(mode.frequency_hz, mode.frequency_hz_u),
            damping_ratio: mode.damping_ratio,
            damping_ratio_u: mode.damping_ratio_u,
            damping_ratio_95: around(mode.damping_ratio, mode.damping_ratio_u),
            loss_factor: mode.loss_factor(),
            loss_factor_u: 2.0 * mode.damping_ratio_u,
            q: mode.q(),
            q_u: mode.q() * relative,
            ring_time_s: mode.ring_time_s(),
            ring_time_s_u: mode.ring_time_s() * relative,
            energy_lost_per_cycle: energy_lost_per_cycle(mode.damping_ratio),
            energy_lost_per_cycle_u: Measured::new(mode.damping_ratio, mode.damping_ratio_u, "damping")
                .map(energy_lost_per_cycle)
                .u(),
            name: None,
            expected_hz: None,
            level_db: mode.level_db,
            decay_seen_db: mode.decay_seen_db,
            // Decay rate from decibels: 20 log10(e) decibels a neper.
            envelope_damping_ratio: finite(-slope / (20.0 * std::f64::consts::LOG10_E) / omega0),
            taps_used: mode.taps_used,
            per_tap: mode.per_tap.iter().map(|(f, z)| [finite(*f), finite(*z)]).collect(),
            reasons: mode.reasons.iter().map(|r| r.code().to_owned()).collect(),
            explanations: mode.reasons.iter().map(|r| r.sentence()).collect(),
        }
    }
}

/// JSON Schema of [`Document`], as text with a final newline.
pub fn schema() -> String {
    schema_text(&schemars::schema_for!(Document))
}

pub(super) fn schema_text(schema: &schemars::Schema) -> String {
    let mut text = serde_json::to_string_pretty(schema).unwrap_or_default();
    text.push('\n');
    text
}
