//! Figures with their uncertainty: value, budget by source, correlation, degrees of freedom, intervals.
//!
//! The ground floor of the house: it knows numbers and where their doubts come from, and nothing else.

mod coverage;
mod draws;
mod figure;
mod readings;
mod source;

pub use coverage::{COVERAGE_95, student_factor, student_factor_one_sided};
pub use draws::Draws;
pub use figure::{Contribution, Figure, Share};
pub use readings::mean_of_readings;
pub use source::{Cause, Scope, Source};
