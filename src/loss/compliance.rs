//! How far a spot of a free part gives under the hand: the elastic compliance at the point that is pushed.

use std::f64::consts::TAU;

use super::mobility::Mobility;
use crate::uncertainty::{Cause, Figure};

/// Doubt of what the modes above those heard add, beside itself (judgement: near a spot, shapes differ from mode to mode).
const ABOVE_DOUBT: f64 = 0.7;
/// So many gaps between the highest modes say how far apart those above lie.
const GAPS: usize = 3;

/// Compliance (m/N) at a spot of a free part, rigid motion left out: the sum of 1/k = 1/((2 pi f)^2 M) over its modes, and what those
/// above add.
///
/// Modal superposition at rest (textbook). It is for the caller to know that the lowest mode is among them: most of the sum is its.
/// A free thin ring has 0.0430 F R^3/EI (Sum of 1/(pi (n^2 - 1)^2), n from 2: pi/12 - 11/(16 pi)).
pub fn compliance(mobility: &Mobility) -> Figure {
    let inputs: Vec<&Figure> = mobility.modes.iter().flat_map(|m| [&m.frequency, &m.modal_mass]).collect();
    let heard = Figure::combine(&inputs, |x| {
        x.chunks_exact(2).map(|m| 1.0 / ((TAU * m[0]).powi(2) * m[1].max(f64::MIN_POSITIVE))).sum()
    });
    let above = compliance_above(mobility);
    heard.map(|c| c + above).plus_uncertainty(ABOVE_DOUBT * above, Cause::ModesOutsideBand)
}

/// What the modes above the highest add (m/N): as many as before to the root of the frequency, as in bent bars and rings, each moving the
/// spot like the mean of those heard.
pub(super) fn compliance_above(mobility: &Mobility) -> f64 {
    let mut modes: Vec<(f64, f64)> =
        mobility.modes.iter().map(|m| (m.frequency.value, 1.0 / m.modal_mass.value)).collect();
    modes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some((highest, _)) = modes.last().copied() else { return 0.0 };
    let mean = modes.iter().map(|m| m.1).sum::<f64>() / modes.len() as f64;
    let gaps = GAPS.min(modes.len() - 1);
    // f = a n^2: the n-th mode lies 2 f/n from its neighbour. A lone mode is taken for the first of a bar or ring (n 2).
    let number = if gaps == 0 {
        2.0
    } else {
        let below = modes[modes.len() - 1 - gaps].0;
        // sqrt(f) grows evenly, so many steps of it from the lower to the highest.
        gaps as f64 / (1.0 - (below / highest).sqrt())
    };
    // Sum over k from 1 of (1 + k/n)^-4, as an integral from a half.
    let sum = number / 3.0 * (1.0 + 0.5 / number).powi(-3);
    mean * sum / (TAU * highest).powi(2)
}

#[cfg(test)]
mod tests {
    use super::super::mobility::StationMode;
    use super::*;

    fn heard(modes: impl Iterator<Item = (f64, f64)>) -> Mobility {
        let mode = |(hz, kg): (f64, f64)| StationMode {
            frequency: Figure::exact(hz),
            damping_ratio: Figure::exact(0.01),
            modal_mass: Figure::new(kg, 0.02 * kg, Cause::FrequencyShift),
        };
        Mobility::new(modes.map(mode).collect()).expect("modes")
    }

    /// Free thin ring (R 0.2 m, EI 5 N m2, m' 0.2 kg/m): Love's frequencies n (n^2 - 1)/sqrt(n^2 + 1), modal masses
    /// m (1 + 1/n^2)/2, against the closed form pi/12 - 11/(16 pi) = 0.042961 F R^3/EI.
    #[test]
    fn a_free_ring_gives_as_the_closed_form_says() {
        let (radius, bending, per_length) = (0.2f64, 5.0, 0.2);
        let mass = TAU * radius * per_length;
        let closed = (std::f64::consts::PI / 12.0 - 11.0 / (16.0 * std::f64::consts::PI)) * radius.powi(3) / bending;
        for (most, within) in [(2, 0.12), (4, 0.02), (8, 0.003), (30, 1e-4)] {
            let ring = (2..=most).map(|n| {
                let n = f64::from(n);
                let omega = n * (n * n - 1.0) / (n * n + 1.0).sqrt() * (bending / per_length).sqrt() / radius.powi(2);
                (omega / TAU, 0.5 * mass * (1.0 + 1.0 / (n * n)))
            });
            let got = compliance(&heard(ring));
            assert!((got.value / closed - 1.0).abs() < within, "{most}: {} {closed}", got.value);
            assert!((got.value - closed).abs() < got.half_95(), "{most}: {got:?}");
        }
    }

    /// A free bar at its end: modal mass m/4 in every mode, roots of cos x cosh x = 1. At rest under a force at its end less what
    /// speeds it up as a rigid body it bends by F L^3/(105 EI) (static deflection of a beam with inertia relief, worked out from M'' = the load
    /// of the accelerated bar: M(x) = F x (1 - x/L)^2; strain energy F^2 L^3/(210 EI)).
    #[test]
    fn a_free_bars_end_gives_a_hundred_and_fifth() {
        let roots = [4.730_040_745, 7.853_204_624, 10.995_607_838, 14.137_165_491, 17.278_759_657];
        let bar = roots.iter().map(|x: &f64| (x * x / TAU, 0.25));
        let got = compliance(&heard(bar));
        assert!((got.value * 105.0 - 1.0).abs() < 0.003 && (got.value - 1.0 / 105.0).abs() < got.half_95(), "{got:?}");
    }
}
