//! What a part and its stations are worth, as the JSON document says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::loss::{Mobility, StationMode};
use crate::modes::COVERAGE_95;
use crate::part::Measured;
use crate::stiffness::{BlankResult, Quantity, StationResult, advised_mass_kg, why_no_mass};

/// A figure with its uncertainty.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FigureEntry {
    /// SI value, standard uncertainty and 95 % interval.
    pub value: f64,
    pub u: f64,
    pub interval_95: [f64; 2],
    /// What moves it most, and its share of the variance (0 to 1).
    pub moved_most_by: Option<String>,
    pub moved_most_share: Option<f64>,
}

impl FigureEntry {
    pub fn new(measured: &Measured) -> Self {
        let (value, u) = (measured.value, measured.u());
        let most = measured.largest_source();
        Self {
            value,
            u,
            interval_95: [value - COVERAGE_95 * u, value + COVERAGE_95 * u],
            moved_most_by: most.map(|(s, _)| s.to_string()),
            moved_most_share: most.map(|(_, share)| share),
        }
    }
}

/// A named figure about a part.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct QuantityEntry {
    pub code: String,
    pub name: String,
    /// SI unit of the figure.
    pub unit: String,
    pub figure: FigureEntry,
    /// One plain sentence.
    pub meaning: String,
    /// Unit that people read, and the factor from SI to it.
    pub shown_unit: String,
    pub shown_factor: f64,
    /// With all its sources, while the program runs.
    #[serde(skip)]
    pub measured: Option<Measured>,
}

/// Another way to number the modes.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NumberingEntry {
    /// Young's modulus along the grain that it gives (Pa).
    pub modulus_along_pa: f64,
    /// Logarithm of how many times less likely it is than the best.
    pub behind: f64,
    /// Name of each mode in it, in the order of the modes; null for a tone that is not the part's.
    pub names: Vec<Option<String>>,
}

/// The part, as far as its description and these modes tell.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartEntry {
    pub name: Option<String>,
    pub kind: String,
    /// What looks wrong in the description, or is missing, and what these modes cannot tell.
    pub notes: Vec<String>,
    /// Whether one numbering of the modes stands alone; null where none was sought.
    pub decided: Option<bool>,
    /// The numberings that explain the modes, the best first.
    pub numberings: Vec<NumberingEntry>,
    pub quantities: Vec<QuantityEntry>,
}

impl PartEntry {
    pub fn with_blank(mut self, blank: &BlankResult, quantities: &[Quantity]) -> Self {
        self.notes.extend(blank.notes.iter().cloned());
        self.decided = Some(blank.decided());
        self.numberings = blank
            .numberings
            .iter()
            .map(|n| NumberingEntry {
                modulus_along_pa: n.constants.along_pa,
                behind: n.behind,
                names: n.numbers.iter().map(|n| n.map(|(l, w)| crate::stiffness::mode_name(l, w))).collect(),
            })
            .collect();
        self.quantities = quantities
            .iter()
            .map(|q| QuantityEntry {
                code: q.code.to_owned(),
                name: q.name.to_owned(),
                unit: q.unit.to_owned(),
                figure: FigureEntry::new(&q.measured),
                meaning: q.meaning.to_owned(),
                shown_unit: q.shown.0.to_owned(),
                shown_factor: q.shown.1,
                measured: Some(q.measured.clone()),
            })
            .collect();
        self
    }
}

/// A mode at a station.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StationModeEntry {
    pub frequency_hz: FigureEntry,
    pub damping_ratio: FigureEntry,
    /// Modal mass M referred to the station (kg), effective stiffness k (N/m) and the mobility at resonance (m/(N s)).
    pub modal_mass_kg: Option<FigureEntry>,
    pub stiffness_n_m: Option<FigureEntry>,
    pub peak_mobility_m_n_s: Option<FigureEntry>,
    /// Added masses (kg), (f0/f)^2 - 1 and its standard uncertainty.
    pub shifts: Vec<[f64; 3]>,
    /// Why there is no mass, or what to take with care.
    pub notes: Vec<String>,
}

/// A station that was tapped with and without added masses.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StationEntry {
    pub station: String,
    /// Added masses (kg), 0 for none.
    pub added_kg: Vec<f64>,
    pub error: Option<String>,
    pub modes: Vec<StationModeEntry>,
    /// Band that the modes cover (Hz), and the mean of the real part of the mobility over it (m/(N s)).
    pub band_hz: Option<[f64; 2]>,
    pub mean_mobility_m_n_s: Option<FigureEntry>,
    /// Power drawn for a given edge force relative to the baseline station, over the band that both cover.
    pub baseline: Option<String>,
    pub power_drawn_ratio: Option<FigureEntry>,
    pub power_drawn_band_hz: Option<[f64; 2]>,
    /// Stiffness from a weight and a dial (N/m), as the part's file gives it.
    pub static_stiffness_n_m: Option<FigureEntry>,
    /// A mass to stick on (kg).
    pub advised_mass_kg: Option<f64>,
    #[serde(skip)]
    pub mobility: Option<Mobility>,
}

/// Power drawn against a baseline: its name, the ratio, and the band (Hz).
pub type PowerDrawn = (String, Measured, (f64, f64));

impl StationEntry {
    /// A station as it was worked out: its modes, and its mobility if any modal mass is told.
    pub fn new(station: String, added_kg: Vec<f64>, results: &[StationResult], mobility: Option<Mobility>) -> Self {
        let peaks = mobility.iter().flat_map(|m| &m.modes).map(StationMode::peak);
        let mut peaks: Vec<Option<Measured>> = peaks.map(Some).collect();
        peaks.resize(results.len(), None);
        let modes: Vec<StationModeEntry> =
            results.iter().zip(&peaks).map(|(result, peak)| StationModeEntry::new(result, peak.as_ref())).collect();
        let told = results.iter().filter_map(|r| r.effective.as_ref().ok()).map(|e| e.modal_mass.value);
        let lost = "no mode could be followed through the takes with a mass on";
        let error = mobility.is_none().then(|| why_no_mass(results).unwrap_or(lost).to_owned());
        Self {
            error,
            modes,
            advised_mass_kg: told.reduce(f64::min).map(advised_mass_kg),
            band_hz: mobility.as_ref().map(|m| m.band_hz.into()),
            mean_mobility_m_n_s: mobility.as_ref().map(|m| FigureEntry::new(&m.mean_real(m.band_hz))),
            mobility,
            ..Self::failed(station, added_kg, String::new())
        }
    }

    /// A station of which nothing can be told, and why.
    pub fn failed(station: String, added_kg: Vec<f64>, error: String) -> Self {
        Self {
            station,
            added_kg,
            error: Some(error),
            modes: Vec::new(),
            band_hz: None,
            mean_mobility_m_n_s: None,
            baseline: None,
            power_drawn_ratio: None,
            power_drawn_band_hz: None,
            static_stiffness_n_m: None,
            advised_mass_kg: None,
            mobility: None,
        }
    }

    /// Sets the power that it draws against a baseline.
    pub fn set_power(&mut self, (baseline, ratio, band): PowerDrawn) {
        self.baseline = Some(baseline);
        // In the logarithm, as `compare` gives it: a ratio and its inverse are treated alike.
        let half = COVERAGE_95 * ratio.relative_u();
        let mut figure = FigureEntry::new(&ratio);
        figure.interval_95 = [ratio.value * (-half).exp(), ratio.value * half.exp()];
        self.power_drawn_ratio = Some(figure);
        self.power_drawn_band_hz = Some(band.into());
    }
}

impl StationModeEntry {
    /// `peak`: the mobility at resonance, shown if the modal mass is told.
    fn new(result: &StationResult, peak: Option<&Measured>) -> Self {
        let tone = &result.tone;
        let bare = Measured::new(tone.frequency_hz, tone.frequency_hz_u, "frequency");
        let told = result.effective.as_ref().ok();
        Self {
            frequency_hz: FigureEntry::new(told.map_or(&bare, |e| &e.frequency)),
            damping_ratio: FigureEntry::new(&Measured::new(tone.damping_ratio, tone.damping_ratio_u, "damping")),
            modal_mass_kg: told.map(|e| FigureEntry::new(&e.modal_mass)),
            stiffness_n_m: told.map(|e| FigureEntry::new(&e.stiffness)),
            peak_mobility_m_n_s: told.and(peak).map(FigureEntry::new),
            shifts: told.map_or_else(Vec::new, |e| e.points.iter().map(|(m, y, u)| [*m, *y, *u]).collect()),
            notes: match &result.effective {
                Ok(effective) => effective.notes.clone(),
                Err(why) => vec![why.clone()],
            },
        }
    }
}
