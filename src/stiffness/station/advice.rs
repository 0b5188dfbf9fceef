//! Which masses to stick on.

use super::law::{Law, Masses, Reading};
use super::problem::Problem;
use super::solution::Solution;
use crate::uncertainty::{COVERAGE_95, student_factor};

/// What to stick on at a spot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MassAdvice {
    /// Two masses (kg), the heavier first, that would give the strongest mode's modal mass within about 25 %.
    Two([f64; 2]),
    /// Two such masses were on, and more takes of each would.
    MoreTakes([f64; 2]),
    /// No two masses up to this one (kg) would.
    NoneUpTo(f64),
}

/// The heavier mass as a share of the modal mass: what is advised, and the most that is.
const GOOD: f64 = 0.08;
const MOST: f64 = 0.12;
/// Masses that differ by less than this factor do the same.
const LIKE: f64 = 1.4;
/// Half of the interval of a modal mass (relative) with which it is worth having, what is aimed at, and the forecast beyond which the
/// masses are not worth sticking on.
const WORTH: f64 = 0.25;
const AIM: f64 = 0.8 * WORTH;
const HOPELESS: f64 = 1.1 * WORTH;

impl MassAdvice {
    /// In words.
    pub fn sentence(&self) -> String {
        match self {
            Self::Two([heavy, light]) => {
                format!("tap with {} and with {} stuck on", grams(*heavy), grams(*light))
            }
            Self::MoreTakes([heavy, light]) => format!(
                "masses of about {} and {} are right: two more takes of each, and without, held anew",
                grams(*heavy),
                grams(*light)
            ),
            Self::NoneUpTo(kg) => format!(
                "no mass up to {} gives it within 25 % at this scatter; two or more takes of each mass, held anew, may",
                grams(*kg)
            ),
        }
    }

    /// What to do if two masses up to this one (kg) were on.
    pub(super) fn after(self, heaviest_kg: f64) -> Self {
        match self {
            Self::Two([heavy, light]) if (heaviest_kg / heavy).ln().abs() < LIKE.ln() => {
                Self::MoreTakes([heavy, light])
            }
            other => other,
        }
    }

    /// For a modal mass that is known roughly, without asking how far it would bring one.
    pub(super) fn about(modal_mass_kg: f64) -> Self {
        Self::Two(pair(GOOD * modal_mass_kg))
    }

    /// For a mode by what is known of all: a take without mass and one with each of two, of masses that are weighed to `weighed_u` (kg).
    pub(super) fn forecast(problem: &Problem, solution: &Solution, mode: usize, weighed_u: f64) -> Option<Self> {
        let inverse = solution.x[problem.law.layout.inverse(mode)] * problem.law.scale;
        if inverse <= 0.0 {
            return None;
        }
        let tried = [GOOD, MOST].map(|share| pair(share / inverse));
        let forecast =
            tried.map(|pair| (pair, within(problem, solution, mode, pair, weighed_u).unwrap_or(f64::INFINITY)));
        let good = forecast.iter().find(|(_, half)| *half < AIM);
        let best = || forecast.iter().min_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, half)| *half < HOPELESS);
        Some(good.or_else(best).map_or(Self::NoneUpTo(rounded(MOST / inverse)), |(pair, _)| Self::Two(*pair)))
    }
}

/// Half of the interval (relative) that a take without mass and one with each of these would give a mode.
fn within(problem: &Problem, known: &Solution, mode: usize, pair: [f64; 2], weighed_u: f64) -> Option<f64> {
    let (before, mut law) = (problem.law.layout, problem.law.clone());
    law.layout.takes = 3;
    law.layout.sources = 2;
    law.masses = Masses {
        kg: vec![0.0, pair[1], pair[0]],
        parts: vec![vec![0.0; 2], vec![weighed_u, 0.0], vec![0.0, weighed_u]],
    };
    let layout = law.layout;
    let mut x = vec![0.0; layout.len()];
    x[..layout.held(0)].copy_from_slice(&known.x[..before.held(0)]);
    x[layout.unheard(0)..].copy_from_slice(&known.x[before.unheard(0)..]);
    let mut readings = Vec::new();
    for m in (0..layout.modes).filter(|m| problem.is_followed(*m)) {
        let u = problem.readings.iter().filter(|r| r.mode == m).map(|r| r.u).fold(0.0, f64::max);
        for take in 0..layout.takes {
            let ln_omega = if take == 0 { Some(x[layout.omega(m)]) } else { Law::ln_omega(&law, &x, m, take) };
            readings.extend(ln_omega.map(|ln_omega| Reading { mode: m, take, ln_omega, u }));
        }
    }
    let start = (0..layout.modes).map(|m| (x[layout.omega(m)], x[layout.inverse(m)])).collect();
    let u = Problem { law, readings, start }.u_of_inverse(&x, mode, known.holding.times_expected)?;
    Some(COVERAGE_95 * student_factor(known.holding.dof) * u / x[layout.inverse(mode)])
}

/// The heavier mass and one of half of it, as pieces are weighed out.
fn pair(kg: f64) -> [f64; 2] {
    let heavy = rounded(kg);
    [heavy, rounded(0.5 * heavy)]
}

/// To a tenth of a gram below 1 g, a half below 10 g, else a gram.
fn rounded(kg: f64) -> f64 {
    let g = 1e3 * kg;
    let step = if g < 1.0 {
        0.1
    } else if g < 10.0 {
        0.5
    } else {
        1.0
    };
    1e-3 * step * (g / step).round().max(1.0)
}

pub(super) fn grams(kg: f64) -> String {
    let g = (1e4 * kg).round() / 10.0;
    if g.fract() == 0.0 { format!("{g:.0} g") } else { format!("{g:.1} g") }
}
