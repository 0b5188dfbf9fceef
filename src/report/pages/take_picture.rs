//! What a take sounded like, thinned to what a comparison can show.

use serde::{Deserialize, Serialize};

use crate::analysis::Take;
use crate::modes::Spectrum;

/// Points of a spectrum that can be told apart in a picture.
const COLUMNS: usize = 600;
/// Points of a decay.
const POINTS: usize = 120;
/// Modes whose decays are kept, the strongest.
const DECAYS: usize = 8;
/// From this frequency on (Hz); up to this many times the highest mode.
const LOWEST_HZ: f64 = 30.0;
const ABOVE: f64 = 1.6;

/// Spectrum and decays of a take.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TakePicture {
    /// Frequency (Hz) and power density (dB re full scale squared per Hz).
    pub spectrum: Vec<(f64, f32)>,
    pub decays: Vec<DecayPicture>,
}

/// The decay of one mode.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DecayPicture {
    pub frequency_hz: f64,
    /// Time after the strike (s) and level (dB re the mode at the strike), over the stretch that the line is fitted to.
    pub points: Vec<(f32, f32)>,
}

impl TakePicture {
    pub fn of(take: &Take) -> Self {
        let picture = &take.spectrum;
        let highest = take.plain_modes().last().map_or(2000.0, |m| ABOVE * m.frequency.value).max(600.0);
        let mut spectrum: Vec<(f64, f32)> = Vec::new();
        let mut column = usize::MAX;
        for (k, density) in picture.density.iter().enumerate() {
            let hz = k as f64 * picture.bin_hz;
            if hz < LOWEST_HZ || hz > highest {
                continue;
            }
            let level = Spectrum::db(*density);
            // One point for each column of a logarithmic axis: the highest bin in it.
            let here = ((hz / LOWEST_HZ).ln() / (highest / LOWEST_HZ).ln() * COLUMNS as f64) as usize;
            match spectrum.last_mut() {
                Some(last) if column == here => *last = if level > last.1 { (hz, level) } else { *last },
                _ => spectrum.push((hz, level)),
            }
            column = here;
        }
        let mut strongest: Vec<_> = take.plain_modes().collect();
        strongest.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
        let decays = strongest.into_iter().take(DECAYS).map(|mode| {
            let envelope = &mode.envelope;
            let (from, until) = envelope.used_s;
            let heard: Vec<(f32, f32)> = envelope
                .time_s
                .iter()
                .zip(&envelope.level_db)
                .filter(|(t, _)| **t >= from && **t <= until)
                .map(|(t, l)| (*t as f32, *l as f32))
                .collect();
            let step = heard.len().div_ceil(POINTS).max(1);
            DecayPicture { frequency_hz: mode.frequency.value, points: heard.into_iter().step_by(step).collect() }
        });
        Self { spectrum, decays: decays.collect() }
    }
}
