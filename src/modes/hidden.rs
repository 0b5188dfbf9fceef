//! Whether a second mode may hide in one: two poles closer than a bandwidth pass for one that is a little off.
//!
//! The search takes a mode in only where chance can hardly have made it. Between that and nothing lie second modes that
//! the data favour without proof. Those pull their neighbours, and what is not proven still belongs to the uncertainty:
//! model averaging in its simplest form, where the wider model's answer counts as one more opinion.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::band::Band;
use super::component::Component;
use super::joint::Fit;

/// Where a second pole is tried: so many half-widths to either side.
const ASIDE: f64 = 0.8;
/// Chances (of noise alone doing no better) at which a second pole widens the uncertainty: in a take with few modes, and in a
/// crowded one, where a second mode is likely to begin with; by judgement, so that simulated single modes and blanks are both
/// covered. And the chance at which it is named.
const FAVOURED: f64 = 0.95;
const FAVOURED_CROWDED: f64 = 0.8;
const NAMED: f64 = 0.9995;
const STEPS: usize = 8;

/// What a second mode beside or within a component would change.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Hidden {
    /// The largest change of (decay, turn) among the models that the data favour.
    pub shift: [f64; 2],
    /// Whether one of them is too much better for chance, with its second pole within the bandwidth of this mode.
    pub named: bool,
}

/// Tries a second pole to either side of each component of a fit.
pub(super) fn hidden(band: &Band, fit: &Fit, taps: usize, crowded: bool) -> Vec<Hidden> {
    let mut found = vec![Hidden::default(); fit.components.len()];
    let Ok(chance) = ChiSquared::new(2.0 + 2.0 * taps as f64) else { return found };
    let (favoured, named) =
        (chance.inverse_cdf(if crowded { FAVOURED_CROWDED } else { FAVOURED }), chance.inverse_cdf(NAMED));
    let noise = (fit.chi2 / fit.freedom.max(1.0)).max(1.0);
    for own in fit.components.iter().filter(|c| !c.steady) {
        for side in [-ASIDE, ASIDE] {
            let mut trial = fit.components.clone();
            trial.push(Component { turn: own.turn + side * own.decay, amplitudes: Vec::new(), ..own.clone() });
            let Some(wider) = band.fit(&trial, STEPS) else { continue };
            let gain = (fit.chi2 - wider.chi2) / noise;
            if gain < favoured {
                continue;
            }
            let Some((second, known)) = wider.components.split_last() else { continue };
            for (hidden, (before, after)) in found.iter_mut().zip(fit.components.iter().zip(known)) {
                // Which of the two is the mode and which the second one is a matter of strength.
                let strength = |c: &Component| c.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>() / c.decay;
                let near = |c: &Component| (c.turn - before.turn).abs() < 2.0 * before.decay;
                let after = if near(second) && strength(second) > strength(after) { second } else { after };
                let shift = [(after.decay - before.decay).abs(), (after.turn - before.turn).abs()];
                for (most, shift) in hidden.shift.iter_mut().zip(shift) {
                    *most = most.max(shift);
                }
                hidden.named |= gain > named && near(second);
            }
        }
    }
    found
}
