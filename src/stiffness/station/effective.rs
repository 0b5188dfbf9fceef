//! Modal mass and stiffness of a mode from the solution of its spot's problem.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use super::problem::Problem;
use super::solution::{RowOf, Solution};
use super::take::StationTake;
use crate::uncertainty::{Cause, Contribution, Figure, Scope, Source, student_factor_one_sided};

/// What the added masses say of one mode at one spot.
#[derive(Debug, Clone, PartialEq)]
pub struct EffectiveMass {
    /// Frequency without added mass (Hz), of the part: holding anew is in it.
    pub frequency: Figure,
    /// Modal mass M referred to the spot, of all its motion (kg).
    pub modal_mass: Figure,
    /// Effective stiffness k = (2 pi f0)^2 M at the spot (N/m).
    pub stiffness: Figure,
    /// Added masses and (f0/f)^2 - 1 with its standard uncertainty, for the picture.
    pub points: Vec<(f64, f64, f64)>,
    /// What the user should know.
    pub notes: Vec<String>,
}

/// Names and values of what moves a spot's figures.
pub(super) struct Sources<'a> {
    pub takes: &'a [&'a StationTake],
    /// The masses' own, in the problem's order.
    pub masses: &'a [Source],
}

impl Sources<'_> {
    fn held(&self, take: usize) -> Source {
        let load = self.takes[take].added.value;
        let same = |t: &&&StationTake| (1e4 * t.added.value).round() == (1e4 * load).round();
        held_anew(load, self.takes[..take].iter().filter(same).count())
    }
}

/// 1/M (1/kg) of a mode with its contributions.
pub(super) fn inverse_mass(problem: &Problem, solution: &Solution, mode: usize, sources: &Sources) -> Figure {
    let scale = problem.law.scale;
    let place = problem.law.layout.inverse(mode);
    let own = contributions(problem, solution, place, sources);
    let scaled = own.into_iter().map(|(s, c)| (s, Contribution { size: scale * c.size, ..c }));
    Figure::with_contributions(scale * solution.x[place], scaled)
}

/// Frequency (Hz) of a mode without mass.
pub(super) fn frequency(problem: &Problem, solution: &Solution, mode: usize, sources: &Sources) -> Figure {
    let place = problem.law.layout.omega(mode);
    let hz = solution.x[place].exp() / TAU;
    let own = contributions(problem, solution, place, sources);
    Figure::with_contributions(hz, own.into_iter().map(|(s, c)| (s, Contribution { size: hz * c.size, ..c })))
}

/// The least modal mass (kg) at the one-sided 95 % limit, if the shift gives one.
pub(super) fn at_least(inverse: &Figure) -> Option<f64> {
    let most = inverse.value.max(0.0) + student_factor_one_sided(inverse.dof()) * inverse.u();
    (most > 0.0).then(|| 1.0 / most)
}

fn contributions(
    problem: &Problem,
    solution: &Solution,
    unknown: usize,
    sources: &Sources,
) -> Vec<(Source, Contribution)> {
    let layout = &problem.law.layout;
    let mut read = 0.0f64;
    let mut all: BTreeMap<Source, Contribution> = BTreeMap::new();
    for (row, of) in solution.rows.iter().enumerate() {
        let size = solution.moved[(unknown, row)];
        let RowOf::Expected(place) = *of else {
            read = read.hypot(size);
            continue;
        };
        let known = |source: Source| (source, Contribution { size, dof: f64::INFINITY });
        let axis = |cause: Cause, axis: usize| known(Source { axis: axis as u8, ..cause.into() });
        let (source, part) = if place < layout.held(0) {
            axis(Cause::ModesOutsideBand, 4 + place)
        } else if place < layout.source(0) {
            let (source, part) = known(sources.held(place - layout.held(0)));
            (source, Contribution { dof: solution.holding.dof, ..part })
        } else if place < layout.unheard(0) {
            known(sources.masses[place - layout.source(0)].clone())
        } else if place < layout.first_cosine() {
            axis(Cause::ModesOutsideBand, place - layout.unheard(0))
        } else {
            axis(Cause::SlidesAlong, place - layout.first_cosine())
        };
        let own = all.entry(source).or_insert(Contribution { size: 0.0, ..part });
        own.size += part.size;
    }
    // Holding is known from one estimate for all takes: together their parts have its degrees of freedom, not each its own.
    let held = || all.values().filter(|c| c.dof.is_finite()).map(|c| c.size * c.size);
    let (variance, squares) = (held().sum::<f64>(), held().map(|v| v * v).sum::<f64>());
    if variance > 0.0 {
        let dof = solution.holding.dof * squares / (variance * variance);
        all.values_mut().filter(|c| c.dof.is_finite()).for_each(|c| c.dof = dof);
    }
    let cause = if unknown < layout.inverse(0) { Cause::Frequency } else { Cause::FrequencyShift };
    all.insert(cause.into(), Contribution { size: read, dof: f64::INFINITY });
    all.into_iter().collect()
}

/// Holding the part anew for a take with this mass (kg): each of several takes with the same mass is an unknown of its own.
pub(super) fn held_anew(mass_kg: f64, take: usize) -> Source {
    let load = Scope::LoadTenthGram((1e4 * mass_kg).round() as u32);
    Source { axis: take as u8, ..Source::from(Cause::HeldAnewFrequency).within(load) }
}
