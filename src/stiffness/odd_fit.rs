//! What a blank's tones make of its wood when its grain may be at an angle and it may be bowed.
//!
//! The modes are numbered as a flat blank's with straight grain. Then, for some angles, moduli, Poisson's ratio and bow are fitted together
//! (least squares, the plate solved at that angle); how well each angle fits, and what is known beforehand, weigh them. Figures are means
//! over angle and bow, and their doubt holds what both leave open.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::alignment::align;
use super::blank_modes::{BlankModes, terms};
use super::numbering::{DEVIATION, DEVIATION_LIMITS, Numbering, SHEAR_SCATTER, after};
use super::odd_plate::{OddMode, OddPlate};
use super::odd_prior::OddPrior;
use super::plate::{Constants, Size};
use super::tone::Tone;
use super::turned::{along_length, bending, same_compliance};
use super::wood::{ACROSS, POISSON, SHEAR};

/// Angles (degrees) at which the plate is solved, to begin with; then where it fits best.
const ANGLES_DEG: [f64; 5] = [0.0, 3.0, 6.0, 9.0, 12.0];
const STEP_DEG: f64 = 0.25;
/// Solutions at each angle; and what a tone without a mode costs (in squares of deviations).
const ROUNDS: usize = 2;
const UNMATCHED: f64 = 16.0;
/// ln E_L, ln E_C, ln G, Poisson's ratio, and the square of the curvature over that of [`CURVED`].
const UNKNOWNS: usize = 5;
/// E of the blank along its length, E along, across, G.
pub(super) const FIGURES: usize = 4;
/// A curvature (1/m) of some 20 mm over 760 mm.
const CURVED: f64 = 8.0 * 0.02 / (0.76 * 0.76);

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

/// The fit at one angle, straight about the constants where the plate was solved.
struct Node {
    grain_rad: f64,
    constants: Constants,
    curvature_squared: f64,
    /// A row for each tone with a mode: derivatives of ln f, what is missing, relative u and the scatter of the shear term.
    rows: Vec<([f64; UNKNOWNS], f64, f64)>,
    /// Relative change of the first crosswise mode's omega^2 by the square of the curvature.
    by_curvature_squared: f64,
    /// Whether a mode with three nodal lines along the length is heard, which a bow raises less than the first ones.
    second_crosswise: bool,
    unmatched: usize,
}

/// What a node's equations give with some deviation of the wood from the plate.
struct Solved {
    step: DVector<f64>,
    covariance: DMatrix<f64>,
    misfit: f64,
    /// Root mean square of the tones' misfit over what was expected.
    ratio: f64,
}

/// Angle and bow in what one blank's tones tell; `None` where the fit fails.
pub(super) fn odd_fit(size: &Size, tones: &[Tone], best: &Numbering, prior: &OddPrior) -> Option<OddFit> {
    let highest = 1.03 * tones.last()?.frequency_hz;
    let blank = BlankModes::new(size, &best.constants, 1.15 * highest);
    let thickness: Vec<((usize, usize), f64, f64)> = blank
        .modes
        .iter()
        .map(|m| {
            let (rotary, shear) = m.thickness_terms(&best.constants, &blank.stiffnesses, size.thickness_m);
            ((m.across_length, m.across_width), rotary + shear, shear)
        })
        .collect();
    let plate = OddPlate::new(size, &best.constants, terms(size, &best.constants, 1.1 * highest), highest, true)?;
    let problem = Problem { size, tones, plate: &plate, thickness: &thickness, highest };
    let mut nodes: Vec<Node> = Vec::new();
    for angle in ANGLES_DEG.into_iter().filter(|a| prior.may_be(*a)) {
        let from =
            nodes.last().map_or((0.0, best.constants, 0.0), |n: &Node| (n.grain_rad, n.constants, n.curvature_squared));
        let Some(node) = problem.node(from, angle.to_radians()) else { break };
        nodes.push(node);
    }
    for _ in 0..2 {
        let (_, solved) = solve_all(&nodes)?;
        let best_deg = fine(&nodes, &solved, prior, best.freedom).into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
        let near = nodes.iter().min_by(|a, b| off(a, best_deg).total_cmp(&off(b, best_deg)))?;
        if off(near, best_deg) < 0.4 {
            break;
        }
        let node = problem.node((near.grain_rad, near.constants, near.curvature_squared), best_deg.to_radians())?;
        nodes.push(node);
        nodes.sort_by(|a, b| a.grain_rad.total_cmp(&b.grain_rad));
    }
    let (deviation, solved) = solve_all(&nodes)?;
    let found = nodes.iter().zip(&solved).min_by(|a, b| a.1.misfit.total_cmp(&b.1.misfit))?.0;
    let unseen = (8.0 * UNSEEN_M * prior.unit_m / size.length_m.powi(2)).powi(2);
    let bow_open = prior.bow_unread() && !found.second_crosswise && found.by_curvature_squared * unseen > MATTERS;
    Some(OddFit { bow_open, ..joined(size, &nodes, &solved, prior, deviation, best)? })
}

fn off(node: &Node, deg: f64) -> f64 {
    (node.grain_rad.to_degrees() - deg).abs()
}

/// All nodes with the deviation of the best of them.
fn solve_all(nodes: &[Node]) -> Option<(f64, Vec<Solved>)> {
    let mut least: Option<(f64, f64)> = None;
    for node in nodes {
        let mut deviation = DEVIATION;
        for _ in 0..4 {
            deviation = (deviation * node.solve(deviation)?.ratio).clamp(DEVIATION_LIMITS.0, DEVIATION_LIMITS.1);
        }
        let rank = deviation * (1.0 + node.unmatched as f64);
        if least.is_none_or(|l| rank < l.0) {
            least = Some((rank, deviation));
        }
    }
    let deviation = least?.1;
    Some((deviation, nodes.iter().map(|n| n.solve(deviation)).collect::<Option<_>>()?))
}

/// Angles (degrees) with the logarithm of how likely each is, of the most likely bow.
fn fine(nodes: &[Node], solved: &[Solved], prior: &OddPrior, dof: f64) -> Vec<(f64, f64)> {
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

struct Problem<'a> {
    size: &'a Size,
    tones: &'a [Tone],
    plate: &'a OddPlate,
    /// Of each product of bars: what thickness takes, and shear's part of it.
    thickness: &'a [((usize, usize), f64, f64)],
    highest: f64,
}

impl Problem<'_> {
    fn node(&self, (from_rad, from, curvature_squared): (f64, Constants, f64), grain_rad: f64) -> Option<Node> {
        let mut constants = same_compliance(&from, from_rad, grain_rad)?;
        let mut curvature_squared = curvature_squared;
        let mut node = self.straight(constants, grain_rad, curvature_squared)?;
        for _ in 1..ROUNDS {
            let solved = node.solve(DEVIATION)?;
            constants = after(&constants, &solved.step, 0.08);
            let most = 4.0 * CURVED * CURVED;
            curvature_squared = (curvature_squared + solved.step[4] * CURVED * CURVED).clamp(0.0, most);
            node = self.straight(constants, grain_rad, curvature_squared)?;
        }
        Some(node)
    }

    /// The plate of some constants beside the tones.
    fn straight(&self, constants: Constants, grain_rad: f64, curvature_squared: f64) -> Option<Node> {
        let modes = self.plate.modes(&constants, grain_rad, curvature_squared, self.highest)?;
        let taken = |mode: &OddMode| {
            let (mut weight, mut all, mut shear) = (0.0, 0.0, 0.0);
            for (number, share) in &mode.shares {
                if let Some((_, of_all, of_shear)) = self.thickness.iter().find(|t| t.0 == *number) {
                    weight += share;
                    all += share * of_all;
                    shear += share * of_shear;
                }
            }
            if weight > 0.0 { (all / weight, shear / weight) } else { (0.0, 0.0) }
        };
        let takes: Vec<(f64, f64)> = modes.iter().map(taken).collect();
        let mut order: Vec<(f64, usize)> = modes
            .iter()
            .zip(&takes)
            .enumerate()
            .map(|(k, (m, t))| (0.5 * (m.omega_squared / (1.0 + t.0)).ln() - TAU.ln(), k))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let lowest = (0.97 * self.tones[0].frequency_hz).ln();
        order.retain(|(log, _)| *log > lowest);
        if order.is_empty() {
            return None;
        }
        let measured: Vec<f64> = self.tones.iter().map(|t| t.frequency_hz.ln()).collect();
        let spread: Vec<f64> = self.tones.iter().map(|t| t.relative_u().hypot(DEVIATION)).collect();
        let expected: Vec<f64> = order.iter().map(|o| o.0).collect();
        let matches = align(&measured, &spread, &expected).matches;
        let derivatives = derivatives(&constants, grain_rad, self.size.thickness_m)?;
        let mut rows = Vec::new();
        for (i, at) in matches.iter().enumerate() {
            let Some(at) = at else { continue };
            let (log, k) = order[*at];
            let mode = &modes[k];
            let by =
                |d: &[f64; 6]| d.iter().zip(mode.slopes).map(|(d, s)| d * s).sum::<f64>() * 0.5 / mode.omega_squared;
            let mut row = [0.0; UNKNOWNS];
            for (slot, d) in row.iter_mut().zip(&derivatives) {
                *slot = by(d);
            }
            row[4] = 0.5 * mode.by_curvature_squared / mode.omega_squared * CURVED * CURVED;
            rows.push((row, measured[i] - log, self.tones[i].relative_u().hypot(0.5 * SHEAR_SCATTER * takes[k].1)));
        }
        let unmatched = self.tones.len() - rows.len();
        let first = |m: &&OddMode| m.shares.iter().any(|(number, share)| number.1 == 2 && *share > 0.5);
        let by_curvature_squared = modes.iter().find(first).map_or(0.0, |m| m.by_curvature_squared / m.omega_squared);
        let heard = |at: &Option<usize>| at.map(|a| &modes[order[a].1]);
        let second = |m: &OddMode| m.shares.iter().any(|(number, share)| number.1 >= 3 && *share > 0.5);
        let second_crosswise = matches.iter().filter_map(heard).any(second);
        let whole =
            Node { grain_rad, constants, curvature_squared, rows, by_curvature_squared, second_crosswise, unmatched };
        (whole.rows.len() > UNKNOWNS).then_some(whole)
    }
}

/// Of the six stiffnesses by ln E_L, ln E_C, ln G and Poisson's ratio.
fn derivatives(constants: &Constants, grain_rad: f64, thickness_m: f64) -> Option<[[f64; 6]; 4]> {
    let mut all = [[0.0; 6]; 4];
    for (p, derivative) in all.iter_mut().enumerate() {
        let moved = |by: f64| {
            let mut step = DVector::zeros(4);
            step[p] = by;
            bending(&after(constants, &step, 1.0), grain_rad, thickness_m)
        };
        let (up, down) = (moved(1e-4)?, moved(-1e-4)?);
        for (slot, (u, d)) in derivative.iter_mut().zip(up.iter().zip(down)) {
            *slot = (u - d) / 2e-4;
        }
    }
    Some(all)
}

impl Node {
    fn solve(&self, deviation: f64) -> Option<Solved> {
        let n = self.rows.len();
        let mut design = DMatrix::zeros(n + 4, UNKNOWNS);
        let mut target = DVector::zeros(n + 4);
        for (row, (slopes, missing, own)) in self.rows.iter().enumerate() {
            let sigma = own.hypot(deviation);
            slopes.iter().enumerate().for_each(|(p, s)| design[(row, p)] = s / sigma);
            target[row] = missing / sigma;
        }
        let c = &self.constants;
        for (row, p, (median, spread), now) in
            [(n, 1, ACROSS, c.across_pa / c.along_pa), (n + 1, 2, SHEAR, c.shear_pa / c.along_pa)]
        {
            design[(row, p)] = 1.0 / spread;
            design[(row, 0)] = -1.0 / spread;
            target[row] = (median / now).ln() / spread;
        }
        design[(n + 2, 3)] = 1.0 / POISSON.1;
        target[n + 2] = (POISSON.0 - c.poisson) / POISSON.1;
        // Hardly anything beforehand of the bow, so that the equations can be solved: what is known of it comes in later.
        design[(n + 3, 4)] = 1.0 / WIDE;
        target[n + 3] = -self.curvature_squared / CURVED / CURVED / WIDE;
        let covariance = (design.transpose() * &design).try_inverse()?;
        let step = &covariance * design.transpose() * &target;
        let left = &target - &design * &step;
        let tones = left.rows(0, n).norm_squared();
        Some(Solved {
            ratio: (tones / (n as f64 - 4.0).max(1.0)).sqrt(),
            misfit: left.norm_squared() + UNMATCHED * self.unmatched as f64,
            step,
            covariance,
        })
    }
}

/// What is known of the square of the curvature before any reading, in that of [`CURVED`]: hardly anything (40 mm over 760 mm has 4).
const WIDE: f64 = 6.0;
/// A bow (m, of a blank of 760 mm) that nobody sees, and the relative change of the first crosswise mode's omega^2 from which it matters.
const UNSEEN_M: f64 = 5e-3;
const MATTERS: f64 = 0.01;

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
fn joined(
    size: &Size,
    nodes: &[Node],
    solved: &[Solved],
    prior: &OddPrior,
    deviation: f64,
    best: &Numbering,
) -> Option<OddFit> {
    let dof = best.freedom;
    let at: Vec<AtAngle> = nodes.iter().zip(solved).map(|(n, s)| at_angle(size, n, s, prior, dof)).collect();
    let mut all: Vec<(f64, f64, Vec<(usize, f64)>)> = fine(nodes, solved, prior, dof)
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
    let mean_of = |of: &dyn Fn(f64, &[(usize, f64)]) -> DVector<f64>| {
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
