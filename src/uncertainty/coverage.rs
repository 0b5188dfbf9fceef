//! How many standard uncertainties make a 95 % interval.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The 97.5 % quantile of the normal distribution: half of a 95 % interval in standard uncertainties that are known exactly.
pub const COVERAGE_95: f64 = 1.959_963_984_540_054;

/// From here on (degrees of freedom) Student's t is the normal quantile z and four terms of a series in 1/dof (Abramowitz and Stegun,
/// 26.7.5, from memory; good to 1e-9 there). It is asked for by every interval, and finding a root takes a hundred times as long.
const MANY: f64 = 100.0;

/// Student's t, 97.5 %, of many degrees of freedom, over the normal quantile z.
fn series(dof: f64) -> f64 {
    let q = COVERAGE_95 * COVERAGE_95;
    let terms = [
        (1.0 + q) / 4.0,
        (3.0 + q * (16.0 + 5.0 * q)) / 96.0,
        (-15.0 + q * (17.0 + q * (19.0 + 3.0 * q))) / 384.0,
        (-945.0 + q * (-1920.0 + q * (1482.0 + q * (776.0 + 79.0 * q)))) / 92_160.0,
    ];
    1.0 + terms.iter().rev().fold(0.0, |sum, term| (sum + term) / dof)
}

/// How much wider than the normal one Student's t makes a 95 % interval of some degrees of freedom.
///
/// Below one degree of freedom the mean of Student's t does not exist; one is the widest that is used (12.7 against 1.96).
pub fn student_factor(dof: f64) -> f64 {
    if dof >= MANY {
        return series(dof);
    }
    StudentsT::new(0.0, 1.0, dof.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975)) / COVERAGE_95
}

/// Student's t, 95 %: with so many standard uncertainties to one side a limit holds in 95 of 100 cases.
pub fn student_factor_one_sided(dof: f64) -> f64 {
    const NORMAL_95: f64 = 1.644_853_626_951_472_7;
    if dof >= MANY {
        // The first term of the same series; good to 1e-3 at 100.
        return NORMAL_95 * (1.0 + (1.0 + NORMAL_95 * NORMAL_95) / (4.0 * dof));
    }
    StudentsT::new(0.0, 1.0, dof.max(1.0)).map_or(f64::INFINITY, |t| t.inverse_cdf(0.95))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t, 95 %, from the same table: 6.314, 2.015, 1.697, 1.660.
    #[test]
    fn one_sided_quantiles_are_those_of_the_tables() {
        for (dof, t) in [(1.0, 6.314), (5.0, 2.015), (30.0, 1.697), (100.0, 1.660)] {
            assert!((student_factor_one_sided(dof) - t).abs() < 6e-4, "{dof}");
        }
    }

    /// Student's t, 97.5 %, from the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2: 12.706, 4.303, 2.776, 2.262, 2.045.
    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (dof, t) in [(1.0, 12.706), (2.0, 4.303), (4.0, 2.776), (9.0, 2.262), (29.0, 2.045)] {
            assert!((student_factor(dof) * COVERAGE_95 - t).abs() < 6e-4, "{dof}");
        }
        // scipy 1.17 at 30, 100, 300 and 20,000: below MANY by root finding, good to a millionth; from there on by the series.
        for (dof, t, within) in [
            (30.0, 2.042_272_456_301_238, 1e-6),
            (100.0, 1.983_971_518_523_551_8, 1e-9),
            (300.0, 1.967_903_011_261_086_5, 1e-9),
            (2e4, 1.960_082_605_158_134_8, 1e-9),
        ] {
            assert!(
                (student_factor(dof) * COVERAGE_95 - t).abs() < within,
                "{dof}: {}",
                student_factor(dof) * COVERAGE_95
            );
        }
        assert!((student_factor(0.999_999 * MANY) / student_factor(MANY) - 1.0).abs() < 1e-6);
        assert_eq!(student_factor(f64::INFINITY), 1.0);
    }
}
