//! Several readings of one thing.

use super::figure::Figure;
use super::source::Source;

/// The mean of several readings of one thing.
///
/// The standard uncertainty joins the scatter of the readings, whose degrees of freedom are one less than they are, and the
/// instrument's own, which does not average out and is known well; the degrees of freedom of both together are Welch and
/// Satterthwaite's (JCGM 100:2008, G.4.1).
pub fn mean_of_readings(readings: &[f64], instrument_u: f64, source: impl Into<Source>) -> Figure {
    let n = readings.len() as f64;
    let mean = readings.iter().sum::<f64>() / n;
    let scatter = if readings.len() > 1 {
        let variance = readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0);
        (variance / n).sqrt()
    } else {
        0.0
    };
    let u = scatter.hypot(instrument_u);
    let dof = if scatter > 0.0 { (n - 1.0) * (u / scatter).powi(4) } else { f64::INFINITY };
    Figure::with_dof(mean, u, source, dof)
}

#[cfg(test)]
mod tests {
    use super::super::COVERAGE_95;
    use super::*;

    /// 5 readings 182.31 182.36 182.28 182.40 182.33: mean 182.336, 95 % +-0.0573052 (project reference: s/sqrt 5 times
    /// Student's t 2.77645).
    #[test]
    fn few_readings_have_a_wide_mean() {
        let mean = mean_of_readings(&[182.31, 182.36, 182.28, 182.40, 182.33], 0.0, "frequency");
        assert!((mean.value - 182.336).abs() < 1e-9);
        assert!((mean.u_95() * COVERAGE_95 - 0.0573052).abs() < 1e-6);
    }
}
