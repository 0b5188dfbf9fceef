//! Neighbouring modes that are fitted together, and who is whose neighbour.

use super::component::Component;
use super::hidden::Hidden;
use super::joint::Fit;
use super::search::{MOST_TOGETHER, Search};

pub(super) const MOST_CLEANINGS: usize = 4;

/// Neighbouring components with their joint fit.
pub(super) struct Cluster {
    pub fit: Fit,
    /// The components as fitted from the origin of the transforms, for taking them away from others: one that was fitted
    /// from a later start must not be carried back beyond it.
    pub from_origin: Vec<Component>,
    /// Index of the transform length used.
    pub scale: usize,
    /// Start of the fit, samples behind the origin of the transforms.
    pub start: isize,
    /// The start had to be put late because the first milliseconds disagree with the rest.
    pub disturbed: bool,
    /// For each component, the room's share of the energy around it; empty where no echo is heard. What the fit leaves there is no
    /// noise but the same in every tap.
    pub echo: Vec<f64>,
    /// Change of (decay, turn) of each component between the start used and the next later one, where they disagree.
    pub start_shift: Vec<[f64; 2]>,
    /// For each component, what a second mode hiding in it would change; empty where none is looked for.
    pub hidden: Vec<Hidden>,
}

impl Cluster {
    /// A fit from the origin of the transforms, as it is.
    pub(super) fn at_origin(fit: Fit, scale: usize) -> Self {
        let from_origin = fit.components.clone();
        Self {
            from_origin,
            fit,
            scale,
            start: 0,
            disturbed: false,
            echo: Vec::new(),
            start_shift: Vec::new(),
            hidden: Vec::new(),
        }
    }
}

pub(super) fn split<'c>(components: &'c [Component], members: &[usize]) -> (Vec<Component>, Vec<&'c Component>) {
    let own = members.iter().map(|i| components[*i].clone()).collect();
    let others = (0..components.len()).filter(|i| !members.contains(i)).map(|i| &components[i]).collect();
    (own, others)
}

/// Runs of components, by frequency, whose bands touch; cut at the widest gap if too many.
pub(super) fn group(search: &Search<'_>, components: &[Component]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (i, component) in components.iter().enumerate() {
        let touches = groups
            .last()
            .is_some_and(|g| g.len() < MOST_TOGETHER && g.iter().any(|j| search.touch(&components[*j], component)));
        match groups.last_mut() {
            Some(last) if touches => last.push(i),
            _ => groups.push(vec![i]),
        }
    }
    groups
}
