//! The last refinement: neighbouring modes together, everything else taken away exactly, from the earliest start of the
//! free decay that the data allow.

use super::cluster::{Cluster, MOST_CLEANINGS, group, split};
use super::component::Component;
use super::echo::{clutter, makes_echo, merge_split, under_echo};
use super::hidden::hidden;
use super::joint::Fit;
use super::presence::MOST_DAMPING;
use super::search::Search;

/// Starts of the fit that are tried, relative to the origin (s): the first is the earliest sample after the strike.
const STARTS_S: [f64; 10] = [-1.5e-3, -1.2e-3, 0.0, 2.5e-3, 6.5e-3, 14.5e-3, 30.5e-3, 62.5e-3, 125e-3, 250e-3];
/// Where the first of them lies that is tried: at the origin; later in a crowded take, whose unseen weak modes are mostly
/// high and fast and must have died away first.
const FIRST_START: usize = 2;
const FIRST_START_CROWDED: usize = 4;
/// A later start is not tried if it costs the slowest mode more than this many nepers.
const MOST_LOST_NEPERS: f64 = 1.2;
/// Estimates from two starts agree within so many standard deviations of their difference. Some fifty of them are compared in a
/// take; with 3 one take in ten would give up an early start, and its precision, by chance.
const AGREE: f64 = 4.0;
/// Sweeps over all groups at most, and the change (in standard deviations) that no longer counts as one.
const SWEEPS: usize = 12;
const STILL: f64 = 0.05;

/// Refines everything that the search found.
pub(super) fn refine(search: &Search<'_>) -> Vec<Cluster> {
    let mut components = search.components.clone();
    components.sort_by(|a, b| a.turn.total_cmp(&b.turn));
    let mut fits = sweep(search, &mut components);
    // What looked like a mode while its neighbours were not yet known may be one no longer.
    for _ in 0..MOST_CLEANINGS {
        let mut out = run_away(search, &components);
        if out.is_empty() {
            out = unneeded(search, &components, &fits);
        }
        if out.is_empty() {
            break;
        }
        for index in out.into_iter().rev() {
            components.remove(index);
        }
        fits = sweep(search, &mut components);
    }
    let clutter = clutter(&components);
    if !search.noise_known && !clutter.is_empty() {
        // Without a noise to compare with, whatever a stronger mode's imperfect decay may leave is no mode.
        for index in clutter.iter().rev() {
            components.remove(*index);
        }
        merge_split(&mut components);
        fits = sweep(search, &mut components);
    } else if makes_echo(&clutter, &components) {
        return under_echo(search, components);
    }
    let mut clusters = Vec::new();
    for (members, fit) in fits {
        let Some((fit, scale)) = fit else { continue };
        let (_, others) = split(&components, &members);
        clusters.push(best_start(search, fit, scale, &others));
    }
    clusters
}

type GroupFit = (Vec<usize>, Option<(Fit, usize)>);

/// Fits all groups in turn, each with the others taken away, until nothing moves.
fn sweep(search: &Search<'_>, components: &mut [Component]) -> Vec<GroupFit> {
    let mut fits: Vec<GroupFit> = group(search, components).into_iter().map(|members| (members, None)).collect();
    for sweep in 0..SWEEPS {
        let mut moved = false;
        for (members, fitted) in &mut fits {
            let (own, others) = split(components, members);
            let scale = search.scale_of(&own);
            let band = search.band(&own.iter().collect::<Vec<_>>(), scale, 0, &others);
            let Some(fit) = band.fit(&own, 12) else { continue };
            for (place, index) in members.iter().enumerate() {
                let (old, new) = (&components[*index], &fit.components[place]);
                let variance = fit.pole_covariance(place);
                moved |= (old.turn - new.turn).powi(2) > STILL * STILL * variance[1][1]
                    || (old.decay - new.decay).powi(2) > STILL * STILL * variance[0][0];
                components[*index] = new.clone();
            }
            *fitted = Some((fit, scale));
        }
        if !moved && sweep > 0 {
            break;
        }
    }
    fits
}

/// Components that fits with their neighbours have driven where no mode is, in ascending order: there they can grow without
/// bounds and drown those that are modes.
fn run_away(search: &Search<'_>, components: &[Component]) -> Vec<usize> {
    let stays = |c: &Component| {
        let hz = c.frequency_hz(search.rate_hz);
        c.steady
            || (c.decay < MOST_DAMPING * c.turn.hypot(c.decay) && (search.range_hz.0..=search.range_hz.1).contains(&hz))
    };
    (0..components.len()).filter(|i| !stays(&components[*i])).collect()
}

/// Components, at most one of each group, that the data do not need, in ascending order.
fn unneeded(search: &Search<'_>, components: &[Component], fits: &[GroupFit]) -> Vec<usize> {
    let mut unneeded = Vec::new();
    for (members, fitted) in fits {
        let Some((with, scale)) = fitted else {
            unneeded.extend(members.iter().copied().filter(|i| !components[*i].steady).take(1));
            continue;
        };
        let strength = |i: usize| components[i].amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>();
        let weakest = members
            .iter()
            .enumerate()
            .filter(|(_, i)| !components[**i].steady)
            .min_by(|a, b| strength(*a.1).total_cmp(&strength(*b.1)));
        let Some((place, &index)) = weakest else { continue };
        let (own, others) = split(components, members);
        let bins = search.bins(&own.iter().collect::<Vec<_>>(), *scale);
        let band = search.band_of(bins, *scale, 0, &others);
        let rest: Vec<Component> =
            own.iter().enumerate().filter(|(p, _)| *p != place).map(|(_, c)| c.clone()).collect();
        let gain = if rest.is_empty() {
            band.gain(&own[place])
        } else {
            band.fit(&rest, 10).map_or(f64::INFINITY, |without| without.chi2 - with.chi2)
        };
        if !search.is_real(with, place, gain) {
            unneeded.push(index);
        }
    }
    unneeded.sort_unstable();
    unneeded
}

fn best_start(search: &Search<'_>, fit: Fit, scale: usize, others: &[&Component]) -> Cluster {
    let rate_hz = search.rate_hz;
    let samples = |i: usize| (STARTS_S[i] * rate_hz).round() as isize;
    let decays = || fit.components.iter().filter(|c| !c.steady).map(|c| c.decay);
    if decays().count() == 0 {
        return Cluster::at_origin(fit, scale);
    }
    let slowest = decays().fold(f64::INFINITY, f64::min);
    let affordable = |i: usize| samples(i) as f64 * slowest < MOST_LOST_NEPERS;
    // The same bins for all starts, so that their residuals can be compared.
    let bins = search.bins(&fit.components.iter().collect::<Vec<_>>(), scale);
    let run = |i: usize, from: &Fit| search.band_of(bins.clone(), scale, samples(i), others).fit(&from.components, 8);
    let Some(fit) = run(FIRST_START, &fit) else {
        return Cluster::at_origin(fit, scale);
    };
    if !search.noise_known {
        return least_uncertain_start(search, fit, scale, &run);
    }
    let mut current = FIRST_START;
    let from_origin = fit.components.clone();
    let mut fit = fit;
    if search.crowded
        && affordable(FIRST_START_CROWDED)
        && let Some(later) = run(FIRST_START_CROWDED, &fit)
    {
        current = FIRST_START_CROWDED;
        fit = later;
    }
    let mut fits: Vec<Option<Fit>> = vec![None; STARTS_S.len()];
    fits[current] = Some(fit.clone());
    let mut disturbed = false;
    let mut shift = Vec::new();
    // Later while the next later start disagrees.
    while current + 1 < STARTS_S.len() && affordable(current + 1) {
        let Some(now) = fits[current].clone() else { break };
        let Some(later) = run(current + 1, &now) else { break };
        if agree(&now, &later) {
            shift.clear();
            fits[current + 1] = Some(later);
            break;
        }
        shift = difference(&now, &later);
        fits[current + 1] = Some(later);
        current += 1;
        disturbed = true;
    }
    // Earlier as long as nothing speaks against it.
    while current > 0 && !disturbed && !search.crowded {
        let Some(now) = fits[current].clone() else { break };
        let Some(earlier) = run(current - 1, &now) else { break };
        if !agree(&earlier, &now) {
            break;
        }
        current -= 1;
        fits[current] = Some(earlier);
    }
    let chosen = fits[current].take().unwrap_or(fit);
    let band = search.band_of(bins, scale, samples(current), others);
    let hidden = hidden(&band, &chosen, search.rings.len(), search.crowded);
    Cluster {
        fit: chosen,
        from_origin,
        scale,
        start: samples(current),
        disturbed,
        echo: Vec::new(),
        start_shift: shift,
        hidden,
    }
}

/// The start for a take whose noise is not known, so that no test can say when the first milliseconds disagree: the one
/// that leaves the least uncertainty, misfit included.
fn least_uncertain_start(
    search: &Search<'_>,
    fit: Fit,
    scale: usize,
    run: &dyn Fn(usize, &Fit) -> Option<Fit>,
) -> Cluster {
    let from_origin = fit.components.clone();
    let doubt = |fit: &Fit, start: f64| {
        let ratio = fit.chi2 / fit.freedom.max(1.0);
        let taps = search.rings.len();
        let energy: f64 = fit
            .components
            .iter()
            .filter(|c| !c.steady)
            .map(|c| (0..taps).map(|t| search.energy(c, t)).sum::<f64>() * (-2.0 * c.decay * start).exp())
            .sum();
        let misfit = 4.0 * fit.chi2 / energy.max(1e-30);
        let strongest = (0..fit.components.len())
            .filter(|i| !fit.components[*i].steady)
            .max_by(|a, b| {
                let strength = |i: &usize| search.energy(&fit.components[*i], 0);
                strength(a).total_cmp(&strength(b))
            })
            .unwrap_or(0);
        let decay = fit.components[strongest].decay;
        fit.pole_covariance(strongest)[0][0] * ratio / (decay * decay) + misfit
    };
    let slowest = from_origin.iter().filter(|c| !c.steady).map(|c| c.decay).fold(f64::INFINITY, f64::min);
    let mut best = (doubt(&fit, 0.0), fit, 0isize);
    let mut last = best.1.clone();
    for (i, start_s) in STARTS_S.iter().enumerate().skip(3) {
        let start = (start_s * search.rate_hz).round();
        if start * slowest > MOST_LOST_NEPERS {
            break;
        }
        let Some(later) = run(i, &last) else { break };
        let doubt = doubt(&later, start);
        if doubt < 0.8 * best.0 {
            best = (doubt, later.clone(), start as isize);
        }
        last = later;
    }
    let (_, fit, start) = best;
    Cluster {
        from_origin,
        fit,
        scale,
        start,
        disturbed: start > 0,
        echo: Vec::new(),
        start_shift: Vec::new(),
        hidden: Vec::new(),
    }
}

fn difference(a: &Fit, b: &Fit) -> Vec<[f64; 2]> {
    a.components.iter().zip(&b.components).map(|(x, y)| [x.decay - y.decay, x.turn - y.turn]).collect()
}

/// Whether a fit from an earlier start is what a later start foretells (Hausman's test, and the added residual).
fn agree(earlier: &Fit, later: &Fit) -> bool {
    let noise = (later.chi2 / later.freedom.max(1.0)).max(1e-3);
    let added = (earlier.chi2 - later.chi2) / noise;
    let expected = (earlier.freedom - later.freedom).max(0.0) + 2.0;
    if added > expected + 4.0 * (2.0 * expected).sqrt() {
        return false;
    }
    for (index, (a, b)) in earlier.components.iter().zip(&later.components).enumerate() {
        let (ca, cb) = (earlier.pole_covariance(index), later.pole_covariance(index));
        for (axis, delta) in [a.decay - b.decay, a.turn - b.turn].into_iter().enumerate() {
            if axis == 0 && a.steady {
                continue;
            }
            // The later estimate is the less precise one; the difference has the difference of the variances.
            let variance = ((cb[axis][axis] - ca[axis][axis]).max(0.02 * ca[axis][axis])) * noise;
            if delta * delta > AGREE * AGREE * variance {
                return false;
            }
        }
    }
    true
}
