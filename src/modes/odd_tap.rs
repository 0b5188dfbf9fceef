//! Taps that do not belong with the others of their take, and why: a second strike in one, or held differently.

use std::borrow::Cow;

use super::component::Component;
use super::double_hit::second_strike;
use super::rings::Ring;
use super::search::Search;
use super::steady_line::SteadyLine;
use crate::sound::TapReason;

/// Taps are compared with each other in groups of so many at most: each is left out once.
const MOST_COMPARED: usize = 8;
/// A take whose modes leave less than this share of its energy unexplained has no odd tap.
const ODD_SHARE: f64 = 3e-5;
/// The same where so many modes crowd that weaker ones, unseen among them, are most of what is left.
const ODD_SHARE_CROWDED: f64 = 3e-4;
/// Without an odd tap less than this part of the unexplained share remains, of what remains without any other.
const REMAINS: f64 = 0.4;
/// Without a good tap at least this part of it remains on average, for the odd one is still there.
const STAYS: f64 = 0.25;
/// Without two odd ones less than this part remains of what remains without any single one: there are many pairs to choose from.
const REMAINS_OF_PAIR: f64 = 0.1;
/// Taps that must remain to be believed against one odd tap, and against two.
const LEAST_LEFT: usize = 2;
const LEAST_LEFT_OF_PAIR: usize = 3;
/// Among more modes than this, pairs of odd taps are not looked for and searches are not settled: both would take long.
/// A second strike is looked for among the strongest so many.
const MOST_MODES: usize = 12;

/// The taps that do not fit in with the others: their places among the rings, and why.
pub(super) fn odd_taps(search: &Search<'_>, lines: &[SteadyLine]) -> Vec<(usize, TapReason)> {
    let taps = search.rings.len();
    // Of two that differ nothing tells which is the odd one.
    if taps < 1 + LEAST_LEFT {
        return Vec::new();
    }
    let places: Vec<usize> = (0..taps).collect();
    // Groups of nearly the same size.
    let groups = taps.div_ceil(MOST_COMPARED);
    places.chunks(taps.div_ceil(groups)).flat_map(|group| odd_among(search, lines, group)).collect()
}

impl Search<'_> {
    /// A finished search among some of the taps, settled where it is not crowded; `rings` are theirs.
    fn again<'b>(&'b self, lines: &[SteadyLine], taps: &[usize], rings: &'b [Ring]) -> Search<'b> {
        let scales = self.scales.iter().map(|scale| scale.of_rings(taps)).collect();
        let mut search = Search::new(scales, rings, self.density, self.rate_hz, self.range_hz, self.noise_known);
        search.remove_lines(lines);
        search.run();
        if search.components.len() <= MOST_MODES {
            search.settle();
        }
        search
    }

    /// Whether a component is the oddity of a tap or two. It came back when it was found; fits made since can have moved it.
    fn is_stray(&self, component: &Component) -> bool {
        !component.steady && !self.comes_back(component, 1.0)
    }

    /// Share of the energy that stands out of the noise which the components that come back leave unexplained.
    fn unexplained(&self) -> f64 {
        let mut whole = Cow::Borrowed(&self.scales[0]);
        for stray in self.components.iter().filter(|c| self.is_stray(c)) {
            whole.to_mut().apply(stray, 1.0, self.reach_away_hz(stray, &self.scales[0]), self.rate_hz);
        }
        let at = |hz: f64| (hz / whole.bin_hz(self.rate_hz)) as usize;
        let (all, left) = whole.power_above(self.threshold(), at(self.range_hz.0)..at(self.range_hz.1));
        if all > 0.0 { left / all } else { 0.0 }
    }

    /// The components with the most energy among those that come back, at most so many.
    fn strongest(&self, most: usize) -> Vec<Component> {
        let energy = |c: &Component| (0..self.rings.len()).map(|tap| self.energy(c, tap)).sum::<f64>();
        let mut modes: Vec<Component> =
            self.components.iter().filter(|c| !c.steady && !self.is_stray(c)).cloned().collect();
        modes.sort_by(|a, b| energy(b).total_cmp(&energy(a)));
        modes.truncate(most);
        modes
    }
}

/// The one of a group, or the two, without which the rest agree.
fn odd_among(search: &Search<'_>, lines: &[SteadyLine], group: &[usize]) -> Vec<(usize, TapReason)> {
    let without = |odd: &[usize]| {
        let rest: Vec<usize> = group.iter().copied().filter(|tap| !odd.contains(tap)).collect();
        let rings: Vec<Ring> = rest.iter().map(|tap| search.rings[*tap].clone()).collect();
        let search = search.again(lines, &rest, &rings);
        (search.unexplained(), search.strongest(MOST_MODES))
    };
    if group.len() < 1 + LEAST_LEFT {
        return Vec::new();
    }
    let odd_share = if search.crowded { ODD_SHARE_CROWDED } else { ODD_SHARE };
    if group.len() == search.rings.len() && search.unexplained() < odd_share {
        return Vec::new();
    }
    let whole = without(&[]).0;
    if whole < odd_share {
        return Vec::new();
    }
    let mut tried: Vec<(f64, usize, Vec<Component>)> = group
        .iter()
        .map(|odd| {
            let (left, modes) = without(&[*odd]);
            (left, *odd, modes)
        })
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    let told = |odd: usize, modes: &[Component]| {
        let after_s = second_strike(&search.rings[odd], modes, search.rate_hz);
        (odd, after_s.map_or(TapReason::UnlikeOthers, |after_s| TapReason::DoubleHit { after_s }))
    };
    let others = tried[1..].iter().map(|t| t.0).sum::<f64>() / (tried.len() - 1) as f64;
    if tried[0].0 < REMAINS * tried[1].0 && others > STAYS * whole {
        return vec![told(tried[0].1, &tried[0].2)];
    }
    // Two odd ones hide each other. There are many pairs, and where many modes crowd each takes long.
    if group.len() < 2 + LEAST_LEFT_OF_PAIR || search.components.len() > MOST_MODES {
        return Vec::new();
    }
    let pairs = (0..group.len()).flat_map(|i| (i + 1..group.len()).map(move |j| [group[i], group[j]]));
    let mut tried_pairs: Vec<(f64, [usize; 2], Vec<Component>)> = pairs
        .map(|pair| {
            let (left, modes) = without(&pair);
            (left, pair, modes)
        })
        .collect();
    tried_pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (left, pair, modes) = &tried_pairs[0];
    let decisive = *left < REMAINS * tried_pairs[1].0 && *left < REMAINS_OF_PAIR * tried[0].0;
    if decisive { pair.iter().map(|odd| told(*odd, modes)).collect() } else { Vec::new() }
}
