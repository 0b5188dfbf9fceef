//! What a flat blank loses, and how readily a strip and a plate of its kind give: for comparison with a rim.

use super::reference::{edge_of_plate, infinite_beam};
use crate::part::{Measured, Sizes};
use crate::stiffness::{BlankResult, Quantity};

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
    let mut add = |code, name, measured: Measured, unit, shown, meaning| {
        all.push(Quantity { code, name, measured, unit, shown, meaning });
    };
    if let (Some(stiffness), Some(per_width)) = (&blank.bending_stiffness, &blank.bending_stiffness_per_width) {
        let line = Measured::combine(&[stiffness, &sizes.mass, &sizes.length], |x| {
            infinite_beam(x[0], x[1] / x[2], REFERENCE_HZ).re
        });
        add(
            "strip_mobility_200_hz_m_n_s",
            "mobility of an endless strip, 200 Hz",
            line,
            "m/(N s)",
            ("mm/(N s)", 1e3),
            "how readily an endless strip like this gives at 200 Hz; a rigid wall gives nothing, and a rim should lie far below",
        );
        let area = Measured::combine(&[&sizes.mass, &sizes.length, &sizes.width], |x| x[0] / (x[1] * x[2]));
        // The edge of a plate that bends along with D_x and across with D_y: their geometric mean stands for an isotropic one.
        let across = blank.across.as_ref().zip(blank.along.as_ref());
        if let Some((across, along)) = across {
            let edge = Measured::combine(&[per_width, &area, across, along], |x| {
                edge_of_plate(x[0] * (x[2] / x[3]).sqrt(), x[1])
            });
            let doubt = 0.06 * edge.value;
            add(
                "plate_edge_mobility_m_n_s",
                "mobility of an endless plate's edge",
                edge.plus_uncertainty(doubt, "plate taken as even"),
                "m/(N s)",
                ("mm/(N s)", 1e3),
                "how readily the free edge of an endless plate like this gives, at any frequency",
            );
        }
    }
    for (family, code, name, meaning) in [
        (
            0,
            "loss_factor_along",
            "loss factor, bending along",
            "share of the energy lost in each radian of bending along the grain; what holds the blank adds to it",
        ),
        (1, "loss_factor_twist", "loss factor, twist", "the same for twisting; larger, because shear loses more"),
    ] {
        if let Some(mean) = mean_loss(losses, family) {
            add(code, name, mean, "1", ("", 1.0), meaning);
        }
    }
    all
}

/// Mean loss factor of a family of modes; the scatter between modes counts, since loss grows with frequency.
fn mean_loss(losses: &[NumberedLoss], family: usize) -> Option<Measured> {
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
    Some(Measured::with_parts(mean, [("damping".into(), weights.powf(-0.5)), ("mode to mode".into(), scatter)]))
}
