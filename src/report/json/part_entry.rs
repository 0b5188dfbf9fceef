//! What a part and its stations are worth, as the JSON document says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::budget_entry::{BudgetEntry, finite};
use crate::analysis::{PartFindings, SpotFindings};
use crate::loss::StationMode;
use crate::stiffness::{MassAdvice, Quantity, StationResult};
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
    /// One-sided 95 % limits of both: they are at least this. What moves across alone is no lighter, so they hold for that too.
    #[serde(default)]
    pub modal_mass_at_least_kg: Option<f64>,
    #[serde(default)]
    pub stiffness_at_least_n_m: Option<f64>,
    /// Modal mass (kg) and stiffness (N/m) of the motion across alone, where the spot cannot slide; else null, and the limits hold.
    #[serde(default)]
    pub across_modal_mass_kg: Option<FigureEntry>,
    #[serde(default)]
    pub across_stiffness_n_m: Option<FigureEntry>,
    /// Code of the reason why there is no modal mass.
    #[serde(default)]
    pub reason: Option<String>,
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
    /// What that mean is at most (one-sided 95 %), where the spot may slide.
    #[serde(default)]
    pub mean_mobility_at_most_m_n_s: Option<f64>,
    /// Power drawn for a given edge force relative to the baseline station, over the band that both cover.
    pub baseline: Option<String>,
    pub power_drawn_ratio: Option<FigureEntry>,
    pub power_drawn_band_hz: Option<[f64; 2]>,
    /// The same for an edge that gives 0.3 to 3 times as readily as the baseline, and for an edge of given speed.
    #[serde(default)]
    pub power_matched_top_ratio: Option<FigureEntry>,
    #[serde(default)]
    pub power_given_speed_ratio: Option<FigureEntry>,
    /// How far the spot gives under a push across (m/N), rigid motion left out; or why that is not known.
    #[serde(default)]
    pub compliance_m_n: Option<FigureEntry>,
    #[serde(default)]
    pub compliance_unknown: Option<String>,
    /// Stiffness from a weight and a dial (N/m), as the part's file gives it.
    pub static_stiffness_n_m: Option<FigureEntry>,
    /// A mass to stick on (kg): the heavier of the advised ones.
    pub advised_mass_kg: Option<f64>,
    /// The masses to stick on (kg) for the strongest mode's modal mass within 25 %; empty where none is light enough.
    #[serde(default)]
    pub advised_masses_kg: Vec<f64>,
    /// What to do, in words, where a modal mass is missing or not known well.
    #[serde(default)]
    pub advice: Option<String>,
    /// Whether the spot may slide along as it moves to and fro.
    #[serde(default)]
    pub may_slide: Option<bool>,
}

/// With its interval in the logarithm, as `compare` gives it: a ratio and its inverse are treated alike.
fn ratio_entry(ratio: &Figure) -> FigureEntry {
    FigureEntry { interval_95: ratio.interval_95_of_ratio(), ..FigureEntry::new(ratio) }
}

fn known(compliance: &Option<Result<Figure, String>>) -> Option<FigureEntry> {
    compliance.as_ref().and_then(|c| c.as_ref().ok()).map(FigureEntry::new)
}

impl StationEntry {
    pub fn new(spot: &SpotFindings) -> Self {
        let mobility = spot.mobility.as_ref();
        let peaks = mobility.iter().flat_map(|m| &m.modes).map(StationMode::peak);
        let mut peaks: Vec<Option<Figure>> = peaks.map(Some).collect();
        peaks.resize(spot.results.len(), None);
        let power = spot.power.as_ref();
        let advised = match spot.advice {
            Some(MassAdvice::Two(masses) | MassAdvice::MoreTakes(masses)) => masses.to_vec(),
            _ => Vec::new(),
        };
        Self {
            station: spot.station.clone(),
            added_kg: spot.added_kg.clone(),
            error: spot.error.clone(),
            modes: spot
                .results
                .iter()
                .zip(&peaks)
                .map(|(result, peak)| StationModeEntry::new(result, peak.as_ref(), spot.may_slide))
                .collect(),
            band_hz: mobility.map(|m| m.band_hz).or(spot.mean_mobility_at_most.map(|m| m.0)).map(Into::into),
            mean_mobility_at_most_m_n_s: spot.mean_mobility_at_most.map(|m| m.1),
            mean_mobility_m_n_s: mobility.map(|m| FigureEntry::new(&m.mean_real(m.band_hz))),
            baseline: power.map(|p| p.baseline.clone()),
            power_drawn_ratio: power.map(|p| ratio_entry(&p.ratios.given_force)),
            power_matched_top_ratio: power.map(|p| ratio_entry(&p.ratios.matched_top)),
            power_given_speed_ratio: power.map(|p| ratio_entry(&p.ratios.given_speed)),
            power_drawn_band_hz: power.and_then(|p| p.ratios.band_hz).map(Into::into),
            compliance_m_n: known(&spot.compliance),
            compliance_unknown: spot.compliance.as_ref().and_then(|c| c.as_ref().err()).cloned(),
            static_stiffness_n_m: spot.static_stiffness.as_ref().map(FigureEntry::new),
            advised_mass_kg: advised.first().copied(),
            advised_masses_kg: advised,
            advice: spot.advice_if_wanted.map(|a| a.sentence()),
            may_slide: (!spot.results.is_empty()).then_some(spot.may_slide),
        }
    }
}

impl StationModeEntry {
    /// `peak`: the mobility at resonance, shown if the modal mass is told.
    fn new(result: &StationResult, peak: Option<&Figure>, may_slide: bool) -> Self {
        let tone = &result.tone;
        let told = result.effective.as_ref().ok();
        let across = told.filter(|_| !may_slide);
        Self {
            frequency_hz: FigureEntry::new(&result.frequency()),
            damping_ratio: FigureEntry::new(&Figure::new(tone.damping_ratio, tone.damping_ratio_u, Cause::Damping)),
            modal_mass_kg: told.map(|e| FigureEntry::new(&e.modal_mass)),
            stiffness_n_m: told.map(|e| FigureEntry::new(&e.stiffness)),
            modal_mass_at_least_kg: result.at_least_kg,
            stiffness_at_least_n_m: result.stiffness_at_least_n_m(),
            across_modal_mass_kg: across.map(|e| FigureEntry::new(&e.modal_mass)),
            across_stiffness_n_m: across.map(|e| FigureEntry::new(&e.stiffness)),
            reason: result.effective.as_ref().err().map(|why| why.code().to_owned()),
            peak_mobility_m_n_s: told.and(peak).map(FigureEntry::new),
            shifts: told.map_or_else(Vec::new, |e| e.points.iter().map(|(m, y, u)| [*m, *y, *u]).collect()),
            notes: match &result.effective {
                Ok(effective) => effective.notes.clone(),
                Err(why) => vec![why.to_string()],
            },
        }
    }
}
