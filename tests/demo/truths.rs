//! The demonstration's truth.toml, read by the test's own code.

use serde::Deserialize;

/// A mode's frequency (Hz), damping ratio and amplitude.
#[derive(Debug, Clone, Copy)]
pub struct Mode {
    pub frequency_hz: f64,
    pub damping_ratio: f64,
    pub amplitude: f64,
}

impl Mode {
    pub fn omega(&self) -> f64 {
        std::f64::consts::TAU * self.frequency_hz
    }
}

#[derive(Deserialize)]
struct ModeLists {
    frequency_hz: Vec<f64>,
    damping_ratio: Vec<f64>,
    amplitude: Vec<f64>,
}

fn modes(lists: ModeLists) -> Vec<Mode> {
    let of = |((frequency_hz, damping_ratio), amplitude)| Mode { frequency_hz, damping_ratio, amplitude };
    lists.frequency_hz.into_iter().zip(lists.damping_ratio).zip(lists.amplitude).map(of).collect()
}

/// True modes this close to another (share) cannot always be told from it.
const CLOSE: f64 = 3e-3;
/// A mode so many times weaker than its neighbour (20 dB) is not the one that is heard.
const FAINT: f64 = 0.1;

/// Which of some modes one that was heard may be: the nearest, and those close by that are about as loud.
pub fn meant(hz: f64, modes: &[Mode]) -> Vec<usize> {
    let off = |i: &usize| (modes[*i].frequency_hz / hz).ln().abs();
    let close: Vec<usize> = (0..modes.len()).filter(|i| off(i) < CLOSE).collect();
    let loudest = close.iter().map(|i| modes[*i].amplitude).fold(0.0, f64::max);
    let heard: Vec<usize> = close.into_iter().filter(|i| modes[*i].amplitude > FAINT * loudest).collect();
    if heard.is_empty() {
        (0..modes.len()).min_by(|a, b| off(a).total_cmp(&off(b))).into_iter().collect()
    } else {
        heard
    }
}

/// A list of modes as TOML keeps them: two arrays of the table.
#[derive(Deserialize)]
#[serde(from = "ModeLists")]
struct Modes(Vec<Mode>);

impl From<ModeLists> for Modes {
    fn from(lists: ModeLists) -> Self {
        Self(modes(lists))
    }
}

#[derive(Deserialize)]
struct File {
    blank: Vec<BlankTable>,
    spot: Vec<SpotTable>,
    ratio: Vec<Ratio>,
    take: Vec<TakeTable>,
}

#[derive(Deserialize)]
struct BlankTable {
    part: String,
    length_m: f64,
    width_m: f64,
    thickness_m: f64,
    mass_kg: f64,
    modulus_along_pa: f64,
    modulus_across_pa: f64,
    shear_modulus_pa: f64,
    bending_stiffness_n_m2: f64,
    #[serde(flatten)]
    modes: Modes,
}

#[derive(Deserialize)]
struct SpotTable {
    part: String,
    stage: String,
    station: String,
    mass_kg: f64,
    modal_mass_kg: Vec<f64>,
    shape_across: Vec<f64>,
    #[serde(flatten)]
    modes: Modes,
}

#[derive(Deserialize)]
struct TakeTable {
    name: String,
    held_frequency: f64,
    held_damping: f64,
    #[serde(flatten)]
    modes: Modes,
}

/// A stage over the part's first.
#[derive(Deserialize)]
pub struct Ratio {
    part: String,
    after: String,
    station: String,
    pub stiffness: Option<f64>,
}

pub struct Blank {
    part: String,
    pub length_m: f64,
    pub width_m: f64,
    pub thickness_m: f64,
    pub mass_kg: f64,
    pub modulus_along_pa: f64,
    modulus_across_pa: f64,
    shear_modulus_pa: f64,
    bending_stiffness_n_m2: f64,
    pub modes: Vec<Mode>,
}

impl Blank {
    pub fn mass_per_length(&self) -> f64 {
        self.mass_kg / self.length_m
    }

    /// A quantity of the report by its code, by the definition; `None` for what the simulation does not know.
    pub fn quantity(&self, code: &str) -> Option<f64> {
        let density = self.mass_kg / (self.length_m * self.width_m * self.thickness_m);
        let (along, bending) = (self.modulus_along_pa, self.bending_stiffness_n_m2);
        Some(match code {
            "density_kg_m3" => density,
            "modulus_along_pa" => along,
            "modulus_across_pa" => self.modulus_across_pa,
            "shear_modulus_pa" => self.shear_modulus_pa,
            "bending_stiffness_n_m2" => bending,
            "bending_stiffness_per_width_n_m" => bending / self.width_m,
            "specific_stiffness_m2_s2" => along / density,
            "sound_speed_m_s" => (along / density).sqrt(),
            "characteristic_impedance_kg_m2_s" => (along * density).sqrt(),
            "radiation_ratio_m4_kg_s" => (along / density.powi(3)).sqrt(),
            // Re Y of an endless strip: 1/(4 m' c), c = (EI w^2/m')^(1/4) (Cremer, Heckl, Structure-Borne Sound).
            "strip_mobility_200_hz_m_n_s" => {
                let omega = std::f64::consts::TAU * 200.0;
                let m = self.mass_per_length();
                1.0 / (4.0 * m * (bending * omega * omega / m).powf(0.25))
            }
            _ => return None,
        })
    }
}

pub struct Spot {
    part: String,
    stage: String,
    station: String,
    pub mass_kg: f64,
    pub modes: Vec<Mode>,
    pub modal_mass_kg: Vec<f64>,
    shape_across: Vec<f64>,
}

impl Spot {
    /// Modes of the list that one of a report may be.
    pub fn meant(&self, hz: f64) -> Vec<usize> {
        meant(hz, &self.modes)
    }

    /// Mean real part of the mobility across the side over a band: a sum over modes (any textbook on modal analysis).
    pub fn mean_mobility(&self, band: (f64, f64)) -> f64 {
        let steps = 40_000;
        let real = |hz: f64| -> f64 {
            let omega = std::f64::consts::TAU * hz;
            let of = |(mode, shape): (&Mode, &f64)| {
                let own = mode.omega().powi(2);
                let lost = 2.0 * mode.damping_ratio * own;
                omega * lost * shape * shape / ((own - omega * omega).powi(2) + lost * lost)
            };
            self.modes.iter().zip(&self.shape_across).map(of).sum()
        };
        let at = |i: usize| band.0 + (band.1 - band.0) * (i as f64 + 0.5) / f64::from(steps);
        (0..steps as usize).map(|i| real(at(i))).sum::<f64>() / f64::from(steps)
    }
}

impl Spot {
    /// How far the spot gives under a push across (m/N), rigid motion left out: its modes' sum at rest.
    pub fn compliance(&self) -> f64 {
        self.modes.iter().zip(&self.shape_across).map(|(m, shape)| (shape / m.omega()).powi(2)).sum()
    }

    /// Power that goes in from an edge of a real mobility (m/(N s)), in the mean over a band faded at its ends by raised cosines of half an
    /// octave: Re Y/|Y + edge|^2, with the rigid motion of a part that does not turn.
    pub fn power(&self, band: (f64, f64), edge: f64) -> f64 {
        let fade = 0.5f64.min(0.5 * (band.1 / band.0).log2());
        let weight = |hz: f64| {
            let inside = (hz / band.0).log2().min((band.1 / hz).log2()).clamp(0.0, fade);
            (0.5 * std::f64::consts::PI * inside / fade).sin().powi(2)
        };
        let power = |hz: f64| {
            let omega = std::f64::consts::TAU * hz;
            let (mut re, mut im) = (0.0, -1.0 / (omega * self.mass_kg));
            for (mode, shape) in self.modes.iter().zip(&self.shape_across) {
                // j w s^2/(w0^2 - w^2 + 2 j zeta w0 w)
                let (own, lost) =
                    (mode.omega().powi(2) - omega * omega, 2.0 * mode.damping_ratio * mode.omega() * omega);
                let size = own * own + lost * lost;
                re += omega * shape * shape * lost / size;
                im += omega * shape * shape * own / size;
            }
            re / ((re + edge).powi(2) + im * im)
        };
        let steps = 40_000;
        let at = |i: usize| band.0 + (band.1 - band.0) * (i as f64 + 0.5) / f64::from(steps);
        let sums = (0..steps as usize).map(|i| (weight(at(i)) * power(at(i)), weight(at(i))));
        let (power, weights) = sums.fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
        power / weights
    }
}

pub struct Take {
    name: String,
    held: (f64, f64),
    pub modes: Vec<Mode>,
}

impl Take {
    /// The part with what was stuck on, in the mean over holdings.
    pub fn in_the_mean(&self) -> Vec<Mode> {
        let of = |m: &Mode| Mode {
            frequency_hz: m.frequency_hz / self.held.0,
            damping_ratio: m.damping_ratio / self.held.1,
            ..*m
        };
        self.modes.iter().map(of).collect()
    }
}

pub struct Truths {
    blanks: Vec<Blank>,
    spots: Vec<Spot>,
    ratios: Vec<Ratio>,
    takes: Vec<Take>,
}

impl Truths {
    pub fn from_toml(text: &str) -> Self {
        let file: File = toml::from_str(text).unwrap_or_else(|e| panic!("{e}"));
        let blank = |b: BlankTable| Blank {
            part: b.part,
            length_m: b.length_m,
            width_m: b.width_m,
            thickness_m: b.thickness_m,
            mass_kg: b.mass_kg,
            modulus_along_pa: b.modulus_along_pa,
            modulus_across_pa: b.modulus_across_pa,
            shear_modulus_pa: b.shear_modulus_pa,
            bending_stiffness_n_m2: b.bending_stiffness_n_m2,
            modes: b.modes.0,
        };
        let spot = |s: SpotTable| Spot {
            part: s.part,
            stage: s.stage,
            station: s.station,
            mass_kg: s.mass_kg,
            modes: s.modes.0,
            modal_mass_kg: s.modal_mass_kg,
            shape_across: s.shape_across,
        };
        let take = |t: TakeTable| Take { name: t.name, held: (t.held_frequency, t.held_damping), modes: t.modes.0 };
        Self {
            blanks: file.blank.into_iter().map(blank).collect(),
            spots: file.spot.into_iter().map(spot).collect(),
            takes: file.take.into_iter().map(take).collect(),
            ratios: file.ratio,
        }
    }

    pub fn blank(&self, part: &str) -> Option<&Blank> {
        self.blanks.iter().find(|b| b.part == part)
    }

    pub fn spot(&self, part: &str, stage: &str, station: &str) -> &Spot {
        let own = |s: &&Spot| s.part == part && s.stage == stage && s.station == station;
        self.spots.iter().find(own).unwrap_or_else(|| panic!("{part}/{stage}/{station}"))
    }

    pub fn ratio(&self, part: &str, after: &str, station: &str) -> &Ratio {
        let own = |r: &&Ratio| r.part == part && r.after == after && r.station == station;
        self.ratios.iter().find(own).expect("a stage of the demonstration")
    }

    /// The take of a file in `recordings/`.
    pub fn take(&self, file: &str) -> &Take {
        let name = file.trim_start_matches("recordings/");
        let own = |t: &&Take| name.rsplit_once('.').is_some_and(|(stem, _)| stem == t.name);
        self.takes.iter().find(own).unwrap_or_else(|| panic!("{file}"))
    }
}
