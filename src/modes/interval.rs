//! The interval of a mode's frequency and damping, and what widens it, all in one place: the variance of its pole by cause, and what
//! that makes of the two.
//!
//! Every cause adds to the variance of the pole (decay and turn, per sample). None takes away what another brought, except that
//! unresolved modes raise the whole to their own spread.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::bend::{BEND, flatter_at_first};
use super::cluster::Cluster;
use super::component::Component;
use super::envelope::Envelope;
use super::mode::ModeReason;
use super::noise_of_fit::NoiseOfFit;
use crate::uncertainty::{Cause, Contribution, Figure, Source, student_factor};

/// Chance at which the taps' scatter is called larger than the noise explains.
const SURE: f64 = 0.99;
/// How far (in half-widths) an unexplained share of the amplitude may push a pole.
const MISFIT_PUSH: f64 = 2.0;
/// The same for the room's share where an echo is heard: of that the whole ring-down tells more than the early part that is fitted.
/// Set on simulated rooms of 0.2 to 1 s and 1 to 25 % of the energy, with one mode and with four: errors grow as the root of the
/// share, with this factor throughout.
const ECHO_PUSH: f64 = 1.5;
/// Taps whose poles spread by more than this share of the half bandwidth (and of what the noise explains) strike two modes.
const BEATS: f64 = 0.015;

/// The estimate of one tap: for decay and turn, how far it lies from the joint one, and its variance in units of the noise.
pub(super) type TapOpinion = Option<[(f64, f64); 2]>;

/// One cause's part of a pole's variance: of decay, of turn, and their covariance.
#[derive(Debug, Clone)]
struct Part {
    cause: Cause,
    /// Student's t is in it: what decides does so by what is sure.
    variance: [f64; 2],
    cross: f64,
    /// Degrees of freedom with which it is known.
    dof: f64,
}

/// The variance of a pole, by cause.
#[derive(Debug, Clone)]
pub(super) struct Widening {
    parts: Vec<Part>,
}

/// What the taps' scatter says of a pole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scatter {
    /// The noise explains it.
    Explained,
    /// It is larger than that.
    TapsDiffer,
    /// It is so large (per sample) that the taps strike two modes in different mixture.
    Beats { spread: f64 },
}

impl Widening {
    /// From the noise of the fit, and from the scatter between the taps where that is surely larger.
    pub(super) fn new(
        covariance: [[f64; 2]; 2],
        noise: &NoiseOfFit,
        opinions: &[TapOpinion],
        decay: f64,
    ) -> (Self, Scatter) {
        let student = student_factor(noise.freedom);
        let own = noise.variance * student * student;
        let scatter = scatter_factors(opinions, noise.variance);
        let scale = scatter.map(|s| own.max(noise.variance * s));
        let mut parts = vec![Part {
            cause: Cause::Noise,
            variance: [covariance[0][0] * own, covariance[1][1] * own],
            cross: covariance[0][1] * own,
            dof: noise.freedom,
        }];
        if scale.iter().any(|s| *s > own) {
            parts.push(Part {
                cause: Cause::TapScatter,
                variance: [covariance[0][0] * (scale[0] - own), covariance[1][1] * (scale[1] - own)],
                cross: covariance[0][1] * ((scale[0] * scale[1]).sqrt() - own),
                dof: opinions.iter().flatten().count() as f64 - 1.0,
            });
        }
        // Two modes in one are struck in another mixture by each tap: the poles of the taps move between the two, and their
        // mean comes no nearer to either by tapping more often. So their spread counts, not the error of their mean.
        let told = opinions.iter().flatten().count() as f64;
        let spread = (0..2)
            .filter(|axis| scatter[*axis] > 1.0)
            .map(|axis| covariance[axis][axis] * noise.variance * scatter[axis] * told)
            .fold(0.0, f64::max)
            .sqrt();
        let verdict = if spread > BEATS * decay {
            Scatter::Beats { spread }
        } else if scatter.iter().any(|s| *s > 1.0) {
            Scatter::TapsDiffer
        } else {
            Scatter::Explained
        };
        (Self { parts }, verdict)
    }

    /// Variance of the decay (axis 0) or of the turn (axis 1).
    pub(super) fn variance(&self, axis: usize) -> f64 {
        self.parts.iter().map(|p| p.variance[axis]).sum()
    }

    /// An unresolved second mode may lie off in frequency, in damping or in both.
    pub(super) fn raise_to(&mut self, spread: f64) {
        let lacks = [0, 1].map(|axis| (spread * spread - self.variance(axis)).max(0.0));
        self.add(Cause::UnresolvedMode, lacks);
    }

    fn add(&mut self, cause: Cause, variance: [f64; 2]) {
        if variance.iter().any(|v| *v > 0.0) {
            self.parts.push(Part { cause, variance, cross: 0.0, dof: f64::INFINITY });
        }
    }

    /// The room rings on and is this share of the mode's energy.
    pub(super) fn reverberation(&mut self, share: f64, decay: f64) {
        self.add(Cause::Reverberation, [(ECHO_PUSH * decay * share.sqrt()).powi(2); 2]);
    }

    /// What a wrong model leaves comes back in every tap and can push the pole by up to its share of the amplitude.
    pub(super) fn misfit(&mut self, unexplained: f64, decay: f64) {
        self.add(Cause::Misfit, [(MISFIT_PUSH * decay * unexplained.sqrt()).powi(2); 2]);
    }

    /// The first milliseconds disagree with the rest: by how much the beginning is flatter, where that counts, and how far the pole
    /// moves between the start used and the next later one.
    pub(super) fn disturbed_start(&mut self, cluster: &Cluster, index: usize, flatter_counts: bool) {
        if flatter_counts && let Some(by) = flatter_at_first(cluster, index) {
            self.add(Cause::EarlyBend, [by * by, 0.0]);
        }
        if let Some(shift) = cluster.start_shift.get(index) {
            self.add(Cause::StartOfFit, shift.map(|s| s * s));
        }
    }

    /// A second mode may hide in this one.
    pub(super) fn hidden(&mut self, shift: [f64; 2]) {
        self.add(Cause::UnresolvedMode, shift.map(|s| s * s));
    }

    /// Compares the envelope's slopes with the refined decay and with each other; gives the doubts that arise.
    pub(super) fn envelope(
        &mut self,
        envelope: &Envelope,
        component: &Component,
        rate_hz: f64,
        bends_already: bool,
    ) -> Vec<ModeReason> {
        let mut reasons = Vec::new();
        let per_sample = |slope_db_per_s: f64| -slope_db_per_s / (8.685_889_638 * rate_hz);
        let [(early, early_u), (late, late_u)] = envelope.halves;
        let bends = (early - late).abs() > 4.0 * early_u.hypot(late_u) && early < 0.0;
        let early_differs = (per_sample(early) - component.decay).powi(2);
        if bends && late > early / BEND {
            let ratio = if late < 0.0 { (early / late).min(99.0) } else { 99.0 };
            reasons.push(ModeReason::TwoSlopes { ratio });
            self.add(Cause::Envelope, [early_differs, 0.0]);
        } else if bends && late < early * BEND && !bends_already {
            reasons.push(ModeReason::BendsDown);
            self.add(Cause::Envelope, [early_differs, 0.0]);
        }
        let difference = per_sample(envelope.slope_db_per_s) - component.decay;
        let allowed = 3.5 * (per_sample(-envelope.slope_db_per_s_u).powi(2) + self.variance(0)).sqrt();
        if difference.is_finite() && difference.abs() > allowed && difference.abs() > 0.03 * component.decay {
            reasons.push(ModeReason::EnvelopeDisagrees { by: difference / component.decay });
            self.add(Cause::Envelope, [difference * difference, 0.0]);
        }
        reasons
    }

    /// Frequency f0 (Hz) and damping ratio with their budgets, from decay and turn per sample.
    ///
    /// f0 = |pole| rate/(2 pi) and zeta = decay/|pole|; their derivatives carry each cause over. One cause moves the two nearly
    /// independently of each other: they are two directions of it.
    pub(super) fn figures(&self, component: &Component, rate_hz: f64) -> (Figure, Figure) {
        let (decay, turn) = (component.decay, component.turn);
        let omega0 = decay.hypot(turn);
        let cubed = omega0.powi(3);
        let project = |value: f64, slopes: [f64; 2], axis: u8| {
            let [d, t] = slopes;
            let parts = self.parts.iter().map(|p| {
                let variance = d * d * p.variance[0] + 2.0 * d * t * p.cross + t * t * p.variance[1];
                let source = Source { axis, ..p.cause.clone().into() };
                // The figure puts Student's t back.
                (source, Contribution { size: variance.max(0.0).sqrt() / student_factor(p.dof), dof: p.dof })
            });
            // Several parts of one cause are independent of each other.
            parts.fold(Figure::exact(value), |figure, (source, part)| {
                figure.plus_uncertainty_with_dof(part.size, source, part.dof)
            })
        };
        let to_hz = rate_hz / std::f64::consts::TAU;
        (
            project(omega0 * to_hz, [decay / omega0 * to_hz, turn / omega0 * to_hz], 0),
            project(decay / omega0, [turn * turn / cubed, -decay * turn / cubed], 1),
        )
    }
}

/// Factors on the variances of (decay, turn) from the scatter between taps: 1 unless it is surely larger than the noise.
fn scatter_factors(opinions: &[TapOpinion], noise: f64) -> [f64; 2] {
    let mut factors = [1.0; 2];
    for (axis, factor) in factors.iter_mut().enumerate() {
        let told: Vec<(f64, f64)> =
            opinions.iter().flatten().map(|o| o[axis]).filter(|(_, v)| *v > 0.0 && v.is_finite()).collect();
        if told.len() < 2 {
            continue;
        }
        let weights: f64 = told.iter().map(|(_, v)| 1.0 / v).sum();
        let mean = told.iter().map(|(d, v)| d / v).sum::<f64>() / weights;
        let freedom = told.len() as f64 - 1.0;
        let chi2: f64 = told.iter().map(|(d, v)| (d - mean).powi(2) / (v * noise)).sum();
        let limit = ChiSquared::new(freedom).map_or(f64::INFINITY, |c| c.inverse_cdf(SURE));
        if chi2 > limit {
            let student = student_factor(freedom);
            *factor = chi2 / freedom * student * student;
        }
    }
    factors
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Opinions of (decay, turn), all with the variance 1.
    fn opinions(of_decay: &[f64]) -> Vec<TapOpinion> {
        of_decay.iter().map(|d| Some([(*d, 1.0), (0.5, 1.0)])).collect()
    }

    /// 0, 4 and 8: chi-squared about their mean is 32, with two degrees of freedom beyond the 99 % of 9.21.
    #[test]
    fn taps_that_scatter_widen_their_axis() {
        let [decay, turn] = scatter_factors(&opinions(&[0.0, 4.0, 8.0]), 1.0);
        assert!((decay / (16.0 * student_factor(2.0).powi(2)) - 1.0).abs() < 1e-9, "{decay}");
        assert_eq!(turn, 1.0);
        // Four times the noise explains it: 8 is within the limit.
        assert_eq!(scatter_factors(&opinions(&[0.0, 4.0, 8.0]), 4.0), [1.0; 2]);
    }

    #[test]
    fn one_opinion_tells_no_scatter() {
        let mut told = opinions(&[3.0]);
        told.push(None);
        told.push(Some([(90.0, f64::INFINITY), (90.0, 0.0)]));
        assert_eq!(scatter_factors(&told, 1.0), [1.0; 2]);
    }

    fn pole(decay: f64, turn: f64) -> Component {
        Component { decay, turn, steady: false, home: turn, amplitudes: Vec::new() }
    }

    /// A pole of decay 3e-4 and turn 0.04 per sample at 48 kHz: f0 = 305.586 Hz, zeta 7.4998e-3. Errors of the decay alone move zeta
    /// by turn^2/|pole|^3, those of the turn alone f0 by rate/2 pi, nearly (derivatives by hand).
    #[test]
    fn a_pole_becomes_frequency_and_damping_with_a_budget() {
        let noise = NoiseOfFit { variance: 1.0, freedom: 1e9, misfit: false, unexplained: 0.0 };
        let (mut widening, verdict) = Widening::new([[1e-12, 0.0], [0.0, 4e-12]], &noise, &[], 3e-4);
        assert_eq!(verdict, Scatter::Explained);
        widening.misfit(1e-4, 3e-4);
        let (frequency, damping) = widening.figures(&pole(3e-4, 0.04), 48_000.0);
        assert!((frequency.value - 305.586).abs() < 1e-3 && (damping.value - 7.499_789e-3).abs() < 1e-8);
        // Misfit: 2 x 3e-4 x 0.01 = 6e-6 on both axes.
        let u = |own: f64| own.hypot(6e-6);
        assert!((frequency.u() / (u(2e-6) * 48_000.0 / std::f64::consts::TAU) - 1.0).abs() < 1e-3, "{frequency:?}");
        assert!((damping.u() / (u(1e-6) / 0.04) - 1.0).abs() < 1e-3, "{damping:?}");
        let budget = damping.budget();
        assert_eq!((budget[0].source.cause.code(), budget[1].source.cause.code()), ("misfit", "noise"));
        assert!((budget[0].share - 36.0 / 37.0).abs() < 1e-3, "{budget:?}");
        // They do not pass for one unknown.
        assert_eq!(frequency.correlation(&damping), 0.0);
    }
}
