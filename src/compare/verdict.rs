//! Larger, smaller, or not told apart; and how many more taps would tell.

use crate::modes::COVERAGE_95;
use crate::part::Measured;

/// What may be said of a ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    Larger,
    Smaller,
    /// The interval holds 1. So many taps in each stage would tell a difference of the size seen, if it is real;
    /// `None` if no number of taps would, because other readings are too uncertain.
    NotToldApart {
        taps: Option<usize>,
    },
}

/// A ratio to the baseline with its 95 % interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratio {
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub verdict: Verdict,
    /// What moves it most, and its share of the variance.
    pub moved_most_by: Option<(String, f64)>,
}

/// Sources of uncertainty that more taps make smaller carry this word.
pub(super) const TAPS: &str = "taps";
/// A real difference is found in nine of ten cases if it is so many standard uncertainties: 1.96 + 1.28 (normal quantiles).
const FOUND_IN_NINE_OF_TEN: f64 = COVERAGE_95 + 1.281_551_565_5;
/// More taps than this nobody makes.
const MOST_TAPS: f64 = 200.0;

impl Ratio {
    /// The ratio of a quantity in one stage to the same in the baseline; `taps` were used in each stage.
    ///
    /// The interval is taken in the logarithm, so that a and 1/a are treated alike; what both share cancels. Small numbers of
    /// taps are allowed for in the standard uncertainties (scaled by Student's t).
    pub fn new(baseline: &Measured, other: &Measured, taps: usize) -> Option<Self> {
        if !(baseline.value > 0.0 && other.value > 0.0) {
            return None;
        }
        let log =
            Measured::combine(&[baseline, other], |x| (x[1].max(f64::MIN_POSITIVE) / x[0].max(f64::MIN_POSITIVE)).ln());
        let u = log.u();
        if !u.is_finite() {
            return None;
        }
        let half = COVERAGE_95 * u;
        let verdict = if log.value > half {
            Verdict::Larger
        } else if log.value < -half {
            Verdict::Smaller
        } else {
            let (mut of_taps, mut fixed) = (0.0, 0.0);
            for (source, part) in log.parts() {
                if source.starts_with(TAPS) { of_taps += part * part } else { fixed += part * part }
            }
            let wanted = (log.value / FOUND_IN_NINE_OF_TEN).powi(2) - fixed;
            let needed = of_taps * taps as f64 / wanted;
            let told = wanted > 0.0 && needed <= MOST_TAPS;
            Verdict::NotToldApart { taps: told.then(|| needed.ceil() as usize) }
        };
        Some(Self {
            value: log.value.exp(),
            low: (log.value - half).exp(),
            high: (log.value + half).exp(),
            verdict,
            moved_most_by: log.largest_source().map(|(s, share)| (s.to_string(), share)),
        })
    }
}

impl Verdict {
    /// In plain words.
    pub fn sentence(&self) -> String {
        match self {
            Self::Larger => "larger".into(),
            Self::Smaller => "smaller".into(),
            Self::NotToldApart { taps: Some(taps) } => format!("not told apart ({taps} taps each would)"),
            Self::NotToldApart { taps: None } => "not told apart".into(),
        }
    }

    pub fn code(&self) -> &'static str {
        match self {
            Self::Larger => "larger",
            Self::Smaller => "smaller",
            Self::NotToldApart { .. } => "not_told_apart",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_what_it_can() {
        let a = Measured::new(100.0, 1.0, "taps of a");
        let b = Measured::new(110.0, 1.0, "taps of b");
        let ratio = Ratio::new(&a, &b, 5).expect("positive");
        assert_eq!(ratio.verdict, Verdict::Larger);
        // ln 1.1 +- 1.96 sqrt(0.01^2 + 0.00909^2), by hand.
        assert!((ratio.low - 1.0711).abs() < 1e-3 && (ratio.high - 1.1297).abs() < 1e-3, "{ratio:?}");
        // A difference of 1.35 standard uncertainties needs (3.24/1.35)^2 = 5.8 times as many taps.
        let c = Measured::new(101.9, 1.0, "taps of c");
        let ratio = Ratio::new(&a, &c, 5).expect("positive");
        assert_eq!(ratio.verdict, Verdict::NotToldApart { taps: Some(30) });
        let d = Measured::new(101.0, 3.0, "thickness of d");
        assert_eq!(Ratio::new(&a, &d, 5).expect("positive").verdict, Verdict::NotToldApart { taps: None });
        // What both share cancels.
        let (e, f) = (Measured::new(2.0, 0.5, "length"), Measured::new(2.2, 0.55, "length"));
        assert_eq!(Ratio::new(&e, &f, 5).expect("positive").verdict, Verdict::Larger);
    }
}
