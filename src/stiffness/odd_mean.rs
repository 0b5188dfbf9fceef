//! Figures of a blank over all angles of its grain and all bows, each weighed by how well it fits and by what is known beforehand.

use nalgebra::{DMatrix, DVector};

use super::numbering::{Numbering, after};
use super::odd_node::{CURVED, Node, Solved, UNKNOWNS};
use super::odd_prior::OddPrior;
use super::plate::{Constants, Size};
use super::turned::along_length;
use super::wood::POISSON;

/// Steps over which all angles are added up (degrees).
const STEP_DEG: f64 = 0.25;
/// E of the blank along its length, E along, across, G.
pub(super) const FIGURES: usize = 4;

/// Which solved angles an angle between them is made of, and their shares.
type Shares = Vec<(usize, f64)>;
type OfAngle<'a> = dyn Fn(f64, &[(usize, f64)]) -> DVector<f64> + 'a;

/// What angle and bow make of the moduli.
#[derive(Debug, Clone)]
pub(super) struct OddFit {
    /// E of the blank along its length, E along the grain, across, G (Pa).
    pub values: [f64; FIGURES],
    /// Relative: covariance of the fit itself; what the guess at Poisson's ratio, angle and bow leave open (signed standard deviations).
    pub covariance: DMatrix<f64>,
    pub of_poisson: [f64; FIGURES],
    pub of_grain: [f64; FIGURES],
    pub of_bow: [f64; FIGURES],
    /// Mean and standard deviation: angle (degrees), and rise of the bow over the length (m).
    pub grain_deg: (f64, f64),
    pub bow_m: (f64, f64),
    /// Whether a bow that nobody read matters and the tones hardly show it: of the crosswise modes only those that it raises alike.
    pub bow_open: bool,
    /// Relative deviation of the modes from this plate, and degrees of freedom.
    pub deviation: f64,
    pub dof: f64,
}

pub(super) fn off(node: &Node, deg: f64) -> f64 {
    (node.grain_rad.to_degrees() - deg).abs()
}

/// Angles (degrees) with the logarithm of how likely each is, of the most likely bow.
pub(super) fn fine(nodes: &[Node], solved: &[Solved], prior: &OddPrior, dof: f64) -> Vec<(f64, f64)> {
    let least = solved.iter().map(|s| s.misfit).fold(f64::INFINITY, f64::min);
    let last = nodes.last().map_or(0.0, |n| n.grain_rad.to_degrees());
    let first = nodes.first().map_or(0.0, |n| n.grain_rad.to_degrees());
    let steps = ((last - first) / STEP_DEG) as usize;
    (0..=steps)
        .map(|i| {
            let deg = first + STEP_DEG * i as f64;
            let over =
                between(nodes, deg).into_iter().map(|(n, share)| share * (solved[n].misfit - least)).sum::<f64>();
            (deg, likelihood(over.max(0.0), dof) + prior.of_grain(deg))
        })
        .collect()
}

/// Student's likelihood of a misfit so much above the least.
fn likelihood(over: f64, dof: f64) -> f64 {
    -0.5 * (dof + 1.0) * (over / dof).ln_1p()
}

/// Shares of the three nodes about an angle (a parabola in the square of the angle, in which all is even).
fn between(nodes: &[Node], deg: f64) -> Vec<(usize, f64)> {
    let t = deg.to_radians().powi(2);
    let at: Vec<f64> = nodes.iter().map(|n| n.grain_rad.powi(2)).collect();
    let mut near: Vec<usize> = (0..nodes.len()).collect();
    near.sort_by(|a, b| off(&nodes[*a], deg).total_cmp(&off(&nodes[*b], deg)));
    near.truncate(3);
    near.iter()
        .map(|i| (*i, near.iter().filter(|j| *j != i).map(|j| (t - at[*j]) / (at[*i] - at[*j])).product()))
        .collect()
}

/// At one angle: the logarithms of the figures, what each moves by with each unknown.
fn figures_of(node: &Node, solved: &Solved) -> ([f64; FIGURES], DMatrix<f64>) {
    let of = |c: &Constants| [along_length(c, node.grain_rad), c.along_pa, c.across_pa, c.shear_pa].map(f64::ln);
    let at = after(&node.constants, &solved.step, 0.3);
    let now = of(&at);
    let mut slopes = DMatrix::zeros(FIGURES, UNKNOWNS);
    for p in 0..4 {
        let mut step = DVector::zeros(UNKNOWNS);
        step[p] = 1e-4;
        for (i, moved) in of(&after(&at, &step, 1.0)).into_iter().enumerate() {
            slopes[(i, p)] = (moved - now[i]) / 1e-4;
        }
    }
    (now, slopes)
}

/// One angle, with what is known of the bow: weight, means of the figures, of the bow and its square, covariance left, and what bow and
/// Poisson's ratio leave.
struct AtAngle {
    evidence: f64,
    means: DVector<f64>,
    bow: (f64, f64),
    covariance: DMatrix<f64>,
    of_bow: DVector<f64>,
    of_poisson: DVector<f64>,
}

fn at_angle(size: &Size, node: &Node, solved: &Solved, prior: &OddPrior, dof: f64) -> AtAngle {
    let (now, slopes) = figures_of(node, solved);
    let all = &slopes * &solved.covariance * slopes.transpose();
    let with_curve = &slopes * solved.covariance.column(4);
    let of_poisson = &slopes * solved.covariance.column(3) / POISSON.1;
    let variance = solved.covariance[(4, 4)];
    let most_likely = node.curvature_squared / CURVED / CURVED + solved.step[4];
    let (mut total, mut first, mut second, mut bow, mut bow2) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (rise_m, log_prior) in prior.bows() {
        let curve = (8.0 * rise_m / (size.length_m * size.length_m) / CURVED).powi(2);
        let weight = (likelihood((curve - most_likely).powi(2) / variance, dof) + log_prior).exp();
        total += weight;
        first += weight * curve;
        second += weight * curve * curve;
        bow += weight * rise_m;
        bow2 += weight * rise_m * rise_m;
    }
    let total = total.max(1e-300);
    let (mean, bow) = (first / total, bow / total);
    let spread = (second / total - mean * mean).max(0.0).sqrt();
    let per_curve = &with_curve / variance;
    AtAngle {
        evidence: total.ln(),
        means: DVector::from_column_slice(&now) + &per_curve * (mean - most_likely),
        bow: (bow, (bow2 / total).max(bow * bow)),
        covariance: all - &per_curve * per_curve.transpose() * variance,
        of_bow: per_curve * spread,
        of_poisson,
    }
}

/// All angles together.
pub(super) fn joined(
    size: &Size,
    nodes: &[Node],
    solved: &[Solved],
    prior: &OddPrior,
    deviation: f64,
    best: &Numbering,
) -> Option<OddFit> {
    let dof = best.freedom;
    let at: Vec<AtAngle> = nodes.iter().zip(solved).map(|(n, s)| at_angle(size, n, s, prior, dof)).collect();
    let mut all: Vec<(f64, f64, Shares)> = fine(nodes, solved, prior, dof)
        .into_iter()
        .map(|(deg, log)| {
            let shares = between(nodes, deg);
            let evidence: f64 = shares.iter().map(|(n, s)| s * at[*n].evidence).sum();
            (deg, log + evidence, shares)
        })
        .collect();
    let top = all.iter().map(|a| a.1).fold(f64::NEG_INFINITY, f64::max);
    all.iter_mut().for_each(|a| a.1 = (a.1 - top).exp());
    let total: f64 = all.iter().map(|a| a.1).sum();
    let mean_of = |of: &OfAngle| {
        all.iter().fold(None::<DVector<f64>>, |sum, (deg, weight, shares)| {
            let part = of(*deg, shares) * (*weight / total);
            Some(sum.map_or_else(|| part.clone(), |s| s + &part))
        })
    };
    let mix = |shares: &[(usize, f64)], of: &dyn Fn(&AtAngle) -> DVector<f64>| {
        shares.iter().fold(DVector::zeros(FIGURES), |sum, (n, s)| sum + of(&at[*n]) * *s)
    };
    let means = mean_of(&|_, shares| mix(shares, &|a| a.means.clone()))?;
    let squares = mean_of(&|_, shares| (mix(shares, &|a| a.means.clone()) - &means).map(|d| d * d))?;
    let grain = mean_of(&|deg, _| DVector::from_column_slice(&[deg, deg * deg]))?;
    let with_grain = mean_of(&|deg, shares| (mix(shares, &|a| a.means.clone()) - &means) * (deg - grain[0]))?;
    let of_bow = mean_of(&|_, shares| mix(shares, &|a| a.of_bow.clone()))?;
    let of_poisson = mean_of(&|_, shares| mix(shares, &|a| a.of_poisson.clone()))?;
    let bow = mean_of(&|_, shares| {
        let one = |of: &dyn Fn(&AtAngle) -> f64| shares.iter().map(|(n, s)| s * of(&at[*n])).sum::<f64>();
        DVector::from_column_slice(&[one(&|a| a.bow.0), one(&|a| a.bow.1)])
    })?;
    // The fit's own, as it is at the most likely angle.
    let likely = all.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let nearest = (0..nodes.len()).min_by(|a, b| off(&nodes[*a], likely).total_cmp(&off(&nodes[*b], likely)))?;
    let covariance = &at[nearest].covariance - &of_poisson * of_poisson.transpose();
    let array = |v: &DVector<f64>| std::array::from_fn(|i| v[i]);
    let sd = |mean: f64, square: f64| (square - mean * mean).max(0.0).sqrt();
    Some(OddFit {
        values: array(&means.map(f64::exp)),
        covariance,
        of_poisson: array(&of_poisson),
        of_grain: std::array::from_fn(|i| squares[i].sqrt().copysign(with_grain[i])),
        of_bow: array(&of_bow),
        grain_deg: (grain[0], sd(grain[0], grain[1])),
        bow_m: (bow[0], sd(bow[0], bow[1])),
        bow_open: false,
        deviation,
        dof: (best.freedom - 1.0).max(1.0),
    })
}
