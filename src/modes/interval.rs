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
use crate::uncertainty::{Cause, Figure, Source, student_factor};

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
    variance: [f64; 2],
    cross: f64,
    /// Degrees of freedom with which it is known.
    dof: [f64; 2],
}

/// How far the taps scatter on one axis, where that is surely more than the noise explains.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Beyond {
    /// Variance over the noise's.
    ratio: f64,
    /// Degrees of freedom: the taps that tell, less one.
    dof: f64,
}

impl Beyond {
    /// The same with Student's t.
    fn widened(&self) -> f64 {
        self.ratio * student_factor(self.dof).powi(2)
    }
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
        let own = noise.variance;
        let scatter = scatter_beyond(opinions, own);
        let mut parts = vec![Part {
            cause: Cause::Noise,
            variance: [covariance[0][0] * own, covariance[1][1] * own],
            cross: covariance[0][1] * own,
            dof: [noise.freedom; 2],
        }];
        if scatter.iter().any(Option::is_some) {
            // The taps tell the whole variance, not what of it is beyond the noise: so many degrees of freedom has the difference that
            // the two together have the taps' (Welch and Satterthwaite).
            let ratio = scatter.map(|s| s.map_or(1.0, |s| s.ratio));
            parts.push(Part {
                cause: Cause::TapScatter,
                variance: [0, 1].map(|axis| covariance[axis][axis] * own * (ratio[axis] - 1.0)),
                cross: covariance[0][1] * own * ((ratio[0] * ratio[1]).sqrt() - 1.0),
                dof: scatter.map(|s| s.map_or(f64::INFINITY, |s| s.dof * (1.0 - 1.0 / s.ratio).powi(2))),
            });
        }
        // Two modes in one are struck in another mixture by each tap: the poles of the taps move between the two, and their
        // mean comes no nearer to either by tapping more often. So their spread counts, not the error of their mean.
        let told = opinions.iter().flatten().count() as f64;
        let spread = (0..2)
            .filter_map(|axis| Some(covariance[axis][axis] * own * scatter[axis]?.widened() * told))
            .fold(0.0, f64::max)
            .sqrt();
        let verdict = if spread > BEATS * decay {
            Scatter::Beats { spread }
        } else if scatter.iter().any(Option::is_some) {
            Scatter::TapsDiffer
        } else {
            Scatter::Explained
        };
        (Self { parts }, verdict)
    }

    /// Variance of the decay (axis 0) or of the turn (axis 1).
    ///
    /// Student's t is in it, so that what is decided by it is sure: half of a 95 % interval over 1.96, squared.
    pub(super) fn variance(&self, axis: usize) -> f64 {
        let add = |whole: Figure, part: &Part| {
            whole.plus_uncertainty_with_dof(part.variance[axis].sqrt(), part.cause.clone(), part.dof[axis])
        };
        self.parts.iter().fold(Figure::exact(0.0), add).u_95().powi(2)
    }

    /// An unresolved second mode may lie off in frequency, in damping or in both.
    pub(super) fn raise_to(&mut self, spread: f64) {
        let brought = |axis: usize| self.parts.iter().map(|p| p.variance[axis]).sum::<f64>();
        let lacks = [0, 1].map(|axis| (spread * spread - brought(axis)).max(0.0));
        self.add(Cause::UnresolvedMode, lacks);
    }

    fn add(&mut self, cause: Cause, variance: [f64; 2]) {
        if variance.iter().any(|v| *v > 0.0) {
            self.parts.push(Part { cause, variance, cross: 0.0, dof: [f64::INFINITY; 2] });
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
        let project = |value: f64, slopes: [f64; 2], axis: u8, mostly: usize| {
            let [d, t] = slopes;
            // Several parts of one cause are independent of each other.
            self.parts.iter().fold(Figure::exact(value), |figure, p| {
                let variance = d * d * p.variance[0] + 2.0 * d * t * p.cross + t * t * p.variance[1];
                let source = Source { axis, ..p.cause.clone().into() };
                figure.plus_uncertainty_with_dof(variance.max(0.0).sqrt(), source, p.dof[mostly])
            })
        };
        let to_hz = rate_hz / std::f64::consts::TAU;
        (
            project(omega0 * to_hz, [decay / omega0 * to_hz, turn / omega0 * to_hz], 0, 1),
            project(decay / omega0, [turn * turn / cubed, -decay * turn / cubed], 1, 0),
        )
    }
}

/// How far the taps scatter in (decay, turn): nothing unless it is surely more than the noise.
fn scatter_beyond(opinions: &[TapOpinion], noise: f64) -> [Option<Beyond>; 2] {
    [0, 1].map(|axis| {
        let told: Vec<(f64, f64)> =
            opinions.iter().flatten().map(|o| o[axis]).filter(|(_, v)| *v > 0.0 && v.is_finite()).collect();
        if told.len() < 2 {
            return None;
        }
        let weights: f64 = told.iter().map(|(_, v)| 1.0 / v).sum();
        let mean = told.iter().map(|(d, v)| d / v).sum::<f64>() / weights;
        let dof = told.len() as f64 - 1.0;
        let chi2: f64 = told.iter().map(|(d, v)| (d - mean).powi(2) / (v * noise)).sum();
        let limit = ChiSquared::new(dof).map_or(f64::INFINITY, |c| c.inverse_cdf(SURE));
        (chi2 > limit).then_some(Beyond { ratio: chi2 / dof, dof })
    })
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
        let taps = opinions(&[0.0, 4.0, 8.0]);
        let [decay, turn] = scatter_beyond(&taps, 1.0);
        let decay = decay.expect("they scatter");
        assert!((decay.ratio - 16.0).abs() < 1e-9 && decay.dof == 2.0, "{decay:?}");
        assert_eq!(turn, None);
        // The interval is Student's t of two degrees of freedom times the root of the whole variance.
        let noise = NoiseOfFit { variance: 1.0, freedom: f64::INFINITY, misfit: false, unexplained: 0.0 };
        let (widening, verdict) = Widening::new([[1e-12, 0.0], [0.0, 1e-12]], &noise, &taps, 3e-4);
        assert_eq!(verdict, Scatter::Beats { spread: (16e-12 * 3.0f64).sqrt() * student_factor(2.0) });
        let t = 4.302_652_73 / 1.959_964;
        assert!((widening.variance(0) / (16e-12 * t * t) - 1.0).abs() < 1e-6, "{}", widening.variance(0));
        let (_, damping) = widening.figures(&pole(3e-4, 0.04), 48_000.0);
        let share = damping.value * 4e-6 / 3e-4;
        assert!((damping.u_95() / (share * t) - 1.0).abs() < 1e-3 && (damping.dof() - 2.0).abs() < 1e-3);
        // Four times the noise explains it: 8 is within the limit.
        assert_eq!(scatter_beyond(&taps, 4.0), [None; 2]);
    }

    #[test]
    fn one_opinion_tells_no_scatter() {
        let mut told = opinions(&[3.0]);
        told.push(None);
        told.push(Some([(90.0, f64::INFINITY), (90.0, 0.0)]));
        assert_eq!(scatter_beyond(&told, 1.0), [None; 2]);
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
