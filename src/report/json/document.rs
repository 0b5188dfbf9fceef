//! The JSON document of `measure`: the contract with other programs. Fields may be added, never renamed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::budget_entry::{BudgetEntry, finite};
use super::part_entry::{PartEntry, StationEntry};
use crate::analysis::{NamedMode, SpotFindings, StageTake, Take, damping_ratio_of_part, frequency_of_part};
use crate::compare::StageMode;
use crate::loss::energy_lost_per_cycle;
use crate::part::Station;
use crate::sound::{NoiseSource, Tap};
use crate::stiffness::QuantityKind;
use crate::uncertainty::{Cause, Figure};

/// Name and version of the document's form.
pub const SCHEMA_NAME: &str = "ringwright.measure/1";

/// Everything that `measure` found. SI units; `*_u` is half of the 95 % interval divided by 1.96 (Student's t is in it). Fields may be
/// added within a version of the schema; readers pass over those that they do not know.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
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
    /// Its short code.
    #[serde(default)]
    pub error_code: Option<String>,
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
pub struct ModeEntry {
    /// Undamped natural frequency f0 (Hz); uncertainty, interval and budget are of this recording, the part held as it was.
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
    /// Bounds of the 95 % interval (Hz).
    pub frequency_hz_95: [f64; 2],
    /// Degrees of freedom of the interval; null if infinitely many.
    #[serde(default)]
    pub frequency_hz_dof: Option<f64>,
    /// What the uncertainty comes from, the largest first.
    #[serde(default)]
    pub frequency_hz_budget: Vec<BudgetEntry>,
    /// The same of the part, with what holding it anew changes (Hz); null in files written before.
    #[serde(default)]
    pub part_frequency_hz_u: Option<f64>,
    #[serde(default)]
    pub part_frequency_hz_95: Option<[f64; 2]>,
    /// Damping ratio zeta (no unit).
    pub damping_ratio: f64,
    pub damping_ratio_u: f64,
    /// Bounds of the 95 % interval (no unit).
    pub damping_ratio_95: [f64; 2],
    /// Degrees of freedom of the interval; null if infinitely many.
    #[serde(default)]
    pub damping_ratio_dof: Option<f64>,
    /// What the uncertainty comes from, the largest first.
    #[serde(default)]
    pub damping_ratio_budget: Vec<BudgetEntry>,
    /// The same of the part, with what holding it anew changes (no unit); null in files written before. Of the loss factor, Q and the
    /// ring time it is the same share.
    #[serde(default)]
    pub part_damping_ratio_u: Option<f64>,
    #[serde(default)]
    pub part_damping_ratio_95: Option<[f64; 2]>,
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
pub struct LeftOutEntry {
    pub frequency_hz: f64,
    pub reason: String,
    /// Short code of the reason.
    #[serde(default)]
    pub code: String,
}

impl Document {
    /// Takes, and spots that were tapped with masses stuck on.
    pub fn new<'a>(takes: impl IntoIterator<Item = &'a Take>, spots: &[SpotFindings]) -> Self {
        Self {
            schema: SCHEMA_NAME.to_owned(),
            recordings: takes.into_iter().map(RecordingEntry::new).collect(),
            stations: spots.iter().map(StationEntry::new).collect(),
        }
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
    /// A take as it was measured.
    pub fn new(take: &Take) -> Self {
        let facts = take.facts.as_ref();
        let rate_hz = facts.map_or(1.0, |f| f.sample_rate_hz);
        let said = take.notes.iter().map(|n| n.sentence());
        Self {
            file: take.file.clone(),
            sample_rate_hz: facts.map(|f| f.sample_rate_hz),
            channels: facts.map(|f| f.channels),
            channel_used: facts.map(|f| f.channel + 1),
            duration_s: facts.map(|f| f.duration_s),
            error: take.problem.as_ref().map(ToString::to_string),
            error_code: take.problem.as_ref().map(|p| p.code().to_owned()),
            notes: facts.into_iter().flat_map(|f| f.notes.iter().cloned()).chain(said).collect(),
            noise_source: take.noise_source.map(noise_source),
            steady_lines_hz: take.steady_lines_hz.clone(),
            taps: take.taps.iter().map(|tap| TapEntry::new(tap, rate_hz)).collect(),
            modes: take.modes.iter().map(ModeEntry::new).collect(),
            left_out: take
                .left_out
                .iter()
                .map(|(frequency_hz, why)| LeftOutEntry {
                    frequency_hz: *frequency_hz,
                    reason: why.sentence().to_owned(),
                    code: why.code().to_owned(),
                })
                .collect(),
            part: take.part.as_ref().map(PartEntry::new),
        }
    }
}

impl RecordingEntry {
    /// A take that was written down, at a station: what a stage needs of it.
    pub fn stage_take(&self, station: Station) -> StageTake {
        let mode = |m: &ModeEntry| StageMode {
            frequency: Figure::new(m.frequency_hz, m.frequency_hz_u, Cause::Frequency),
            damping_ratio: Figure::new(m.damping_ratio, m.damping_ratio_u, Cause::Damping),
            level_db: m.level_db,
            name: m.name.clone(),
            taps: m.taps_used,
        };
        let quantities = self.part.iter().flat_map(|p| &p.quantities);
        let bending_stiffness = quantities
            .filter(|q| q.code == QuantityKind::BendingStiffness.code())
            .map(|q| Figure::new(q.figure.value, q.figure.u, Cause::BendingStiffness))
            .next();
        StageTake { station, modes: self.modes.iter().map(mode).collect(), bending_stiffness, recorded: None }
    }
}

fn noise_source(source: NoiseSource) -> String {
    match source {
        NoiseSource::BeforeTaps => "before_taps",
        NoiseSource::Tail => "tail",
        NoiseSource::None => "none",
    }
    .to_owned()
}

impl TapEntry {
    fn new(tap: &Tap, rate_hz: f64) -> Self {
        Self {
            onset_s: tap.onset as f64 / rate_hz,
            end_s: tap.end as f64 / rate_hz,
            over_noise_db: tap.over_noise_db,
            accepted: tap.accepted(),
            reasons: tap.reasons.iter().map(|r| r.code().to_owned()).collect(),
            explanations: tap.reasons.iter().map(|r| r.sentence()).collect(),
        }
    }
}

impl ModeEntry {
    /// Standard uncertainty of the frequency as the part's own (Hz); the recording's where the file is older than that.
    pub fn frequency_hz_u_of_part(&self) -> f64 {
        self.part_frequency_hz_u.unwrap_or(self.frequency_hz_u)
    }

    /// The same of the damping ratio, as a share of it; of the loss factor, Q and the ring time it is as much.
    pub fn relative_damping_u_of_part(&self) -> f64 {
        self.part_damping_ratio_u.unwrap_or(self.damping_ratio_u) / self.damping_ratio
    }

    fn new(named: &NamedMode) -> Self {
        let mode = &named.mode;
        let (frequency, damping) = (&mode.frequency, &mode.damping_ratio);
        let slope = mode.envelope.slope_db_per_s;
        let omega0 = std::f64::consts::TAU * frequency.value;
        let (of_part, damping_of_part) = (frequency_of_part(mode), damping_ratio_of_part(mode));
        let (loss, q, ring, lost) =
            (mode.loss_factor(), mode.q(), mode.ring_time_s(), damping.map(energy_lost_per_cycle));
        Self {
            frequency_hz: frequency.value,
            frequency_hz_u: frequency.u_95(),
            frequency_hz_95: frequency.interval_95(),
            frequency_hz_dof: finite(frequency.dof()),
            frequency_hz_budget: BudgetEntry::of_mode(frequency),
            part_frequency_hz_u: finite(of_part.u_95()),
            part_frequency_hz_95: finite(of_part.u_95()).map(|_| of_part.interval_95()),
            damping_ratio: damping.value,
            damping_ratio_u: damping.u_95(),
            damping_ratio_95: damping.interval_95(),
            damping_ratio_dof: finite(damping.dof()),
            damping_ratio_budget: BudgetEntry::of_mode(damping),
            part_damping_ratio_u: finite(damping_of_part.u_95()),
            part_damping_ratio_95: finite(damping_of_part.u_95()).map(|_| damping_of_part.interval_95()),
            loss_factor: loss.value,
            loss_factor_u: loss.u_95(),
            q: q.value,
            q_u: q.u_95(),
            ring_time_s: ring.value,
            ring_time_s_u: ring.u_95(),
            energy_lost_per_cycle: lost.value,
            energy_lost_per_cycle_u: lost.u_95(),
            name: named.name.clone(),
            expected_hz: named.expected_hz,
            level_db: mode.level_db,
            decay_seen_db: mode.decay_seen_db,
            // Decay rate from decibels: 20 log10(e) decibels a neper.
            envelope_damping_ratio: finite(-slope / (20.0 * std::f64::consts::LOG10_E) / omega0),
            taps_used: mode.taps_used,
            per_tap: mode.per_tap.iter().map(|own| own.map_or([None; 2], |(f, z)| [Some(f), Some(z)])).collect(),
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
