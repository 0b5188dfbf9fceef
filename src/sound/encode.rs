//! Samples into the bytes of a WAV file.

use std::io::Cursor;

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WavSamples {
    /// Integers of so many bits: 16, 24 or 32.
    Integer(u16),
    /// 32-bit floating point: nothing is rounded.
    Float,
}

/// A WAV file of interleaved samples (full scale 1; integers are rounded and held at full scale).
///
/// # Errors
/// A format that WAV does not know, or more than 4 GB.
pub fn wav_bytes(
    interleaved: &[f32],
    channels: u16,
    rate_hz: u32,
    samples: WavSamples,
) -> Result<Vec<u8>, hound::Error> {
    let (bits_per_sample, sample_format) = match samples {
        WavSamples::Integer(bits) => (bits, hound::SampleFormat::Int),
        WavSamples::Float => (32, hound::SampleFormat::Float),
    };
    let spec = hound::WavSpec { channels, sample_rate: rate_hz, bits_per_sample, sample_format };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
    let full = 2f64.powi(i32::from(bits_per_sample) - 1) - 1.0;
    for &sample in interleaved {
        match samples {
            WavSamples::Float => writer.write_sample(sample)?,
            WavSamples::Integer(_) => {
                writer.write_sample((f64::from(sample).clamp(-1.0, 1.0) * full).round() as i32)?;
            }
        }
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}
