//! Sound: recordings, their decoding, the taps in them and the room's noise around the taps.
//!
//! This room knows files and samples; it knows nothing of parts, stiffness or pictures.

mod capture;
mod clipping;
mod double_hit;
mod ear;
mod edit_list;
mod encode;
mod error;
mod file_format;
mod gaps;
mod high_pass;
mod level;
mod listening;
#[cfg(feature = "record")]
mod microphone;
mod recording;
mod strikes;
mod taps;
mod watch;
mod wav_header;
mod whitening;

pub use capture::{Arrival, Capture};
pub use clipping::FlatTop;
pub use encode::{WavSamples, wav_bytes};
pub use error::SoundError;
pub use file_format::decoding;
pub use level::LevelTrack;
#[cfg(feature = "record")]
pub use microphone::{Format, Microphone, MicrophoneError, listen_to, microphones};
pub use recording::{ChannelChoice, OpenOptions, Recording};
pub(crate) use whitening::{BROAD_ORDER, Whitening};

pub(crate) use strikes::ONE_STRIKE_S;
pub use taps::{NoiseSource, Tap, TapReason, TapSearch, find_taps};
pub use watch::{Noticed, Watch};
