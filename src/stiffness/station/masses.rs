//! Modal masses of all modes at a spot together, from the shifts that stuck-on masses make.

use std::f64::consts::TAU;

use super::advice::{MassAdvice, grams};
use super::chosen::longer;
use super::effective::{EffectiveMass, Sources, at_least, frequency, held_anew, inverse_mass};
use super::follow::follow;
use super::no_modal_mass::{AddedMassError, NoModalMass};
use super::problem::Problem;
use super::solution::Solution;
use super::spot::Spot;
use super::take::{SpotMotion, StationTake, StationTone, mass_places};
use crate::part::{HUNG_AGAIN_DOF, HUNG_AGAIN_FREQUENCY};
use crate::uncertainty::{COVERAGE_95, Cause, Contribution, Figure, Source};

/// A mode of the bare part at a spot, and what the masses say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct StationResult {
    pub tone: StationTone,
    pub effective: Result<EffectiveMass, NoModalMass>,
    /// One-sided 95 % limit of the modal mass of all motion (kg): it is at least this. What moves one way only is no lighter, so it holds
    /// for the motion across as well.
    pub at_least_kg: Option<f64>,
}

impl StationResult {
    /// Frequency without added mass (Hz), of the part: holding anew is in it.
    pub fn frequency(&self) -> Figure {
        let tone = &self.tone;
        let held = Contribution { size: HUNG_AGAIN_FREQUENCY * tone.frequency_hz, dof: HUNG_AGAIN_DOF };
        let read = Contribution { size: tone.frequency_hz_u, dof: f64::INFINITY };
        let parts = [(Cause::Frequency.into(), read), (held_anew(0.0, 0), held)];
        let alone = || Figure::with_contributions(tone.frequency_hz, parts);
        self.effective.as_ref().map_or_else(|_| alone(), |e| e.frequency.clone())
    }

    /// One-sided 95 % limit of the stiffness of all motion (N/m): it is at least this.
    pub fn stiffness_at_least_n_m(&self) -> Option<f64> {
        self.at_least_kg.map(|kg| kg * (TAU * self.tone.frequency_hz).powi(2))
    }
}

impl StationMasses {
    /// What to do where a modal mass is missing or its interval is wide, in words.
    pub fn advice_if_wanted(&self) -> Option<MassAdvice> {
        let wide = |m: &StationResult| m.effective.as_ref().map_or(true, |e| e.modal_mass.relative_u_95() > WIDE);
        self.advice.filter(|_| self.modes.iter().any(wide))
    }
}

/// What the takes of a spot say.
#[derive(Debug, Clone, PartialEq)]
pub struct StationMasses {
    /// By frequency.
    pub modes: Vec<StationResult>,
    /// What to stick on, for the strongest mode; `None` where no mode was followed.
    pub advice: Option<MassAdvice>,
}

/// Readings that obey the law lie as far from it as those that are refused once in a hundred times.
const LEAST_CHANCE: f64 = 1e-2;
/// A mode is to blame alone if the others agree as well as this without it: one in ten that obey the law agree worse.
const CLEAR_CHANCE: f64 = 0.1;
/// An interval of M wider than this (half of it over 1.96, relative) calls for advice.
const WIDE: f64 = 0.25 / 1.96;
/// Half of an interval of 1/M (relative) up to which M is given.
const CLEAR: f64 = 0.35;
/// A mass heavier than this beside the modal mass deserves a remark.
const HEAVY: f64 = 0.2;

/// The modal masses of a spot's modes by its takes with nothing and with masses stuck on.
///
/// # Errors
/// If there is no take without, or none with a mass.
pub fn station_masses(takes: &[StationTake], motion: &SpotMotion) -> Result<StationMasses, AddedMassError> {
    let mut order: Vec<&StationTake> = takes.iter().filter(|t| !t.tones.is_empty()).collect();
    // The richest of the takes without mass leads.
    order.sort_by(|a, b| a.added.value.total_cmp(&b.added.value).then_with(|| b.tones.len().cmp(&a.tones.len())));
    if order.first().is_none_or(|t| t.added.value > 0.0) {
        return Err(AddedMassError::NoBare);
    }
    if order.last().is_none_or(|t| t.added.value == 0.0) {
        return Err(AddedMassError::NoLoaded);
    }
    let spot = Spot { modes: follow(&order), masses: mass_places(&order).1, takes: order, motion };
    Ok(spot.masses())
}

/// Why a spot's modes have no modal mass: the reason that most of those without one share; `None` if each has its mass.
pub fn why_no_mass(results: &[StationResult]) -> Option<&NoModalMass> {
    let reasons = || results.iter().filter_map(|r| r.effective.as_ref().err());
    // The first of those that are equally frequent.
    reasons().rev().max_by_key(|why| reasons().filter(|other| other == why).count())
}

impl Spot<'_> {
    fn masses(&self) -> StationMasses {
        let mut reasons: Vec<Option<NoModalMass>> = (0..self.modes.len()).map(|m| self.lost(m)).collect();
        let mut used: Vec<bool> = reasons.iter().map(Option::is_none).collect();
        let sources = self.mass_sources();
        let mut solved = self.solve(&used, &sources, None);
        if solved.as_ref().is_some_and(|(_, s)| s.chance() < LEAST_CHANCE) {
            match self.odd_mode(&used, &sources) {
                Some((mode, better)) => {
                    used[mode] = false;
                    reasons[mode] = Some(NoModalMass::FollowsNoMass);
                    solved = Some(better);
                }
                None => {
                    let why = NoModalMass::NoOneMotion { masses: self.odd_masses(&used, &sources) };
                    used.iter().zip(&mut reasons).filter(|(u, _)| **u).for_each(|(_, r)| *r = Some(why.clone()));
                }
            }
        }
        let named = Sources { takes: &self.takes, masses: &sources };
        let result = |(mode, why): (usize, Option<NoModalMass>)| {
            let tone = self.modes[mode].tone;
            let known = solved.as_ref().filter(|_| used[mode]);
            let inverse = known.map(|(problem, solution)| inverse_mass(problem, solution, mode, &named));
            let limit = inverse.as_ref().filter(|_| why.is_none()).and_then(at_least);
            let effective = match (why, known, &inverse) {
                (Some(why), ..) => Err(why),
                (None, Some((problem, solution)), Some(inverse)) => self
                    .judge(inverse)
                    .map(|()| self.effective(mode, frequency(problem, solution, mode, &named), inverse)),
                _ => Err(NoModalMass::NoShift),
            };
            StationResult { tone, effective, at_least_kg: limit }
        };
        let advice = self.advice(solved.as_ref(), &used);
        StationMasses { modes: reasons.into_iter().enumerate().map(result).collect(), advice }
    }

    /// Why a mode cannot be followed, if it cannot: it must be found with each of the masses.
    fn lost(&self, mode: usize) -> Option<NoModalMass> {
        let places = mass_places(&self.takes).0;
        let found =
            |mass: usize| (0..self.takes.len()).any(|t| places[t] == mass && self.modes[mode].places[t].is_some());
        (1..=self.masses).any(|mass| !found(mass)).then_some(NoModalMass::Lost)
    }

    /// Two-sided, or the reason why not.
    fn judge(&self, inverse: &Figure) -> Result<(), NoModalMass> {
        let half = inverse.half_95();
        if inverse.value + half < 0.0 {
            return Err(NoModalMass::Rises);
        }
        if self.masses < 2 {
            return Err(NoModalMass::OneMass);
        }
        // Wider, an interval of 1/M is none of M: only a limit is given.
        if half > CLEAR * inverse.value { Err(NoModalMass::NoShift) } else { Ok(()) }
    }

    fn effective(&self, mode: usize, frequency: Figure, inverse: &Figure) -> EffectiveMass {
        // 1/x of an interval of x is longer above than below, M gets the mean of both sides; and it is only given where it is clear.
        let half = inverse.half_95() / inverse.value;
        let longer = longer(COVERAGE_95 / half, COVERAGE_95 / CLEAR) / (1.0 - half * half);
        let modal_mass = inverse.to_power(-1.0, 1.0);
        let more = modal_mass.u() * (longer * longer - 1.0).sqrt();
        let modal_mass = modal_mass.plus_uncertainty_with_dof(more, Cause::NextTerm, inverse.dof());
        let stiffness = Figure::combine(&[&modal_mass, &frequency], |x| x[0] * (TAU * x[1]).powi(2));
        let heaviest = self.takes[self.takes.len() - 1].added.value * inverse.value;
        let notes = if heaviest > HEAVY {
            vec![format!("the heaviest added mass is {:.0} % of the modal mass; about 8 % is better", 100.0 * heaviest)]
        } else {
            Vec::new()
        };
        EffectiveMass { points: self.points(mode, frequency.value), frequency, modal_mass, stiffness, notes }
    }

    fn points(&self, mode: usize, bare_hz: f64) -> Vec<(f64, f64, f64)> {
        let loaded = self.takes.iter().enumerate().filter(|(_, t)| t.added.value > 0.0);
        loaded
            .filter_map(|(t, take)| {
                let tone = &take.tones[self.modes[mode].places[t]?];
                let ratio = (bare_hz / tone.frequency_hz).powi(2);
                let read = (tone.frequency_hz_u / tone.frequency_hz).hypot(HUNG_AGAIN_FREQUENCY * 2f64.sqrt());
                Some((take.added.value, ratio - 1.0, 2.0 * ratio * read))
            })
            .collect()
    }

    /// The one mode without which the others agree, and what they say.
    fn odd_mode(&self, used: &[bool], sources: &[Source]) -> Option<(usize, (Problem, Solution))> {
        if used.iter().filter(|u| **u).count() < 3 {
            return None;
        }
        let without = |mode: usize| {
            let others: Vec<bool> = used.iter().enumerate().map(|(m, u)| *u && m != mode).collect();
            Some((mode, self.solve(&others, sources, None)?))
        };
        let tried = (0..used.len()).filter(|m| used[*m]).filter_map(without);
        tried.filter(|(_, (_, s))| s.chance() >= CLEAR_CHANCE).max_by(|a, b| a.1.1.chance().total_cmp(&b.1.1.chance()))
    }

    /// The one mass whose label, if it were wrong, explains it all; else all of them.
    fn odd_masses(&self, used: &[bool], sources: &[Source]) -> String {
        let (places, count) = mass_places(&self.takes);
        let named = |mass: usize| {
            let take = places.iter().position(|p| *p == mass).map_or(0.0, |t| self.takes[t].added.value);
            grams(take)
        };
        let explains = |mass: &usize| {
            let doubted: Vec<bool> = places.iter().map(|p| p == mass).collect();
            self.solve(used, sources, Some(&doubted)).is_some_and(|(_, s)| s.chance() >= CLEAR_CHANCE)
        };
        let explained: Vec<usize> = (1..=count).filter(explains).collect();
        let named: Vec<String> =
            if let [only] = explained[..] { vec![named(only)] } else { (1..=count).map(named).collect() };
        named.join(" and ")
    }

    fn advice(&self, solved: Option<&(Problem, Solution)>, used: &[bool]) -> Option<MassAdvice> {
        let lightest = self.takes.iter().map(|t| &t.added).find(|m| m.value > 0.0)?;
        let strongest = (0..self.modes.len())
            .filter(|m| used[*m])
            .max_by(|a, b| self.modes[*a].tone.level_db.total_cmp(&self.modes[*b].tone.level_db));
        match (strongest, solved) {
            (Some(mode), Some((problem, solution))) => {
                let heaviest = self.takes.last().filter(|_| self.masses > 1).map(|t| t.added.value);
                let advice = MassAdvice::forecast(problem, solution, mode, lightest.u());
                advice.map(|a| heaviest.map_or(a, |heaviest| a.after(heaviest)))
            }
            // Nothing was found again: the mass was too heavy.
            _ => Some(MassAdvice::about(lightest.value / 0.16)),
        }
    }
}
