//! A row of the table, and the judgements that rows share.

use statrs::distribution::{Binomial, DiscreteCDF};

/// A row of the table.
pub struct Row {
    pub figure: String,
    pub wanted: String,
    pub measured: String,
    pub met: bool,
}

impl Row {
    /// A share (of `of`) that should be at most so much.
    pub fn at_most(figure: impl Into<String>, count: usize, of: usize, most: f64) -> Self {
        Self::share(figure, count, of, format!("at most {:.1} %", 100.0 * most), count as f64 <= most * of as f64)
    }

    /// A share (of `of`) that should be at least so much.
    pub fn at_least(figure: impl Into<String>, count: usize, of: usize, least: f64) -> Self {
        Self::share(figure, count, of, format!("at least {:.1} %", 100.0 * least), count as f64 >= least * of as f64)
    }

    /// How many of the 95 % intervals hold the truth: 93 to 97 % of 1000 or more; of fewer, 92 to 98 % must not be refused at the
    /// 2.5 % level.
    pub fn coverage(figure: impl Into<String>, held: usize, of: usize) -> Self {
        let share = held as f64 / of.max(1) as f64;
        let met = if of >= 1000 {
            (0.93..=0.97).contains(&share)
        } else {
            let chance = |p: f64| Binomial::new(p, of as u64).expect("a share");
            let low_enough = held == 0 || 1.0 - chance(0.98).cdf(held as u64 - 1) > 0.025;
            let high_enough = chance(0.92).cdf(held as u64) > 0.025;
            of > 0 && low_enough && high_enough
        };
        Self::share(figure, held, of, if of >= 1000 { "93 to 97 %" } else { "92 to 98 %" }.into(), met)
    }

    fn share(figure: impl Into<String>, count: usize, of: usize, wanted: String, met: bool) -> Self {
        let measured = format!("{:.1} % of {of}", 100.0 * count as f64 / of.max(1) as f64);
        Self { figure: figure.into(), wanted, measured, met: met && of > 0 }
    }
}
