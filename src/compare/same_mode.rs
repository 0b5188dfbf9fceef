//! Which modes of several takes are one, the part hung again between them.

use super::scatter::Reading;
use crate::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_FREQUENCY};
use crate::uncertainty::{Cause, Figure};

/// A mode of a stage, joined over its takes.
#[derive(Debug, Clone, PartialEq)]
pub struct StageMode {
    pub frequency: Figure,
    pub damping_ratio: Figure,
    pub level_db: f64,
    pub name: Option<String>,
    pub taps: usize,
}

/// Two takes' modes are one if they lie within this share of the frequency, or four uncertainties, the shift that all modes of a take
/// share taken off: of a shop whose takes scatter twice as much as assumed, mode by mode, these are 3.5 standard deviations.
pub(super) const SAME_MODE: f64 = 10.0 * HUNG_AGAIN_FREQUENCY;
/// All modes of a take shift by no more than this share when the part is hung again.
const LARGEST_SHIFT: f64 = 0.02;
/// So many modes must say by how much.
const SHOW_A_SHIFT: usize = 3;

/// Readings of one mode: each with its take's place.
pub(super) type Group<'a> = Vec<(usize, &'a StageMode)>;

/// Which modes of the takes are one; what most takes do not hear is left out.
pub(super) fn same_modes(takes: &[Vec<StageMode>]) -> Vec<Group<'_>> {
    let shifts = take_shifts(takes);
    let hz = |(take, mode): &(usize, &StageMode)| mode.frequency.value * (-shifts[*take]).exp();
    let mut all: Vec<(usize, &StageMode)> =
        takes.iter().enumerate().flat_map(|(t, modes)| modes.iter().map(move |m| (t, m))).collect();
    all.sort_by(|a, b| hz(a).total_cmp(&hz(b)));
    let mut groups: Vec<Group> = Vec::new();
    let mut at = 0;
    while at < all.len() {
        let mut group: Group = vec![all[at]];
        while let Some(next) = all.get(at + group.len()) {
            let last = group[group.len() - 1];
            let read = last.1.frequency.u_95().hypot(next.1.frequency.u_95());
            let close = hz(next) - hz(&last) < (SAME_MODE * hz(&last)).max(4.0 * read);
            if !close || group.iter().any(|g| g.0 == next.0) {
                break;
            }
            group.push(*next);
        }
        at += group.len();
        if 2 * group.len() >= takes.len() {
            groups.push(group);
        }
    }
    groups
}

/// By how much all modes of each take lie beside those of the take with the most modes (of the logarithm): the median over the modes
/// of their distances from the nearest; 0 where too few show it.
fn take_shifts(takes: &[Vec<StageMode>]) -> Vec<f64> {
    let logs = |take: &[StageMode]| -> Vec<f64> { take.iter().map(|m| m.frequency.value.ln()).collect() };
    let fullest = takes.iter().max_by_key(|t| t.len()).map(|t| logs(t)).unwrap_or_default();
    let shift = |take: &Vec<StageMode>| {
        let nearest = |own: f64| fullest.iter().map(|f| own - f).min_by(|a, b| a.abs().total_cmp(&b.abs()));
        let mut seen: Vec<f64> =
            logs(take).into_iter().filter_map(nearest).filter(|d| d.abs() < LARGEST_SHIFT).collect();
        seen.sort_by(f64::total_cmp);
        if seen.len() < SHOW_A_SHIFT { 0.0 } else { 0.5 * (seen[(seen.len() - 1) / 2] + seen[seen.len() / 2]) }
    };
    takes.iter().map(shift).collect()
}

/// A quantity of modes: where it is, the causes of its doubt, and what holding anew is assumed to do to it.
pub(super) struct Quantity {
    value: fn(&StageMode) -> &Figure,
    pub own: Cause,
    pub held: Cause,
    pub assumed: f64,
}

pub(super) const FREQUENCY: Quantity = Quantity {
    value: |m| &m.frequency,
    own: Cause::Frequency,
    held: Cause::HeldAnewFrequency,
    assumed: HUNG_AGAIN_FREQUENCY,
};
pub(super) const DAMPING: Quantity = Quantity {
    value: |m| &m.damping_ratio,
    own: Cause::Damping,
    held: Cause::HeldAnewDamping,
    assumed: HUNG_AGAIN_DAMPING,
};

pub(super) fn readings(groups: &[Group], of: &Quantity) -> Vec<Vec<Reading>> {
    let reading = |(take, mode): &(usize, &StageMode)| {
        let read = (of.value)(mode);
        Reading { take: *take, value: read.value, u: read.u_95() }
    };
    groups.iter().map(|g| g.iter().map(reading).collect()).collect()
}
