//! A tap in front of a microphone into numbers: vibration modes, damping ratios, each with its uncertainty.
//!
//! Data flows one way; every value that crosses from room to room is a plain struct:
//!
//! ```text
//! sound  ->  taps  ->  modes  ->  stiffness, loss  ->  compare  ->  report
//!                       part  --^
//! ```
//!
//! [`analysis`] is the whole of it in one call: what is to be measured goes in, every figure with its uncertainty and the
//! budget of it comes out. Below it, [`sound`] reads recordings and finds the taps in them, [`modes`] estimates frequencies
//! and dampings by maximum likelihood over all taps, [`part`] describes what was tapped, [`stiffness`] and [`loss`] make
//! moduli, effective stiffness, mobility and power of the modes, [`compare`] sets one stage against another, [`listen`]
//! gathers takes from a microphone, [`uncertainty`] says how sure a figure is and why, [`report`] turns results into text,
//! JSON, CSV and pictures, [`simulate`] makes takes with known truth, and [`commands`] are the thin command line.
//!
//! # Example
//!
//! ```
//! use ringwright::modes::{EstimateOptions, Estimator};
//! use ringwright::simulate::{TakeSpec, TrueMode};
//! use ringwright::sound::{Recording, find_taps};
//!
//! let truth = TrueMode { frequency_hz: 187.3, damping_ratio: 0.006, amplitude: 0.1, phase_rad: 0.0 };
//! let take = TakeSpec { modes: vec![truth], ..TakeSpec::default() }.make();
//! let mut recording = Recording::from_samples(take.samples, 48_000.0)?;
//! let found = find_taps(&mut recording)?;
//! let estimate = Estimator::default().estimate(&mut recording, &found, &EstimateOptions::default())?;
//! let mode = &estimate.modes[0];
//! assert!((mode.frequency.value - 187.3).abs() < 2.0 * mode.frequency.half_95());
//! assert!((mode.damping_ratio.value - 0.006).abs() < 2.0 * mode.damping_ratio.half_95());
//! # Ok::<(), ringwright::sound::SoundError>(())
//! ```

#![warn(clippy::print_stdout, clippy::print_stderr)]

pub mod analysis;
pub mod bench;
pub mod commands;
pub mod compare;
mod files;
mod lanes;
pub mod listen;
pub mod loss;
pub mod modes;
pub mod part;
pub mod plan;
pub mod report;
pub mod rim;
pub mod simulate;
pub mod sound;
pub mod stiffness;
pub mod uncertainty;
pub mod verify;

pub use analysis::measure;
