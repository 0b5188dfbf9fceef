//! `ringwright simulate`: a take with known truth, for trying things out and for tests.

use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::{Args, ValueEnum};

use super::{Outcome, tell};
use crate::files::save;
use crate::simulate::{Mishap, NoiseColour, TakeSpec, TrueMode};
use crate::sound::{WavSamples, wav_bytes};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright simulate take.wav --mode 187,0.006,-20 --mode 412,0.008,-26
  ringwright simulate noisy.wav --mode 187,0.006,-20 --noise -60 --colour pink --line 50,-40 --bits 16")]
pub struct Arguments {
    /// WAV file to write
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// A mode: frequency (Hz), damping ratio, level at the strike (dB of full scale); may be repeated
    #[arg(long = "mode", value_name = "HZ,RATIO,DB", required = true, value_parser = numbers::<3>, allow_hyphen_values = true)]
    modes: Vec<[f64; 3]>,
    /// Number of taps
    #[arg(long, default_value_t = 5)]
    taps: usize,
    /// Seconds from tap to tap
    #[arg(long, default_value_t = 1.2)]
    interval: f64,
    /// Length of the contact (ms)
    #[arg(long, default_value_t = 1.0)]
    contact: f64,
    /// Room noise (dB of full scale, root mean square of white noise with the same density at 1 kHz)
    #[arg(long, default_value_t = -74.0, allow_hyphen_values = true)]
    noise: f64,
    /// Colour of the noise
    #[arg(long, value_enum, default_value_t = Colour::White)]
    colour: Colour,
    /// A steady line such as hum: frequency (Hz), level (dB); may be repeated
    #[arg(long = "line", value_name = "HZ,DB", value_parser = numbers::<2>, allow_hyphen_values = true)]
    lines: Vec<[f64; 2]>,
    /// Make one tap a double hit: tap (from 1), seconds later, strength of the second strike
    #[arg(long, value_name = "TAP,S,STRENGTH", value_parser = numbers::<3>)]
    double_hit: Option<[f64; 3]>,
    /// Make one tap louder: tap (from 1), times
    #[arg(long, value_name = "TAP,TIMES", value_parser = numbers::<2>)]
    loud: Option<[f64; 2]>,
    /// Level at which the input overloads (share of full scale)
    #[arg(long, default_value_t = 1.0)]
    clip: f64,
    /// Samples per second
    #[arg(long, default_value_t = 48_000)]
    rate: u32,
    /// Sample format: 16, 24 or 32 bit integer, or 32 bit float
    #[arg(long, value_enum, default_value_t = Bits::B24)]
    bits: Bits,
    /// Another seed, other noise
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Replace the file if it exists
    #[arg(long)]
    force: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Colour {
    White,
    Pink,
    Brown,
}

/// Sample format of a WAV file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Bits {
    #[value(name = "16")]
    B16,
    #[value(name = "24")]
    B24,
    #[value(name = "32")]
    B32,
    #[value(name = "float")]
    Float,
}

impl From<Bits> for WavSamples {
    fn from(bits: Bits) -> Self {
        match bits {
            Bits::B16 => Self::Integer(16),
            Bits::B24 => Self::Integer(24),
            Bits::B32 => Self::Integer(32),
            Bits::Float => Self::Float,
        }
    }
}

fn numbers<const N: usize>(text: &str) -> Result<[f64; N], String> {
    let values: Result<Vec<f64>, _> = text.split(',').map(|v| v.trim().parse::<f64>()).collect();
    values
        .ok()
        .and_then(|v| <[f64; N]>::try_from(v).ok())
        .filter(|v| v.iter().all(|x| x.is_finite()))
        .ok_or_else(|| format!("expected {N} numbers with commas between them"))
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let nyquist = f64::from(arguments.rate) / 2.0;
    let linear = |db: f64| 10f64.powf(db / 20.0);
    let mut modes = Vec::new();
    for (index, [frequency_hz, damping_ratio, level_db]) in arguments.modes.iter().copied().enumerate() {
        if !(frequency_hz > 0.0 && frequency_hz < nyquist && damping_ratio > 0.0 && damping_ratio < 1.0) {
            bail!(
                "--mode {frequency_hz},{damping_ratio},{level_db}: the frequency must lie between 0 and {nyquist} Hz and \
                 the damping ratio between 0 and 1"
            );
        }
        let phase_rad = 2.4 * index as f64;
        modes.push(TrueMode { frequency_hz, damping_ratio, amplitude: linear(level_db), phase_rad });
    }
    let mut mishaps = Vec::new();
    if let Some([tap, after_s, strength]) = arguments.double_hit {
        mishaps.push(Mishap::DoubleHit { tap: (tap as usize).saturating_sub(1), after_s, strength });
    }
    if let Some([tap, times]) = arguments.loud {
        mishaps.push(Mishap::TooLoud { tap: (tap as usize).saturating_sub(1), times });
    }
    if !(8_000..=192_000).contains(&arguments.rate) {
        bail!("--rate {}: 8000 to 192000 are allowed", arguments.rate);
    }
    let within = |name: &str, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(anyhow::anyhow!("--{name} {value}: {low} to {high} are allowed"))
        }
    };
    within("interval", arguments.interval, 0.05, 60.0)?;
    within("contact", arguments.contact, 0.0, 50.0)?;
    within("clip", arguments.clip, 1e-4, 1.0)?;
    within("noise", arguments.noise, -200.0, 0.0)?;
    within("taps", arguments.taps as f64, 0.0, 1000.0)?;
    within("interval x taps (s)", arguments.interval * arguments.taps as f64, 0.0, 4000.0)?;
    let spec = TakeSpec {
        sample_rate_hz: f64::from(arguments.rate),
        modes,
        taps: arguments.taps,
        interval_s: arguments.interval,
        after_last_s: arguments.interval,
        contact_s: arguments.contact / 1000.0,
        noise_colour: match arguments.colour {
            Colour::White => NoiseColour::White,
            Colour::Pink => NoiseColour::Pink,
            Colour::Brown => NoiseColour::Brown,
        },
        noise_sigma: linear(arguments.noise),
        steady_lines: arguments.lines.iter().map(|l| (l[0], linear(l[1]))).collect(),
        mishaps,
        clip_at: arguments.clip,
        seed: arguments.seed,
        ..TakeSpec::default()
    };
    let bytes = wav_bytes(&spec.make().samples, 1, arguments.rate, arguments.bits.into())
        .context("the WAV file cannot be made")?;
    save(&arguments.file, &bytes, arguments.force)?;
    tell(&format!("{}: simulated, {} taps", arguments.file.display(), arguments.taps));
    Ok(Outcome::Done)
}
