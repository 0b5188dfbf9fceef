//! Taps that do not belong with the others of their take, and why: a second strike in one, or held differently.

use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;

use super::component::Component;
use super::density::SteadyLine;
use super::search::Search;
use super::spectra::Ring;
use crate::sound::TapReason;

/// Taps are compared with each other in groups of so many at most: each is left out once.
const MOST_COMPARED: usize = 8;
/// A take whose modes leave less than this share of its energy unexplained has no odd tap.
const ODD_SHARE: f64 = 3e-5;
/// The same where so many modes crowd that weaker ones, unseen among them, are most of what is left.
const ODD_SHARE_CROWDED: f64 = 3e-4;
/// Without an odd tap less than this part of the unexplained share remains, of what remains without any other.
const REMAINS: f64 = 0.4;
/// Odd ones of a group that are looked for together, and the others that must remain then.
const MOST_ODD: usize = 2;
const LEAST_LEFT: usize = 2;
/// A second strike is looked for among so many modes, for so many time constants of the slowest, so long (s) at most, in steps
/// (s).
const MOST_MODES: usize = 12;
const LASTS: f64 = 4.0;
const LOOKED_AT_S: f64 = 0.6;
const STEP_S: f64 = 2e-3;
/// What comes sooner (s) belongs to the first strike.
const ONE_STRIKE_S: f64 = 0.02;
/// A second strike leaves less than this part of the unexplained energy.
const EXPLAINS: f64 = 0.5;

/// The taps that do not fit in with the others: their places among the rings, and why.
pub(super) fn odd_taps(search: &Search<'_>, lines: &[SteadyLine]) -> Vec<(usize, TapReason)> {
    let taps = search.rings.len();
    // Of two that differ nothing tells which is the odd one.
    if taps < 1 + LEAST_LEFT {
        return Vec::new();
    }
    let places: Vec<usize> = (0..taps).collect();
    // Groups of nearly the same size.
    let groups = taps.div_ceil(MOST_COMPARED);
    places.chunks(taps.div_ceil(groups)).flat_map(|group| odd_among(search, lines, group)).collect()
}

/// The one of a group, or the two, without which the rest agree.
fn odd_among(search: &Search<'_>, lines: &[SteadyLine], group: &[usize]) -> Vec<(usize, TapReason)> {
    let without = |odd: &[usize]| {
        let rest: Vec<usize> = group.iter().copied().filter(|tap| !odd.contains(tap)).collect();
        let rings: Vec<Ring> = rest.iter().map(|tap| search.rings[*tap].clone()).collect();
        let search = search.again(lines, &rest, &rings);
        (search.unexplained(), search.strongest(MOST_MODES))
    };
    let whole = if group.len() == search.rings.len() { search.unexplained() } else { without(&[]).0 };
    let odd_share = if search.crowded { ODD_SHARE_CROWDED } else { ODD_SHARE };
    if group.len() < 1 + LEAST_LEFT || whole < odd_share {
        return Vec::new();
    }
    let mut tried: Vec<(f64, usize, Vec<Component>)> = group
        .iter()
        .map(|odd| {
            let (left, modes) = without(&[*odd]);
            (left, *odd, modes)
        })
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    let told = |odd: usize, modes: &[Component]| {
        let after_s = second_strike(&search.rings[odd], modes, search.rate_hz);
        (odd, after_s.map_or(TapReason::UnlikeOthers, |after_s| TapReason::DoubleHit { after_s }))
    };
    if tried[0].0 < REMAINS * tried[1].0 {
        return vec![told(tried[0].1, &tried[0].2)];
    }
    // Two odd ones hide each other.
    if tried.len() >= MOST_ODD + LEAST_LEFT {
        let both = [tried[0].1, tried[1].1];
        let (left, modes) = without(&both);
        if left < REMAINS * tried[0].0 {
            return both.iter().map(|odd| told(*odd, &modes)).collect();
        }
    }
    Vec::new()
}

/// Time after the onset (s) of a second strike in a ring-down: where the amplitudes of the modes, whose poles are known
/// from the other taps, change all at once.
///
/// Least squares with one set of amplitudes before and another behind each possible moment; the moment that leaves least,
/// if that is much less than one set for all leaves.
fn second_strike(ring: &Ring, modes: &[Component], rate_hz: f64) -> Option<f64> {
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
