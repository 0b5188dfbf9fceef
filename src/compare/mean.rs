//! One ratio for several modes' ratios.

use crate::uncertainty::{Cause, Figure};

/// Geometric mean of several ratios, and their standard deviation about it; that is 0 for one alone.
fn mean_and_deviation(ratios: &[Figure]) -> (Figure, f64) {
    let refs: Vec<&Figure> = ratios.iter().collect();
    let mean = Figure::combine(&refs, |x| (x.iter().map(|v| v.max(1e-12).ln()).sum::<f64>() / x.len() as f64).exp());
    let freedom = (ratios.len() as f64 - 1.0).max(1.0);
    let variance = ratios.iter().map(|r| (r.value / mean.value).ln().powi(2)).sum::<f64>() / freedom;
    let deviation = variance.sqrt() * mean.value;
    (mean, deviation)
}

/// Mean of several ratios that are each their own.
pub(super) fn mean_ratio(ratios: &[Figure]) -> Figure {
    let (mean, deviation) = mean_and_deviation(ratios);
    let n = ratios.len() as f64;
    if n > 1.0 { mean.plus_uncertainty_with_dof(deviation / n.sqrt(), Cause::ModesDiffer, n - 1.0) } else { mean }
}

/// What a single pair, which nothing checks, may be off by because its shape changed (relative, by judgement).
const UNCHECKED_SHAPE: f64 = 0.1;

/// The ratio that several modes' ratios stand for. Where the modes do not agree they did not keep their shapes, and any of them
/// may be nearest to what was meant: their whole spread counts, not the error of their mean. One pair alone shows no spread.
pub(super) fn common_ratio(ratios: &[Figure]) -> Figure {
    let (mean, deviation) = mean_and_deviation(ratios);
    if ratios.len() == 1 {
        let unchecked = UNCHECKED_SHAPE * mean.value;
        return mean.plus_uncertainty(unchecked, Cause::OnePairOnly);
    }
    mean.plus_uncertainty(deviation, Cause::ModesDiffer)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 1, 2 and 4: the geometric mean is 2, the deviation of the logarithms ln 2.
    #[test]
    fn a_geometric_mean_and_its_doubt() {
        let ratios: Vec<Figure> = [1.0, 2.0, 4.0].map(Figure::exact).into();
        let deviation = 2.0 * 2f64.ln();
        let (mean, common) = (mean_ratio(&ratios), common_ratio(&ratios));
        assert!((mean.value - 2.0).abs() < 1e-12 && (common.value - 2.0).abs() < 1e-12);
        assert!((mean.half_95() - deviation / 3f64.sqrt() * 4.302_652_7).abs() < 1e-6, "{}", mean.u());
        assert!((common.u() - deviation).abs() < 1e-9, "{}", common.u());
    }

    /// Their own uncertainties, each from its own source, fall as the root of their number; one alone says nothing of others.
    #[test]
    fn what_each_is_off_by_stays() {
        let two = [Figure::new(3.0, 0.3, "a"), Figure::new(3.0, 0.3, "b")];
        // Slopes are taken over a tenth of an uncertainty: right to some 1e-5.
        assert!((mean_ratio(&two).relative_u() - 0.1 / 2f64.sqrt()).abs() < 1e-5);
        let one = [Figure::new(3.0, 0.3, "a")];
        assert!((mean_ratio(&one).relative_u() - 0.1).abs() < 1e-5);
        assert!((common_ratio(&one).relative_u() - 0.1f64.hypot(UNCHECKED_SHAPE)).abs() < 1e-5);
    }
}
