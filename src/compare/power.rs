//! The power that goes into a stage, times the baseline's: three readings of one lamination, by what kind of edge pushes.

use super::stage::Stage;
use crate::loss::{Mobility, PowerRatios, TOP_EDGE_RANGE, TopEdge, infinite_beam, power_ratios, strip_power_ratios};
use crate::uncertainty::{Cause, Figure};

/// Where a strip's mobility is set beside a given edge's (Hz): it falls with the root of the frequency.
const STRIP_HZ: f64 = 200.0;

/// By the mobility of a spot where it was measured in both stages, else as endless strips. `lacks`: what the ratio of the means may lack
/// (share) for modes heard in one stage alone.
pub(super) fn stage_power(
    baseline: &Stage,
    other: &Stage,
    top: &TopEdge,
    lacks: impl Fn(&Mobility, &Mobility, (f64, f64)) -> f64,
) -> Option<PowerRatios> {
    if let (Some(a), Some(b)) = (&baseline.mobility, &other.mobility) {
        let ratios = power_ratios(a, b, top)?;
        let doubt = ratios.band_hz.map_or(0.0, |band| lacks(a, b, band));
        let widened = |f: Figure| {
            let u = doubt * f.value;
            f.plus_uncertainty(u, Cause::UnpairedModes)
        };
        let PowerRatios { matched_top, given_force, given_speed, band_hz } = ratios;
        let [matched_top, given_force, given_speed] = [matched_top, given_force, given_speed].map(widened);
        return Some(PowerRatios { matched_top, given_force, given_speed, band_hz });
    }
    let strip = |s: &Stage| Some((s.bending_stiffness.clone()?, s.mass_per_length.clone()?));
    let ((before, mass_before), (after, mass_after)) = (strip(baseline)?, strip(other)?);
    // Y of an endless strip goes with 1/(m' c_B), c_B = (EI w^2/m')^(1/4).
    let of = |v: &[f64]| v[0].powf(-0.25) * v[1].powf(-0.75);
    let ratio = Figure::combine(&[&before, &mass_before, &after, &mass_after], |v| of(&v[2..]) / of(&v[..2]));
    let edge = match top {
        TopEdge::Unknown => None,
        TopEdge::Given(edge) => {
            Some(Figure::combine(&[edge, &before, &mass_before], |v| v[0] / infinite_beam(v[1], v[2], STRIP_HZ).norm()))
        }
    };
    Some(strip_power_ratios(&ratio, edge.as_ref()))
}

/// Code, words and figure of each reading; the likeliest case first.
pub(super) fn power_rows(power: &PowerRatios) -> [(&'static str, &'static str, &Figure); 3] {
    [
        ("power_matched_top", "power from the top", &power.matched_top),
        ("power_drawn", "power from a given push", &power.given_force),
        ("power_given_speed", "power from a given movement", &power.given_speed),
    ]
}

/// What the three readings mean, and where and which way they hold.
pub(super) fn power_notes(power: &PowerRatios, top: &TopEdge) -> Vec<String> {
    let edge = match top {
        TopEdge::Unknown => format!(
            "power from the top: of an edge that gives {} to {} times as readily as the plain side there; nobody measured it",
            TOP_EDGE_RANGE.0, TOP_EDGE_RANGE.1
        ),
        TopEdge::Given(edge) => format!("power from the top: of an edge of {:.2} mm/(N s), as given", 1e3 * edge.value),
    };
    let mut notes = vec![format!(
        "{edge}. A given push is the case of a far softer top, a given movement that of a far stiffer one: one lamination can lower the \
         first and raise the other"
    )];
    match power.band_hz {
        Some((low, high)) => {
            notes.push(format!(
                "power: {low:.0} to {high:.0} Hz, the ends faded; pushed across the side at this spot and mid-depth. A top pushes its edge \
                 mostly up and down, which was not measured"
            ));
            notes.push("the masses stuck on are taken to be the same pieces in both stages".to_owned());
        }
        None => notes.push(
            "power: as an endless flat strip, pushed across its face. On the guitar the side is curved, and a top pushes its edge mostly up \
             and down"
                .to_owned(),
        ),
    }
    notes
}
