//! The least-squares problem of a spot from its takes.

use std::f64::consts::TAU;

use super::follow::FollowedMode;
use super::law::{Law, Layout, Masses, Reading};
use super::problem::Problem;
use super::solution::Solution;
use super::take::{SpotMotion, StationTake};
use super::unheard::{Heard, Unheard};
use crate::part::HUNG_AGAIN_FREQUENCY;
use crate::uncertainty::Source;

/// A spot's takes, sorted by their masses, and its modes followed through them.
pub(super) struct Spot<'a> {
    pub takes: Vec<&'a StationTake>,
    pub modes: Vec<FollowedMode>,
    /// How many different masses were stuck on.
    pub masses: usize,
    pub motion: &'a SpotMotion,
}

/// A mode's own share of what holding anew does (by judgement): supports do not move all modes quite alike.
const HELD_OF_ITS_OWN: f64 = 0.2 * HUNG_AGAIN_FREQUENCY;
/// The unit of 1/M follows the modes' mean until it changes by less than this share, in so many steps at most.
const SAME_SCALE: f64 = 0.03;
const SCALE_STEPS: usize = 6;
/// A wrong label is wrong by this share of the mass.
const WRONG_LABEL: f64 = 0.5;

impl Spot<'_> {
    /// Sources of the masses' uncertainty.
    pub fn mass_sources(&self) -> Vec<Source> {
        let mut all: Vec<Source> = self.takes.iter().flat_map(|t| t.added.parts().map(|(s, _)| s.clone())).collect();
        all.sort();
        all.dedup();
        all
    }

    /// Solves with the loaded readings of those modes that are `used`. `doubted`: takes whose masses may be anything.
    pub fn solve(&self, used: &[bool], sources: &[Source], doubted: Option<&[bool]>) -> Option<(Problem, Solution)> {
        if !used.iter().any(|u| *u) {
            return None;
        }
        let mut readings = Vec::new();
        for (mode, followed) in self.modes.iter().enumerate() {
            for (take, place) in followed.places.iter().enumerate() {
                let loaded = self.takes[take].added.value > 0.0;
                let Some(tone) = place.map(|p| &self.takes[take].tones[p]).filter(|_| !loaded || used[mode]) else {
                    continue;
                };
                let u = (tone.frequency_hz_u / tone.frequency_hz).hypot(HELD_OF_ITS_OWN);
                readings.push(Reading { mode, take, ln_omega: (TAU * tone.frequency_hz).ln(), u });
            }
        }
        let ln_bare: Vec<f64> = self.modes.iter().map(|m| (TAU * m.tone.frequency_hz).ln()).collect();
        // The lightest mass alone, as if no other mode were there.
        let straight = |mode: usize| {
            let own = readings.iter().find(|r| r.mode == mode && self.takes[r.take].added.value > 0.0)?;
            let shift = 2.0 * (ln_bare[mode] - own.ln_omega).max(HUNG_AGAIN_FREQUENCY);
            Some(shift.exp_m1() / self.takes[own.take].added.value)
        };
        let first: Vec<Option<f64>> = (0..self.modes.len()).map(straight).collect();
        let known = || first.iter().flatten();
        let mut scale = known().sum::<f64>() / known().count().max(1) as f64;
        let part = |take: &StationTake, source: &Source| {
            take.added.parts().find(|(s, _)| *s == source).map_or(0.0, |(_, part)| part)
        };
        let parts = |(index, take): (usize, &&StationTake)| {
            let wrong = doubted.is_some_and(|d| d[index]);
            let grow =
                if wrong && take.added.u() > 0.0 { WRONG_LABEL * take.added.value / take.added.u() } else { 1.0 };
            sources.iter().map(|s| grow * part(take, s)).collect()
        };
        let masses = Masses {
            kg: self.takes.iter().map(|t| t.added.value).collect(),
            parts: self.takes.iter().enumerate().map(parts).collect(),
        };
        let layout = Layout {
            modes: self.modes.len(),
            takes: self.takes.len(),
            sources: sources.len(),
            may_slide: self.motion.may_slide,
        };
        let mut start: Vec<(f64, f64)> =
            ln_bare.iter().zip(&first).map(|(omega, a)| (*omega, a.map_or(1.0, |a| a / scale))).collect();
        let (mut step, mut heard) = (0, Heard::ALIKE);
        heard.count = first.iter().flatten().count().max(1) as f64;
        // What is expected of unheard modes goes by the heard ones, which the first estimate reads too low.
        loop {
            let unheard = Unheard::new(&ln_bare, heard, self.motion.part_kg.map(|m| m * scale));
            let law = Law { layout, masses: masses.clone(), unheard, scale, held: HUNG_AGAIN_FREQUENCY };
            let problem = Problem { law, readings: readings.clone(), start: start.clone() };
            let solution = problem.solve()?;
            let followed: Vec<f64> = (0..self.modes.len())
                .filter(|m| problem.is_followed(*m))
                .map(|m| solution.x[layout.inverse(m)].max(0.0))
                .collect();
            let mean = followed.iter().sum::<f64>() / followed.len() as f64;
            let now = Heard {
                lowest: followed[0] / mean,
                highest: followed[followed.len() - 1] / mean,
                largest: followed.iter().copied().fold(0.0, f64::max) / mean,
                count: followed.len() as f64,
            };
            step += 1;
            let settled = (mean - 1.0).abs() < SAME_SCALE && now.is_like(&heard);
            if step == SCALE_STEPS || settled || mean <= 0.0 {
                return Some((problem, solution));
            }
            heard = now;
            let factor = mean.clamp(0.5, 2.0);
            scale *= factor;
            for (mode, (omega, inverse)) in start.iter_mut().enumerate() {
                *omega = solution.x[layout.omega(mode)];
                *inverse = solution.x[layout.inverse(mode)] / factor;
            }
        }
    }
}
