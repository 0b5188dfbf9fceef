//! One simulated recording of several taps.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;

use super::noise::{NoiseColour, noise};

/// A mode as the simulation knows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueMode {
    /// Undamped natural frequency (Hz).
    pub frequency_hz: f64,
    /// Damping ratio (no unit).
    pub damping_ratio: f64,
    /// Amplitude of the free decay, extrapolated back to the first sample of the strike (full scale = 1).
    pub amplitude: f64,
    /// Phase of the cosine at the first sample of the strike (rad).
    pub phase_rad: f64,
}

impl TrueMode {
    /// Decay rate alpha = zeta omega_0 (1/s).
    pub fn decay_rate(&self) -> f64 {
        self.damping_ratio * TAU * self.frequency_hz
    }
    /// Damped angular frequency omega_0 sqrt(1 - zeta^2) (rad/s).
    pub fn damped_angular_frequency(&self) -> f64 {
        TAU * self.frequency_hz * (1.0 - self.damping_ratio * self.damping_ratio).sqrt()
    }
}

/// A room that rings after the part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Echo {
    /// Reverberation time T60 (s).
    pub ring_time_s: f64,
    /// Energy of the reverberation relative to the direct sound (no unit).
    pub energy_ratio: f64,
}

/// What can go wrong with one of the taps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mishap {
    /// A second strike this much later, with this fraction of the first's strength.
    DoubleHit { tap: usize, after_s: f64, strength: f64 },
    /// This tap is this many times as loud as the others (with `clip_at`: clipped).
    TooLoud { tap: usize, times: f64 },
    /// A knock at this time with this amplitude, decaying in two milliseconds: a table, a dropped tool.
    Knock { at_s: f64, amplitude: f64 },
}

/// Everything that makes a simulated take.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeSpec {
    pub sample_rate_hz: f64,
    pub modes: Vec<TrueMode>,
    pub taps: usize,
    /// First strike (s), interval between strikes (s), and quiet after the last (s).
    pub first_tap_s: f64,
    pub interval_s: f64,
    pub after_last_s: f64,
    /// Length of the contact (s); 0 is an ideal impulse.
    pub contact_s: f64,
    /// Taps differ in strength by a factor up to 1 +- this, in the mix of modes likewise, and in interval by a tenth of it.
    pub spread: f64,
    pub noise_colour: NoiseColour,
    /// Standard deviation of white noise with the room's density at 1 kHz (full scale = 1).
    pub noise_sigma: f64,
    /// Steady lines: frequency (Hz) and amplitude.
    pub steady_lines: Vec<(f64, f64)>,
    pub echo: Option<Echo>,
    pub mishaps: Vec<Mishap>,
    /// Level at which the input overloads.
    pub clip_at: f64,
    pub seed: u64,
}

impl Default for TakeSpec {
    fn default() -> Self {
        Self {
            sample_rate_hz: 48_000.0,
            modes: Vec::new(),
            taps: 5,
            first_tap_s: 0.6,
            interval_s: 1.2,
            after_last_s: 1.2,
            contact_s: 0.0,
            spread: 0.3,
            noise_colour: NoiseColour::White,
            noise_sigma: 1e-3,
            steady_lines: Vec::new(),
            echo: None,
            mishaps: Vec::new(),
            clip_at: 1.0,
            seed: 1,
        }
    }
}

/// A simulated take: the samples, and where and how strongly each strike came.
#[derive(Debug, Clone)]
pub struct Take {
    pub samples: Vec<f32>,
    /// First sample of each intended strike.
    pub onsets: Vec<usize>,
    /// Complex amplitude of each mode in each tap: `amplitudes[tap][mode]`.
    pub amplitudes: Vec<Vec<Complex64>>,
}

impl TakeSpec {
    /// Makes the take. The same specification gives the same samples.
    pub fn make(&self) -> Take {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        let mut uniform = move || (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
        let mut onsets = Vec::new();
        let mut at_s = self.first_tap_s;
        for _ in 0..self.taps {
            onsets.push((at_s * self.sample_rate_hz).round() as usize);
            at_s += self.interval_s * (1.0 + 0.1 * self.spread * (2.0 * uniform() - 1.0));
        }
        let last = onsets.last().copied().unwrap_or((self.first_tap_s * self.sample_rate_hz) as usize);
        let length = last + (self.after_last_s * self.sample_rate_hz).round() as usize;
        let mut sound = vec![0.0f64; length];
        let mut amplitudes = Vec::new();
        for (tap, &onset) in onsets.iter().enumerate() {
            let mut strength = 1.0 + self.spread * (2.0 * uniform() - 1.0);
            for mishap in &self.mishaps {
                if let Mishap::TooLoud { tap: which, times } = mishap
                    && *which == tap
                {
                    strength *= times;
                }
            }
            let mix: Vec<Complex64> = self
                .modes
                .iter()
                .map(|m| {
                    let factor = strength * (1.0 + self.spread * (2.0 * uniform() - 1.0));
                    Complex64::from_polar(m.amplitude * factor, m.phase_rad)
                })
                .collect();
            self.strike(&mut sound, onset, &mix);
            for mishap in &self.mishaps {
                if let Mishap::DoubleHit { tap: which, after_s, strength } = mishap
                    && *which == tap
                {
                    let second: Vec<_> = mix.iter().map(|a| a * *strength).collect();
                    self.strike(&mut sound, onset + (after_s * self.sample_rate_hz).round() as usize, &second);
                }
            }
            amplitudes.push(mix);
        }
        for mishap in &self.mishaps {
            if let Mishap::Knock { at_s, amplitude } = mishap {
                let from = (at_s * self.sample_rate_hz) as usize;
                for n in 0..(0.02 * self.sample_rate_hz) as usize {
                    let t = n as f64 / self.sample_rate_hz;
                    if let Some(s) = sound.get_mut(from + n) {
                        *s += amplitude * (2.0 * uniform() - 1.0) * (-t / 0.002).exp();
                    }
                }
            }
        }
        if let Some(echo) = self.echo {
            sound = self.reverberate(&sound, echo);
        }
        for &(frequency_hz, amplitude) in &self.steady_lines {
            let phase = TAU * uniform();
            for (n, s) in sound.iter_mut().enumerate() {
                *s += amplitude * (TAU * frequency_hz * n as f64 / self.sample_rate_hz + phase).cos();
            }
        }
        let mut random = ChaCha8Rng::seed_from_u64(self.seed ^ 0x9e37_79b9_7f4a_7c15);
        let room = noise(self.noise_colour, self.noise_sigma, length, self.sample_rate_hz, &mut random);
        let clip = self.clip_at;
        let samples = sound.iter().zip(&room).map(|(s, n)| (s + n).clamp(-clip, clip) as f32).collect();
        Take { samples, onsets, amplitudes }
    }

    /// Adds one strike. The force is a raised-cosine pulse; a mode that meets it is scaled so that its free decay, seen
    /// backwards, has the wished amplitude at the first sample of the strike.
    fn strike(&self, sound: &mut [f64], onset: usize, mix: &[Complex64]) {
        let pulse_len = ((self.contact_s * self.sample_rate_hz).round() as usize).max(1);
        let pulse: Vec<f64> = (0..pulse_len)
            .map(|n| 0.5 - 0.5 * (TAU * (n as f64 + 0.5) / pulse_len as f64).cos())
            .map(|force| if pulse_len == 1 { 1.0 } else { force })
            .collect();
        for (mode, &amplitude) in self.modes.iter().zip(mix) {
            let pole = Complex64::new(-mode.decay_rate(), mode.damped_angular_frequency()) / self.sample_rate_hz;
            let step = pole.exp();
            // Laplace transform of the pulse at the pole: what the contact does to this mode.
            let filter: Complex64 = pulse.iter().enumerate().map(|(n, f)| *f * (-pole * n as f64).exp()).sum();
            let gain = amplitude / filter;
            let mut state = Complex64::new(0.0, 0.0);
            let floor = 1e-9 * amplitude.norm();
            let from = onset.min(sound.len());
            for (n, s) in sound[from..].iter_mut().enumerate() {
                state *= step;
                if let Some(force) = pulse.get(n) {
                    state += gain * *force;
                } else if state.norm() < floor {
                    break;
                }
                *s += state.re;
            }
        }
    }

    /// Direct sound plus a diffuse tail: Gaussian noise under an exponential, scaled to the energy ratio.
    fn reverberate(&self, dry: &[f64], echo: Echo) -> Vec<f64> {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed ^ 0x00ec_0000);
        let tail_len = (echo.ring_time_s * 1.2 * self.sample_rate_hz) as usize;
        let rate = 1000f64.ln() / echo.ring_time_s;
        let mut response = noise(NoiseColour::White, 1.0, tail_len.max(1), self.sample_rate_hz, &mut random);
        // The first reflections need a few milliseconds to come back.
        let gap = (0.003 * self.sample_rate_hz) as usize;
        for (n, r) in response.iter_mut().enumerate() {
            *r = if n < gap { 0.0 } else { *r * (-rate * n as f64 / self.sample_rate_hz).exp() };
        }
        let energy: f64 = response.iter().map(|r| r * r).sum();
        let scale = (echo.energy_ratio / energy.max(1e-300)).sqrt();
        response.iter_mut().for_each(|r| *r *= scale);
        response[0] = 1.0;
        let wet = convolve(dry, &response);
        wet[..dry.len()].to_vec()
    }
}

fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
    let length = (a.len() + b.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, inverse) = (planner.plan_fft_forward(length), planner.plan_fft_inverse(length));
    let transform = |x: &[f64]| {
        let mut padded = x.to_vec();
        padded.resize(length, 0.0);
        let mut spectrum = forward.make_output_vec();
        let _ = forward.process(&mut padded, &mut spectrum);
        spectrum
    };
    let mut product: Vec<Complex64> =
        transform(a).iter().zip(transform(b)).map(|(x, y)| x * y / length as f64).collect();
    product[0].im = 0.0;
    if let Some(last) = product.last_mut() {
        last.im = 0.0;
    }
    let mut out = vec![0.0; length];
    let _ = inverse.process(&mut product, &mut out);
    out
}
