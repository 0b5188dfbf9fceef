//! How large a difference must be to matter: a maker acts on it.

use super::comparison::Row;
use super::verdict::Verdict;

/// Differences below these (shares) are nothing to act on. By judgement: a scale shows a gram in a hundred; a stiffness moves by 2 % with
/// 0.7 % of thickness (15 micrometres in 2 mm, less than a plane or a sanding block keeps to), and so a frequency by 1 %; 5 % of loss
/// is 0.2 dB.
const MASS: f64 = 0.01;
const STIFFNESS: f64 = 0.02;
const FREQUENCY: f64 = 0.01;
const LOSS: f64 = 0.05;

impl Row {
    /// From which difference on (share) it matters.
    pub fn matters_from(&self) -> f64 {
        match self.code {
            "mass" => MASS,
            "frequency_hz" | "pitch" => FREQUENCY,
            "bending_stiffness"
            | "stiffness_by_mass"
            | "effective_stiffness"
            | "spot_stiffness"
            | "stiffness_per_mass" => STIFFNESS,
            // What goes by the damping: loss, ring time, power drawn.
            _ => LOSS,
        }
    }

    /// Whether the difference matters: the whole interval lies beyond what matters, or within it; `None` where it holds both.
    pub fn matters(&self) -> Option<bool> {
        let limit = self.matters_from().ln_1p();
        let (low, high) = (self.ratio.low.ln(), self.ratio.high.ln());
        if low > -limit && high < limit {
            Some(false)
        } else if low > limit || high < -limit {
            Some(true)
        } else {
            None
        }
    }

    /// The verdict in plain words; advice stands behind a semicolon.
    pub fn sentence(&self) -> String {
        let percent = 100.0 * self.matters_from();
        match (self.ratio.verdict, self.matters()) {
            (Verdict::NotToldApart { .. }, Some(false)) => format!("no difference that matters ({percent:.0} %)"),
            (verdict, Some(false)) => format!("{}, but less than matters ({percent:.0} %)", verdict.sentence()),
            (verdict, _) => verdict.sentence(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::Ratio;
    use crate::uncertainty::Figure;

    fn row(ratio: f64, u: f64) -> Row {
        let (baseline, other) = (Figure::exact(1.0), Figure::new(ratio, u * ratio, "reading"));
        let ratio = Ratio::new(&baseline, &other, 1).expect("positive");
        Row { code: "bending_stiffness", what: String::new(), baseline, other, shown: ("", 1.0), ratio, pairs: 0 }
    }

    /// Against 2 %, with intervals of 1.96 u to each side.
    #[test]
    fn what_is_known_is_not_always_worth_acting_on() {
        for (ratio, u, matters, said) in [
            (1.05, 0.005, Some(true), "larger"),
            (1.02, 0.005, None, "larger"),
            (1.01, 0.002, Some(false), "larger, but less than matters (2 %)"),
            (0.99, 0.002, Some(false), "smaller, but less than matters (2 %)"),
            (1.00, 0.005, Some(false), "no difference that matters (2 %)"),
            (1.01, 0.03, None, "no clear difference"),
        ] {
            let row = row(ratio, u);
            assert_eq!((row.matters(), row.sentence().as_str()), (matters, said), "{ratio} {u}");
        }
    }
}
