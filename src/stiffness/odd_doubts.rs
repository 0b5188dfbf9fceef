//! What a blank's angle, bow and unevenness speak against: what is said of them, and what is not given.

use super::blank_note::{BlankNote, Modulus};
use super::blank_result::BlankResult;
use super::numbering::DEVIATION_LIMITS;
use super::odd_mean::OddFit;
use super::odd_prior::OddPrior;
use crate::part::Departures;
use crate::uncertainty::{COVERAGE_95, Cause, Figure};

/// Bows (m, of a blank of 760 mm; others to the same radius) beyond which E across and G are not given: what a bow stretches is then no
/// longer small beside what it bends (judgement, held against `benches/honesty/blanks/odd.rs`).
const NO_ACROSS_M: f64 = 10e-3;
const NO_SHEAR_M: f64 = 20e-3;
/// The same of an angle that is worth a sentence (degrees), and of the half-width of a modulus that is worth giving.
const WORTH_SAYING_DEG: f64 = 2.5;
const WIDEST: f64 = 0.3;
/// So many modes must have a number before an angle that nobody read is believed: with fewer, six unknowns fit them whatever they are
/// (judgement).
const LEAST_FOR_ANGLE: usize = 16;
/// Deviations of the modes, over the most that a fit allows: from which moduli are not given, and from which it is said (judgement).
const MUCH: f64 = 0.8;
const SOME: f64 = 0.5;

/// Says what an odd blank is, and takes back what its oddness leaves open.
pub(super) fn doubts(result: &mut BlankResult, departures: &Departures, prior: &OddPrior, odd: Option<&OddFit>) {
    let Some(odd) = odd.filter(|_| result.along_length.is_some()) else { return };
    let take = |result: &mut BlankResult, which: &[Modulus]| -> Vec<Modulus> {
        which.iter().copied().filter(|w| result.modulus(*w).take().is_some()).collect()
    };
    let (deg, u_deg) = odd.grain_deg;
    if departures.grain_deg.is_some() || deg - COVERAGE_95 * u_deg > 0.0 {
        result.grain_deg = Some(Figure::new(deg, u_deg, Cause::GrainAngle));
    }
    if deg > WORTH_SAYING_DEG && deg - COVERAGE_95 * u_deg > 0.0 {
        result.notes.push(BlankNote::GrainOff { deg, u_deg });
        let named = result.numberings.first().map_or(0, |n| n.numbers.iter().flatten().count());
        if departures.grain_deg.is_none() && named < LEAST_FOR_ANGLE {
            let withheld = take(result, &Modulus::ALL);
            result.notes.extend(withheld.into_iter().map(BlankNote::GrainLeavesOpen));
        }
    }
    // A bow that was read counts, even where the modes seem to deny it: they cannot tell it from a stiffer wood across.
    let (rise_m, u_m) = match &departures.bow {
        Some(read) if read.value > odd.bow_m.0 + COVERAGE_95 * odd.bow_m.1 => (read.value, read.u_95()),
        _ => odd.bow_m,
    };
    let usual_m = rise_m / prior.unit_m;
    if departures.bow.is_some() || rise_m - COVERAGE_95 * u_m > 0.0 {
        result.bow = Some(Figure::new(rise_m, u_m, Cause::Bow));
    }
    if usual_m > NO_ACROSS_M {
        let which: &[Modulus] =
            if usual_m > NO_SHEAR_M { &[Modulus::Across, Modulus::Shear] } else { &[Modulus::Across] };
        let withheld = take(result, which);
        result.notes.push(BlankNote::Bowed { rise_m, u_m, withheld });
    }
    // The modes were numbered as those of a flat blank with straight grain: where these fit badly, the numbering itself may be wrong.
    let straight = result.numberings.first().map_or(0.0, |n| n.deviation);
    let (much, some) = (MUCH * DEVIATION_LIMITS.1, SOME * DEVIATION_LIMITS.1);
    if straight > much || odd.deviation > some {
        result.notes.push(BlankNote::Uneven);
        if odd.deviation > much || straight > much && odd.deviation > some {
            let withheld = take(result, &Modulus::ALL);
            if !withheld.is_empty() {
                result.notes.push(BlankNote::UnevenWithholds(withheld));
            }
        }
        widen(result, odd.deviation);
    }
    if odd.bow_open && result.across.is_some() {
        result.notes.push(BlankNote::BowUnread);
    }
    for which in Modulus::ALL {
        let wide = result.modulus(which).as_ref().filter(|m| m.half_95() > WIDEST * m.value);
        let Some(cause) = wide.map(|m| m.largest_source().map(|(source, _)| source.cause)) else { continue };
        let note = match cause {
            Some(Cause::GrainAngle) => BlankNote::GrainLeavesOpen(which),
            Some(Cause::Bow) => BlankNote::BowLeavesOpen(which),
            _ => continue,
        };
        result.modulus(which).take();
        result.notes.push(note);
    }
}

/// Where modes lie off those of a plate by much, no figure is better known than one mode is: E goes with the square of a frequency.
fn widen(result: &mut BlankResult, deviation: f64) {
    let figures = [
        &mut result.along_length,
        &mut result.along,
        &mut result.across,
        &mut result.shear,
        &mut result.bending_stiffness,
        &mut result.bending_stiffness_per_width,
    ];
    for slot in figures {
        *slot = slot.take().map(|figure| {
            let u = 2.0 * deviation * figure.value;
            figure.plus_uncertainty(u, Cause::PlateTakenAsEven)
        });
    }
}
