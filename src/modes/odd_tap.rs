//! A tap that does not belong with the others of its take, and why: a second strike in it, or held differently.

use realfft::num_complex::Complex64;

use super::clusters::Cluster;
use super::component::Component;
use super::estimate::Group;
use super::evidence::cluster_energy;
use crate::sound::TapReason;

/// A tap whose misfit is this share of its energy, and so many times the median tap's, is unlike the others.
const ODD_SHARE: f64 = 0.004;
const ODD_TIMES: f64 = 6.0;
/// A jump of a mode's complex amplitude by this part of it within a ring-down is a second strike.
const SECOND_STRIKE: f64 = 0.15;

/// The tap that fits the joint picture worst, if it does not belong to it: its place in the group, and why.
pub(super) fn odd_tap(group: &Group<'_>) -> Option<(usize, TapReason)> {
    let taps = group.search.rings.len();
    if taps < 2 {
        return None;
    }
    // Does any tap fit badly at all? The clusters that say so, strongest first.
    let misfit = |chi2: f64, freedom: f64| (chi2 - freedom - 4.0 * (2.0 * freedom.max(1.0)).sqrt()).max(0.0);
    let mut suspicious: Vec<(f64, &Cluster)> = group
        .clusters
        .iter()
        .filter_map(|cluster| {
            let energy: f64 = (0..taps).map(|t| cluster_energy(group, cluster, t)).sum();
            (misfit(cluster.fit.chi2, cluster.fit.freedom) > 0.2 * ODD_SHARE * energy).then_some((energy, cluster))
        })
        .collect();
    suspicious.sort_by(|a, b| b.0.total_cmp(&a.0));
    suspicious.truncate(4);
    if suspicious.is_empty() {
        return None;
    }
    // A good tap fits well with poles of its own, whatever a bad one did to the joint ones.
    let everything: Vec<&Component> = group.clusters.iter().flat_map(|c| c.fit.components.iter()).collect();
    let mut misfits = vec![0.0; taps];
    let mut totals = vec![1.0; taps];
    for (_, cluster) in &suspicious {
        let own = &cluster.fit.components;
        let others: Vec<&Component> =
            everything.iter().copied().filter(|c| !own.iter().any(|o| std::ptr::eq(o, *c))).collect();
        let band = group.search.band(&own.iter().collect::<Vec<_>>(), cluster.scale, 0, &others);
        for tap in 0..taps {
            let mut alone = own.clone();
            alone.iter_mut().for_each(|c| c.amplitudes = vec![c.amplitudes[tap]]);
            let Some(fit) = band.only(tap).fit(&alone, 8) else { continue };
            misfits[tap] += misfit(fit.chi2, fit.freedom);
            totals[tap] += cluster_energy(group, cluster, tap);
        }
    }
    let shares: Vec<f64> = misfits.iter().zip(&totals).map(|(m, t)| m / t).collect();
    let worst = (0..taps).max_by(|a, b| shares[*a].total_cmp(&shares[*b]))?;
    let mut others: Vec<f64> = (0..taps).filter(|t| *t != worst).map(|t| shares[t]).collect();
    others.sort_by(f64::total_cmp);
    let median = others[others.len() / 2];
    if shares[worst] < ODD_SHARE || shares[worst] < ODD_TIMES * median + 0.001 {
        return None;
    }
    let reason =
        second_strike(group, worst).map_or(TapReason::UnlikeOthers, |after_s| TapReason::DoubleHit { after_s });
    Some((worst, reason))
}

/// Time after the onset (s) of a second strike in a ring-down, seen as a jump of the strongest mode's amplitude.
fn second_strike(group: &Group<'_>, tap: usize) -> Option<f64> {
    let rate_hz = group.search.rate_hz;
    let components = || group.clusters.iter().flat_map(|c| c.fit.components.iter()).filter(|c| !c.steady);
    let strongest = components().max_by(|a, b| a.amplitudes[tap].norm().total_cmp(&b.amplitudes[tap].norm()))?;
    let ring = &group.search.rings[tap];
    let window = ((4.0 * std::f64::consts::TAU / strongest.turn) as usize).max((0.006 * rate_hz) as usize);
    let lasts = ((3.0 / strongest.decay.max(1e-9)) as usize).min(ring.length());
    let samples = &ring.samples[ring.lead..ring.lead + lasts];
    // The ring-down divided by the mode's own decay: constant for one strike.
    let factor = Complex64::new(strongest.decay, -strongest.turn);
    let points: Vec<Complex64> = samples
        .chunks_exact(window)
        .enumerate()
        .map(|(i, chunk)| {
            let sum: Complex64 = chunk
                .iter()
                .enumerate()
                .map(|(n, s)| {
                    let shape = 0.5 - 0.5 * (std::f64::consts::TAU * (n as f64 + 0.5) / window as f64).cos();
                    (factor * (i * window + n) as f64).exp() * (f64::from(*s) * shape)
                })
                .sum();
            sum * (4.0 / window as f64)
        })
        .collect();
    if points.len() < 4 {
        return None;
    }
    let mean = |p: &[Complex64]| p.iter().sum::<Complex64>() / p.len() as f64;
    let (at, jump) = (1..points.len() - 1)
        .map(|i| {
            let (before, after) = (mean(&points[..i]), mean(&points[i..(i + 3).min(points.len())]));
            (i, (after - before).norm() / before.norm().max(1e-12))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    (jump > SECOND_STRIKE).then(|| (at * window) as f64 / rate_hz + group.origin_s)
}
