//! Simulated takes with known truth: for the demonstration, the tests and forecasts of precision.
//!
//! A take is a modal sum excited by a contact force of finite length, in a room with noise, hum and echo, through a
//! microphone that may clip. The same seed gives the same samples.

mod blank;
mod bound;
mod example;
mod noise;
mod rim;
mod take;
mod workshop;

pub use blank::Blank;
pub use bound::cramer_rao;
pub use example::{
    BlankTruth, ExampleBlank, ExampleStage, ExampleTake, ModeTruth, PHONE_TAKE, RatioTruth, Solid, SolidMode,
    StageTruth, TakeTruth, Truth, example_bench, example_blanks, example_stages, example_takes, example_truth,
    phone_take, truth_text,
};
pub use noise::{NoiseColour, noise};
pub use rim::Ring;
pub use take::{Echo, Mishap, Take, TakeSpec, TrueMode};
pub use workshop::{syllable, workshop};
