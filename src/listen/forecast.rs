//! What precision to expect from so many taps in this room.

use std::f64::consts::TAU;

use realfft::num_complex::Complex64;

use super::room::RoomReport;
use crate::modes::COVERAGE_95;
use crate::simulate::{TrueMode, cramer_rao};

/// A mode as an example, and what a take would tell of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    pub frequency_hz: f64,
    pub damping_ratio: f64,
    /// Its level at the strike (dB of full scale).
    pub level_db: f64,
    /// Half widths of the 95 % intervals: Hz, and share of the damping.
    pub frequency_hz_95: f64,
    pub damping_95: f64,
}

/// Frequencies of the example modes (Hz), and their damping ratio: of the order of a side's.
const EXAMPLES_HZ: [f64; 3] = [100.0, 300.0, 800.0];
const DAMPING: f64 = 0.01;
/// What a fit reaches is this much above the bound at best (`cargo bench --bench accuracy`).
const ABOVE_BOUND: f64 = 1.1;

/// Level of the example's modes at the strike (dB of full scale): a good tap at a hand's width.
pub const EXAMPLE_DB: f64 = -30.0;

/// The precision of modes that stand at `level_db` (dB of full scale) at the strike, from so many taps.
///
/// The Cramer-Rao bound with the room's noise density, times 1.1; what the part, the hand and the room's echo add to it is
/// not foreseen.
pub fn forecast(room: &RoomReport, taps: usize, level_db: f64) -> Vec<Forecast> {
    EXAMPLES_HZ
        .iter()
        .map(|&frequency_hz| {
            let amplitude = 10f64.powf(level_db / 20.0);
            let mode = TrueMode { frequency_hz, damping_ratio: DAMPING, amplitude, phase_rad: 0.0 };
            let sigma = room.sigma_at(frequency_hz);
            let length_s = ((amplitude / sigma).max(2.0).ln() + 2.0) / (DAMPING * TAU * frequency_hz);
            // Taps are alike here, and each has amplitudes of its own: n of them tell n times as much as one.
            let mix = vec![Complex64::new(amplitude, 0.0)];
            let (f, z) = cramer_rao(&[mode], &[mix], room.rate_hz, 0.0015, &[length_s.min(4.0)], &[sigma])[0];
            let (f, z) = (f / (taps.max(1) as f64).sqrt(), z / (taps.max(1) as f64).sqrt());
            Forecast {
                frequency_hz,
                damping_ratio: DAMPING,
                level_db,
                frequency_hz_95: COVERAGE_95 * ABOVE_BOUND * f,
                damping_95: COVERAGE_95 * ABOVE_BOUND * z / DAMPING,
            }
        })
        .collect()
}
