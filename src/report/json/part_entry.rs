//! What a part and its stations are worth, as the JSON document says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::budget_entry::{BudgetEntry, finite};
use crate::analysis::{PartFindings, SpotFindings};
use crate::loss::StationMode;
use crate::stiffness::{Quantity, StationResult};
use crate::uncertainty::{Cause, Figure};

/// A figure with its uncertainty.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct FigureEntry {
    /// SI value, half of the 95 % interval divided by 1.96, and the interval.
    pub value: f64,
    pub u: f64,
    pub interval_95: [f64; 2],
    /// Degrees of freedom of the interval; null if infinitely many.
    #[serde(default)]
    pub dof: Option<f64>,
    /// What the uncertainty comes from, the largest first.
    #[serde(default)]
    pub budget: Vec<BudgetEntry>,
    /// What moves it most, and its share of the variance (0 to 1).
    pub moved_most_by: Option<String>,
    pub moved_most_share: Option<f64>,
}

impl FigureEntry {
    pub fn new(figure: &Figure) -> Self {
        let most = figure.largest_source();
        Self {
            value: figure.value,
            u: figure.u_95(),
            interval_95: figure.interval_95(),
            dof: finite(figure.dof()),
            budget: BudgetEntry::of(figure),
            moved_most_by: most.as_ref().map(|(s, _)| s.to_string()),
            moved_most_share: most.map(|(_, share)| share),
        }
    }
}

/// A named figure about a part.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
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
}

/// Another way to number the modes.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct NumberingEntry {
    /// Young's modulus along the grain that it gives (Pa).
    pub modulus_along_pa: f64,
    /// Logarithm of how many times less likely it is than the best.
    pub behind: f64,
    /// Name of each mode in it, in the order of the modes; null for a tone that is not the part's, or that may
    /// be one of two modes side by side.
    pub names: Vec<Option<String>>,
}

/// The part, as far as its description and these modes tell.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
pub struct PartEntry {
    pub name: Option<String>,
    pub kind: String,
    /// What looks wrong in the description, or is missing, and what these modes cannot tell.
    pub notes: Vec<String>,
    /// Stable short codes of what these modes cannot tell of a flat blank, in the order of their notes.
    #[serde(default)]
    pub reasons: Vec<String>,
    /// Whether one numbering of the modes stands alone; null where none was sought.
    pub decided: Option<bool>,
    /// The numberings that explain the modes, the best first.
    pub numberings: Vec<NumberingEntry>,
    pub quantities: Vec<QuantityEntry>,
}

impl PartEntry {
    pub fn new(part: &PartFindings) -> Self {
        Self {
            name: part.name.clone(),
            kind: part.kind.name().to_owned(),
            notes: part.notes.clone(),
            reasons: part.reasons.clone(),
            decided: part.decided,
            numberings: part
                .numberings
                .iter()
                .map(|n| NumberingEntry {
                    modulus_along_pa: n.modulus_along_pa,
                    behind: n.behind,
                    names: n.names.clone(),
                })
                .collect(),
            quantities: part.quantities.iter().map(QuantityEntry::new).collect(),
        }
    }
}

impl QuantityEntry {
    fn new(quantity: &Quantity) -> Self {
        let (kind, (shown_unit, shown_factor)) = (quantity.kind, quantity.kind.shown());
        Self {
            code: kind.code().to_owned(),
            name: kind.name().to_owned(),
            unit: kind.unit().to_owned(),
            figure: FigureEntry::new(&quantity.figure),
            meaning: kind.meaning().to_owned(),
            shown_unit: shown_unit.to_owned(),
            shown_factor,
        }
    }
}

/// A mode at a station.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
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
}

impl StationEntry {
    pub fn new(spot: &SpotFindings) -> Self {
        let mobility = spot.mobility.as_ref();
        let peaks = mobility.iter().flat_map(|m| &m.modes).map(StationMode::peak);
        let mut peaks: Vec<Option<Figure>> = peaks.map(Some).collect();
        peaks.resize(spot.results.len(), None);
        let power = spot.power.as_ref();
        Self {
            station: spot.station.clone(),
            added_kg: spot.added_kg.clone(),
            error: spot.error.clone(),
            modes: spot
                .results
                .iter()
                .zip(&peaks)
                .map(|(result, peak)| StationModeEntry::new(result, peak.as_ref()))
                .collect(),
            band_hz: mobility.map(|m| m.band_hz.into()),
            mean_mobility_m_n_s: mobility.map(|m| FigureEntry::new(&m.mean_real(m.band_hz))),
            baseline: power.map(|p| p.baseline.clone()),
            power_drawn_ratio: power.map(|p| {
                // In the logarithm, as `compare` gives it: a ratio and its inverse are treated alike.
                FigureEntry { interval_95: p.ratio.interval_95_of_ratio(), ..FigureEntry::new(&p.ratio) }
            }),
            power_drawn_band_hz: power.map(|p| p.band_hz.into()),
            static_stiffness_n_m: spot.static_stiffness.as_ref().map(FigureEntry::new),
            advised_mass_kg: spot.advised_mass_kg(),
        }
    }
}

impl StationModeEntry {
    /// `peak`: the mobility at resonance, shown if the modal mass is told.
    fn new(result: &StationResult, peak: Option<&Figure>) -> Self {
        let tone = &result.tone;
        let bare = Figure::new(tone.frequency_hz, tone.frequency_hz_u, Cause::Frequency);
        let told = result.effective.as_ref().ok();
        Self {
            frequency_hz: FigureEntry::new(told.map_or(&bare, |e| &e.frequency)),
            damping_ratio: FigureEntry::new(&Figure::new(tone.damping_ratio, tone.damping_ratio_u, Cause::Damping)),
            modal_mass_kg: told.map(|e| FigureEntry::new(&e.modal_mass)),
            stiffness_n_m: told.map(|e| FigureEntry::new(&e.stiffness)),
            peak_mobility_m_n_s: told.and(peak).map(FigureEntry::new),
            shifts: told.map_or_else(Vec::new, |e| e.points.iter().map(|(m, y, u)| [*m, *y, *u]).collect()),
            notes: match &result.effective {
                Ok(effective) => effective.notes.clone(),
                Err(why) => vec![why.to_string()],
            },
        }
    }
}
