//! Whether a component is there: heard in the taps, worth its parameters, and not the misfit of a stronger one.

use super::component::Component;
use super::joint::Fit;
use super::search::Search;

/// Energy over the noise at which a mode counts as heard in a tap (chance of noise: 0.25 %), and the share of taps.
const HEARD: f64 = 12.0;
const MOST_TAPS: f64 = 0.6;
/// Taps at one station differ in strength and mixture by less than this share of a mode's energy (30 dB; common practice, no source).
const NOTHING: f64 = 1e-3;
/// Above this damping a hump is a thud, not a mode.
pub(super) const MOST_DAMPING: f64 = 0.15;

impl Search<'_> {
    /// Energy of a component in a tap over the noise (chi-squared units: 2 for noise alone).
    pub(super) fn energy(&self, component: &Component, tap: usize) -> f64 {
        let length = self.rings[tap].length() as f64;
        let lasting = -(-2.0 * component.decay * length).exp_m1();
        let samples = if component.decay > 1e-12 { lasting / (2.0 * component.decay) } else { length };
        let density = self.density.at(component.frequency_hz(self.rate_hz));
        component.amplitudes[tap].norm_sqr() * 0.5 * samples / density
    }

    /// Taps in which a component stands out of the noise (`noise` times the room's density) and is not next to nothing beside
    /// what it is in another tap: beside a close neighbour, the noise of its amplitude is larger than the noise.
    pub(super) fn heard(&self, component: &Component, noise: f64) -> usize {
        let energies: Vec<f64> = (0..self.rings.len()).map(|tap| self.energy(component, tap)).collect();
        let most = energies.iter().copied().fold(0.0, f64::max);
        energies.into_iter().filter(|energy| *energy > (HEARD * noise.max(1.0)).max(NOTHING * most)).count()
    }

    /// Whether a component is heard in more than one tap and in most of them.
    pub(super) fn comes_back(&self, component: &Component, noise: f64) -> bool {
        let (heard, taps) = (self.heard(component, noise), self.rings.len());
        taps == 1 || (heard >= 2 && heard as f64 >= MOST_TAPS * taps as f64)
    }

    /// Whether a component of a fit is there: it lowers chi-squared (by `gain`) by more than its parameters are worth
    /// (Bayesian information criterion, and the chance of noise), and is not the misfit of a stronger neighbour.
    pub(super) fn is_real(&self, fit: &Fit, place: usize, gain: f64) -> bool {
        let new = &fit.components[place];
        let taps = self.rings.len() as f64;
        let parameters = 2.0 + 2.0 * taps;
        let noise = (fit.chi2 / fit.freedom.max(1.0)).max(1.0);
        let chance = self.chance();
        let worth = parameters * (fit.freedom + parameters).max(2.0).ln();
        // What is left may be modes still to be found, not only noise: it counts, but not in full.
        if gain / noise.sqrt() < chance.max(worth) {
            return false;
        }
        let frequency = new.frequency_hz(self.rate_hz);
        let omega = new.turn.hypot(new.decay);
        if new.decay / omega > MOST_DAMPING || frequency < self.range_hz.0 || frequency > self.range_hz.1 {
            return false;
        }
        if !self.comes_back(new, noise) {
            return false;
        }
        let strength = |c: &Component| c.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>();
        fit.components.iter().enumerate().filter(|(other, c)| *other != place && !c.steady).all(|(index, other)| {
            let distance = (other.frequency_hz(self.rate_hz) - frequency).abs();
            let doubt = (fit.pole_covariance(place)[1][1] + fit.pole_covariance(index)[1][1]).sqrt() * noise.sqrt();
            let doubt_hz = doubt * self.rate_hz / std::f64::consts::TAU;
            let widths = new.half_width_hz(self.rate_hz) + other.half_width_hz(self.rate_hz);
            // A mode 30 dB below one that it overlaps cannot be told from that one's not being quite exponential; and
            // two poles at one frequency are one decay that is not exponential, not two modes.
            strength(new) > 1e-3 * strength(other)
                && (strength(new) > strength(other) || distance > (3.0 * doubt_hz).max(0.15 * widths))
        })
    }
}
