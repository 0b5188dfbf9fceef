//! How many standard uncertainties make a 95 % interval.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The 97.5 % quantile of the normal distribution: half of a 95 % interval in standard uncertainties that are known exactly.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// From here on (degrees of freedom) Student's t is the normal quantile z with the first term of its series in 1/dof, (z^3 + z)/(4 dof)
/// (Abramowitz and Stegun, 26.7.5, from memory; the next term is below 1e-9): root finding no longer tells the two apart.
const MANY: f64 = 1e5;

/// How much wider than the normal one Student's t makes a 95 % interval of some degrees of freedom.
///
/// Below one degree of freedom the mean of Student's t does not exist; one is the widest that is used (12.7 against 1.96).
pub fn student_factor(dof: f64) -> f64 {
    if dof >= MANY {
        return 1.0 + (COVERAGE_95 * COVERAGE_95 + 1.0) / (4.0 * dof);
    }
    StudentsT::new(0.0, 1.0, dof.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975)) / COVERAGE_95
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t, 97.5 %, from the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2: 12.706, 4.303, 2.776, 2.262, 2.045.
    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (dof, t) in [(1.0, 12.706), (2.0, 4.303), (4.0, 2.776), (9.0, 2.262), (29.0, 2.045)] {
            assert!((student_factor(dof) * COVERAGE_95 - t).abs() < 6e-4, "{dof}");
        }
        // 1.9600826 at 20,000 degrees of freedom (scipy 1.17); the series there is good to 1e-8, and takes over from 100,000 on.
        let series = |dof: f64| 1.0 + (COVERAGE_95 * COVERAGE_95 + 1.0) / (4.0 * dof);
        assert!(
            (student_factor(2e4) * COVERAGE_95 - 1.9600826051581348).abs() < 1e-6
                && (series(2e4) * COVERAGE_95 - 1.9600826051581348).abs() < 1e-7
        );
        // The root finder wavers by some parts in a million there.
        assert!((student_factor(0.999 * MANY) / student_factor(MANY) - 1.0).abs() < 1e-4);
        assert_eq!(student_factor(f64::INFINITY), 1.0);
    }
}
