//! Writes the demonstration's phone take as WAV, for `scripts/phone-take` to encode.
//!
//!     cargo run --example phone_take -- FILE.wav

use std::error::Error;

use ringwright::simulate::phone_take;
use ringwright::sound::{WavSamples, wav_bytes};

fn main() -> Result<(), Box<dyn Error>> {
    let file = std::env::args().nth(1).ok_or("which file?")?;
    let spec = phone_take().spec;
    let bytes = wav_bytes(&spec.make().samples, 1, spec.sample_rate_hz as u32, WavSamples::Integer(16))?;
    Ok(std::fs::write(file, bytes)?)
}
