//! The data of a fit: the bins of all taps' transforms around some modes, everything else taken away, from a given start of the
//! free decay.

use std::rc::Rc;

use nalgebra::DVector;
use realfft::num_complex::{Complex32, Complex64};

use super::component::{Component, RealDecay};
use super::density::NoiseDensity;
use super::rings::Ring;
use super::spectra::Scale;
use super::window::{turn, turns};

/// The piece of all taps' transforms on which some components are fitted.
pub(super) struct Band {
    pub bins: Vec<usize>,
    /// exp(-i omega) of each bin.
    pub backs: Rc<[Complex64]>,
    pub taps: Vec<TapBand>,
    /// Weight of each bin: 1 / standard deviation of its real (and imaginary) part if the whole transform were data. Where
    /// only a share is, the bins are more than the data, each with less noise: the two cancel in every sum over bins.
    pub weights: Vec<f64>,
    /// Start of the free decay in samples behind the origin (may be negative).
    pub start: isize,
    /// Smooth terms in each tap that stand for what is too short or too far away to be a mode here.
    pub smooth: usize,
}

pub(super) struct TapBand {
    /// Samples of free decay in the transform.
    pub length: usize,
    /// exp(-i omega length) of each bin.
    pub backs_to_length: Rc<[Complex64]>,
    /// The bins, weighted: real parts first, then imaginary parts.
    pub target: DVector<f64>,
    /// Its sum of squares.
    pub energy: f64,
    /// Length of the data over that of the transform; more than 1 where they begin before the origin.
    share: f64,
}

impl Band {
    /// Cuts the bins out of a scale, with the `fixed` components taken away and the free decay starting at `start`.
    pub(super) fn new(
        scale: &Scale,
        rings: &[Ring],
        bins: Vec<usize>,
        fixed: &[&Component],
        start: isize,
        density: &NoiseDensity,
        rate_hz: f64,
    ) -> Self {
        let transform = scale.transform;
        let bin_hz = rate_hz / transform as f64;
        let weights: Vec<f64> =
            bins.iter().map(|k| (2.0 / (transform as f64 * density.at(*k as f64 * bin_hz))).sqrt()).collect();
        let starts: Vec<isize> = rings
            .iter()
            .zip(&scale.lengths)
            .map(|(ring, full)| start.clamp(-(ring.lead as isize), *full as isize - 8))
            .collect();
        let lengths: Vec<usize> =
            scale.lengths.iter().zip(&starts).map(|(full, start)| (*full as isize - start) as usize).collect();
        let mut targets: Vec<Vec<Complex64>> = scale.spectra.iter().map(|spectrum| pick(spectrum, &bins)).collect();
        for ((target, ring), start) in targets.iter_mut().zip(rings).zip(&starts) {
            move_start(target, ring, *start, transform, &bins);
        }
        let backs: Rc<[Complex64]> = turns(transform, 1, bins.iter().copied()).into();
        let far = backs_to_length(transform, &lengths, &bins);
        take_away(&mut targets, fixed, &backs, &far, &starts, &lengths);
        let taps = targets
            .into_iter()
            .zip(far)
            .zip(lengths)
            .map(|((target, backs_to_length), length)| {
                let parts = target.iter().zip(&weights);
                let real = parts.clone().map(|(x, w)| x.re * w);
                let target = DVector::from_iterator(2 * bins.len(), real.chain(parts.map(|(x, w)| x.im * w)));
                let energy = target.norm_squared();
                TapBand { length, backs_to_length, target, energy, share: length as f64 / transform as f64 }
            })
            .collect();
        Self { bins, backs, taps, weights, start, smooth: 0 }
    }

    /// The same with smooth terms to be fitted along.
    pub(super) fn with_smooth_terms(self, smooth: usize) -> Self {
        Self { smooth, ..self }
    }

    /// Degrees of freedom of the data: real numbers, less their correlation.
    pub(super) fn data_freedom(&self) -> f64 {
        self.taps.iter().map(|t| 2.0 * self.bins.len() as f64 * t.share).sum()
    }
}

/// A range of bins of every tap's transform with some components taken away.
pub(super) fn cut(scale: &Scale, bins: &std::ops::Range<usize>, without: &[&Component]) -> Vec<Vec<Complex64>> {
    let list: Vec<usize> = bins.clone().collect();
    let mut targets: Vec<Vec<Complex64>> = scale.spectra.iter().map(|spectrum| pick(spectrum, &list)).collect();
    let backs = turns(scale.transform, 1, bins.clone());
    let far = backs_to_length(scale.transform, &scale.lengths, &list);
    let starts = vec![0; targets.len()];
    take_away(&mut targets, without, &backs, &far, &starts, &scale.lengths);
    targets
}

fn pick(spectrum: &[Complex32], bins: &[usize]) -> Vec<Complex64> {
    bins.iter().map(|&k| Complex64::new(f64::from(spectrum[k].re), f64::from(spectrum[k].im))).collect()
}

/// exp(-i omega L) of the bins for each tap; taps of one length share it.
fn backs_to_length(transform: usize, lengths: &[usize], bins: &[usize]) -> Vec<Rc<[Complex64]>> {
    let mut out: Vec<Rc<[Complex64]>> = Vec::with_capacity(lengths.len());
    for (tap, length) in lengths.iter().enumerate() {
        let known = lengths[..tap].iter().position(|l| l == length).map(|same| out[same].clone());
        out.push(known.unwrap_or_else(|| turns(transform, *length, bins.iter().copied()).into()));
    }
    out
}

/// Takes components away from bins of each tap whose data begin at the tap's `start`.
fn take_away(
    targets: &mut [Vec<Complex64>],
    components: &[&Component],
    backs: &[Complex64],
    far: &[Rc<[Complex64]>],
    starts: &[isize],
    lengths: &[usize],
) {
    for component in components {
        let decay = RealDecay::new(component, backs);
        for (tap, target) in targets.iter_mut().enumerate() {
            let at_start = component.amplitudes[tap] * component.growth(starts[tap] as f64);
            decay.values(at_start, lengths[tap], backs, &far[tap], |k, value| target[k] -= value);
        }
    }
}

/// Bins that are summed at once, for the processor's vector instructions.
const LANES: usize = 8;

/// Moves the first sample of a transform from the origin to `start`: takes the head away, or adds what lies before.
fn move_start(target: &mut [Complex64], ring: &Ring, start: isize, transform: usize, bins: &[usize]) {
    if start == 0 {
        return;
    }
    let origin = ring.lead as isize;
    let (range, sign) = if start > 0 { (origin..origin + start, -1.0) } else { (origin + start..origin, 1.0) };
    let head = &ring.samples[range.start as usize..range.end as usize];
    for (values, bins) in target.chunks_mut(LANES).zip(bins.chunks(LANES)) {
        let mut double_cosine = [0.0f64; LANES];
        let mut sine = [0.0f64; LANES];
        for (lane, bin) in bins.iter().enumerate() {
            let forth = turn(transform, -1, *bin);
            (sine[lane], double_cosine[lane]) = (forth.im, 2.0 * forth.re);
        }
        // Clenshaw's recurrence, from the last sample: sum w[n] cos(n omega) and sum w[n] sin(n omega).
        let (mut last, mut before) = ([0.0f64; LANES], [0.0f64; LANES]);
        for sample in head.iter().rev() {
            let sample = f64::from(*sample);
            for lane in 0..LANES {
                let next = (sample - before[lane]) + double_cosine[lane] * last[lane];
                (before[lane], last[lane]) = (last[lane], next);
            }
        }
        for (lane, (value, bin)) in values.iter_mut().zip(bins).enumerate() {
            let sum = Complex64::new(last[lane] - 0.5 * double_cosine[lane] * before[lane], -before[lane] * sine[lane]);
            // From the first sample of the head to the origin, and from the new start to the origin.
            let (head, back) = (turn(transform, start.min(0), *bin), turn(transform, -start, *bin));
            *value = (*value + sum * head * sign) * back;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moving the start is transforming the samples from there on: against the sum itself, later and earlier than the origin.
    #[test]
    fn a_moved_start_is_another_stretch() {
        let (transform, lead, bins) = (400, 40, [3usize, 4, 5, 6, 7, 8, 9, 10, 11, 60, 61]);
        let samples: Vec<f32> = (0..440).map(|n| (0.3 * n as f32).sin() + 0.1 * (n % 7) as f32).collect();
        let sum = |from: usize, bin: usize| -> Complex64 {
            let stretch = samples[from..].iter().enumerate();
            stretch.map(|(n, s)| turn(transform, n as isize, bin) * f64::from(*s)).sum()
        };
        let ring = Ring { samples: samples.clone(), lead };
        for start in [-40isize, -7, 0, 1, 150] {
            let mut target: Vec<Complex64> = bins.iter().map(|bin| sum(lead, *bin)).collect();
            move_start(&mut target, &ring, start, transform, &bins);
            for (bin, got) in bins.iter().zip(target) {
                let expected = sum((lead as isize + start) as usize, *bin);
                assert!((got - expected).norm() < 1e-9 * expected.norm().max(1.0), "{start} {bin}: {got} {expected}");
            }
        }
    }
}
