//! What a flat blank loses, and how readily a strip and a plate of its kind give: for comparison with a rim.

use super::reference::{edge_of_plate, infinite_beam};
use crate::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_DOF, Sizes};
use crate::stiffness::{BlankResult, Quantity, QuantityKind};
use crate::uncertainty::{Cause, Figure};

/// Damping of a numbered mode: nodal lines across the width, frequency (Hz), loss factor and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NumberedLoss {
    pub across_width: usize,
    pub loss_factor: f64,
    pub loss_factor_u: f64,
}

/// Frequency of the reference mobility of a strip (Hz): in the range where a guitar's top drives its rim.
const REFERENCE_HZ: f64 = 200.0;
/// Loss factors of a flat blank's families of modes, and reference mobilities.
pub fn loss_quantities(sizes: &Sizes, blank: &BlankResult, losses: &[NumberedLoss]) -> Vec<Quantity> {
    let mut all = Vec::new();
    let mut add = |kind, figure: Figure| all.push(Quantity { kind, figure });
    if let (Some(stiffness), Some(per_width)) = (&blank.bending_stiffness, &blank.bending_stiffness_per_width) {
        let line = Figure::combine(&[stiffness, &sizes.mass, &sizes.length], |x| {
            infinite_beam(x[0], x[1] / x[2], REFERENCE_HZ).re
        });
        add(QuantityKind::StripMobility200Hz, line);
        let area = Figure::combine(&[&sizes.mass, &sizes.length, &sizes.width], |x| x[0] / (x[1] * x[2]));
        // The edge of a plate that bends along with D_x and across with D_y: their geometric mean stands for an isotropic one.
        let across = blank.across.as_ref().zip(blank.along.as_ref());
        if let Some((across, along)) = across {
            let edge = Figure::combine(&[per_width, &area, across, along], |x| {
                edge_of_plate(x[0] * (x[2] / x[3]).sqrt(), x[1])
            });
            let doubt = 0.06 * edge.value;
            add(QuantityKind::PlateEdgeMobility, edge.plus_uncertainty(doubt, Cause::PlateTakenAsEven));
        }
    }
    for (family, kind) in [(0, QuantityKind::LossAlong), (1, QuantityKind::LossTwist)] {
        if let Some(mean) = mean_loss(losses, family) {
            add(kind, mean);
        }
    }
    all
}

/// Mean loss factor of a family of modes; the scatter between modes counts, since loss grows with frequency, and what holding the part
/// anew changes of all of them together.
fn mean_loss(losses: &[NumberedLoss], family: usize) -> Option<Figure> {
    let own: Vec<&NumberedLoss> = losses.iter().filter(|l| l.across_width == family).collect();
    if own.is_empty() {
        return None;
    }
    let weights: f64 = own.iter().map(|l| l.loss_factor_u.powi(-2)).sum();
    let mean = own.iter().map(|l| l.loss_factor * l.loss_factor_u.powi(-2)).sum::<f64>() / weights;
    let n = own.len() as f64;
    let scatter = if own.len() > 1 {
        (own.iter().map(|l| (l.loss_factor - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
    } else {
        0.0
    };
    let parts = [(Cause::Damping.into(), weights.powf(-0.5)), (Cause::ModeToMode.into(), scatter)];
    let held = HUNG_AGAIN_DAMPING * mean;
    Some(Figure::with_parts(mean, parts).plus_uncertainty_with_dof(held, Cause::HeldAnewDamping, HUNG_AGAIN_DOF))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn losses() -> Vec<NumberedLoss> {
        let loss = |across_width, loss_factor, loss_factor_u| NumberedLoss { across_width, loss_factor, loss_factor_u };
        vec![loss(0, 0.010, 0.001), loss(0, 0.020, 0.002), loss(1, 0.03, 0.004)]
    }

    /// Weights 1e6 and 2.5e5: mean 0.012; scatter of the two about it sqrt(6.8e-5), own uncertainty 1/sqrt(1.25e6). Beside it what
    /// holding anew changes.
    #[test]
    fn a_family_loses_its_weighted_mean() {
        let along = mean_loss(&losses(), 0).expect("two modes");
        assert!((along.value - 0.012).abs() < 1e-12);
        assert!(
            (along.u() - (6.8e-5f64 + 8e-7).sqrt().hypot(0.012 * HUNG_AGAIN_DAMPING)).abs() < 1e-12,
            "{}",
            along.u()
        );
        let twist = mean_loss(&losses(), 1).expect("a mode");
        assert!(
            (twist.value - 0.03).abs() < 1e-12 && (twist.u() - 0.004f64.hypot(0.03 * HUNG_AGAIN_DAMPING)).abs() < 1e-12
        );
        assert!(mean_loss(&losses(), 2).is_none());
        // Of three the scatter is over two degrees of freedom: sqrt(2e-4/2).
        let three: Vec<NumberedLoss> = [0.01, 0.02, 0.03]
            .map(|loss_factor| NumberedLoss { across_width: 0, loss_factor, loss_factor_u: 1e-3 })
            .into();
        let mean = mean_loss(&three, 0).expect("three modes");
        assert!(
            (mean.u() - 0.01f64.hypot(1e-3 / 3f64.sqrt()).hypot(0.02 * HUNG_AGAIN_DAMPING)).abs() < 1e-12,
            "{}",
            mean.u()
        );
    }

    /// A strip of EI 1.4 N m2 and 0.8 m with 0.152 kg, 0.1 m wide, E across a tenth of that along: the formulas of `reference`.
    #[test]
    fn endless_strip_and_plate_of_its_kind() {
        let exact = |value| Figure::exact(value);
        let sizes = Sizes { length: exact(0.8), width: exact(0.1), thickness: exact(2e-3), mass: exact(0.152) };
        let blank = BlankResult {
            bending_stiffness: Some(exact(1.4)),
            bending_stiffness_per_width: Some(exact(14.0)),
            along: Some(exact(10e9)),
            across: Some(exact(1e9)),
            ..BlankResult::default()
        };
        let all = loss_quantities(&sizes, &blank, &losses());
        let value = |code| all.iter().find(|q| q.kind.code() == code).map(|q| q.figure.value);
        let strip = infinite_beam(1.4, 0.19, 200.0).re;
        assert!((value("strip_mobility_200_hz_m_n_s").expect("told") / strip - 1.0).abs() < 1e-12);
        // The geometric mean of 14 and 1.4 N m, and 1.9 kg/m2.
        let edge = edge_of_plate(14.0 * 0.1f64.sqrt(), 1.9);
        assert!((value("plate_edge_mobility_m_n_s").expect("told") / edge - 1.0).abs() < 1e-12);
        assert!(value("loss_factor_along").is_some() && value("loss_factor_twist").is_some());
        assert!(loss_quantities(&sizes, &BlankResult::default(), &[]).is_empty());
    }
}
