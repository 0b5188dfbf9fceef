//! The room's noise: what a fit of taps needs to know of it, and what can be heard in it before anything is tapped.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;

use super::density::NoiseDensity;
use super::steady_line::{SteadyLine, steady_lines, take_out};
use crate::sound::{BROAD_ORDER, NoiseSource, Recording, SoundError, TapSearch, Whitening};

/// Noise that is read at most (s).
const MOST_NOISE_S: f64 = 3.0;

/// The room's noise as read from the quiet stretches.
pub(super) struct Room {
    pub whitening: Whitening,
    pub density: Option<NoiseDensity>,
    pub lines: Vec<SteadyLine>,
    pub offset: f32,
}

/// Noise of a room without taps.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RoomNoise {
    /// Steady lines: frequency (Hz) and level (dB of full scale, root mean square), strongest first.
    pub lines: Vec<(f64, f64)>,
    step_hz: f64,
    /// Variance per sample that white noise of the same density would have (full scale squared).
    density: Vec<f64>,
}

/// Steps of the density that is kept (Hz).
const STEP_HZ: f64 = 5.0;

impl RoomNoise {
    /// Variance per sample of white noise with the density at a frequency (full scale squared).
    pub fn density_at(&self, frequency_hz: f64) -> f64 {
        let at = (frequency_hz / self.step_hz.max(1e-9)).round() as usize;
        self.density.get(at).or(self.density.last()).copied().unwrap_or(0.0)
    }
}

pub(super) fn read_room(
    recording: &mut Recording,
    found: &TapSearch,
    planner: &mut RealFftPlanner<f32>,
) -> Result<Room, SoundError> {
    let rate_hz = recording.sample_rate_hz();
    let most = (MOST_NOISE_S * rate_hz) as usize;
    let mut scratch = Vec::new();
    let mut raw: Vec<Vec<f32>> = Vec::new();
    let mut total = 0;
    for range in &found.quiet {
        // The end of a stretch is the quietest part of it: the taps before have died away.
        let from = range.start.max(range.end.saturating_sub(most - total));
        raw.push(recording.read(from, range.end, &mut scratch)?.to_vec());
        total += range.end - from;
        if total + 64 >= most {
            break;
        }
    }
    // Behind the ring-down the part still sounds, or an editor has been at work: no guide to the room.
    if raw.is_empty() || found.noise_source != NoiseSource::BeforeTaps {
        return Ok(Room { whitening: Whitening::none(), density: None, lines: Vec::new(), offset: 0.0 });
    }
    let offset = (raw.iter().flatten().map(|s| f64::from(*s)).sum::<f64>() / total.max(1) as f64) as f32;
    raw.iter_mut().flatten().for_each(|s| *s -= offset);
    let heard = hear(&raw, rate_hz, planner);
    if heard.lines.is_empty() {
        return Ok(Room { offset, ..heard });
    }
    // Strong lines bend the filter and lie over the noise beside them: without them the noise is heard as it is.
    raw.iter_mut().for_each(|stretch| take_out(&heard.lines, stretch, rate_hz));
    let mut room = hear(&raw, rate_hz, planner);
    let gain = |whitening: &Whitening, frequency_hz: f64| {
        whitening.gain(Complex64::from_polar(1.0, std::f64::consts::TAU * frequency_hz / rate_hz)).norm()
    };
    let heard_again = heard.lines.iter().map(|line| {
        let f = line.frequency_hz;
        SteadyLine { frequency_hz: f, amplitude: line.amplitude * gain(&room.whitening, f) / gain(&heard.whitening, f) }
    });
    room.lines.extend(heard_again.collect::<Vec<_>>());
    room.lines.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    Ok(Room { offset, ..room })
}

/// Noise, whitened, and the lines that stand out of it.
fn hear(noise: &[Vec<f32>], rate_hz: f64, planner: &mut RealFftPlanner<f32>) -> Room {
    let whitening = Whitening::of_noise(noise, BROAD_ORDER);
    let white: Vec<Vec<f32>> = noise
        .iter()
        .map(|stretch| {
            let mut out = Vec::new();
            whitening.apply(stretch, &mut out);
            out
        })
        .collect();
    let density = NoiseDensity::of_noise(&white, rate_hz, planner);
    let lines = match (&density, white.iter().max_by_key(|w| w.len())) {
        (Some(density), Some(longest)) => steady_lines(longest, density, rate_hz, planner),
        _ => Vec::new(),
    };
    Room { whitening, density, lines, offset: 0.0 }
}

/// The noise and the steady lines of a recording in which nothing is tapped.
///
/// # Errors
/// `Read` if a long file changed since it was scanned.
pub(super) fn room_noise(
    recording: &mut Recording,
    planner: &mut RealFftPlanner<f32>,
) -> Result<RoomNoise, SoundError> {
    let whole = TapSearch {
        taps: Vec::new(),
        quiet: std::iter::once(0..recording.len()).collect(),
        noise_source: NoiseSource::BeforeTaps,
        loudest_at_s: 0.0,
        loudest_over_noise_db: 0.0,
    };
    let room = read_room(recording, &whole, planner)?;
    let rate_hz = recording.sample_rate_hz();
    let gain = |f: f64| {
        let pole = Complex64::from_polar(1.0, std::f64::consts::TAU * f / rate_hz);
        room.whitening.gain(pole).norm().max(1e-6)
    };
    let density = room.density.as_ref().map_or_else(Vec::new, |density| {
        let steps = (0.5 * rate_hz / STEP_HZ) as usize;
        (0..steps)
            .map(|k| {
                let f = k as f64 * STEP_HZ;
                density.at(f) / (gain(f) * gain(f))
            })
            .collect()
    });
    let level = |amplitude: f64| 20.0 * (amplitude / 2f64.sqrt()).max(1e-15).log10();
    let mut lines: Vec<(f64, f64)> =
        room.lines.iter().map(|l| (l.frequency_hz, level(l.amplitude / gain(l.frequency_hz)))).collect();
    lines.sort_by(|a, b| b.1.total_cmp(&a.1));
    Ok(RoomNoise { lines, step_hz: STEP_HZ, density })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{NoiseColour, noise};
    use rand_chacha::rand_core::SeedableRng;

    /// Hum is heard as its lines; the room's rumble, which rises steeply towards 0 Hz, is none.
    #[test]
    fn hum_is_told_from_rumble() {
        const RATE_HZ: f64 = 24_000.0;
        for seed in 0..40 {
            let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let mut sound = noise(NoiseColour::Pink, 2e-4, 14_000, RATE_HZ, &mut random);
            for (n, s) in sound.iter_mut().enumerate() {
                let line = |f: f64, a: f64| a * (std::f64::consts::TAU * f * n as f64 / RATE_HZ + f).sin();
                *s += line(50.0, 1e-3) + line(100.0, 5e-4) + line(150.0, 3e-4);
            }
            let sound = sound.into_iter().map(|s| s as f32).collect();
            let mut recording = Recording::from_samples(sound, RATE_HZ).expect("sound samples");
            let mut lines = room_noise(&mut recording, &mut RealFftPlanner::new()).expect("memory can be read").lines;
            lines.sort_by(|a, b| a.0.total_cmp(&b.0));
            let told: Vec<f64> = lines.iter().map(|l| (l.0 / 50.0).round() * 50.0).collect();
            assert_eq!(told, [50.0, 100.0, 150.0], "seed {seed}: {lines:?}");
        }
    }
}
