//! The evidence for each mode, and its uncertainty.
//!
//! A mode must begin with the tap, decay, and come back in the next accepted tap.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

use super::bend::{BEND, bends_at_first, flatter_at_first};
use super::clusters::Cluster;
use super::component::Component;
use super::envelope::Envelope;
use super::estimate::Group;
use super::mode::{Mode, ModeReason, student_factor};
use super::presence::MOST_DAMPING;
use super::rings::Before;
use super::steady_line::may_wander_to;
use super::window::tone;

/// Chance at which the taps' scatter, or the residual, is called larger than the noise explains.
const SURE: f64 = 0.99;
/// A decay rate is told apart from nothing by at least so many of its standard uncertainties.
const LEAST_CERTAINTY: f64 = 1.9;
/// ... and where a room's echo is what makes it uncertain, which leaves no doubt that there is a mode.
const LEAST_CERTAINTY_IN_ECHO: f64 = 1.0;
/// A tone that loses less than this (dB) over the whole ring-down is not decaying.
const LEAST_DECAY_DB: f64 = 1.5;
/// A mode that has decayed by this much (dB) when the sound ends is seen to decay.
const MUCH_DECAY_DB: f64 = 20.0;
/// How far (in half-widths) an unexplained share of the amplitude may push a pole.
const MISFIT_PUSH: f64 = 2.0;
/// The same for the room's share where an echo is heard: of that the whole ring-down tells more than the early part that is fitted.
/// Set on simulated rooms of 0.2 to 1 s and 1 to 25 % of the energy, with one mode and with four: errors grow as the root of the
/// share, with this factor throughout.
const ECHO_PUSH: f64 = 1.5;
/// Taps whose poles spread by more than this share of the half bandwidth (and of what the noise explains) strike two modes.
const BEATS: f64 = 0.015;

fn density(group: &Group<'_>, component: &Component) -> f64 {
    group.search.density.at(component.frequency_hz(group.search.rate_hz))
}

/// Energies of all modes of a cluster in a tap.
fn cluster_energy(group: &Group<'_>, cluster: &Cluster, tap: usize) -> f64 {
    cluster.fit.components.iter().filter(|c| !c.steady).map(|c| group.search.energy(c, tap)).sum()
}

/// Judges every component: a mode with its uncertainty and doubts, or left out with the reason.
pub(super) fn judge(
    group: &Group<'_>,
    envelopes: Vec<Vec<Envelope>>,
    before: &[Before],
) -> (Vec<Mode>, Vec<(f64, &'static str)>) {
    let rate_hz = group.search.rate_hz;
    let mut modes = Vec::new();
    let mut left_out = Vec::new();
    for (cluster, envelopes) in group.clusters.iter().zip(envelopes) {
        let noise = Noise::of(group, cluster);
        for (index, (component, envelope)) in cluster.fit.components.iter().zip(envelopes).enumerate() {
            if component.steady {
                continue;
            }
            match judge_one(group, cluster, index, &noise, envelope, before) {
                Ok(mode) => modes.push(mode),
                Err(why) => left_out.push((component.frequency_hz(rate_hz), why)),
            }
        }
    }
    modes.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
    let strongest = modes.iter().map(|m| m.level_full_scale_db).fold(f64::NEG_INFINITY, f64::max);
    for mode in &mut modes {
        mode.level_db = mode.level_full_scale_db - strongest;
    }
    drop_products(&mut modes, &mut left_out);
    (modes, left_out)
}

/// The noise in a cluster: variance relative to the room's density, its degrees of freedom, and whether the residual is
/// larger than the room's noise explains.
struct Noise {
    variance: f64,
    freedom: f64,
    misfit: bool,
    /// Share of the modes' energy that the fit leaves unexplained.
    unexplained: f64,
}

impl Noise {
    fn of(group: &Group<'_>, cluster: &Cluster) -> Self {
        let fit = &cluster.fit;
        let freedom = fit.freedom.max(1.0);
        let ratio = fit.chi2 / freedom;
        let taps = group.search.rings.len();
        let total: f64 = (0..taps).map(|t| cluster_energy(group, cluster, t)).sum();
        let unexplained = (fit.chi2 - freedom).max(0.0) / total.max(1.0);
        let prior = if group.search.noise_known { group.search.density.freedom } else { 0.0 };
        if prior < 1.0 {
            // Nothing tells noise from misfit: all that is left may be misfit.
            let unexplained = fit.chi2 / total.max(1.0);
            return Self { variance: ratio, freedom, misfit: true, unexplained };
        }
        let limit = FisherSnedecor::new(freedom, prior).map_or(3.0, |f| f.inverse_cdf(0.999));
        let misfit = ratio > limit;
        let (variance, freedom) =
            if misfit { (ratio, freedom) } else { ((prior + fit.chi2) / (prior + freedom), prior + freedom) };
        Self { variance, freedom, misfit, unexplained }
    }
}

fn judge_one(
    group: &Group<'_>,
    cluster: &Cluster,
    index: usize,
    noise: &Noise,
    envelope: Envelope,
    before: &[Before],
) -> Result<Mode, &'static str> {
    let search = &group.search;
    let rate_hz = search.rate_hz;
    let component = &cluster.fit.components[index];
    let taps = search.rings.len();
    let density = density(group, component);
    let heard = search.heard(component, noise.variance);
    if !search.comes_back(component, noise.variance) {
        return Err("it does not come back in the next tap");
    }
    // A single tap has no second one to confirm it, so it must fit the better; without a known noise all misfit counts.
    let most = if taps > 1 {
        0.5
    } else if search.noise_known {
        0.1
    } else {
        0.25
    };
    if noise.unexplained > most {
        return Err("it does not decay like a mode");
    }
    if !begins_with_the_tap(component, before, density, rate_hz) {
        return Err("it seems to have sounded before the tap as well");
    }

    let covariance = cluster.fit.pole_covariance(index);
    let student = student_factor(noise.freedom);
    let mut scale = [noise.variance * student * student; 2];
    let mut reasons = Vec::new();
    if taps == 1 {
        reasons.push(ModeReason::SingleTap);
    }
    let opinions = cluster.fit.tap_opinions(index);
    let scatter = scatter_factors(&opinions, noise.variance);
    for (factor, scatter) in scale.iter_mut().zip(scatter) {
        *factor = factor.max(noise.variance * scatter);
    }
    // Two modes in one are struck in another mixture by each tap: the poles of the taps move between the two, and their
    // mean comes no nearer to either by tapping more often. So their spread counts, not the error of their mean.
    let told = opinions.iter().flatten().count() as f64;
    let spread = (0..2)
        .filter(|axis| scatter[*axis] > 1.0)
        .map(|axis| covariance[axis][axis] * noise.variance * scatter[axis] * told)
        .fold(0.0, f64::max)
        .sqrt();
    let beats = spread > BEATS * component.decay;
    if beats {
        reasons.push(ModeReason::BeatingUnresolved);
    } else if scatter.iter().any(|s| *s > 1.0) {
        reasons.push(ModeReason::TapsDiffer);
    }
    let mut variance = [covariance[0][0] * scale[0], covariance[1][1] * scale[1]];
    if component.decay < 3.0 * variance[0].sqrt() {
        return Err("it does not decay measurably");
    }
    let whole = search.scales[0].lengths.iter().copied().max().unwrap_or(0);
    let decayed_db = 8.685_889_638 * component.decay * whole as f64;
    if decayed_db < LEAST_DECAY_DB {
        return Err("it is as loud at the end as at the beginning");
    }
    let cross = covariance[0][1] * (scale[0] * scale[1]).sqrt();
    if beats {
        // The second mode may lie off in frequency, in damping or in both.
        variance.iter_mut().for_each(|v| *v = v.max(spread * spread));
    }

    let echo = cluster.echo.get(index).copied();
    if let Some(share) = echo {
        reasons.push(ModeReason::RoomEcho { share });
        let push = ECHO_PUSH * component.decay * share.sqrt();
        variance[0] += push * push;
        variance[1] += push * push;
    } else if noise.misfit {
        if noise.unexplained > if search.noise_known { 1e-4 } else { 1e-2 } {
            reasons.push(ModeReason::PoorFit { share: noise.unexplained });
        }
        // What a wrong model leaves comes back in every tap and can push the pole by up to its share of the amplitude.
        let push = MISFIT_PUSH * component.decay * noise.unexplained.sqrt();
        variance[0] += push * push;
        variance[1] += push * push;
    }
    if cluster.disturbed {
        let after_s = cluster.start as f64 / rate_hz + group.origin_s;
        // A few milliseconds of a long ring are not worth a word.
        if after_s * rate_hz * component.decay > 0.1 {
            reasons.push(ModeReason::StartDisturbed { after_s });
        }
        let bends = bends_at_first(cluster, index, rate_hz);
        if bends {
            reasons.push(ModeReason::BendsDown);
        }
        if bends || !search.noise_known {
            variance[0] += flatter_at_first(cluster, index).map_or(0.0, |by| by * by);
        }
        if let Some(shift) = cluster.start_shift.get(index) {
            variance[0] += shift[0] * shift[0];
            variance[1] += shift[1] * shift[1];
        }
    }
    if let Some(hidden) = cluster.hidden.get(index) {
        variance[0] += hidden.shift[0] * hidden.shift[0];
        variance[1] += hidden.shift[1] * hidden.shift[1];
        if hidden.named && !beats {
            reasons.push(ModeReason::BeatingUnresolved);
        }
    }
    doubt_from_envelope(&envelope, component, rate_hz, &mut variance[0], &mut reasons);

    let certainty = if echo.is_some() { LEAST_CERTAINTY_IN_ECHO } else { LEAST_CERTAINTY };
    if component.decay < certainty * variance[0].sqrt() || certainty * component.decay < variance[1].sqrt() {
        return Err("its decay is too uncertain to tell");
    }
    if component.decay / component.decay.hypot(component.turn) > MOST_DAMPING {
        return Err("it is a thud, gone within a few vibrations");
    }

    let over_noise_db = -envelope.noise_db;
    let decay_seen_db = over_noise_db.min(decayed_db).max(0.0);
    let mut known = group.clusters.iter().flat_map(|c| &c.from_origin);
    if decayed_db < MUCH_DECAY_DB && known.any(|line| may_wander_to(line, component)) {
        return Err("it cannot be told from a steady line that wanders");
    }
    if decayed_db < MUCH_DECAY_DB && decayed_db < over_noise_db {
        reasons.push(ModeReason::RecordTooShort { decibels: decayed_db });
    } else if decay_seen_db < 15.0 {
        reasons.push(ModeReason::FewDecibels { decibels: decay_seen_db });
    }

    // From (decay, turn) per sample to f0 and zeta.
    let omega0 = component.decay.hypot(component.turn);
    let spread = |d: f64, t: f64| (d * d * variance[0] + 2.0 * d * t * cross + t * t * variance[1]).max(0.0).sqrt();
    let frequency = |decay: f64, turn: f64| decay.hypot(turn) * rate_hz / std::f64::consts::TAU;
    let frequency_hz = frequency(component.decay, component.turn);
    let frequency_hz_u = spread(component.decay / omega0, component.turn / omega0) * rate_hz / std::f64::consts::TAU;
    let damping_ratio = component.decay / omega0;
    let cubed = omega0.powi(3);
    let damping_ratio_u = spread(component.turn * component.turn / cubed, -component.decay * component.turn / cubed);
    let per_tap = opinions
        .iter()
        .map(|opinion| match opinion {
            Some([(decay, _), (turn, _)]) => {
                let (decay, turn) = (component.decay + decay, component.turn + turn);
                (frequency(decay, turn), decay / decay.hypot(turn))
            }
            None => (f64::NAN, f64::NAN),
        })
        .collect();
    // Back from the origin to the strike, and through the whitening filter.
    let to_strike = (component.decay * group.origin_s * rate_hz).exp() / group.whitening.gain(component.pole()).norm();
    let mean_square = component.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>() / taps as f64;
    Ok(Mode {
        frequency_hz,
        frequency_hz_u,
        damping_ratio,
        damping_ratio_u,
        level_db: 0.0,
        level_full_scale_db: 10.0 * (mean_square * to_strike * to_strike).max(1e-300).log10(),
        taps_used: heard,
        decay_seen_db,
        reasons,
        envelope,
        per_tap,
    })
}

/// Whether a mode is far weaker just before the strikes than just after them.
fn begins_with_the_tap(component: &Component, before: &[Before], density: f64, rate_hz: f64) -> bool {
    let (mut compared, mut begins) = (0, 0);
    for (before, amplitude) in before.iter().zip(&component.amplitudes) {
        let samples = &before.samples;
        // Long enough to tell the mode from its neighbours, no longer than the mode is steady in.
        let wished = ((4.0 * std::f64::consts::TAU / component.turn) as usize).max((0.02 * rate_hz) as usize);
        if samples.len() < wished {
            continue;
        }
        let power = tone(&samples[samples.len() - wished..], component.turn).norm_sqr();
        let noise = 16.0 * 0.375 * density / wished as f64;
        compared += 1;
        begins += usize::from(power < 0.25 * amplitude.norm_sqr() + 4.0 * noise);
    }
    compared == 0 || 2 * begins > compared
}

/// Factors on the variances of (decay, turn) from the scatter between taps: 1 unless it is surely larger than the noise.
fn scatter_factors(opinions: &[Option<[(f64, f64); 2]>], noise: f64) -> [f64; 2] {
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

/// Compares the envelope's slopes with the refined decay and with each other.
fn doubt_from_envelope(
    envelope: &Envelope,
    component: &Component,
    rate_hz: f64,
    variance: &mut f64,
    reasons: &mut Vec<ModeReason>,
) {
    let per_sample = |slope_db_per_s: f64| -slope_db_per_s / (8.685_889_638 * rate_hz);
    let [(early, early_u), (late, late_u)] = envelope.halves;
    let bends = (early - late).abs() > 4.0 * early_u.hypot(late_u) && early < 0.0;
    if bends && late > early / BEND {
        let ratio = if late < 0.0 { (early / late).min(99.0) } else { 99.0 };
        reasons.push(ModeReason::TwoSlopes { ratio });
        *variance += (per_sample(early) - component.decay).powi(2);
    } else if bends && late < early * BEND && !reasons.contains(&ModeReason::BendsDown) {
        reasons.push(ModeReason::BendsDown);
        *variance += (per_sample(early) - component.decay).powi(2);
    }
    let difference = per_sample(envelope.slope_db_per_s) - component.decay;
    let allowed = 3.5 * (per_sample(-envelope.slope_db_per_s_u).powi(2) + *variance).sqrt();
    if difference.is_finite() && difference.abs() > allowed && difference.abs() > 0.03 * component.decay {
        reasons.push(ModeReason::EnvelopeDisagrees { by: difference / component.decay });
        *variance += difference * difference;
    }
}

/// Leaves out lines at exact sums and differences of two strong modes that also decay as their product would: loud
/// strokes make them in the air, the part or the microphone.
fn drop_products(modes: &mut Vec<Mode>, left_out: &mut Vec<(f64, &'static str)>) {
    let rate = |m: &Mode| m.damping_ratio * m.frequency_hz;
    let snapshot = modes.clone();
    modes.retain(|m| {
        let product = snapshot.iter().enumerate().any(|(i, a)| {
            snapshot[i..].iter().any(|b| {
                let strong = a.level_db > m.level_db + 25.0 && b.level_db > m.level_db + 25.0;
                let decays = ((rate(a) + rate(b)) / rate(m) - 1.0).abs() < 0.15;
                let meets = [a.frequency_hz + b.frequency_hz, (a.frequency_hz - b.frequency_hz).abs()]
                    .iter()
                    .any(|f| (f - m.frequency_hz).abs() < 3.0 * m.frequency_hz_u + 2e-4 * m.frequency_hz);
                strong && decays && meets
            })
        });
        if product {
            left_out.push((m.frequency_hz, "it may be a sum or difference of two strong modes"));
        }
        !product
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Opinions of (decay, turn), all with the variance 1.
    fn opinions(of_decay: &[f64]) -> Vec<Option<[(f64, f64); 2]>> {
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
}
