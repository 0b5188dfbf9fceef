//! How well takes of one thing repeat when it is held anew: learned from every stage and spot of a shop with two takes or more.

use super::same_mode::{DAMPING, FREQUENCY, Quantity, StageMode, readings, same_modes};
use super::scatter::{Spread, spread};
use crate::part::HUNG_AGAIN_DOF;
use crate::uncertainty::student_factor;

/// What takes say of how well they repeat. Nothing known: the assumption alone.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Repeatability {
    pub(super) frequency: Spread,
    pub(super) damping: Spread,
}

impl Repeatability {
    /// Of takes of one stage at one spot, each taken with the part held anew; fewer than two say nothing.
    pub fn of_takes(takes: &[Vec<StageMode>]) -> Self {
        let groups = same_modes(takes);
        let of = |quantity: &Quantity| spread(&readings(&groups, quantity), quantity.assumed);
        Self { frequency: of(&FREQUENCY), damping: of(&DAMPING) }
    }

    /// Both together.
    pub fn and(self, other: Self) -> Self {
        Self { frequency: self.frequency.and(other.frequency), damping: self.damping.and(other.damping) }
    }

    /// Whether no take has shown anything yet.
    pub fn is_assumed(&self) -> bool {
        self.dof() <= HUNG_AGAIN_DOF
    }

    /// Degrees of freedom of what holding anew does, the assumption's six among them.
    fn dof(&self) -> f64 {
        self.damping.held_dof().min(self.frequency.held_dof())
    }

    /// The one of the two that is known less well.
    pub(super) fn weaker(self, other: Self) -> Self {
        if self.dof() <= other.dof() { self } else { other }
    }

    /// What holding anew does to all frequencies of one take (relative): half of the 95 % interval over 1.96.
    pub fn of_frequency(&self) -> f64 {
        self.frequency.held(FREQUENCY.assumed).size_95()
    }

    /// The two sizes by themselves (relative standard deviations of one take's frequencies and damping ratios).
    pub(super) fn sizes(&self) -> (f64, f64) {
        (self.frequency.held(FREQUENCY.assumed).size, self.damping.held(DAMPING.assumed).size)
    }

    /// How much smaller the variance of the mean gets, Student's t in it, when each of two stages has `more` takes beside the
    /// `takes` that it has: they scatter as before, and that is known better.
    pub(super) fn gain(&self, takes: usize, more: usize) -> f64 {
        let dof = self.dof();
        let n = takes.max(1) as f64;
        let student = |dof: f64| student_factor(dof).powi(2);
        student(dof + 2.0 * more as f64) / student(dof) * n / (n + more as f64)
    }
}

impl std::iter::Sum for Repeatability {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::default(), Self::and)
    }
}
