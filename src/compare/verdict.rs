//! Larger, smaller, or no clear difference; and how many more takes would show a difference.

use super::repeatability::Repeatability;
use crate::uncertainty::{COVERAGE_95, Figure, Source};

/// What may be said of a ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    Larger,
    Smaller,
    /// The interval holds 1. With this many more takes of each stage, the part held anew for each, a difference of the size seen
    /// would be found, if it is real; `None` if no such number would, because other readings are too uncertain.
    NotToldApart {
        takes: Option<usize>,
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
    pub moved_most_by: Option<(Source, f64)>,
}

/// A real difference is found in nine of ten cases if it is so many standard uncertainties: 1.96 + 1.28 (normal quantiles).
const FOUND_IN_NINE_OF_TEN: f64 = COVERAGE_95 + 1.281_551_565_5;
/// More takes of one stage than this nobody makes.
const MOST_TAKES: usize = 20;

impl Ratio {
    /// The ratio of a quantity in one stage to the same in the baseline; `takes` there are of each stage, or of the one that has
    /// fewer: it has most to gain by more.
    ///
    /// The interval is taken in the logarithm, so that a and 1/a are treated alike; what both share cancels. Few taps and few
    /// takes are allowed for by Student's t.
    pub fn new(baseline: &Figure, other: &Figure, takes: usize) -> Option<Self> {
        Self::knowing(baseline, other, takes, &Repeatability::default())
    }

    /// The same where takes have shown how well they repeat: the advice goes by that.
    pub fn knowing(baseline: &Figure, other: &Figure, takes: usize, known: &Repeatability) -> Option<Self> {
        if !(baseline.value > 0.0 && other.value > 0.0) {
            return None;
        }
        let log =
            Figure::combine(&[baseline, other], |x| (x[1].max(f64::MIN_POSITIVE) / x[0].max(f64::MIN_POSITIVE)).ln());
        let u = log.u_95();
        if !u.is_finite() {
            return None;
        }
        let half = COVERAGE_95 * u;
        let verdict = if log.value > half {
            Verdict::Larger
        } else if log.value < -half {
            Verdict::Smaller
        } else {
            let (mut of_takes, mut fixed) = (0.0, 0.0);
            for (source, part) in log.contributions() {
                let variance = part.size_95().powi(2);
                if source.cause.shrinks_with_takes() { of_takes += variance } else { fixed += variance }
            }
            let wanted = (log.value / FOUND_IN_NINE_OF_TEN).powi(2) - fixed;
            let left = |more: usize| of_takes * known.gain(takes, more);
            Verdict::NotToldApart { takes: (1..=MOST_TAKES).find(|more| left(*more) <= wanted) }
        };
        Some(Self {
            value: log.value.exp(),
            low: (log.value - half).exp(),
            high: (log.value + half).exp(),
            verdict,
            moved_most_by: log.largest_source(),
        })
    }
}

impl Verdict {
    /// In plain words.
    pub fn sentence(&self) -> String {
        match self {
            Self::Larger => "larger".into(),
            Self::Smaller => "smaller".into(),
            Self::NotToldApart { takes: Some(takes) } => {
                let takes_word = if *takes == 1 { "take" } else { "takes" };
                format!(
                    "no clear difference yet; {takes} more {takes_word} of each, held anew, would show one of this size"
                )
            }
            Self::NotToldApart { takes: None } => "no clear difference".into(),
        }
    }

    /// Takes that each stage needs beyond those it has, where a number of them would show a difference of the size seen.
    pub fn more_takes(&self) -> Option<usize> {
        match self {
            Self::NotToldApart { takes } => *takes,
            _ => None,
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
    use crate::uncertainty::{Cause, Scope};

    #[test]
    fn tells_what_it_can() {
        let a = Figure::new(100.0, 1.0, Source::from(Cause::Frequency).within(Scope::Stage("a".into())));
        let b = Figure::new(110.0, 1.0, Source::from(Cause::Frequency).within(Scope::Stage("b".into())));
        let ratio = Ratio::new(&a, &b, 5).expect("positive");
        assert_eq!(ratio.verdict, Verdict::Larger);
        // ln 1.1 +- 1.96 sqrt(0.01^2 + 0.00909^2), by hand.
        assert!((ratio.low - 1.0711).abs() < 1e-3 && (ratio.high - 1.1297).abs() < 1e-3, "{ratio:?}");
        // A difference of ln 1.02 over 0.015/1.02 = 1.3466 standard uncertainties of one take each: n more takes need (t(6 + 2n)/t(6))^2/(1 + n) <= (1.3466/3.2415)^2 = 0.1726. With t from tables (6: 2.44691, 12: 2.17881,
        // 14: 2.14479): n = 3 gives 0.1982, n = 4 gives 0.1537.
        for source in [Cause::HeldAnewDamping, Cause::Damping] {
            let ratio =
                Ratio::new(&Figure::exact(100.0), &Figure::new(102.0, 1.5, source.clone()), 1).expect("positive");
            assert_eq!(ratio.verdict, Verdict::NotToldApart { takes: Some(4) }, "{source}");
            assert_eq!(ratio.verdict.more_takes(), Some(4));
        }
        let d = Figure::new(101.0, 3.0, Cause::Thickness);
        assert_eq!(Ratio::new(&a, &d, 5).expect("positive").verdict, Verdict::NotToldApart { takes: None });
        // What both share cancels.
        let (e, f) = (Figure::new(2.0, 0.5, Cause::Length), Figure::new(2.2, 0.55, Cause::Length));
        assert_eq!(Ratio::new(&e, &f, 5).expect("positive").verdict, Verdict::Larger);
    }
}
