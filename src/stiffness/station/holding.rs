//! How much holding anew moves frequencies, from what is expected and from the takes at hand.

use nalgebra::{DMatrix, DVector};

use crate::part::HUNG_AGAIN_DOF;

/// The standard uncertainty of holding anew, in units of what is expected beforehand, and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Holding {
    pub times_expected: f64,
    pub dof: f64,
}

/// Steps of ln variance, about what is expected, over which it is weighed.
const STEP: f64 = 0.25;
const STEPS: i32 = 16;

/// The variance after the takes: scaled inverse chi square with its degrees of freedom before, times the evidence of the linear problem
/// (`held`: row and unknown of what expects no shift of each take), and again as a scaled inverse chi square of the same mean of 1/v and the same
/// variance of ln v (Gelman et al., Bayesian Data Analysis, ch. 3; from memory).
pub(super) fn holding(jacobian: &DMatrix<f64>, residuals: &DVector<f64>, held: &[(usize, usize)]) -> Option<Holding> {
    let full = jacobian.transpose() * jacobian;
    let gradient = jacobian.transpose() * residuals;
    let mut weighed = Vec::new();
    for step in -STEPS..=STEPS {
        let ln_v = STEP * f64::from(step);
        let more = (-ln_v).exp() - 1.0;
        let (mut normal, mut towards, mut chi) = (full.clone(), gradient.clone(), residuals.norm_squared());
        for (row, column) in held {
            let slope = jacobian[(*row, *column)];
            normal[(*column, *column)] += more * slope * slope;
            towards[*column] += more * slope * residuals[*row];
            chi += more * residuals[*row].powi(2);
        }
        let factor = normal.cholesky()?;
        let ln_det = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let chi = chi - towards.dot(&factor.solve(&towards));
        let before = -0.5 * HUNG_AGAIN_DOF * (ln_v + (-ln_v).exp());
        weighed.push((ln_v, before - 0.5 * (chi + held.len() as f64 * ln_v + ln_det)));
    }
    let most = weighed.iter().map(|w| w.1).fold(f64::NEG_INFINITY, f64::max);
    weighed.iter_mut().for_each(|w| w.1 = (w.1 - most).exp());
    let total: f64 = weighed.iter().map(|w| w.1).sum();
    let mean = |of: &dyn Fn(f64) -> f64| weighed.iter().map(|(ln_v, w)| w * of(*ln_v)).sum::<f64>() / total;
    let inverse = mean(&|ln_v| (-ln_v).exp());
    let middle = mean(&|ln_v| ln_v);
    let spread = mean(&|ln_v| (ln_v - middle).powi(2));
    // The variance of ln v is the trigamma function of half the degrees of freedom, 1/y + 1/(2 y^2) nearly.
    let dof = 2.0 * (1.0 + (1.0 + 2.0 * spread).sqrt()) / (2.0 * spread);
    Some(Holding { times_expected: inverse.powf(-0.5), dof })
}
