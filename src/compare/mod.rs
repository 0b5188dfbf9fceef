//! Comparison: one stage of a part against another, as ratios with intervals and a verdict.
//!
//! This room knows figures with uncertainties; it knows nothing of files, sound or pictures.

mod answer;
mod compare_stages;
mod comparison;
mod control;
mod foretold;
mod joints;
mod matters;
mod mean;
mod moisture;
mod pairing;
mod power;
mod repeatability;
mod same_mode;
mod scatter;
mod session;
mod stage;
mod takes;
#[cfg(test)]
mod unchanged;
mod verdict;

pub use compare_stages::{compare, compare_under_top};
pub use comparison::{Comparison, Foretold, Row};
pub use control::{Chart, control_charts};
pub use moisture::{MoistureChange, MoistureState};
pub use pairing::{Pair, Paired, Pairing, pair_modes};
pub use repeatability::Repeatability;
pub use same_mode::StageMode;
pub use session::{Tapped, same_session};
pub use stage::Stage;
pub use takes::{merge_takes, merge_takes_knowing};
pub use verdict::{Ratio, Verdict};
