//! One figure out of those of competing assignments of a blank's modes, where they agree.

use crate::uncertainty::{COVERAGE_95, Cause, Figure};

/// The intervals of the competing assignments together may be so many times as wide as the widest of them: beyond that they do not
/// agree, and the figure is not given.
const AGREE: f64 = 2.0;

/// The best assignment's figure (the first), its interval widened to hold those of all others; `None` where one has none or they do not
/// agree.
pub(super) fn over_rivals(figures: &[Option<Figure>]) -> Option<Figure> {
    let all: Vec<&Figure> = figures.iter().map(Option::as_ref).collect::<Option<_>>()?;
    let (best, others) = all.split_first()?;
    let farthest =
        others.iter().flat_map(|f| f.interval_95()).map(|end| (end - best.value).abs()).fold(best.half_95(), f64::max);
    let widest = all.iter().map(|f| f.half_95()).fold(0.0, f64::max);
    if farthest > AGREE * widest {
        return None;
    }
    // What is added in squares so that the interval reaches the farthest end.
    let added = ((farthest / COVERAGE_95).powi(2) - best.u_95().powi(2)).max(0.0).sqrt();
    let widened = (*best).clone();
    Some(if added > 0.0 { widened.plus_uncertainty(added, Cause::CompetingAssignments) } else { widened })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(value: f64, half: f64) -> Option<Figure> {
        Some(Figure::new(value, half / COVERAGE_95, Cause::Thickness))
    }

    #[test]
    fn the_interval_holds_those_of_all_that_agree() {
        let alone = over_rivals(&[figure(12.0, 0.5)]).expect("given");
        assert!((alone.half_95() - 0.5).abs() < 1e-12 && alone.parts().count() == 1);
        // 12 +- 0.5 and 11.8 +- 0.6: 11.2 is 0.8 away.
        let both = over_rivals(&[figure(12.0, 0.5), figure(11.8, 0.6)]).expect("they agree");
        assert!((both.value - 12.0).abs() < 1e-12 && (both.half_95() - 0.8).abs() < 1e-9, "{both:?}");
        // Within the best's own: nothing is added.
        let inside = over_rivals(&[figure(12.0, 0.5), figure(12.1, 0.3)]).expect("they agree");
        assert!((inside.half_95() - 0.5).abs() < 1e-12);
        assert_eq!(over_rivals(&[figure(12.0, 0.5), figure(11.0, 0.5)]), None);
        assert_eq!(over_rivals(&[figure(12.0, 0.5), None]), None);
        assert_eq!(over_rivals(&[]), None);
    }
}
