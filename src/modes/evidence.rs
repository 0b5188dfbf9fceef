//! The evidence for each mode, and its uncertainty.
//!
//! A mode must begin with the tap, decay, and come back in the next accepted tap.

use super::bend::bends_at_first;
use super::cluster::Cluster;
use super::component::Component;
use super::envelope::Envelope;
use super::group::Group;
use super::interval::{Scatter, Widening};
use super::left_out::LeftOutReason;
use super::mode::{Mode, ModeReason};
use super::noise_of_fit::NoiseOfFit;
use super::presence::MOST_DAMPING;
use super::rings::Before;
use super::steady_line::may_wander_to;
use super::window::tone;

/// A decay rate is told apart from nothing by at least so many of its standard uncertainties.
const LEAST_CERTAINTY: f64 = 1.9;
/// ... and where a room's echo is what makes it uncertain, which leaves no doubt that there is a mode.
const LEAST_CERTAINTY_IN_ECHO: f64 = 1.0;
/// A tone that loses less than this (dB) over the whole ring-down is not decaying.
const LEAST_DECAY_DB: f64 = 1.5;
/// A mode that has decayed by this much (dB) when the sound ends is seen to decay.
const MUCH_DECAY_DB: f64 = 20.0;

fn density(group: &Group<'_>, component: &Component) -> f64 {
    group.search.density.at(component.frequency_hz(group.search.rate_hz))
}

/// Judges every component: a mode with its uncertainty and doubts, or left out with the reason.
pub(super) fn judge(
    group: &Group<'_>,
    envelopes: Vec<Vec<Envelope>>,
    before: &[Before],
) -> (Vec<Mode>, Vec<(f64, LeftOutReason)>) {
    let rate_hz = group.search.rate_hz;
    let mut modes = Vec::new();
    let mut left_out = Vec::new();
    for (cluster, envelopes) in group.clusters.iter().zip(envelopes) {
        let noise = NoiseOfFit::of(group, cluster);
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
    modes.sort_by(|a, b| a.frequency.value.total_cmp(&b.frequency.value));
    let strongest = modes.iter().map(|m| m.level_full_scale_db).fold(f64::NEG_INFINITY, f64::max);
    for mode in &mut modes {
        mode.level_db = mode.level_full_scale_db - strongest;
    }
    drop_products(&mut modes, &mut left_out);
    (modes, left_out)
}

fn judge_one(
    group: &Group<'_>,
    cluster: &Cluster,
    index: usize,
    noise: &NoiseOfFit,
    envelope: Envelope,
    before: &[Before],
) -> Result<Mode, LeftOutReason> {
    let search = &group.search;
    let rate_hz = search.rate_hz;
    let component = &cluster.fit.components[index];
    let taps = search.rings.len();
    let density = density(group, component);
    let heard = search.heard(component, noise.variance);
    if !search.comes_back(component, noise.variance) {
        return Err(LeftOutReason::HeardOnce);
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
        return Err(LeftOutReason::NotLikeAMode);
    }
    if !begins_with_the_tap(component, before, density, rate_hz) {
        return Err(LeftOutReason::SoundedBefore);
    }

    let covariance = cluster.fit.pole_covariance(index);
    let opinions = cluster.fit.tap_opinions(index);
    let (mut widening, scatter) = Widening::new(covariance, noise, &opinions, component.decay);
    let mut reasons = Vec::new();
    if taps == 1 {
        reasons.push(ModeReason::SingleTap);
    }
    match scatter {
        Scatter::Beats { .. } => reasons.push(ModeReason::BeatingUnresolved),
        Scatter::TapsDiffer => reasons.push(ModeReason::TapsDiffer),
        Scatter::Explained => {}
    }
    if component.decay < 3.0 * widening.variance(0).sqrt() {
        return Err(LeftOutReason::NoMeasurableDecay);
    }
    let whole = search.scales[0].lengths.iter().copied().max().unwrap_or(0);
    let decayed_db = 8.685_889_638 * component.decay * whole as f64;
    if decayed_db < LEAST_DECAY_DB {
        return Err(LeftOutReason::AsLoudAtTheEnd);
    }
    let beats = matches!(scatter, Scatter::Beats { .. });
    if let Scatter::Beats { spread } = scatter {
        widening.raise_to(spread);
    }

    let echo = cluster.echo.get(index).copied();
    if let Some(share) = echo {
        reasons.push(ModeReason::RoomEcho { share });
        widening.reverberation(share, component.decay);
    } else if noise.misfit {
        if noise.unexplained > if search.noise_known { 1e-4 } else { 1e-2 } {
            reasons.push(ModeReason::PoorFit { share: noise.unexplained });
        }
        widening.misfit(noise.unexplained, component.decay);
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
        widening.disturbed_start(cluster, index, bends || !search.noise_known);
    }
    if let Some(hidden) = cluster.hidden.get(index) {
        widening.hidden(hidden.shift);
        if hidden.named && !beats {
            reasons.push(ModeReason::BeatingUnresolved);
        }
    }
    let bends_already = reasons.contains(&ModeReason::BendsDown);
    reasons.extend(widening.envelope(&envelope, component, rate_hz, bends_already));

    let certainty = if echo.is_some() { LEAST_CERTAINTY_IN_ECHO } else { LEAST_CERTAINTY };
    if component.decay < certainty * widening.variance(0).sqrt()
        || certainty * component.decay < widening.variance(1).sqrt()
    {
        return Err(LeftOutReason::TooUncertain);
    }
    if component.decay / component.decay.hypot(component.turn) > MOST_DAMPING {
        return Err(LeftOutReason::Thud);
    }

    let over_noise_db = -envelope.noise_db;
    let decay_seen_db = over_noise_db.min(decayed_db).max(0.0);
    let mut known = group.clusters.iter().flat_map(|c| &c.from_origin);
    if decayed_db < MUCH_DECAY_DB && known.any(|line| may_wander_to(line, component)) {
        return Err(LeftOutReason::WanderingLine);
    }
    if decayed_db < MUCH_DECAY_DB && decayed_db < over_noise_db {
        reasons.push(ModeReason::RecordTooShort { decibels: decayed_db });
    } else if decay_seen_db < 15.0 {
        reasons.push(ModeReason::FewDecibels { decibels: decay_seen_db });
    }

    let (frequency, damping_ratio) = widening.figures(component, rate_hz);
    let hz = |decay: f64, turn: f64| decay.hypot(turn) * rate_hz / std::f64::consts::TAU;
    let per_tap = opinions
        .iter()
        .map(|opinion| {
            let [(decay, _), (turn, _)] = (*opinion)?;
            let (decay, turn) = (component.decay + decay, component.turn + turn);
            let own = (hz(decay, turn), decay / decay.hypot(turn));
            (own.0.is_finite() && own.1.is_finite()).then_some(own)
        })
        .collect();
    // Back from the origin to the strike, and through the whitening filter.
    let to_strike = (component.decay * group.origin_s * rate_hz).exp() / group.whitening.gain(component.pole()).norm();
    let mean_square = component.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>() / taps as f64;
    Ok(Mode {
        frequency,
        damping_ratio,
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

/// Leaves out lines at exact sums and differences of two strong modes that also decay as their product would: loud
/// strokes make them in the air, the part or the microphone.
fn drop_products(modes: &mut Vec<Mode>, left_out: &mut Vec<(f64, LeftOutReason)>) {
    let rate = |m: &Mode| m.damping_ratio.value * m.frequency.value;
    let snapshot = modes.clone();
    modes.retain(|m| {
        let product = snapshot.iter().enumerate().any(|(i, a)| {
            snapshot[i..].iter().any(|b| {
                let strong = a.level_db > m.level_db + 25.0 && b.level_db > m.level_db + 25.0;
                let decays = ((rate(a) + rate(b)) / rate(m) - 1.0).abs() < 0.15;
                let meets = [a.frequency.value + b.frequency.value, (a.frequency.value - b.frequency.value).abs()]
                    .iter()
                    .any(|f| (f - m.frequency.value).abs() < 3.0 * m.frequency.u_95() + 2e-4 * m.frequency.value);
                strong && decays && meets
            })
        });
        if product {
            left_out.push((m.frequency.value, LeftOutReason::SumOrDifference));
        }
        !product
    });
}
