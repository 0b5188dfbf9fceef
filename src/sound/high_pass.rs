//! What a microphone's offset, its slow drift, and draughts add is taken from the sound before the tap finder listens: it lies far
//! below every mode, and would be louder than the room.

use std::ops::Range;

use super::error::SoundError;
use super::gaps::between;
use super::recording::Recording;

/// Corner of the two equal poles (Hz): at 30 Hz, where the modes begin, a tenth of the amplitude is lost.
const CORNER_HZ: f64 = 10.0;
/// Sound before a stretch that is filtered to settle (s): six times the poles' time, so that a start in the middle of a sound
/// leaves less than a hundredth.
const SETTLE_S: f64 = 0.1;

/// Two high-pass poles in series, y[n] = p y[n - 1] + x[n] - x[n - 1].
#[derive(Debug, Clone)]
pub(super) struct HighPass {
    pole: f32,
    /// The last sample, once there was one.
    previous: Option<f32>,
    one: f32,
    two: f32,
}

impl HighPass {
    pub(super) fn new(rate_hz: f64) -> Self {
        let pole = (-std::f64::consts::TAU * CORNER_HZ / rate_hz).exp() as f32;
        Self { pole, previous: None, one: 0.0, two: 0.0 }
    }

    /// Forgets what came before: the next sample begins anew, without a step.
    pub(super) fn restart(&mut self) {
        (self.previous, self.one, self.two) = (None, 0.0, 0.0);
    }

    /// Filters the next samples and puts them behind `out`.
    pub(super) fn run(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        let Some(first) = samples.first() else { return };
        let mut previous = self.previous.unwrap_or(*first);
        let (pole, mut one, mut two) = (self.pole, self.one, self.two);
        out.extend(samples.iter().map(|sample| {
            let before = one;
            one = pole * one + (sample - previous);
            two = pole * two + (one - before);
            previous = *sample;
            two
        }));
        // Silence would sink into denormal numbers, which cost a hundred times the time.
        let sunk = |value: f32| if value.abs() < 1e-15 { 0.0 } else { value };
        (self.previous, self.one, self.two) = (Some(previous), sunk(one), sunk(two));
    }

    /// The same for samples that begin at `at` in a recording with gaps: in a gap there is nothing, and the sound behind it begins anew.
    pub(super) fn run_around(&mut self, samples: &[f32], at: usize, gaps: &[Range<usize>], out: &mut Vec<f32>) {
        let begun = out.len();
        for sound in between(gaps, at..at + samples.len()) {
            // It begins anew behind a gap, even one that ended with the samples before these.
            if sound.start > at || gaps.binary_search_by_key(&at, |gap| gap.end).is_ok() {
                self.restart();
            }
            out.resize(begun + sound.start - at, 0.0);
            self.run(&samples[sound.start - at..sound.end - at], out);
        }
        out.resize(begun + samples.len(), 0.0);
    }
}

/// Samples of a recording, as far as they exist, as the filter leaves them.
pub(super) fn read_filtered(
    recording: &mut Recording,
    gaps: &[Range<usize>],
    samples: Range<usize>,
) -> Result<Vec<f32>, SoundError> {
    let rate_hz = recording.sample_rate_hz();
    let from = samples.start.saturating_sub((SETTLE_S * rate_hz) as usize);
    let (mut scratch, mut out) = (Vec::new(), Vec::new());
    let read = recording.read(from, samples.end, &mut scratch)?;
    HighPass::new(rate_hz).run_around(read, from, gaps, &mut out);
    out.drain(..(samples.start - from).min(out.len()));
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An offset leaves nothing, a drift of a tenth of full scale a second next to nothing, a tone at 85 Hz nearly all, whatever the
    /// pieces; around a gap there is no step.
    #[test]
    fn only_what_is_slow_is_taken() {
        let rate = 48_000.0;
        let tone = |n: usize| (std::f64::consts::TAU * 85.0 * n as f64 / rate).sin();
        let gaps = [20_000..30_000; 1];
        let sound = |n: usize, loud: f64| {
            if gaps[0].contains(&n) { 0.0 } else { (0.03 + 0.1 * n as f64 / rate + loud * tone(n)) as f32 }
        };
        for piece in [480, 20_000, 65_536] {
            let filtered = |loud: f64| {
                let samples: Vec<f32> = (0..60_000).map(|n| sound(n, loud)).collect();
                let (mut filter, mut out) = (HighPass::new(rate), Vec::new());
                for (i, part) in samples.chunks(piece).enumerate() {
                    filter.run_around(part, i * piece, &gaps, &mut out);
                }
                out
            };
            let slow = filtered(0.0);
            assert_eq!(slow.len(), 60_000);
            // A ramp through the two poles peaks at its slope times their time (16 ms), over e.
            assert!(slow.iter().all(|s| s.abs() < 0.1 * 0.016 / 2.7), "pieces of {piece}");
            let loud = filtered(0.01);
            let highest = loud[50_000..].iter().fold(0.0f32, |most, s| most.max(s.abs()));
            // 1 / (1 + (10 / 85)^2) of it.
            assert!((highest / 0.01 - 0.986).abs() < 0.002, "{highest}");
        }
    }
}
