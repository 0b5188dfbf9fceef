//! Sound: recordings, their decoding, the taps in them and the room's noise around the taps.
//!
//! This room knows files and samples; it knows nothing of parts, stiffness or pictures.

mod clipping;
mod decode;
mod error;
mod level;
mod listening;
mod recording;
mod taps;
mod wav_header;
mod whitening;

pub use clipping::FlatTop;
pub use error::SoundError;
pub use level::LevelTrack;
pub use recording::{ChannelChoice, OpenOptions, Recording};
pub(crate) use whitening::{BROAD_ORDER, Whitening};

pub use taps::{NoiseSource, Tap, TapReason, TapSearch, find_taps};
