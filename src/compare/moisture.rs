//! What moisture makes of two stages that were tapped in other air, or on other days.
//!
//! Wood in drier air is lighter, and its modulus higher (Wood Handbook, Eq. 5-3), and it is thinner, which takes most of the bending
//! stiffness back: EI and f² times mass move little, mass and pitch move much. The other stage is brought to the moisture of the
//! baseline, with what is not known of that in its uncertainty.

use super::session::same_session;
use super::stage::Stage;
use crate::loss::{Mobility, StationMode};
use crate::part::equilibrium_moisture;
use crate::uncertainty::{COVERAGE_95, Cause, Figure, Scope, Source};

/// How much of the difference between two airs the wood shows when it is tapped (mean and standard uncertainty): all of it after weeks
/// in either air, half after a few days; woods rich in extractives take up less than the equation says, and after drying more than after
/// wetting (hysteresis, some 15 %). Judgement, no source.
const FOLLOWS: (f64, f64) = (0.8, 0.25);
/// What wood is off its air's equilibrium besides, in each stage (standard uncertainty, fraction): the air of the week before. Judgement.
const OFF_EQUILIBRIUM: f64 = 0.005;
/// How far the moisture of stages of different days may lie apart (standard uncertainty, fraction) where the air is not known: 6 % of
/// humidity. Judgement: heated or damp shops swing by more over a year, kept ones by less.
const OF_OTHER_DAYS: f64 = 0.010;
/// Below this difference (fraction) two airs of one session are one air.
const MATTERS: f64 = 0.01;

/// The share by which E along falls for a unit of moisture where the wood is not known: mean of the species in `plan::woods`, its spread
/// over them (0.5) and over boards together; and over the boards of one species (Eq. 5-3 is an average relation; judgement).
const MODULUS_LOST: (f64, f64) = (1.7, 0.8);
const BOARDS_DIFFER: f64 = 0.4;
/// The share by which thickness³ times width grows for a unit of moisture: mean and spread over the same species, cut on the quarter
/// and flat: 0.62 (cedar) to 1.33 (oak). From the Wood Handbook's shrinkages, Table 4-3 (sugar maple read: 4.8 and 9.9 %; the others from
/// memory), over the 28 % from fibre saturation to dry.
const SWELLS: (f64, f64) = (0.95, 0.30);
/// Share of wood in a part's mass, with that of glue, lacquer and hardware unknown (judgement).
const OF_WOOD: (f64, f64) = (0.97, 0.03);
/// Loss moves by this share for a unit of moisture, up or down: +41 % from 2 to 12 % in spruce beams (Qiu et al., Forests 2026), other
/// sources see it fall first; no relation is good enough to correct by.
const LOSS_MOVES: f64 = 3.5;
/// The swing of humidity that is spoken of, about these airs (C, fraction).
const SWING: f64 = 0.10;
const ORDINARY_AIR: (f64, f64) = (20.0, 0.45);

/// What is known of the moisture of two stages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MoistureState {
    /// Tapped in one session, in one air: nothing is corrected.
    #[default]
    OneSession,
    /// Both airs are known: the other stage is brought to the baseline's moisture.
    Brought,
    /// Tapped on different days, in air that nobody wrote down: the figures are widened.
    OtherDays,
    /// Nothing tells when or in which air: said, and nothing widened.
    NotKnown,
}

impl MoistureState {
    /// Stable short code.
    pub fn code(self) -> &'static str {
        match self {
            Self::OneSession => "one_session",
            Self::Brought => "brought",
            Self::OtherDays => "other_days",
            Self::NotKnown => "not_known",
        }
    }
}

/// The moisture of two stages, and the factors that bring the other to that of the baseline.
#[derive(Debug, Clone, PartialEq)]
pub struct MoistureChange {
    pub state: MoistureState,
    /// Moisture content (fraction) that the air gives to the wood, where it is known.
    pub baseline: Option<Figure>,
    pub other: Option<Figure>,
    /// How much wetter (fraction) the wood of the other stage is.
    pub difference: Figure,
    /// Factors on the other stage's readings.
    pub mass: Figure,
    pub stiffness: Figure,
    pub pitch: Figure,
    pub loss: Figure,
}

impl Default for MoistureChange {
    fn default() -> Self {
        Self::nothing(MoistureState::OneSession, None, None)
    }
}

fn source(cause: Cause, axis: u8) -> Source {
    Source { axis, ..cause.into() }
}

impl MoistureChange {
    fn nothing(state: MoistureState, baseline: Option<Figure>, other: Option<Figure>) -> Self {
        let one = || Figure::exact(1.0);
        Self {
            state,
            baseline,
            other,
            difference: Figure::exact(0.0),
            mass: one(),
            stiffness: one(),
            pitch: one(),
            loss: one(),
        }
    }

    /// What is known of two stages.
    pub fn between(baseline: &Stage, other: &Stage) -> Self {
        let session = same_session(&baseline.tapped, &other.tapped);
        let (a, b) = (baseline.moisture.clone(), other.moisture.clone());
        let lost = modulus_lost(baseline, other);
        let at = |state, difference: Figure, content: f64| Self {
            state,
            ..Self::by(difference, content, &lost, (a.clone(), b.clone()))
        };
        match (&a, &b, session) {
            (Some(x), Some(y), session) => {
                let air = Figure::combine(&[x, y], |v| v[1] - v[0]);
                if session == Some(true) && air.value.abs() <= MATTERS {
                    return Self::nothing(MoistureState::OneSession, a, b);
                }
                let follows = Figure::new(FOLLOWS.0, FOLLOWS.1, source(Cause::NotAtEquilibrium, 0));
                let mut difference = Figure::combine(&[&air, &follows], |v| v[0] * v[1]);
                for stage in [&baseline.name, &other.name] {
                    let own = Source::from(Cause::NotAtEquilibrium).within(Scope::Stage(stage.as_str().into()));
                    difference = difference.plus_uncertainty(OFF_EQUILIBRIUM, own);
                }
                at(MoistureState::Brought, difference, x.value)
            }
            (_, _, Some(true)) => Self::nothing(MoistureState::OneSession, a, b),
            (_, _, Some(false)) => {
                let difference = Figure::new(0.0, OF_OTHER_DAYS, Cause::MoistureNotKnown);
                at(MoistureState::OtherDays, difference, ordinary(0.0))
            }
            (_, _, None) => Self::nothing(MoistureState::NotKnown, a, b),
        }
    }

    /// The factors for wood that is wetter by `difference` than at a moisture `content` (fractions).
    fn by(
        difference: Figure,
        content: f64,
        lost: &Figure,
        (baseline, other): (Option<Figure>, Option<Figure>),
    ) -> Self {
        let wood = Figure::new(OF_WOOD.0, OF_WOOD.1, Cause::ShareOfWood);
        let swells = Figure::new(SWELLS.0, SWELLS.1, Cause::SwellingWithMoisture);
        let mass = Figure::combine(&[&difference, &wood], |x| 1.0 / (1.0 + x[1] * x[0] / (1.0 + content)));
        let stiffness = Figure::combine(&[&difference, lost, &swells], |x| ((x[1] - x[2]) * x[0]).exp());
        // Neither the difference nor the slope is known: to first order their product does not show where one of them may be nothing.
        let both = difference.u() * lost.u().hypot(swells.u());
        let stiffness = stiffness.plus_uncertainty(both, source(Cause::MoistureRelation, 1));
        let pitch = Figure::combine(&[&stiffness, &mass], |x| (x[0] / x[1]).sqrt());
        let moves = LOSS_MOVES * difference.value.hypot(difference.u());
        let loss = Figure::new(1.0, moves, Cause::LossWithMoisture);
        Self { state: MoistureState::OneSession, baseline, other, difference, mass, stiffness, pitch, loss }
    }

    /// A stage as it would read at the baseline's moisture.
    pub(super) fn bring(&self, stage: &Stage) -> Stage {
        if matches!(self.state, MoistureState::OneSession | MoistureState::NotKnown) {
            return stage.clone();
        }
        let times = |figure: &Figure, factor: &Figure| Figure::combine(&[figure, factor], |x| x[0] * x[1]);
        let mut brought = stage.clone();
        for mode in &mut brought.modes {
            mode.frequency = times(&mode.frequency, &self.pitch);
            mode.damping_ratio = times(&mode.damping_ratio, &self.loss);
        }
        brought.mass = stage.mass.as_ref().map(|m| times(m, &self.mass));
        brought.mass_per_length = stage.mass_per_length.as_ref().map(|m| times(m, &self.mass));
        brought.bending_stiffness = stage.bending_stiffness.as_ref().map(|k| times(k, &self.stiffness));
        let mode = |m: &StationMode| StationMode {
            frequency: times(&m.frequency, &self.pitch),
            damping_ratio: times(&m.damping_ratio, &self.loss),
            modal_mass: times(&m.modal_mass, &self.mass),
        };
        let part_kg = |m: &Mobility| m.part_kg.map(|kg| kg * self.mass.value);
        let moved =
            |m: &Mobility| Some(Mobility::new(m.modes.iter().map(mode).collect())?.of_part(part_kg(m), m.turns));
        brought.mobility = stage.mobility.as_ref().and_then(moved);
        brought.compliance = stage.compliance.as_ref().map(|c| Figure::combine(&[c, &self.stiffness], |x| x[0] / x[1]));
        brought
    }

    /// What a maker should know of it, if anything.
    pub fn note(&self, baseline: &str, other: &str) -> Option<String> {
        let spread = |f: &Figure| 100.0 * COVERAGE_95 * f.relative_u_95();
        let factor = |f: &Figure| format!("{:.3} ± {:.3}", f.value, COVERAGE_95 * f.u_95());
        match self.state {
            MoistureState::OneSession => None,
            MoistureState::Brought => {
                let percent = |f: &Option<Figure>| f.as_ref().map_or(f64::NAN, |f| 100.0 * f.value);
                Some(format!(
                    "the air gives the wood {:.1} % of moisture in {baseline} and {:.1} % in {other}: the ratios are as at {:.1} %, for \
                     which the mass of {other} is multiplied by {}, its frequencies by {}, and stiffness by {}. Most of that doubt is \
                     whether the wood had followed its air. No good relation is known for loss, so its intervals are wider \
                     by ± {:.0} %",
                    percent(&self.baseline),
                    percent(&self.other),
                    percent(&self.baseline),
                    factor(&self.mass),
                    factor(&self.pitch),
                    factor(&self.stiffness),
                    spread(&self.loss)
                ))
            }
            MoistureState::OtherDays => Some(format!(
                "{baseline} and {other} were tapped on different days, and moisture is not known in {}: intervals are wider for it (mass \
                 by ± {:.1} %, frequency by ± {:.1} %, stiffness by ± {:.1} %, loss by ± {:.0} %). {}. Temperature and humidity of \
                 each stage in bench.toml would narrow them",
                self.not_known_in(baseline, other),
                spread(&self.mass),
                spread(&self.pitch),
                spread(&self.stiffness),
                spread(&self.loss),
                swing()
            )),
            MoistureState::NotKnown => Some(format!(
                "moisture is not known in {}, and the files do not show whether both were tapped on one day: no allowance is made. {}. \
                 Write date, temperature and humidity of each stage into bench.toml",
                self.not_known_in(baseline, other),
                swing()
            )),
        }
    }

    fn not_known_in(&self, baseline: &str, other: &str) -> String {
        let unknown = [(&self.baseline, baseline), (&self.other, other)];
        let names: Vec<&str> = unknown.iter().filter(|(m, _)| m.is_none()).map(|(_, name)| *name).collect();
        names.join(" and ")
    }
}

/// What a swing of the shop's humidity moves, in words.
fn swing() -> String {
    let difference = Figure::exact(ordinary(0.5 * SWING) - ordinary(-0.5 * SWING));
    let lost = Figure::new(MODULUS_LOST.0, MODULUS_LOST.1, Cause::MoistureRelation);
    let of = MoistureChange::by(difference, ordinary(0.0), &lost, (None, None));
    let percent = |f: &Figure| 100.0 * (f.value - 1.0).abs();
    format!(
        "A swing of {:.0} % of humidity in the shop moves mass by {:.1} %, frequencies by {:.1} %, stiffness by {:.1} % and loss by some \
         {:.0} %, once the wood has followed",
        100.0 * SWING,
        percent(&of.mass),
        percent(&of.pitch),
        percent(&of.stiffness),
        100.0 * of.loss.u()
    )
}

/// Moisture (fraction) of wood in ordinary air whose humidity is higher by a step.
fn ordinary(step: f64) -> f64 {
    equilibrium_moisture(ORDINARY_AIR.0, ORDINARY_AIR.1 + step).unwrap_or(f64::NAN)
}

/// How much of E along a unit of moisture takes: of the woods of both stages as far as they are known.
fn modulus_lost(baseline: &Stage, other: &Stage) -> Figure {
    let woods: Vec<f64> = baseline.modulus_lost.into_iter().chain(other.modulus_lost).collect();
    let (value, u) = match woods.len() {
        0 => MODULUS_LOST,
        n => {
            let mean = woods.iter().sum::<f64>() / n as f64;
            (mean, BOARDS_DIFFER * mean)
        }
    };
    Figure::new(value, u, source(Cause::MoistureRelation, 0))
}

#[cfg(test)]
mod tests {
    use super::super::session::Tapped;
    use super::*;
    use crate::part::{Day, moisture_in_air};

    fn stage(name: &str, humidity: Option<f64>, day: Option<i64>) -> Stage {
        let moisture = humidity
            .and_then(|h| moisture_in_air(&Figure::exact(21.1), &Figure::new(h, 0.03, format!("humidity of {name}"))));
        let tapped = Tapped { day: day.map(Day), files: Vec::new() };
        Stage { name: name.into(), moisture, tapped, mass: Some(Figure::exact(0.1)), ..Stage::default() }
    }

    #[test]
    fn what_is_known_decides_what_is_done() {
        let state = |a: (Option<f64>, Option<i64>), b: (Option<f64>, Option<i64>)| {
            MoistureChange::between(&stage("a", a.0, a.1), &stage("b", b.0, b.1)).state
        };
        assert_eq!(state((None, Some(1)), (None, Some(1))), MoistureState::OneSession);
        assert_eq!(state((Some(0.45), Some(1)), (Some(0.47), Some(1))), MoistureState::OneSession);
        assert_eq!(state((Some(0.3), Some(1)), (Some(0.7), Some(1))), MoistureState::Brought);
        assert_eq!(state((Some(0.45), None), (Some(0.45), None)), MoistureState::Brought);
        assert_eq!(state((Some(0.45), Some(1)), (None, Some(9))), MoistureState::OtherDays);
        assert_eq!(state((Some(0.45), None), (None, None)), MoistureState::NotKnown);
    }

    #[test]
    fn it_is_said_where_there_is_something_to_say() {
        let note = |a: Stage, b: Stage| MoistureChange::between(&a, &b).note(&a.name, &b.name).unwrap_or_default();
        let known = note(stage("plain", Some(0.3), None), stage("later", Some(0.7), None));
        assert!(known.starts_with("the air gives the wood 6.2 % of moisture in plain and 13.1 % in later"), "{known}");
        let unknown = note(stage("plain", Some(0.3), None), stage("later", None, None));
        assert!(unknown.starts_with("moisture is not known in later, and the files"), "{unknown}");
        let weeks = note(stage("plain", None, Some(1)), stage("later", None, Some(20)));
        assert!(weeks.contains("different days, and moisture is not known in plain and later"), "{weeks}");
        assert_eq!(note(stage("plain", None, Some(1)), stage("later", None, Some(1))), "");
    }

    /// Airs that read the same do not make the wood the same; a stage of the same session is untouched.
    #[test]
    fn other_days_widen_and_one_session_does_not() {
        let change =
            |day| MoistureChange::between(&stage("a", Some(0.45), Some(1)), &stage("b", Some(0.45), Some(day)));
        let (same, later) = (change(1), change(30));
        assert_eq!((same.mass.u(), same.bring(&stage("b", None, None))), (0.0, stage("b", None, None)));
        assert!(
            (later.mass.value - 1.0).abs() < 1e-9 && (0.005..0.012).contains(&later.mass.relative_u()),
            "{later:?}"
        );
        // The product of two doubts is there where the difference is none.
        assert!((0.006..0.02).contains(&later.stiffness.relative_u()), "{later:?}");
    }
}
