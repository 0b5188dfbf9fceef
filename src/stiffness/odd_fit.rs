//! What a blank's tones make of its wood when its grain may be at an angle and it may be bowed.
//!
//! The modes are numbered as a flat blank's with straight grain. Then, for some angles, moduli, Poisson's ratio and bow are fitted together
//! (least squares, the plate solved at that angle); how well each angle fits, and what is known beforehand, weigh them. Figures are means
//! over angle and bow, and their doubt holds what both leave open.

use super::blank_modes::{BlankModes, terms};
use super::numbering::{DEVIATION, DEVIATION_LIMITS, Numbering};
use super::odd_mean::{OddFit, fine, joined, off};
use super::odd_node::{Node, Problem, Solved};
use super::odd_plate::OddPlate;
use super::odd_prior::OddPrior;
use super::plate::Size;
use super::tone::Tone;

/// Angles (degrees) at which the plate is solved, to begin with; then where it fits best.
const ANGLES_DEG: [f64; 5] = [0.0, 3.0, 6.0, 9.0, 12.0];
/// A bow (m, of a blank of 760 mm) that a maker may leave unsaid, and the relative change of the first crosswise mode's omega^2 from which it
/// matters (judgement; where crosswise modes alone rise, the fit takes a bow for a higher E across).
const UNSAID_M: f64 = 40e-3;
const MATTERS: f64 = 0.05;

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
    let unsaid = (8.0 * UNSAID_M * prior.unit_m / size.length_m.powi(2)).powi(2);
    let bow_open = prior.bow_unread() && found.by_curvature_squared * unsaid > MATTERS;
    Some(OddFit { bow_open, ..joined(size, &nodes, &solved, prior, deviation, best)? })
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
