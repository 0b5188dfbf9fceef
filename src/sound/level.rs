//! The level of a recording, millisecond by millisecond: all that the tap finder needs to see of an hour of sound.

/// Mean squares of one channel in blocks of about a millisecond, in two bands.
///
/// 8 bytes a millisecond: 29 MB an hour.
#[derive(Debug, Clone, Default)]
pub struct LevelTrack {
    /// Samples in a block.
    pub block: usize,
    /// Mean square after a second-order high-pass at 30 Hz (full scale squared).
    pub body: Vec<f32>,
    /// Mean square of the first difference: the sharp part of the sound, where a strike begins.
    pub edge: Vec<f32>,
}

/// Below this mean square (-140 dB of full scale) a stretch is digital silence; no room is that quiet.
pub(super) const DIGITAL_SILENCE: f32 = 1e-14;

/// Corner of the high-pass that keeps draughts, steps and a microphone's offset out of the level (Hz).
const HIGH_PASS_HZ: f64 = 30.0;

/// Samples for which the filter is computed at once: one after the other, each would wait for the one before.
const AHEAD: usize = 4;

/// The first powers of a pole.
fn powers(pole: f32) -> [f32; AHEAD] {
    let square = pole * pole;
    [pole, square, square * pole, square * square]
}

/// The next values of y[n] = pole y[n - 1] + x[n], from the last one.
#[inline]
fn one_pole(inputs: &[f32; AHEAD], poles: &[f32; AHEAD], last: f32) -> [f32; AHEAD] {
    let [p, square, cube, fourth] = *poles;
    let [a, b, c, d] = *inputs;
    let ab = b + p * a;
    let abc = c + p * ab;
    [a + p * last, ab + square * last, abc + cube * last, d + p * abc + fourth * last]
}

/// Builds a [`LevelTrack`] while samples pass by.
#[derive(Debug)]
pub(super) struct LevelMeter {
    track: LevelTrack,
    filled: usize,
    body_sum: f32,
    edge_sum: f32,
    pole: f32,
    previous: f32,
    stage_one: f32,
    stage_one_previous: f32,
    stage_two: f32,
    started: bool,
}

impl LevelMeter {
    pub(super) fn new(rate_hz: f64) -> Self {
        let block = (rate_hz / 1000.0).round().max(1.0) as usize;
        Self {
            track: LevelTrack { block, ..Default::default() },
            filled: 0,
            body_sum: 0.0,
            edge_sum: 0.0,
            pole: (-std::f64::consts::TAU * HIGH_PASS_HZ / rate_hz).exp() as f32,
            previous: 0.0,
            stage_one: 0.0,
            stage_one_previous: 0.0,
            stage_two: 0.0,
            started: false,
        }
    }

    pub(super) fn push(&mut self, mut samples: &[f32]) {
        if !self.started
            && let Some(first) = samples.first()
        {
            // The recording did not begin with a step from 0 to the microphone's offset.
            self.previous = *first;
            self.started = true;
        }
        while !samples.is_empty() {
            let (now, later) = samples.split_at(samples.len().min(self.track.block - self.filled));
            self.push_within_block(now);
            samples = later;
            if self.filled == self.track.block {
                self.close_block();
            }
        }
    }

    fn push_within_block(&mut self, samples: &[f32]) {
        let (pole, mut previous) = (self.pole, self.previous);
        let (mut one, mut one_before, mut two) = (self.stage_one, self.stage_one_previous, self.stage_two);
        let (mut body, mut sharp) = (self.body_sum, self.edge_sum);
        let groups = samples.chunks_exact(AHEAD);
        let rest = groups.remainder();
        let poles = powers(pole);
        for group in groups {
            let mut edges = [0.0f32; AHEAD];
            for (edge, sample) in edges.iter_mut().zip(group) {
                *edge = sample - previous;
                previous = *sample;
            }
            let ones = one_pole(&edges, &poles, one);
            let mut steps = [0.0f32; AHEAD];
            for (step, value) in steps.iter_mut().zip(&ones) {
                *step = value - one;
                one = *value;
            }
            let twos = one_pole(&steps, &poles, two);
            two = twos[AHEAD - 1];
            body += twos.iter().map(|v| v * v).sum::<f32>();
            sharp += edges.iter().map(|v| v * v).sum::<f32>();
            one_before = one;
        }
        for &sample in rest {
            let edge = sample - previous;
            one = pole * one + edge;
            two = pole * two + (one - one_before);
            previous = sample;
            one_before = one;
            body += two * two;
            sharp += edge * edge;
        }
        self.previous = previous;
        (self.stage_one, self.stage_one_previous, self.stage_two) = (one, one_before, two);
        (self.body_sum, self.edge_sum) = (body, sharp);
        self.filled += samples.len();
    }

    fn close_block(&mut self) {
        let scale = 1.0 / self.filled as f32;
        self.track.body.push(self.body_sum * scale);
        self.track.edge.push(self.edge_sum * scale);
        (self.filled, self.body_sum, self.edge_sum) = (0, 0.0, 0.0);
        // In digital silence the filter would sink into denormal numbers, which cost a hundred times the time.
        if self.stage_one.abs() < 1e-15 {
            self.stage_one = 0.0;
        }
        if self.stage_two.abs() < 1e-15 {
            self.stage_two = 0.0;
        }
    }

    pub(super) fn finish(self) -> LevelTrack {
        self.track
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the difference equations, sample by sample; pushes of any length make no difference.
    #[test]
    fn levels_are_those_of_the_filter() {
        let samples: Vec<f32> = (0..48 * 20).map(|n| 0.2 + (0.01 * (n * n) as f32).sin()).collect();
        let pole = (-std::f64::consts::TAU * HIGH_PASS_HZ / 48_000.0).exp();
        let (mut one, mut one_before, mut two, mut previous) = (0.0f64, 0.0, 0.0, f64::from(samples[0]));
        let mut expected = Vec::new();
        for block in samples.chunks(48) {
            let (mut body, mut sharp) = (0.0, 0.0);
            for sample in block {
                let edge = f64::from(*sample) - previous;
                one = pole * one + edge;
                two = pole * two + (one - one_before);
                (previous, one_before) = (f64::from(*sample), one);
                body += two * two / 48.0;
                sharp += edge * edge / 48.0;
            }
            expected.push((body, sharp));
        }
        for piece in [1, 3, 48, 1152] {
            let mut meter = LevelMeter::new(48_000.0);
            samples.chunks(piece).for_each(|s| meter.push(s));
            let track = meter.finish();
            assert_eq!((track.body.len(), track.edge.len()), (expected.len(), expected.len()));
            for ((body, sharp), (got_body, got_sharp)) in expected.iter().zip(track.body.iter().zip(&track.edge)) {
                assert!((f64::from(*got_body) / body - 1.0).abs() < 1e-4, "{got_body} {body}");
                assert!((f64::from(*got_sharp) / sharp - 1.0).abs() < 1e-4, "{got_sharp} {sharp}");
            }
        }
    }
}
