//! Maximum likelihood over neighbouring modes and all taps at once.
//!
//! Every tap's transform near the modes is a sum of closed-form kernels plus Gaussian noise of known colour. The poles
//! (decay rate and frequency) are common to all taps; each tap has its own amplitudes and phases, which enter linearly
//! and are eliminated (variable projection: Golub and Pereyra 1973; Kaufman 1975; from memory). Gauss-Newton steps with
//! Marquardt's damping. The inverse of the reduced normal matrix is the Cramer-Rao bound at the solution.

use std::rc::Rc;

use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;

use super::component::{Component, Kernel, RealDecay};
use super::density::NoiseDensity;
use super::spectra::{Ring, Scale, Turn};
use crate::lanes::dot;

/// A step below a hundredth of a standard deviation ends a fit.
const DONE: f64 = 1e-4;
/// How far a steady line may wander from where it was heard in the quiet, in bins of the longest ring-down.
const LEASH: f64 = 0.2;

/// The piece of all taps' transforms on which some components are fitted.
pub(super) struct Band {
    bins: Vec<usize>,
    /// exp(-i omega) of each bin.
    backs: Rc<[Complex64]>,
    taps: Vec<TapBand>,
    /// Weight of each bin: 1 / standard deviation of its real (and imaginary) part if the whole transform were data. Where
    /// only a share is, the bins are more than the data, each with less noise: the two cancel in every sum over bins.
    weights: Vec<f64>,
    /// Start of the free decay in samples behind the origin (may be negative).
    start: isize,
    /// Smooth terms in each tap that stand for what is too short or too far away to be a mode here.
    smooth: usize,
}

struct TapBand {
    /// Samples of free decay in the transform.
    length: usize,
    /// exp(-i omega length) of each bin.
    backs_to_length: Rc<[Complex64]>,
    /// The bins, weighted: real parts first, then imaginary parts.
    target: DVector<f64>,
    /// Its sum of squares.
    energy: f64,
    /// Length of the data over that of the transform; more than 1 where they begin before the origin.
    share: f64,
}

/// What a fit found.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub components: Vec<Component>,
    /// Covariance of the free pole parameters for unit noise density: see [`Fit::pole_covariance`].
    covariance: DMatrix<f64>,
    /// Position of each component's parameters in the covariance: (decay if free, turn).
    places: Vec<(Option<usize>, usize)>,
    /// Weighted sum of squared residuals, and its degrees of freedom.
    pub chi2: f64,
    pub freedom: f64,
    /// Reduced normal matrix and gradient of each tap alone at the solution: what it would rather have.
    per_tap_poles: Vec<(DMatrix<f64>, DVector<f64>)>,
}

impl Fit {
    /// Covariance of (decay, turn) of a component, per sample and for the noise density assumed.
    pub(super) fn pole_covariance(&self, index: usize) -> [[f64; 2]; 2] {
        let (decay, turn) = self.places[index];
        let get = |a: Option<usize>, b: Option<usize>| match (a, b) {
            (Some(a), Some(b)) => self.covariance[(a, b)],
            _ => 0.0,
        };
        let turn = Some(turn);
        [[get(decay, decay), get(decay, turn)], [get(turn, decay), get(turn, turn)]]
    }

    /// What each tap alone would say of a component's (decay, turn): the shift from the joint value, and its variance.
    ///
    /// One Gauss-Newton step from the joint solution; `None` for a tap that cannot tell by itself.
    pub(super) fn tap_opinions(&self, index: usize) -> Vec<Option<[(f64, f64); 2]>> {
        let (decay, turn) = self.places[index];
        self.per_tap_poles
            .iter()
            .map(|(matrix, gradient)| {
                let inverse = matrix.clone().try_inverse()?;
                let shift = &inverse * gradient;
                let of = |place: Option<usize>| place.map_or((0.0, 0.0), |p| (shift[p], inverse[(p, p)]));
                Some([of(decay), of(Some(turn))])
            })
            .collect()
    }
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
        let backs: Rc<[Complex64]> = Turn::list(transform, 1, bins.iter().copied()).into();
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
}

/// A range of bins of every tap's transform with some components taken away.
pub(super) fn cut(scale: &Scale, bins: &std::ops::Range<usize>, without: &[&Component]) -> Vec<Vec<Complex64>> {
    let list: Vec<usize> = bins.clone().collect();
    let mut targets: Vec<Vec<Complex64>> = scale.spectra.iter().map(|spectrum| pick(spectrum, &list)).collect();
    let backs = Turn::list(scale.transform, 1, bins.clone());
    let far = backs_to_length(scale.transform, &scale.lengths, &list);
    let starts = vec![0; targets.len()];
    take_away(&mut targets, without, &backs, &far, &starts, &scale.lengths);
    targets
}

fn pick(spectrum: &[realfft::num_complex::Complex32], bins: &[usize]) -> Vec<Complex64> {
    bins.iter().map(|&k| Complex64::new(f64::from(spectrum[k].re), f64::from(spectrum[k].im))).collect()
}

/// exp(-i omega L) of the bins for each tap; taps of one length share it.
fn backs_to_length(transform: usize, lengths: &[usize], bins: &[usize]) -> Vec<Rc<[Complex64]>> {
    let mut out: Vec<Rc<[Complex64]>> = Vec::with_capacity(lengths.len());
    for (tap, length) in lengths.iter().enumerate() {
        let known = lengths[..tap].iter().position(|l| l == length).map(|same| out[same].clone());
        out.push(known.unwrap_or_else(|| Turn::list(transform, *length, bins.iter().copied()).into()));
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
    let to_angle = std::f64::consts::TAU / transform as f64;
    // From the first sample of the head to the origin, and from the new start to the origin: whole turns dropped.
    let turned = |bin: usize, samples: isize| {
        let part = (bin as i128 * samples as i128).rem_euclid(transform as i128);
        Complex64::from_polar(1.0, -to_angle * part as f64)
    };
    for (values, bins) in target.chunks_mut(LANES).zip(bins.chunks(LANES)) {
        let mut double_cosine = [0.0f64; LANES];
        let mut sine = [0.0f64; LANES];
        for (lane, bin) in bins.iter().enumerate() {
            let (s, c) = (to_angle * *bin as f64).sin_cos();
            (sine[lane], double_cosine[lane]) = (s, 2.0 * c);
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
            let first = start.min(0);
            *value = (*value + sum * turned(*bin, first) * sign) * turned(*bin, -start);
        }
    }
}

/// Gram matrix of the basis [C1 C2 S1 S2] of all components at one length, and each tap's projections on it.
struct Normal {
    poles: DMatrix<f64>,
    gradient: DVector<f64>,
    chi2: f64,
    amplitudes: Vec<Vec<Complex64>>,
    per_tap_poles: Vec<(DMatrix<f64>, DVector<f64>)>,
}

impl Band {
    /// Degrees of freedom of the data: real numbers, less their correlation.
    fn data_freedom(&self) -> f64 {
        self.taps.iter().map(|t| 2.0 * self.bins.len() as f64 * t.share).sum()
    }

    /// The basis of every component over the bins, weighted: columns C1, C2 (value) of all, then S1, S2 (slope) of all; rows
    /// as in the targets.
    fn basis(&self, components: &[Component], tap: &TapBand) -> DMatrix<f64> {
        let count = self.bins.len();
        let modes = 2 * components.len();
        let slopes = modes + 2 * self.smooth;
        let mut basis = DMatrix::zeros(2 * count, slopes + modes);
        let (first, last) = (self.bins[0] as f64, self.bins[count - 1] as f64);
        for power in 0..self.smooth {
            for (row, (bin, weight)) in self.bins.iter().zip(&self.weights).enumerate() {
                let place = if last > first { 2.0 * (*bin as f64 - first) / (last - first) - 1.0 } else { 0.0 };
                let value = weight * place.powi(power as i32);
                basis[(row, modes + 2 * power)] = value;
                basis[(count + row, modes + 2 * power + 1)] = value;
            }
        }
        for (c, component) in components.iter().enumerate() {
            let direct = Kernel::new(component, tap.length);
            let mirror = direct.mirror();
            let places = self.backs.iter().zip(tap.backs_to_length.iter()).zip(&self.weights);
            for (row, ((back, back_to_length), weight)) in places.enumerate() {
                let (dv, ds) = direct.value_and_slope(*back, *back_to_length);
                let (mv, ms) = mirror.value_and_slope(*back, *back_to_length);
                let half = 0.5 * weight;
                for (column, plus, minus) in [(2 * c, dv + mv, dv - mv), (slopes + 2 * c, ds + ms, ds - ms)] {
                    basis[(row, column)] = plus.re * half;
                    basis[(count + row, column)] = plus.im * half;
                    // i times the difference.
                    basis[(row, column + 1)] = -minus.im * half;
                    basis[(count + row, column + 1)] = minus.re * half;
                }
            }
        }
        basis
    }

    fn normal(&self, components: &[Component], places: &[(Option<usize>, usize)], free: usize) -> Option<Normal> {
        let modes = 2 * components.len();
        let linear = modes + 2 * self.smooth;
        let mut cached: Option<(usize, DMatrix<f64>, DMatrix<f64>)> = None;
        let mut poles = DMatrix::zeros(free, free);
        let mut gradient = DVector::zeros(free);
        let mut chi2 = 0.0;
        let mut amplitudes = Vec::with_capacity(self.taps.len());
        let mut per_tap_poles = Vec::with_capacity(self.taps.len());
        for tap in &self.taps {
            if cached.as_ref().is_none_or(|(length, ..)| *length != tap.length) {
                let basis = self.basis(components, tap);
                let gram = gram(&basis);
                cached = Some((tap.length, basis, gram));
            }
            let Some((_, basis, gram)) = cached.as_ref() else { continue };
            let projection = DVector::from_iterator(
                basis.ncols(),
                basis.column_iter().map(|c| dot(c.as_slice(), tap.target.as_slice())),
            );
            let energy = tap.energy;
            let values = gram.view((0, 0), (linear, linear)).into_owned();
            let factor = values.cholesky()?;
            let solution = factor.solve(&projection.rows(0, linear).into_owned());
            let tap_chi2 = (energy - projection.rows(0, linear).dot(&solution)).max(0.0);
            // Columns of the pole derivatives in terms of the slope basis.
            let mut mix = DMatrix::zeros(modes, free);
            for (c, (decay, turn)) in places.iter().enumerate() {
                let (u, v) = (solution[2 * c], solution[2 * c + 1]);
                if let Some(decay) = decay {
                    mix[(2 * c, *decay)] = -u;
                    mix[(2 * c + 1, *decay)] = -v;
                }
                mix[(2 * c, *turn)] = -v;
                mix[(2 * c + 1, *turn)] = u;
            }
            let slopes = gram.view((linear, linear), (modes, modes));
            let cross = gram.view((0, linear), (linear, modes));
            let crossed = cross * &mix;
            let reduced = mix.transpose() * slopes * &mix - crossed.transpose() * factor.solve(&crossed);
            let residual = projection.rows(linear, modes) - cross.transpose() * &solution;
            let pull = mix.transpose() * residual;
            poles += &reduced;
            gradient += &pull;
            per_tap_poles.push((reduced, pull));
            chi2 += tap_chi2;
            amplitudes
                .push((0..components.len()).map(|c| Complex64::new(solution[2 * c], solution[2 * c + 1])).collect());
        }
        Some(Normal { poles, gradient, chi2, amplitudes, per_tap_poles })
    }

    /// Fits the poles and amplitudes of some components, starting from theirs.
    ///
    /// `None` if the components cannot be told apart at the start (singular).
    pub(super) fn fit(&self, start: &[Component], most_steps: usize) -> Option<Fit> {
        let mut places = Vec::new();
        let mut free = 0;
        for component in start {
            let decay = (!component.steady).then(|| {
                free += 1;
                free - 1
            });
            places.push((decay, free));
            free += 1;
        }
        let length = self.taps.iter().map(|t| t.length).max().unwrap_or(1) as f64;
        let mut components = start.to_vec();
        let mut normal = self.normal(&components, &places, free)?;
        let mut damping = 1e-4;
        let mut steps = 0;
        while steps < most_steps {
            let mut damped = normal.poles.clone();
            for i in 0..free {
                damped[(i, i)] *= 1.0 + damping;
            }
            let step = damped.cholesky()?.solve(&normal.gradient);
            // In units of the standard deviations: has anything moved?
            let moved = step.dot(&(&normal.poles * &step));
            if moved < DONE && damping < 1e-2 {
                break;
            }
            let mut trial = components.clone();
            for (component, (decay, turn)) in trial.iter_mut().zip(&places) {
                let reach = (2.0 * component.decay).max(std::f64::consts::TAU / length);
                component.turn =
                    (component.turn + step[*turn].clamp(-reach, reach)).clamp(1e-6, std::f64::consts::PI - 1e-6);
                if component.steady {
                    let leash = LEASH * std::f64::consts::TAU / length;
                    component.turn = component.turn.clamp(component.home - leash, component.home + leash);
                }
                if let Some(decay) = decay {
                    let wished = component.decay + step[*decay];
                    let least = 1e-3 / length;
                    component.decay =
                        wished.clamp((component.decay / 3.0).max(least), (component.decay * 3.0).max(3.0 * least));
                }
            }
            steps += 1;
            match self.normal(&trial, &places, free) {
                Some(next) if next.chi2 <= normal.chi2 * (1.0 + 1e-12) => {
                    components = trial;
                    normal = next;
                    damping = (damping * 0.1).max(1e-9);
                    if moved < DONE {
                        break;
                    }
                }
                _ => {
                    if moved < DONE {
                        break;
                    }
                    damping = (damping * 10.0).max(1e-3);
                    if damping > 1e6 {
                        break;
                    }
                }
            }
        }
        for (c, component) in components.iter_mut().enumerate() {
            let to_origin = (Complex64::new(-component.decay, component.turn) * -(self.start as f64)).exp();
            component.amplitudes = normal.amplitudes.iter().map(|tap| tap[c] * to_origin).collect();
        }
        let covariance = normal.poles.clone().try_inverse()?;
        let linear = 2.0 * (components.len() + self.smooth) as f64;
        let freedom = self.data_freedom() - linear * self.taps.len() as f64 - free as f64;
        Some(Fit { components, covariance, places, chi2: normal.chi2, freedom, per_tap_poles: normal.per_tap_poles })
    }

    /// How much one component at a given pole would lower chi2, amplitudes free (the gain of a matched filter).
    pub(super) fn gain(&self, component: &Component) -> f64 {
        let mut total = 0.0;
        for tap in &self.taps {
            let basis = self.basis(std::slice::from_ref(component), tap);
            let (first, second) = (basis.column(0), basis.column(1));
            let (a, b, d) = (first.norm_squared(), first.dot(&second), second.norm_squared());
            let (p, q) = (first.dot(&tap.target), second.dot(&tap.target));
            let determinant = a * d - b * b;
            if determinant > 0.0 {
                total += (d * p * p - 2.0 * b * p * q + a * q * q) / determinant;
            }
        }
        total
    }
}

/// Products of all columns with each other.
fn gram(basis: &DMatrix<f64>) -> DMatrix<f64> {
    let width = basis.ncols();
    // Large ones are worth the packing of a blocked matrix product.
    if width > 12 {
        return basis.transpose() * basis;
    }
    let mut gram = DMatrix::zeros(width, width);
    let columns: Vec<&[f64]> = basis.as_slice().chunks_exact(basis.nrows()).collect();
    for i in 0..width {
        for j in i..width {
            let product = dot(columns[i], columns[j]);
            gram[(i, j)] = product;
            gram[(j, i)] = product;
        }
    }
    gram
}
