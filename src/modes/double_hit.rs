//! A double hit that no jump of the level shows: a second strike hidden in a ring-down, found by the modes' amplitudes.
//! (`sound/double_hit.rs` finds those that the level shows.)

use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;

use super::component::Component;
use super::rings::Ring;
use crate::sound::ONE_STRIKE_S;

/// A second strike is looked for within so many time constants of the slowest mode, so long (s) at most, in steps (s).
const LASTS: f64 = 4.0;
const LOOKED_AT_S: f64 = 0.6;
const STEP_S: f64 = 2e-3;
/// A second strike leaves less than this part of the unexplained energy; other tones leave a good part.
const EXPLAINS: f64 = 0.15;

/// Time after the onset (s) of a second strike in a ring-down: where the amplitudes of the modes, whose poles are known
/// from the other taps, change all at once.
///
/// Least squares with one set of amplitudes before and another behind each possible moment; the moment that leaves least,
/// if that is much less than one set for all leaves.
pub(super) fn second_strike(ring: &Ring, modes: &[Component], rate_hz: f64) -> Option<f64> {
    let slowest = modes.iter().map(|c| c.decay).fold(f64::INFINITY, f64::min);
    let samples = &ring.samples[ring.lead..];
    let lasts = ((LASTS / slowest.max(1e-9)) as usize).min((LOOKED_AT_S * rate_hz) as usize).min(samples.len());
    let step = (STEP_S * rate_hz) as usize;
    // Sums up to the end of each step, so that any stretch is a difference of two of them.
    let mut sums = vec![Sums::new(2 * modes.len())];
    for (piece, samples) in samples[..lasts].chunks_exact(step).enumerate() {
        let mut next = sums.last()?.clone();
        let mut states: Vec<Complex64> = modes.iter().map(|c| c.growth((piece * step) as f64)).collect();
        for sample in samples {
            next.add(&states, f64::from(*sample));
            states.iter_mut().zip(modes).for_each(|(state, mode)| *state *= mode.pole());
        }
        sums.push(next);
    }
    let (first, all) = (&sums[0], sums.last()?);
    let one_set = all.left_since(first)?;
    let least = (1 + (ONE_STRIKE_S / STEP_S) as usize)..sums.len().saturating_sub(2);
    let (at, two_sets) = least
        .filter_map(|at| Some((at, sums[at].left_since(first)? + all.left_since(&sums[at])?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    (two_sets < EXPLAINS * one_set).then(|| (ring.lead + at * step) as f64 / rate_hz)
}

/// Normal equations of the modes' amplitudes over a stretch of samples.
#[derive(Clone)]
struct Sums {
    gram: DMatrix<f64>,
    projection: DVector<f64>,
    energy: f64,
}

impl Sums {
    fn new(size: usize) -> Self {
        Self { gram: DMatrix::zeros(size, size), projection: DVector::zeros(size), energy: 0.0 }
    }

    fn add(&mut self, states: &[Complex64], sample: f64) {
        let row = DVector::from_iterator(2 * states.len(), states.iter().flat_map(|s| [s.re, -s.im]));
        self.gram.ger(1.0, &row, &row, 1.0);
        self.projection.axpy(sample, &row, 1.0);
        self.energy += sample * sample;
    }

    /// What the best amplitudes leave of the energy since an earlier sum.
    fn left_since(&self, earlier: &Self) -> Option<f64> {
        let mut gram = &self.gram - &earlier.gram;
        let grain = 1e-12 * gram.trace();
        (0..gram.nrows()).for_each(|i| gram[(i, i)] += grain);
        let projection = &self.projection - &earlier.projection;
        let explained = projection.dot(&gram.cholesky()?.solve(&projection));
        Some((self.energy - earlier.energy - explained).max(0.0))
    }
}
