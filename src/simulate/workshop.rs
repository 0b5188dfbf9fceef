//! The sounds of a workshop in which nothing is tapped: steps, voices, a compressor, things put down.

use std::f64::consts::{PI, TAU};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::noise::{NoiseColour, noise};

fn uniform(random: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// A burst like a whispered syllable: noise through three two-pole resonators at vowels' resonances, swelling within 20 to
/// 60 ms, 100 to 300 ms long, with the given root mean square before its ends are rounded.
pub fn syllable(level: f64, rate_hz: f64, random: &mut ChaCha8Rng) -> Vec<f64> {
    let (attack_s, length_s) = (uniform(random, 0.02, 0.06), uniform(random, 0.1, 0.3));
    let length = (length_s * rate_hz) as usize;
    let breath = noise(NoiseColour::White, 1.0, length, rate_hz, random);
    let mut burst = vec![0.0; length];
    // Middles and widths of vowels' first three resonances (Hz).
    for (low, high, width) in [(300.0, 800.0, 80.0), (900.0, 2200.0, 110.0), (2300.0, 3200.0, 160.0)] {
        let omega = TAU * uniform(random, low, high) / rate_hz;
        let radius = (-PI * width / rate_hz).exp();
        let (mut y1, mut y2) = (0.0, 0.0);
        for (b, breath) in burst.iter_mut().zip(&breath) {
            let y = (1.0 - radius) * breath + 2.0 * radius * omega.cos() * y1 - radius * radius * y2;
            (y2, y1) = (y1, y);
            *b += y;
        }
    }
    let rms = (burst.iter().map(|b| b * b).sum::<f64>() / length as f64).sqrt();
    // Raised cosines in and out; the release takes as long as the attack.
    let ramp = |x: f64| 0.5 - 0.5 * (PI * x.clamp(0.0, 1.0)).cos();
    for (n, b) in burst.iter_mut().enumerate() {
        let t = n as f64 / rate_hz;
        *b *= level / rms * ramp(t / attack_s) * ramp((length_s - t) / attack_s);
    }
    burst
}

/// So many seconds of a workshop: pink noise of the given standard deviation at 1 kHz all the time; in turns, people who walk
/// (thumps at 60 to 150 Hz with a tenth to a third of critical damping), voices, knocks of a few milliseconds, and a
/// compressor that runs for 20 s of every 60 (hum at 50 Hz and its multiples, and brown noise).
pub fn workshop(seconds: f64, noise_sigma: f64, rate_hz: f64, seed: u64) -> Vec<f64> {
    let random = &mut ChaCha8Rng::seed_from_u64(seed);
    let length = (seconds * rate_hz) as usize;
    let mut sound = noise(NoiseColour::Pink, noise_sigma, length, rate_hz, random);
    let add = |sound: &mut [f64], at_s: f64, burst: &[f64]| {
        let from = (at_s * rate_hz) as usize;
        sound.iter_mut().skip(from).zip(burst).for_each(|(s, b)| *s += b);
    };
    // Two seconds of quiet first: somebody waits for the room's check.
    let mut at_s = 3.0;
    while at_s < seconds {
        match random.next_u64() % 3 {
            0 => {
                for _ in 0..4 + random.next_u64() % 8 {
                    let (f, zeta) = (uniform(random, 60.0, 150.0), uniform(random, 0.1, 0.35));
                    let level = noise_sigma * 10f64.powf(uniform(random, 0.5, 2.0));
                    let thump: Vec<f64> = (0..(0.3 * rate_hz) as usize)
                        .map(|n| {
                            let t = n as f64 / rate_hz;
                            level * (-zeta * TAU * f * t).exp() * (TAU * f * t).sin()
                        })
                        .collect();
                    add(&mut sound, at_s, &thump);
                    at_s += uniform(random, 0.45, 0.7);
                }
            }
            1 => {
                for _ in 0..5 + random.next_u64() % 15 {
                    let level = noise_sigma * 10f64.powf(uniform(random, 0.8, 2.3));
                    let burst = syllable(level, rate_hz, random);
                    add(&mut sound, at_s, &burst);
                    at_s += burst.len() as f64 / rate_hz + uniform(random, 0.05, 0.4);
                }
            }
            _ => {
                for _ in 0..1 + random.next_u64() % 4 {
                    let (decay_s, level) =
                        (uniform(random, 0.001, 0.006), noise_sigma * 10f64.powf(uniform(random, 1.0, 2.5)));
                    let mut knock = noise(NoiseColour::White, level, (0.05 * rate_hz) as usize, rate_hz, random);
                    knock.iter_mut().enumerate().for_each(|(n, s)| *s *= (-(n as f64) / rate_hz / decay_s).exp());
                    add(&mut sound, at_s, &knock);
                    at_s += uniform(random, 0.2, 2.0);
                }
            }
        }
        at_s += uniform(random, 0.5, 4.0);
    }
    let brown = noise(NoiseColour::Brown, 2.0 * noise_sigma, length, rate_hz, random);
    for (n, s) in sound.iter_mut().enumerate() {
        let t = n as f64 / rate_hz;
        let on = (t + 30.0) % 60.0;
        // It comes up to speed in a third of a second, and stops as fast.
        let gain = (on / 0.3).min((20.0 - on) / 0.3).clamp(0.0, 1.0);
        if gain > 0.0 {
            let hum: f64 = (1..8).map(|k| (TAU * 49.0 * f64::from(k) * t).sin() / f64::from(k)).sum();
            *s += gain * (brown[n] + 8.0 * noise_sigma * hum);
        }
    }
    sound
}
