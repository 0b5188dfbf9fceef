//! Maximum likelihood over neighbouring modes and all taps at once.
//!
//! Every tap's transform near the modes is a sum of closed-form kernels plus Gaussian noise of known colour. The poles
//! (decay rate and frequency) are common to all taps; each tap has its own amplitudes and phases, which enter linearly
//! and are eliminated (variable projection: Golub and Pereyra 1973; Kaufman 1975; from memory). Gauss-Newton steps with
//! Marquardt's damping. The inverse of the reduced normal matrix is the Cramer-Rao bound at the solution.

use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex64;

use super::band::{Band, TapBand};
use super::component::{Component, Kernel};
use crate::lanes::dot;

/// A step below a hundredth of a standard deviation ends a fit.
const DONE: f64 = 1e-4;
/// How far a steady line may wander from where it was heard in the quiet, in bins of the longest ring-down.
const LEASH: f64 = 0.2;

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

/// Gram matrix of the basis [C1 C2 S1 S2] of all components at one length, and each tap's projections on it.
struct Normal {
    poles: DMatrix<f64>,
    gradient: DVector<f64>,
    chi2: f64,
    amplitudes: Vec<Vec<Complex64>>,
    per_tap_poles: Vec<(DMatrix<f64>, DVector<f64>)>,
}

impl Band {
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
