//! What a part and its stations are worth, as the JSON document says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::loss::{Mobility, StationMode, infinite_beam, power_drawn_ratio};
use crate::modes::COVERAGE_95;
use crate::part::Measured;
use crate::stiffness::{AddedMassError, BlankResult, Quantity, StationResult, advised_mass_kg};

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

impl StationEntry {
    pub fn new(station: String, added_kg: Vec<f64>, result: Result<Vec<StationResult>, AddedMassError>) -> Self {
        let mut entry = Self {
            station,
            added_kg,
            error: None,
            modes: Vec::new(),
            band_hz: None,
            mean_mobility_m_n_s: None,
            baseline: None,
            power_drawn_ratio: None,
            power_drawn_band_hz: None,
            static_stiffness_n_m: None,
            advised_mass_kg: None,
            mobility: None,
        };
        let results = match result {
            Ok(results) => results,
            Err(error) => {
                entry.error = Some(error.to_string());
                return entry;
            }
        };
        let (mut station_modes, mut gaps) = (Vec::new(), Vec::new());
        for (index, result) in results.iter().enumerate() {
            let tone = &result.tone;
            let damping = Measured::new(tone.damping_ratio, tone.damping_ratio_u, &format!("damping {index}"));
            let mut mode = StationModeEntry {
                frequency_hz: FigureEntry::new(&Measured::new(tone.frequency_hz, tone.frequency_hz_u, "frequency")),
                damping_ratio: FigureEntry::new(&damping),
                modal_mass_kg: None,
                stiffness_n_m: None,
                peak_mobility_m_n_s: None,
                shifts: Vec::new(),
                notes: Vec::new(),
            };
            match &result.effective {
                Ok(effective) => {
                    mode.frequency_hz = FigureEntry::new(&effective.frequency);
                    mode.modal_mass_kg = Some(FigureEntry::new(&effective.modal_mass));
                    mode.stiffness_n_m = Some(FigureEntry::new(&effective.stiffness));
                    mode.shifts = effective.points.iter().map(|(m, y, u)| [*m, *y, *u]).collect();
                    mode.notes.clone_from(&effective.notes);
                    // The stuck-on masses are the same things at every station; all else is read anew.
                    let own = |s: &str| {
                        if s.starts_with("added ") {
                            s.to_owned()
                        } else {
                            format!("{s}, mode {index} of {}", entry.station)
                        }
                    };
                    station_modes.push(StationMode {
                        frequency: effective.frequency.renamed(own),
                        damping_ratio: damping.renamed(own),
                        // All modes of a take are held anew together.
                        modal_mass: effective.modal_mass.renamed(|s| {
                            if s.starts_with("held anew") { format!("{s} at {}", entry.station) } else { own(s) }
                        }),
                    });
                }
                Err(why) => {
                    mode.notes.push(why.clone());
                    let frequency =
                        Measured::new(tone.frequency_hz, tone.frequency_hz_u, &format!("frequency {index}"));
                    gaps.push((frequency, damping));
                }
            }
            entry.modes.push(mode);
        }
        let lightest = station_modes.iter().map(|m: &StationMode| m.modal_mass.value).fold(f64::INFINITY, f64::min);
        let own_peaks = Mobility::new(station_modes.clone()).map(|m| m.peaks()).unwrap_or_default();
        let Some(mobility) = Mobility::with_gaps(station_modes, gaps) else {
            entry.error = Some("no mode could be followed through the takes with a mass on".into());
            return entry;
        };
        let mut peaks = own_peaks.into_iter();
        for mode in entry.modes.iter_mut().filter(|m| m.modal_mass_kg.is_some()) {
            mode.peak_mobility_m_n_s = peaks.next().as_ref().map(FigureEntry::new);
        }
        entry.advised_mass_kg = Some(advised_mass_kg(lightest));
        entry.band_hz = Some(mobility.band_hz.into());
        entry.mean_mobility_m_n_s = Some(FigureEntry::new(&mobility.mean_real(mobility.band_hz)));
        entry.mobility = Some(mobility);
        entry
    }

    /// Sets the power that it draws against a baseline station.
    pub fn against(&mut self, baseline: &Self) {
        if let (Some(own), Some(other)) = (&self.mobility, &baseline.mobility)
            && let Some((ratio, band)) = power_drawn_ratio(other, own)
        {
            self.baseline = Some(baseline.station.clone());
            self.power_drawn_ratio = Some(FigureEntry::new(&ratio));
            self.power_drawn_band_hz = Some(band.into());
        }
    }
}

/// Real part of the mobility of an endless strip of this stiffness and mass at a frequency, for the picture and the text.
pub fn strip_mobility(bending_stiffness: f64, mass_per_length: f64, frequency_hz: f64) -> f64 {
    infinite_beam(bending_stiffness, mass_per_length, frequency_hz).re
}
