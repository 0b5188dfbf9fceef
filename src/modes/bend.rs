//! Decays that bend against physics: a fade, a noise gate or automatic gain.

use std::f64::consts::TAU;

use realfft::num_complex::Complex64;

use super::cluster::Cluster;
use super::component::Component;
use super::envelope::Envelope;
use super::group::Group;
use super::window::{phasor, raised_cosine};
use crate::lanes::dot_single;

/// Decibels of straight decay that must lie before a fade.
const LEAST_STRAIGHT_DB: f64 = 10.0;
/// Halves of a decay that differ by this factor in slope bend.
pub(super) const BEND: f64 = 1.25;
/// The same for a band that takes several exponentials to fit: a sum of them makes any bend.
const BEND_OF_SPLIT: f64 = 1.1;
/// Tappers touch no longer than this (s); common practice, no source.
const LONGEST_CONTACT_S: f64 = 5e-3;
/// A band reaches so many half bandwidths to either side of its modes.
const BAND_REACH: f64 = 4.0;
/// A band must be seen falling by so much (dB).
const LEAST_FALL_DB: f64 = 12.0;

/// How much faster (decay rate) the fitted rest of a ring-down decays than its very beginning, carried back in a straight
/// line from the fit of the whole and the fit of the rest; `None` if it does not. What dies away first makes a beginning
/// steeper, never flatter.
pub(super) fn flatter_at_first(cluster: &Cluster, index: usize) -> Option<f64> {
    let (whole, rest) = (cluster.from_origin.get(index)?.decay, cluster.fit.components[index].decay);
    // The energy's centre lies half a decay time behind the start of each fit.
    let centre = 0.5 / whole.max(1e-12);
    (cluster.start > 0 && rest > whole).then(|| (rest - whole) * (1.0 + centre / cluster.start as f64))
}

/// Whether that is too much for the noise, or a neighbour, to have done.
pub(super) fn bends_at_first(cluster: &Cluster, index: usize, rate_hz: f64) -> bool {
    // What lasts no longer than a soft tapper's contact is the contact.
    let decay = cluster.fit.components[index].decay;
    cluster.start as f64 > LONGEST_CONTACT_S * rate_hz
        && flatter_at_first(cluster, index).is_some_and(|by| BEND * by > (BEND - 1.0) * decay)
}

/// A level that bends down in the strongest modes together: no part does that, a fade, a gate or automatic gain does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Bend {
    /// Straight up to this time after the strike (s).
    After(f64),
    /// So early that no straight stretch worth measuring lies before it.
    Throughout,
}

/// Whether, and from when, most of the strongest modes fall faster than before.
pub(super) fn bend(group: &Group<'_>, envelopes: &[Vec<Envelope>]) -> Option<Bend> {
    if all_bands_bend(group) {
        return Some(Bend::Throughout);
    }
    let taps = group.search.rings.len();
    let mut strong: Vec<(f64, &Envelope)> = Vec::new();
    for (cluster, envelopes) in group.clusters.iter().zip(envelopes) {
        for (component, envelope) in cluster.fit.components.iter().zip(envelopes) {
            if !component.steady && envelope.slope_db_per_s.is_finite() {
                let total: f64 = (0..taps).map(|t| group.search.energy(component, t)).sum();
                strong.push((total, envelope));
            }
        }
    }
    strong.sort_by(|a, b| b.0.total_cmp(&a.0));
    strong.truncate(3);
    let bends = |e: &Envelope| {
        let [(early, early_u), (late, late_u)] = e.halves;
        late < BEND * early && (late - early).abs() > 5.0 * early_u.hypot(late_u)
    };
    let bending = strong.iter().filter(|(_, e)| bends(e)).count();
    if bending == 0 || 2 * bending < strong.len() {
        return None;
    }
    // Enough of the decay must lie before the bend to be worth measuring.
    let worth = |e: &Envelope, end: f64| (end - e.used_s.0) * -e.halves[0].0 > LEAST_STRAIGHT_DB;
    strong
        .iter()
        .filter(|(_, e)| bends(e))
        .filter_map(|(_, e)| straight_until(e).filter(|end| worth(e, *end)))
        .reduce(f64::min)
        .map(Bend::After)
}

/// Neighbouring modes as one band: whatever number of exponentials a fit needed for it.
struct Band {
    /// Limits (rad per sample) and energy over the noise, summed over the taps.
    low: f64,
    high: f64,
    energy: f64,
    modes: usize,
}

fn bands(group: &Group<'_>) -> Vec<Band> {
    let mut components: Vec<&Component> =
        group.clusters.iter().flat_map(|c| c.fit.components.iter()).filter(|c| !c.steady).collect();
    components.sort_by(|a, b| a.turn.total_cmp(&b.turn));
    let mut bands: Vec<Band> = Vec::new();
    for component in components {
        let reach = BAND_REACH * component.decay;
        let energy: f64 = (0..group.search.rings.len()).map(|t| group.search.energy(component, t)).sum();
        match bands.last_mut() {
            Some(band) if component.turn - reach < band.high => {
                band.high = band.high.max(component.turn + reach);
                band.energy += energy;
                band.modes += 1;
            }
            _ => bands.push(Band { low: component.turn - reach, high: component.turn + reach, energy, modes: 1 }),
        }
    }
    bands.sort_by(|a, b| b.energy.total_cmp(&a.energy));
    bands
}

/// Whether all strong bands fall faster and faster from the strike on.
///
/// A sum of decaying exponentials, averaged over their beats, only ever gets flatter; and two bands do not beat alike.
fn all_bands_bend(group: &Group<'_>) -> bool {
    let taps = group.search.rings.len();
    let judged: Vec<bool> = bands(group)
        .iter()
        .take(4)
        .filter_map(|band| {
            let filter = Filter::of(band);
            let mut steeper: Vec<f64> = (0..taps)
                .filter_map(|tap| half_slopes(group, &filter, tap))
                .map(|[early, late]| late / early)
                .collect();
            steeper.sort_by(f64::total_cmp);
            let limit = if band.modes > 1 { BEND_OF_SPLIT } else { BEND };
            Some(*steeper.get(steeper.len() / 2)? > limit)
        })
        .collect();
    judged.len() > 1 && judged.iter().all(|bends| *bends)
}

/// A raised-cosine window turned to the middle of a band: its sum with the samples is the level there.
struct Filter {
    cosine: Vec<f32>,
    sine: Vec<f32>,
    middle: f64,
}

impl Filter {
    fn of(band: &Band) -> Self {
        let middle = 0.5 * (band.low + band.high);
        let window = ((2.0 * TAU / (band.high - band.low)) as usize).max((3.0 * TAU / middle) as usize);
        let filter = |(shape, turn): (f64, Complex64)| ((shape * turn.re) as f32, (shape * turn.im) as f32);
        let (cosine, sine) = raised_cosine(window).zip(phasor(0.0, middle)).map(filter).unzip();
        Self { cosine, sine, middle }
    }
}

/// Slopes (dB a sample) of the first and the second half of a band's level in a tap; `None` where too little is heard.
fn half_slopes(group: &Group<'_>, filter: &Filter, tap: usize) -> Option<[f64; 2]> {
    let ring = &group.search.rings[tap];
    let samples = &ring.samples[ring.lead..];
    let window = filter.sine.len();
    let noise = 16.0 * 0.375 * group.search.density.at(filter.middle / TAU * group.search.rate_hz) / window as f64;
    let mut points: Vec<(f64, f64)> = Vec::new();
    for from in (0..samples.len().saturating_sub(window)).step_by((window / 4).max(1)) {
        let stretch = &samples[from..from + window];
        let sum = Complex64::new(
            f64::from(dot_single(stretch, &filter.cosine)),
            f64::from(dot_single(stretch, &filter.sine)),
        );
        let power = (sum * (4.0 / window as f64)).norm_sqr();
        if power < 30.0 * noise {
            break;
        }
        points.push((from as f64, 10.0 * power.log10()));
    }
    let fallen = points.first()?.1 - points.last()?.1;
    if points.len() < 8 || fallen < LEAST_FALL_DB {
        return None;
    }
    let (early, late) = points.split_at(points.len() / 2);
    Some([slope(early), slope(late)])
}

/// Slope of a line through points, by least squares.
fn slope(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let (mt, ml) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let covariance: f64 = points.iter().map(|(t, l)| (t - mt) * (l - ml)).sum();
    covariance / points.iter().map(|(t, _)| (t - mt).powi(2)).sum::<f64>()
}

/// The longest stretch from the start over which both halves of an envelope have the same slope; its end (s).
fn straight_until(envelope: &Envelope) -> Option<f64> {
    let (from, to) = envelope.used_s;
    let between = |a: f64, b: f64| {
        let points = envelope.time_s.iter().zip(&envelope.level_db).filter(|(t, _)| **t >= a && **t <= b);
        slope(&points.map(|(t, l)| (*t, *l)).collect::<Vec<_>>())
    };
    for tenth in (2..=9).rev() {
        let end = from + (to - from) * f64::from(tenth) / 10.0;
        let middle = 0.5 * (from + end);
        let (early, late) = (between(from, middle), between(middle, end));
        if (late / early - 1.0).abs() < 0.1 {
            return Some(end);
        }
    }
    Some(from + 0.2 * (to - from))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slope_of_a_line() {
        let points = |from: f64| (0..5).map(|n| (from + f64::from(n), 7.0 - 2.5 * f64::from(n))).collect::<Vec<_>>();
        assert!((slope(&points(0.0)) + 2.5).abs() < 1e-12);
        assert!((slope(&points(100.0)) + 2.5).abs() < 1e-9);
        // By least squares: of (0, 0), (1, 1), (2, 0) the line is level.
        assert!(slope(&[(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)]).abs() < 1e-12);
    }
}
