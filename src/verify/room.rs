//! A room's own noise: what precision it allows by forecast, and what simulated sessions in a recording of it reach.

use crate::listen::{EXAMPLE_DB, Forecast, RoomReport, forecast, room_report};
use crate::modes::{COVERAGE_95, EstimateOptions, Estimator};
use crate::simulate::{TakeSpec, TrueMode};
use crate::sound::{Recording, SoundError, find_taps};

/// A mode in this room: what was forecast of it, and what came of it in simulated sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomMode {
    pub forecast: Forecast,
    /// Sessions in which it was found.
    pub found: usize,
    /// 1.96 times the root mean square error: of the frequency (Hz), and of the damping (share).
    pub frequency_hz_95: f64,
    pub damping_95: f64,
    /// Sessions in which the stated 95 % intervals held the truth.
    pub frequency_held: usize,
    pub damping_held: usize,
}

/// What a recording of a room tells.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomCheck {
    pub report: RoomReport,
    pub taps: usize,
    pub sessions: usize,
    pub modes: Vec<RoomMode>,
}

/// The noise must last as long as this (s): a session takes so long, and several must differ.
pub const LEAST_NOISE_S: f64 = 10.0;
/// Reached over forecast: within these the forecast holds. Sessions of a limited number scatter, and a forecast is a bound times 1.1.
const HOLDS: (f64, f64) = (0.5, 1.5);

impl RoomMode {
    /// Whether what was forecast is about what is reached, and the stated intervals held as often as they should (95 %, less three
    /// standard deviations of so many trials).
    pub fn holds(&self, sessions: usize) -> bool {
        let n = sessions as f64;
        let least = n * 0.95 - 3.0 * (n * 0.95 * 0.05).sqrt();
        let about = |reached: f64, foretold: f64| (HOLDS.0..=HOLDS.1).contains(&(reached / foretold));
        about(self.frequency_hz_95, self.forecast.frequency_hz_95)
            && about(self.damping_95, self.forecast.damping_95)
            && [self.found, self.frequency_held, self.damping_held].iter().all(|held| *held as f64 >= least)
    }
}

/// Forecasts the precision that so many taps reach in a room of which `noise` is a recording (one channel, nothing tapped), and
/// simulates sessions in stretches of it. `None` if the noise is shorter than a session.
///
/// # Errors
/// Noise that cannot be a recording.
pub fn room_check(noise: &[f32], rate_hz: u32, taps: usize, sessions: usize) -> Result<Option<RoomCheck>, SoundError> {
    let mut estimator = Estimator::default();
    let report = room_report(noise, 1, rate_hz, &mut estimator)?;
    let foretold = forecast(&report, taps, EXAMPLE_DB);
    let truths: Vec<TrueMode> = foretold
        .iter()
        .map(|f| TrueMode {
            frequency_hz: f.frequency_hz,
            damping_ratio: f.damping_ratio,
            amplitude: 10f64.powf(f.level_db / 20.0),
            phase_rad: 1.0,
        })
        .collect();
    let mut errors: Vec<Vec<(f64, f64)>> = vec![Vec::new(); truths.len()];
    let mut held = vec![(0, 0); truths.len()];
    for session in 0..sessions {
        let spec = TakeSpec {
            sample_rate_hz: f64::from(rate_hz),
            modes: truths.clone(),
            taps,
            contact_s: 1e-3,
            // Taps as alike as the forecast takes them.
            spread: 0.0,
            interval_s: 2.2,
            after_last_s: 2.0,
            noise_sigma: 0.0,
            seed: session as u64 + 1,
            ..TakeSpec::default()
        };
        let mut samples = spec.make().samples;
        let Some(room) = noise.len().checked_sub(samples.len()) else { return Ok(None) };
        let from = room * session / sessions.max(2).saturating_sub(1);
        samples.iter_mut().zip(&noise[from.min(room)..]).for_each(|(s, n)| *s += n);
        let mut recording = Recording::from_samples(samples, f64::from(rate_hz))?;
        let found = find_taps(&mut recording)?;
        let estimate = estimator.estimate(
            &mut recording,
            &found,
            &EstimateOptions { with_spectrum: false, ..Default::default() },
        )?;
        for ((truth, errors), held) in truths.iter().zip(&mut errors).zip(&mut held) {
            let near = estimate
                .modes
                .iter()
                .find(|m| (m.frequency.value / truth.frequency_hz - 1.0).abs() < truth.damping_ratio);
            let Some(mode) = near else { continue };
            let (f, z) = (mode.frequency.value - truth.frequency_hz, mode.damping_ratio.value - truth.damping_ratio);
            errors.push((f, z / truth.damping_ratio));
            held.0 += usize::from(f.abs() <= COVERAGE_95 * mode.frequency.u_95());
            held.1 += usize::from(z.abs() <= COVERAGE_95 * mode.damping_ratio.u_95());
        }
    }
    let reached = |errors: &[(f64, f64)], pick: fn(&(f64, f64)) -> f64| {
        COVERAGE_95 * (errors.iter().map(|e| pick(e).powi(2)).sum::<f64>() / errors.len() as f64).sqrt()
    };
    let modes = foretold
        .into_iter()
        .zip(errors)
        .zip(held)
        .map(|((forecast, errors), held)| RoomMode {
            forecast,
            found: errors.len(),
            frequency_hz_95: reached(&errors, |e| e.0),
            damping_95: reached(&errors, |e| e.1),
            frequency_held: held.0,
            damping_held: held.1,
        })
        .collect();
    Ok(Some(RoomCheck { report, taps, sessions, modes }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;

    use crate::simulate::{NoiseColour, noise};

    /// In even noise the forecast holds; where somebody knocks all the time it does not, and that is seen.
    #[test]
    fn a_quiet_room_keeps_its_forecast() {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        let mut quiet: Vec<f32> =
            noise(NoiseColour::Pink, 3e-4, 60 * 24_000, 24_000.0, &mut random).iter().map(|s| *s as f32).collect();
        let check = room_check(&quiet, 24_000, 4, 30).expect("sound").expect("long enough");
        assert!(check.modes.iter().all(|m| m.holds(30)), "{:#?}", check.modes);
        for second in 0..60 {
            quiet[second * 24_000..second * 24_000 + 2400].iter_mut().enumerate().for_each(|(n, s)| {
                *s += 0.02 * (0.07 * n as f32).sin() * (-(n as f32) / 600.0).exp();
            });
        }
        let check = room_check(&quiet, 24_000, 4, 30).expect("sound").expect("long enough");
        assert!(!check.modes.iter().all(|m| m.holds(30)), "{:#?}", check.modes);
        assert_eq!(room_check(&quiet[..24_000], 24_000, 4, 5).expect("sound"), None);
    }
}
