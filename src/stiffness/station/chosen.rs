//! What choosing does to an interval: a figure that is only given where it is clear was more often read too high than too low.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::uncertainty::COVERAGE_95;

/// The interval is made longer by no more than this.
const MOST: f64 = 2.5;

/// How much longer the lower side of the 95 % interval of a value must be that was read as `read` of its standard uncertainties and would
/// not be given below `least` of them: the truth t is as low as leaves P(X > read | X > least) = 2.5 %.
pub(super) fn longer(read: f64, least: f64) -> f64 {
    let Ok(normal) = Normal::new(0.0, 1.0) else { return MOST };
    let above = |x: f64| normal.sf(x);
    let likely = |times: f64| {
        let truth = read - times * COVERAGE_95;
        above(read - truth) > 0.025 * above(least - truth)
    };
    if likely(MOST) {
        return MOST;
    }
    let (mut low, mut high) = (1.0, MOST);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if likely(middle) { low = middle } else { high = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Far above the limit nothing was chosen; a standard uncertainty above it, 2 times as long (0.0235 of normal tails 4 and 3).
    #[test]
    fn only_what_is_barely_given_is_made_longer() {
        assert!((longer(12.0, 6.0) - 1.0).abs() < 1e-3);
        assert!((longer(7.0, 6.0) - 2.0).abs() < 0.05, "{}", longer(7.0, 6.0));
        assert!((1.15..1.3).contains(&longer(8.0, 6.0)), "{}", longer(8.0, 6.0));
        assert_eq!(longer(6.0, 6.0), MOST);
    }
}
