//! A measured quantity: its value, and how each independent reading moves it.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// What a share of an uncertainty comes from, in words ("thickness").
pub type Source = Arc<str>;

/// A value with its uncertainty, kept as one contribution for each independent source, so that quantities that share a
/// reading (the same thickness enters everywhere) are propagated as correlated.
///
/// First-order propagation as in the GUM (JCGM 100:2008, 5.1 and 5.2).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// In SI units.
    pub value: f64,
    /// Change of the value (with its sign) for one standard uncertainty of each source.
    parts: BTreeMap<Source, f64>,
}

impl Measured {
    /// A number that is known exactly.
    pub fn exact(value: f64) -> Self {
        Self { value, parts: BTreeMap::new() }
    }

    /// A reading with a standard uncertainty, independent of all others of another name.
    pub fn new(value: f64, standard_uncertainty: f64, source: &str) -> Self {
        Self { value, parts: BTreeMap::from([(Source::from(source), standard_uncertainty)]) }
    }

    /// A value with a contribution from each source.
    pub fn with_parts(value: f64, parts: impl IntoIterator<Item = (Source, f64)>) -> Self {
        let mut sum: BTreeMap<Source, f64> = BTreeMap::new();
        for (source, part) in parts {
            *sum.entry(source).or_default() += part;
        }
        Self { value, parts: sum }
    }

    /// The same with other names for its sources: what is read anew elsewhere is independent, whatever it is called.
    pub fn renamed(&self, name: impl Fn(&str) -> String) -> Self {
        Self::with_parts(self.value, self.parts.iter().map(|(s, p)| (Source::from(name(s)), *p)))
    }

    /// Standard uncertainty.
    pub fn u(&self) -> f64 {
        self.parts.values().map(|p| p * p).sum::<f64>().sqrt()
    }

    /// Standard uncertainty relative to the value (no unit).
    pub fn relative_u(&self) -> f64 {
        self.u() / self.value.abs()
    }

    /// What each source contributes: change of the value for one standard uncertainty of it.
    pub fn parts(&self) -> impl Iterator<Item = (&Source, f64)> {
        self.parts.iter().map(|(s, p)| (s, *p))
    }

    /// The source that moves the value most, and its share of the variance.
    pub fn largest_source(&self) -> Option<(&Source, f64)> {
        let variance: f64 = self.parts.values().map(|p| p * p).sum();
        let (source, part) = self.parts.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        (variance > 0.0).then(|| (source, part * part / variance))
    }

    /// A function of several quantities; derivatives by central differences over a tenth of each one's uncertainty.
    pub fn combine(inputs: &[&Measured], function: impl Fn(&[f64]) -> f64) -> Self {
        let mut at: Vec<f64> = inputs.iter().map(|i| i.value).collect();
        let value = function(&at);
        let mut parts: BTreeMap<Source, f64> = BTreeMap::new();
        for (index, input) in inputs.iter().enumerate() {
            let u = input.u();
            if u == 0.0 {
                continue;
            }
            let step = 0.1 * u;
            at[index] = input.value + step;
            let above = function(&at);
            at[index] = input.value - step;
            let below = function(&at);
            at[index] = input.value;
            let slope = (above - below) / (2.0 * step);
            for (source, part) in &input.parts {
                *parts.entry(source.clone()).or_default() += slope * part;
            }
        }
        Self { value, parts }
    }

    /// A function of one quantity.
    pub fn map(&self, function: impl Fn(f64) -> f64) -> Self {
        Self::combine(&[self], |x| function(x[0]))
    }

    /// The same with one more independent contribution.
    pub fn plus_uncertainty(mut self, u: f64, source: &str) -> Self {
        let part = self.parts.entry(Source::from(source)).or_default();
        *part = part.hypot(u);
        self
    }
}

/// The mean of several readings of one thing.
///
/// The standard uncertainty joins the scatter of the readings (Student's t for few of them, scaled so that 1.96 of it is
/// a 95 % interval of the mean) and the instrument's own, which does not average out.
pub fn mean_of_readings(readings: &[f64], instrument_u: f64, source: &str) -> Measured {
    let n = readings.len() as f64;
    let mean = readings.iter().sum::<f64>() / n;
    let scatter = if readings.len() > 1 {
        let variance = readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0);
        (variance / n).sqrt() * crate::modes::student_factor(n - 1.0)
    } else {
        0.0
    };
    Measured::new(mean, scatter.hypot(instrument_u), source)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// E of a bar from f 15.60(2) Hz, L 0.8000(5), m 0.1524(1), b 0.1200(2), t 2.25(2) mm: 13.147912 GPa, relative
    /// uncertainty 0.0269149 (0.02693 by Monte Carlo), thickness alone 98.2 % of the variance; EI = w^2 m L^3/500.5639 is
    /// 1.4976293 N m2, relative 0.0032436. Project reference, computed apart from this code.
    #[test]
    fn a_bars_modulus_carries_its_readings() {
        let f = Measured::new(15.60, 0.02, "frequency");
        let l = Measured::new(0.8, 0.0005, "length");
        let m = Measured::new(0.1524, 0.0001, "mass");
        let b = Measured::new(0.12, 0.0002, "width");
        let t = Measured::new(2.25e-3, 0.02e-3, "thickness");
        let e =
            Measured::combine(&[&f, &l, &m, &b, &t], |x| 0.9464147 * x[2] * x[0] * x[0] / x[3] * (x[1] / x[4]).powi(3));
        assert!((e.value / 13.147912e9 - 1.0).abs() < 1e-6, "{}", e.value);
        assert!((e.relative_u() - 0.0269149).abs() < 2e-6, "{}", e.relative_u());
        let (source, share) = e.largest_source().expect("it has sources");
        assert_eq!(&**source, "thickness");
        assert!((share - 0.982).abs() < 1e-3);
        // The same readings again, by way of E: what is common cancels.
        let ei = Measured::combine(&[&e, &b, &t], |x| x[0] * x[1] * x[2].powi(3) / 12.0);
        assert!((ei.value / 1.4976293 - 1.0).abs() < 1e-5, "{}", ei.value);
        assert!((ei.relative_u() - 0.0032436).abs() < 3e-6, "{}", ei.relative_u());
    }

    #[test]
    fn a_difference_of_equals_is_certain() {
        let t = Measured::new(2.0, 0.1, "thickness");
        assert!(Measured::combine(&[&t, &t], |x| x[0] - x[1]).u() < 1e-12);
        let (a, b) = (Measured::new(2.0, 0.1, "a"), Measured::new(2.0, 0.1, "b"));
        assert!((Measured::combine(&[&a, &b], |x| x[0] - x[1]).u() - 0.1 * 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn parts_of_one_source_add_up() {
        let twice = Measured::with_parts(1.0, [("a".into(), 0.3), ("b".into(), 0.4), ("a".into(), -0.6)]);
        assert!((twice.u() - 0.5).abs() < 1e-12, "{twice:?}");
    }

    /// 5 readings 182.31 182.36 182.28 182.40 182.33: mean 182.336, 95 % +-0.0573052 (project reference: s/sqrt 5 times
    /// Student's t 2.77645).
    #[test]
    fn few_readings_have_a_wide_mean() {
        let mean = mean_of_readings(&[182.31, 182.36, 182.28, 182.40, 182.33], 0.0, "frequency");
        assert!((mean.value - 182.336).abs() < 1e-9);
        assert!((mean.u() * crate::modes::COVERAGE_95 - 0.0573052).abs() < 1e-6);
    }
}
