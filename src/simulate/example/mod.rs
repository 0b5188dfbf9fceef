//! The demonstration: an invented shop and parlour guitar, every number of its sounds from the physics of its plies, the
//! rims' from solid bodies in finite elements.

mod bench_text;
mod chance;
mod solids;
mod stages;
mod takes;
mod truth;
mod truth_text;
mod woods;

pub use bench_text::example_bench;
pub use solids::{Solid, SolidMode};
pub use stages::{ExampleStage, example_stages};
pub use takes::{ExampleTake, PHONE_TAKE, example_takes, phone_take};
pub use truth::{BlankTruth, ModeTruth, RatioTruth, StageTruth, TakeTruth, Truth, example_truth};
pub use truth_text::truth_text;
pub use woods::{ExampleBlank, example_blanks};
