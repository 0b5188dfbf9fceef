//! A figure: its value, and how each source of doubt moves it.

use std::collections::BTreeMap;

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::coverage::{COVERAGE_95, student_factor};
use super::source::{Scope, Source};

/// A value with its uncertainty, kept as one contribution for each independent source, so that figures that share a
/// reading (the same thickness enters everywhere) are propagated as correlated.
///
/// First-order propagation as in the GUM (JCGM 100:2008, 5.1 and 5.2); degrees of freedom after Welch and Satterthwaite
/// (the same, G.4.1).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// In SI units.
    pub value: f64,
    #[serde(with = "as_list")]
    contributions: BTreeMap<Source, Contribution>,
}

/// What one source does to a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Change of the value (with its sign) for one standard uncertainty of the source.
    pub size: f64,
    /// Degrees of freedom with which that standard uncertainty is known; infinite if it is known well.
    pub dof: f64,
}

impl Contribution {
    /// What would be half of a 95 % interval if there were no other contribution, divided by 1.96.
    pub fn size_95(&self) -> f64 {
        self.size * student_factor(self.dof)
    }
}

/// A line of a figure's budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    pub source: Source,
    /// Standard uncertainty from this source alone, in the figure's unit.
    pub u: f64,
    /// Its part of the variance (0 to 1).
    pub share: f64,
    pub dof: f64,
}

impl Figure {
    /// A number that is known exactly.
    pub fn exact(value: f64) -> Self {
        Self { value, contributions: BTreeMap::new() }
    }

    /// A reading with a standard uncertainty that is known well.
    pub fn new(value: f64, standard_uncertainty: f64, source: impl Into<Source>) -> Self {
        Self::with_dof(value, standard_uncertainty, source, f64::INFINITY)
    }

    /// A reading with a standard uncertainty that is known with some degrees of freedom.
    pub fn with_dof(value: f64, standard_uncertainty: f64, source: impl Into<Source>, dof: f64) -> Self {
        let own = Contribution { size: standard_uncertainty, dof };
        Self { value, contributions: BTreeMap::from([(source.into(), own)]) }
    }

    /// A value with a contribution (known well) from each source; several of one source add up with their signs.
    pub fn with_parts(value: f64, parts: impl IntoIterator<Item = (Source, f64)>) -> Self {
        let known = parts.into_iter().map(|(source, size)| (source, Contribution { size, dof: f64::INFINITY }));
        Self::with_contributions(value, known)
    }

    /// A value with its contributions; several of one source add up with their signs.
    pub fn with_contributions(value: f64, parts: impl IntoIterator<Item = (Source, Contribution)>) -> Self {
        let mut figure = Self::exact(value);
        parts.into_iter().for_each(|(source, part)| figure.add(source, part));
        figure
    }

    /// Values that were found together, with their covariance (in the values' units squared), known with some degrees of freedom.
    ///
    /// A positive semidefinite covariance is the sum over its eigenvectors v of l v v': each is a direction of its own, so the
    /// figures carry exactly this covariance from then on.
    pub fn correlated(values: &[f64], covariance: &DMatrix<f64>, source: impl Into<Source>, dof: f64) -> Vec<Self> {
        let source = source.into();
        let eigen = covariance.clone().symmetric_eigen();
        let size = |row: usize, axis: usize| eigen.eigenvectors[(row, axis)] * eigen.eigenvalues[axis].max(0.0).sqrt();
        let along = |row: usize| {
            let source = &source;
            (0..values.len()).map(move |axis| (Source { axis: axis as u8, ..source.clone() }, axis, row))
        };
        values
            .iter()
            .enumerate()
            .map(|(row, value)| {
                let parts = along(row).map(|(source, axis, row)| (source, Contribution { size: size(row, axis), dof }));
                Self::with_contributions(*value, parts)
            })
            .collect()
    }

    fn add(&mut self, source: Source, part: Contribution) {
        let own = self.contributions.entry(source).or_insert(Contribution { size: 0.0, dof: f64::INFINITY });
        own.size += part.size;
        own.dof = own.dof.min(part.dof);
    }

    /// The same where every source for which `which` holds belongs to a scope: read anew elsewhere, it is another unknown.
    pub fn scoped(&self, scope: &Scope, which: impl Fn(&Source) -> bool) -> Self {
        let within = |s: &Source| if which(s) { s.within(scope.clone()) } else { s.clone() };
        Self::with_contributions(self.value, self.contributions.iter().map(|(s, c)| (within(s), *c)))
    }

    /// The same with other sources.
    pub fn renamed(&self, name: impl Fn(&Source) -> Source) -> Self {
        Self::with_contributions(self.value, self.contributions.iter().map(|(s, c)| (name(s), *c)))
    }

    /// The same with all its doubt from one source.
    pub fn of_source(&self, source: impl Into<Source>) -> Self {
        Self::with_dof(self.value, self.u(), source, self.dof())
    }

    /// Standard uncertainty.
    pub fn u(&self) -> f64 {
        self.contributions.values().fold(0.0, |sum, c| sum + c.size * c.size).sqrt()
    }

    /// Standard uncertainty relative to the value (no unit).
    pub fn relative_u(&self) -> f64 {
        self.u() / self.value.abs()
    }

    /// Effective degrees of freedom (Welch and Satterthwaite); infinite where every contribution is known well.
    pub fn dof(&self) -> f64 {
        let fourth: f64 = self.shares().iter().filter(|s| s.dof.is_finite()).map(|s| s.u.powi(4) / s.dof).sum();
        if fourth > 0.0 { self.u().powi(4) / fourth } else { f64::INFINITY }
    }

    /// Half of the 95 % interval (Student's t with the effective degrees of freedom).
    pub fn half_95(&self) -> f64 {
        COVERAGE_95 * self.u_95()
    }

    /// Half of the 95 % interval divided by 1.96: Student's t is in it.
    pub fn u_95(&self) -> f64 {
        self.u() * student_factor(self.dof())
    }

    /// The same relative to the value (no unit).
    pub fn relative_u_95(&self) -> f64 {
        self.u_95() / self.value.abs()
    }

    /// Bounds of the 95 % interval.
    pub fn interval_95(&self) -> [f64; 2] {
        let half = self.half_95();
        [self.value - half, self.value + half]
    }

    /// Bounds of the 95 % interval of a positive figure, taken in its logarithm: x and 1/x are treated alike.
    pub fn interval_95_of_ratio(&self) -> [f64; 2] {
        let half = COVERAGE_95 * self.relative_u_95();
        [self.value * (-half).exp(), self.value * half.exp()]
    }

    /// What each source contributes: change of the value for one standard uncertainty of it.
    pub fn parts(&self) -> impl Iterator<Item = (&Source, f64)> {
        self.contributions.iter().map(|(s, c)| (s, c.size))
    }

    /// What each source contributes, with its degrees of freedom.
    pub fn contributions(&self) -> impl Iterator<Item = (&Source, Contribution)> {
        self.contributions.iter().map(|(s, c)| (s, *c))
    }

    /// Standard uncertainty, share and degrees of freedom by source, directions of one source together; in the sources' order.
    fn shares(&self) -> Vec<Share> {
        let mut all: BTreeMap<Source, Share> = BTreeMap::new();
        for (source, part) in &self.contributions {
            let whole = source.whole();
            let share = all.entry(whole.clone()).or_insert(Share { source: whole, u: 0.0, share: 0.0, dof: part.dof });
            share.u = share.u.hypot(part.size);
            share.dof = share.dof.min(part.dof);
        }
        let variance = self.u().powi(2);
        all.into_values()
            .map(|s| Share { share: if variance > 0.0 { s.u * s.u / variance } else { 0.0 }, ..s })
            .collect()
    }

    /// The budget: what each source contributes, the largest first; what contributes nothing is left out.
    pub fn budget(&self) -> Vec<Share> {
        let mut all = self.shares();
        all.retain(|s| s.u > 0.0);
        all.sort_by(|a, b| b.u.total_cmp(&a.u));
        all
    }

    /// The source that moves the value most, and its share of the variance.
    pub fn largest_source(&self) -> Option<(Source, f64)> {
        self.budget().into_iter().next().map(|s| (s.source, s.share))
    }

    /// Covariance with another figure: through the sources that they share.
    pub fn covariance(&self, other: &Self) -> f64 {
        let shared = |(source, part): (&Source, &Contribution)| {
            other.contributions.get(source).map(|theirs| part.size * theirs.size)
        };
        self.contributions.iter().filter_map(shared).sum()
    }

    /// Correlation with another figure (-1 to 1); 0 if one of them is exact.
    pub fn correlation(&self, other: &Self) -> f64 {
        let both = self.u() * other.u();
        if both > 0.0 { self.covariance(other) / both } else { 0.0 }
    }

    /// A function of several figures; derivatives by central differences over a tenth of each one's uncertainty.
    pub fn combine(inputs: &[&Self], function: impl Fn(&[f64]) -> f64) -> Self {
        let mut at: Vec<f64> = inputs.iter().map(|i| i.value).collect();
        let mut result = Self::exact(function(&at));
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
            for (source, part) in &input.contributions {
                result.add(source.clone(), Contribution { size: slope * part.size, dof: part.dof });
            }
        }
        result
    }

    /// A function of one figure.
    pub fn map(&self, function: impl Fn(f64) -> f64) -> Self {
        Self::combine(&[self], |x| function(x[0]))
    }

    /// The figure times a number that is known exactly.
    pub fn times(&self, factor: f64) -> Self {
        let parts = self.contributions.iter();
        let scaled = parts.map(|(s, c)| (s.clone(), Contribution { size: factor * c.size, ..*c }));
        Self::with_contributions(factor * self.value, scaled)
    }

    /// A factor that is known exactly times a power of the figure; the derivative is exact.
    pub fn to_power(&self, power: f64, factor: f64) -> Self {
        let value = factor * self.value.powf(power);
        let slope = power * value / self.value;
        let parts = self.contributions.iter();
        Self::with_contributions(value, parts.map(|(s, c)| (s.clone(), Contribution { size: slope * c.size, ..*c })))
    }

    /// This figure over another.
    pub fn over(&self, other: &Self) -> Self {
        Self::combine(&[self, other], |x| x[0] / x[1])
    }

    /// The natural logarithm (of a positive figure).
    pub fn ln(&self) -> Self {
        self.map(|x| x.max(f64::MIN_POSITIVE).ln())
    }

    /// The same with one more contribution of a source, independent of what it has from that source already.
    pub fn plus_uncertainty(self, u: f64, source: impl Into<Source>) -> Self {
        self.plus_uncertainty_with_dof(u, source, f64::INFINITY)
    }

    /// The same, known with some degrees of freedom.
    pub fn plus_uncertainty_with_dof(mut self, u: f64, source: impl Into<Source>, dof: f64) -> Self {
        let part = self.contributions.entry(source.into()).or_insert(Contribution { size: 0.0, dof: f64::INFINITY });
        part.size = part.size.hypot(u);
        part.dof = part.dof.min(dof);
        self
    }
}

/// Contributions as a list of lines: a map's keys could only be texts, and JSON has no infinity.
mod as_list {
    use super::{BTreeMap, Contribution, Deserialize, Serialize, Source};
    use serde::{Deserializer, Serializer};

    #[derive(Serialize, Deserialize)]
    struct Line {
        source: Source,
        size: f64,
        /// Absent: infinitely many.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        dof: Option<f64>,
    }

    pub(super) fn serialize<S: Serializer>(
        contributions: &BTreeMap<Source, Contribution>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        to.collect_seq(contributions.iter().map(|(source, c)| Line {
            source: source.clone(),
            size: c.size,
            dof: c.dof.is_finite().then_some(c.dof),
        }))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<BTreeMap<Source, Contribution>, D::Error> {
        let lines = Vec::<Line>::deserialize(from)?;
        let read = |l: Line| (l.source, Contribution { size: l.size, dof: l.dof.unwrap_or(f64::INFINITY) });
        Ok(lines.into_iter().map(read).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::Cause;
    use super::*;

    /// E of a bar from f 15.60(2) Hz, L 0.8000(5), m 0.1524(1), b 0.1200(2), t 2.25(2) mm: 13.147912 GPa, relative
    /// uncertainty 0.0269149 (0.02693 by Monte Carlo), thickness alone 98.2 % of the variance; EI = w^2 m L^3/500.5639 is
    /// 1.4976293 N m2, relative 0.0032436. Project reference, computed apart from this code.
    #[test]
    fn a_bars_modulus_carries_its_readings() {
        let f = Figure::new(15.60, 0.02, Cause::Frequency);
        let l = Figure::new(0.8, 0.0005, Cause::Length);
        let m = Figure::new(0.1524, 0.0001, Cause::Mass);
        let b = Figure::new(0.12, 0.0002, Cause::Width);
        let t = Figure::new(2.25e-3, 0.02e-3, Cause::Thickness);
        let e =
            Figure::combine(&[&f, &l, &m, &b, &t], |x| 0.9464147 * x[2] * x[0] * x[0] / x[3] * (x[1] / x[4]).powi(3));
        assert!((e.value / 13.147912e9 - 1.0).abs() < 1e-6, "{}", e.value);
        assert!((e.relative_u() - 0.0269149).abs() < 2e-6, "{}", e.relative_u());
        let (source, share) = e.largest_source().expect("it has sources");
        assert_eq!(source.cause, Cause::Thickness);
        assert!((share - 0.982).abs() < 1e-3);
        // The same readings again, by way of E: what is common cancels.
        let ei = Figure::combine(&[&e, &b, &t], |x| x[0] * x[1] * x[2].powi(3) / 12.0);
        assert!((ei.value / 1.4976293 - 1.0).abs() < 1e-5, "{}", ei.value);
        assert!((ei.relative_u() - 0.0032436).abs() < 3e-6, "{}", ei.relative_u());
    }

    /// The sum of nothing is -0 in Rust, and so it would be printed.
    #[test]
    fn an_exact_figures_uncertainty_is_a_plain_zero() {
        assert_eq!(Figure::exact(1.0).u_95().to_string(), "0");
    }

    #[test]
    fn a_difference_of_equals_is_certain() {
        let t = Figure::new(2.0, 0.1, Cause::Thickness);
        assert!(Figure::combine(&[&t, &t], |x| x[0] - x[1]).u() < 1e-12);
        let (a, b) = (Figure::new(2.0, 0.1, "a"), Figure::new(2.0, 0.1, "b"));
        assert!((Figure::combine(&[&a, &b], |x| x[0] - x[1]).u() - 0.1 * 2f64.sqrt()).abs() < 1e-12);
        // In another stage it is another thickness.
        let plain = t.scoped(&Scope::Stage("plain".into()), |_| true);
        assert!((Figure::combine(&[&t, &plain], |x| x[0] - x[1]).u() - 0.1 * 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn parts_of_one_source_add_up() {
        let twice = Figure::with_parts(1.0, [("a".into(), 0.3), ("b".into(), 0.4), ("a".into(), -0.6)]);
        assert!((twice.u() - 0.5).abs() < 1e-12, "{twice:?}");
    }

    /// GUM (JCGM 100:2008), example H.2: resistance, reactance and impedance from voltage, current and phase that were read
    /// together. Inputs (Table H.2) V 4.9990(32) V, I 19.6610(95) mA, phi 1.04446(75) rad, r -0.36, 0.86, -0.65; results (Table
    /// H.3) R 127.732(71), X 219.847(295), Z 254.260(236) ohm, r(R, X) -0.588, r(R, Z) -0.485, r(X, Z) 0.993. The printed inputs are
    /// rounded, which moves the results' last digit. From memory of the document; the arithmetic of H.2 is repeated here.
    #[test]
    fn readings_made_together_stay_correlated() {
        let u = [0.0032, 0.0095e-3, 0.00075];
        let r = [[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]];
        let covariance = DMatrix::from_fn(3, 3, |i, j| r[i][j] * u[i] * u[j]);
        let read = Figure::correlated(&[4.9990, 19.6610e-3, 1.04446], &covariance, "bridge", 4.0);
        for (i, figure) in read.iter().enumerate() {
            assert!((figure.u() / u[i] - 1.0).abs() < 1e-9 && (figure.dof() - 4.0).abs() < 1e-9, "{figure:?}");
            assert!((figure.correlation(&read[(i + 1) % 3]) - r[i][(i + 1) % 3]).abs() < 1e-9);
            assert_eq!(figure.budget().len(), 1, "three directions of one source are one line");
        }
        let of = |f: fn(&[f64]) -> f64| Figure::combine(&read.iter().collect::<Vec<_>>(), f);
        let (resistance, reactance, impedance) =
            (of(|x| x[0] / x[1] * x[2].cos()), of(|x| x[0] / x[1] * x[2].sin()), of(|x| x[0] / x[1]));
        for (got, value, u) in
            [(&resistance, 127.732, 0.071), (&reactance, 219.847, 0.295), (&impedance, 254.260, 0.236)]
        {
            assert!((got.value - value).abs() < 1e-3 * 2.0, "{} {value}", got.value);
            assert!((got.u() / u - 1.0).abs() < 0.03, "{} {u}", got.u());
        }
        assert!((resistance.correlation(&reactance) + 0.588).abs() < 0.03, "{}", resistance.correlation(&reactance));
        assert!((resistance.correlation(&impedance) + 0.485).abs() < 0.03);
        assert!((reactance.correlation(&impedance) - 0.993).abs() < 0.002);
    }

    /// GUM, example H.1 (an end gauge): 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom make 31.7 nm with 16.7
    /// (printed 32 nm and 16; components from the document, degrees of freedom from memory). Student's t, 97.5 %, 16.7: 2.113.
    #[test]
    fn degrees_of_freedom_of_an_end_gauge() {
        let parts = [("a", 25.0, 18.0), ("b", 9.7, 25.6), ("c", 2.9, 50.0), ("d", 16.6, 2.0)];
        let gauge = Figure::with_contributions(
            50_000_838.0,
            parts.map(|(name, size, dof)| (Source::from(name), Contribution { size, dof })),
        );
        assert!((gauge.u() - 31.67).abs() < 0.01, "{}", gauge.u());
        assert!((gauge.dof() - 16.7).abs() < 0.1, "{}", gauge.dof());
        assert!((gauge.half_95() / gauge.u() - 2.113).abs() < 2e-3, "{}", gauge.half_95() / gauge.u());
        let budget = gauge.budget();
        assert_eq!(budget[0].source.to_string(), "a");
        assert!((budget.iter().map(|s| s.share).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_figure_survives_being_written_down() {
        let covariance = DMatrix::from_row_slice(2, 2, &[4.0, 1.0, 1.0, 9.0]);
        let [a, b] = &Figure::correlated(&[1.0, 2.0], &covariance, Cause::PlateFit, 7.0)[..] else { panic!("two") };
        let a = a.clone().plus_uncertainty(0.5, Source::from(Cause::Mass).within(Scope::Stage("plain".into())));
        let text = serde_json::to_string(&[&a, b]).expect("it can be written");
        let read: Vec<Figure> = serde_json::from_str(&text).expect("it can be read");
        assert!((read[0].covariance(&read[1]) - 1.0).abs() < 1e-12);
        assert_eq!(read, [a, b.clone()]);
    }
}
