//! What was foretold of a stage, beside what was measured.

use super::comparison::{Comparison, Foretold};
use crate::uncertainty::{COVERAGE_95, Figure};

impl Comparison {
    /// Sets a foretold ratio beside the measured one of a code; nothing happens if that was not measured.
    pub fn foretell(&mut self, code: &'static str, ratio: &Figure) {
        let Some(row) = self.whole.iter().find(|r| r.code == code) else { return };
        let (half, measured) = (COVERAGE_95 * ratio.relative_u_95(), 0.5 * (row.ratio.high / row.ratio.low).ln());
        if !(ratio.value > 0.0 && half.is_finite()) {
            return;
        }
        self.foretold.push(Foretold {
            code,
            what: format!("foretold {}", row.what.split(',').next().unwrap_or_default()),
            value: ratio.value,
            low: ratio.value * (-half).exp(),
            high: ratio.value * half.exp(),
            met: (row.ratio.value / ratio.value).ln().abs() <= half.hypot(measured),
        });
    }
}

impl Foretold {
    /// In plain words.
    pub fn sentence(&self) -> &'static str {
        if self.met { "met within the intervals" } else { "not met" }
    }
}

#[cfg(test)]
mod tests {
    use super::super::comparison::Row;
    use super::super::verdict::Ratio;
    use super::*;

    #[test]
    fn a_forecast_is_met_within_both_intervals() {
        let one = Figure::exact(1.0);
        let ratio = Ratio::new(&one, &Figure::new(7.0, 0.07, "taps"), 5).expect("positive");
        let row = Row {
            code: "mass",
            what: "mass".into(),
            baseline: one.clone(),
            other: one,
            shown: ("", 1.0),
            ratio,
            pairs: 0,
        };
        let mut comparison = Comparison { whole: vec![row], ..Comparison::default() };
        // 7.0 against 7.9 give or take 1.0 is met; against 7.9 give or take 0.2 it is not.
        comparison.foretell("mass", &Figure::new(7.9, 0.5, "plies"));
        comparison.foretell("mass", &Figure::new(7.9, 0.1, "plies"));
        comparison.foretell("loss", &Figure::new(7.9, 0.1, "plies"));
        let met: Vec<bool> = comparison.foretold.iter().map(|f| f.met).collect();
        assert_eq!(met, [true, false]);
        // 7.9 exp(+- 1.96 x 0.5/7.9).
        let first = &comparison.foretold[0];
        assert!((first.low - 6.978).abs() < 1e-3 && (first.high - 8.943).abs() < 1e-3, "{first:?}");
    }
}
