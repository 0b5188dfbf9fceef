//! A room that rings on: its resonances among the modes, and modes read where the part speaks louder than the room.

use super::cluster::{Cluster, MOST_CLEANINGS, group, split};
use super::component::Component;
use super::search::Search;

/// A room's resonances stand at most so far (power) over the sound that drives them.
const ROOM_GAIN: f64 = 4.0;
/// So many of them make an echo.
const LEAST_CLUTTER: usize = 3;
/// Poles closer than so many times the sum of their half-widths are one mode and its echo.
const SPLIT: f64 = 1.5;
/// Time constants of the early part of a decay.
const EARLY_CONSTANTS: f64 = 1.2;

/// Components that may be the room's answer to stronger ones, in ascending order: their peaks stay below the skirts of
/// those, and a room can raise what it is given only a little.
///
/// A decay A exp(-a t) has the spectrum A/(2 |a + i dw|), which falls slowly: the room rings at its own frequencies
/// under it. A mode of the part has a strength of its own.
pub(super) fn clutter(components: &[Component]) -> Vec<usize> {
    let strength = |c: &Component| c.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>();
    (0..components.len())
        .filter(|i| {
            let own = &components[*i];
            if own.steady {
                return false;
            }
            let skirts: f64 = components
                .iter()
                .filter(|c| !c.steady && strength(c) > 4.0 * strength(own))
                .map(|c| strength(c) / ((c.turn - own.turn).powi(2) + c.decay * c.decay))
                .sum();
            strength(own) / (own.decay * own.decay) < ROOM_GAIN * skirts
        })
        .collect()
}

/// Whether so much clutter makes an echo.
pub(super) fn makes_echo(clutter: &[usize], components: &[Component]) -> bool {
    clutter.len() >= LEAST_CLUTTER && 2 * clutter.len() >= components.len()
}

/// In an echoing room one mode comes apart into several poles around it: keeps the strongest of those that overlap.
pub(super) fn merge_split(components: &mut Vec<Component>) {
    let strength = |c: &Component| c.amplitudes.iter().map(|a| a.norm_sqr()).sum::<f64>();
    let snapshot = components.clone();
    components.retain(|own| {
        own.steady
            || !snapshot.iter().any(|c| {
                !c.steady && strength(c) > strength(own) && (c.turn - own.turn).abs() < SPLIT * (c.decay + own.decay)
            })
    });
}

/// The modes in an echoing room: what may be the room's answer taken out, the rest fitted early, and so on, since what is left
/// moves when others are gone.
pub(super) fn under_echo(search: &Search<'_>, mut components: Vec<Component>) -> Vec<Cluster> {
    let mut clusters = Vec::new();
    for _ in 0..MOST_CLEANINGS {
        let before = components.len();
        for index in clutter(&components).into_iter().rev() {
            components.remove(index);
        }
        merge_split(&mut components);
        if !clusters.is_empty() && components.len() == before {
            break;
        }
        clusters = early(search, &mut components);
    }
    let kept: Vec<&Component> = components.iter().collect();
    for cluster in &mut clusters {
        cluster.echo = cluster.fit.components.iter().map(|own| share_of_room(search, own, &kept)).collect();
    }
    clusters
}

/// Share of the energy around a mode that is left over the whole ring-down when all modes are taken away: the room's.
fn share_of_room(search: &Search<'_>, own: &Component, modes: &[&Component]) -> f64 {
    let bins = search.bins(&[own], 0);
    let energy = |without: &[&Component]| {
        let band = search.band_of(bins.clone(), 0, 0, without);
        (band.taps.iter().map(|t| t.energy).sum::<f64>() - band.data_freedom()).max(0.0)
    };
    // Hum is neither the mode's nor the room's answer to it.
    let steady: Vec<&Component> = modes.iter().copied().filter(|c| c.steady).collect();
    energy(modes) / energy(&steady).max(1.0)
}

/// Fits each mode on the early part of its decay, where the part speaks louder than the room.
fn early(search: &Search<'_>, components: &mut [Component]) -> Vec<Cluster> {
    let mut clusters = Vec::new();
    for _ in 0..2 {
        clusters.clear();
        for members in group(search, components) {
            let (own, others) = split(components, &members);
            let fastest = own.iter().map(|c| c.decay).fold(0.0, f64::max);
            let scale = search.scale_lasting(fastest, EARLY_CONSTANTS);
            let Some(fit) = search.band(&own.iter().collect::<Vec<_>>(), scale, 0, &others).fit(&own, 12) else {
                continue;
            };
            for (place, index) in members.iter().enumerate() {
                components[*index] = fit.components[place].clone();
            }
            clusters.push(Cluster::at_origin(fit, scale));
        }
    }
    clusters
}
