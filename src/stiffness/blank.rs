//! A flat blank: elastic moduli from its modes, whose numbers are inferred from their pattern.
//!
//! The lowest modes of a side blank lie below what a microphone hears, so the lowest one heard is not the first. All
//! numberings are tried: moduli are scanned over what wood can have, each gives the modes of a free orthotropic plate, the
//! measured ones are aligned with them, the best are refined by least squares. Each modulus is given over all assignments that
//! explain the modes about as well, where they agree in it.

use super::blank_modes::BlankModes;
use super::blank_moduli::{BlankModuli, bending_stiffness, bending_stiffness_per_width};
use super::blank_note::{BlankNote, Modulus};
use super::blank_result::BlankResult;
use super::candidates::candidates;
use super::numbering::Numbering;
use super::odd_doubts::doubts;
use super::odd_mean::OddFit;
use super::odd_prior::OddPrior;
use super::over_rivals::over_rivals;
use super::plate::Size;
use super::rivals::{of_wood, rivals, why_not_believed};
use super::sure_names::sure_numbers;
use super::tone::{LEAST_NAMED, Tone};
use super::unnamed::loud_unnamed;
use crate::part::{Departures, Sizes};
use crate::uncertainty::Figure;

/// Most modes that are used, the lowest.
const MOST_MODES: usize = 40;

/// Moduli and mode numbers of a flat blank from its tones.
///
/// Uncertainties: frequencies, the deviation of the wood from a uniform plate (from the misfit itself), sizes, mass, Poisson's
/// ratio, the shear term, and hanging the blank anew; all but the first two are shared by all results.
pub fn blank_from_tones(sizes: &Sizes, tones: &[Tone]) -> BlankResult {
    blank_from_heard(sizes, tones, &[])
}

/// The same with each tone's level (dB, any reference; none where they are not known): loud tones that are in no assignment speak
/// against it.
pub fn blank_from_heard(sizes: &Sizes, tones: &[Tone], levels_db: &[f64]) -> BlankResult {
    odd_blank(sizes, &Departures::default(), tones, levels_db)
}

/// The same of a blank whose grain, bow or profile was read.
pub fn odd_blank(sizes: &Sizes, departures: &Departures, tones: &[Tone], levels_db: &[f64]) -> BlankResult {
    let size = Size {
        length_m: sizes.length.value,
        width_m: sizes.width.value,
        thickness_m: sizes.thickness.value,
        mass_kg: sizes.mass.value,
    };
    let tones: &[Tone] = &tones[..tones.len().min(MOST_MODES)];
    if tones.len() < LEAST_NAMED {
        return BlankResult::refused(Vec::new(), BlankNote::TooFewTones(tones.len()));
    }
    let (mut numberings, others_across) = rivals(candidates(&size, tones), &size);
    let Some(best) = numberings.first().cloned() else {
        return BlankResult::refused(numberings, BlankNote::NoAssignment);
    };
    // E along goes with length^3/thickness^3, the density with 1/(length thickness).
    let speed_u = (2.0 * sizes.length.relative_u_95()).hypot(sizes.thickness.relative_u_95());
    if let Some(why) = why_not_believed(&best, tones).or_else(|| of_wood(&mut numberings, &size, speed_u)) {
        return BlankResult::refused(numberings, why);
    }
    let mut result = BlankResult { numberings, ..BlankResult::default() };
    let prior = OddPrior::new(departures, size.length_m);
    let odd = give(&mut result, (sizes, &size), tones, &others_across, &prior);
    doubts(&mut result, departures, &prior, odd.as_ref());
    if result.decided() {
        let blank = BlankModes::new(&size, &best.constants, 1.2 * tones[tones.len() - 1].frequency_hz);
        result.numberings[0].numbers = sure_numbers(&best, &blank, tones);
        result.modes = blank.modes;
    }
    if departures.trend {
        result.notes.push(BlankNote::ThicknessTrend);
    }
    let unnamed_hz = loud_unnamed(tones, levels_db, &best.numbers);
    if !unnamed_hz.is_empty() {
        let withheld: Vec<Modulus> = Modulus::ALL.into_iter().filter(|which| result.withhold(*which)).collect();
        if !withheld.is_empty() {
            result.notes.push(BlankNote::LoudUnnamed { unnamed_hz, withheld });
        }
    }
    result
}

/// Each modulus over all assignments that compete, and those alike but in E across; where they do not agree, why it is not given.
fn give(
    result: &mut BlankResult,
    (sizes, size): (&Sizes, &Size),
    tones: &[Tone],
    others_across: &[Numbering],
    prior: &OddPrior,
) -> Option<OddFit> {
    let of_each = |all: &[Numbering]| -> Vec<BlankModuli> {
        all.iter().filter_map(|n| BlankModuli::new(sizes, size, tones, n, prior)).collect()
    };
    let compete = result.numberings.len() > 1;
    if compete {
        let along_pa = result.numberings.iter().map(|n| n.constants.along_pa).collect();
        result.notes.push(BlankNote::Competing { along_pa });
    }
    let all = of_each(&result.numberings);
    let best = all.first().filter(|_| all.len() == result.numberings.len())?;
    let across: Vec<Option<Figure>> =
        all.iter().chain(&of_each(others_across)).map(|m| m.get(Modulus::Across)).collect();
    let (mut agree, mut differ) = (Vec::new(), Vec::new());
    for which in Modulus::ALL {
        let own = best.get(which);
        if own.is_none() {
            result.notes.push(BlankNote::TooFewOfItsModes(which));
            continue;
        }
        let figures =
            if which == Modulus::Across { across.clone() } else { all.iter().map(|m| m.get(which)).collect() };
        let over_all = over_rivals(&figures);
        if figures.len() > 1 {
            if over_all.is_some() { &mut agree } else { &mut differ }.push(which);
        }
        *result.modulus(which) = over_all;
    }
    let lengthwise: Vec<Option<Figure>> = all.iter().map(|m| Some(m.along_length.clone())).collect();
    result.along_length = over_rivals(&lengthwise);
    if let Some(along) = &result.along_length {
        result.bending_stiffness = Some(bending_stiffness(along, sizes));
        result.bending_stiffness_per_width = Some(bending_stiffness_per_width(along, sizes));
    }
    if !differ.is_empty() {
        result.notes.push(BlankNote::Differ(differ));
    }
    if !agree.is_empty() {
        result.notes.push(BlankNote::Agree(agree));
    }
    Some(best.odd.clone())
}

#[cfg(test)]
mod tests {
    use super::super::plate::Constants;
    use super::*;
    use crate::uncertainty::Cause;

    /// The demonstration's walnut blank, bending and twist from 60 Hz on, with tones missing and one that is not its own.
    #[test]
    fn numbers_a_side_blank() {
        let truth = Constants { along_pa: 11.6e9, across_pa: 1.23e9, shear_pa: 0.986e9, poisson: 0.45 };
        let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.13306 };
        let BlankModes { modes, hz, .. } = BlankModes::new(&size, &truth, 900.0);
        let mut tones: Vec<Tone> = modes
            .iter()
            .zip(&hz)
            .enumerate()
            .filter(|(i, (_, f))| **f > 60.0 && **f < 800.0 && i % 4 != 3)
            .map(|(_, (_, f))| Tone { frequency_hz: *f, frequency_hz_u: 2e-4 * f })
            .collect();
        tones.push(Tone { frequency_hz: 333.0, frequency_hz_u: 0.05 });
        tones.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
        let sizes = Sizes {
            length: Figure::new(0.8, 1e-4, Cause::Length),
            width: Figure::new(0.12, 1e-4, Cause::Width),
            thickness: Figure::new(2.25e-3, 0.02e-3, Cause::Thickness),
            mass: Figure::new(0.13306, 1e-4, Cause::Mass),
        };
        let result = blank_from_tones(&sizes, &tones);
        assert!(result.decided());
        let within = |m: &Option<Figure>, truth: f64| {
            let m = m.as_ref().expect("told");
            assert!((m.value - truth).abs() < 3.0 * m.u(), "{} {} {truth}", m.value, m.u());
        };
        within(&result.along, truth.along_pa);
        within(&result.shear, truth.shear_pa);
        let (source, share) = result.along.as_ref().and_then(Figure::largest_source).expect("sources");
        assert!(source.cause == Cause::Thickness && share > 0.9, "{source} {share}");
        // E goes with mass length^3/(width thickness^3) at given frequencies. A longer blank has less of its curvature across as well, which
        // is taken for another Poisson's ratio: a little of the length's power goes over to the width. Their sum is that of all blanks
        // alike: E = (something) mass frequency^2/length.
        let along = result.along.as_ref().expect("told");
        let power_of = |size: &Figure| {
            let source = size.parts().next().expect("one source").0;
            let (_, part) = along.parts().find(|(s, _)| *s == source).expect("a part");
            part / along.value / size.relative_u()
        };
        let powers = [&sizes.length, &sizes.width, &sizes.thickness, &sizes.mass].map(power_of);
        for (got, (power, within)) in powers.iter().zip([(3.0, 0.15), (-1.0, 0.15), (-3.0, 0.1), (1.0, 1e-3)]) {
            assert!((got - power).abs() < within, "{powers:?}");
        }
        // Half an uncertainty of the thickness is 0.4 %, over which its third power bends by 1 %.
        assert!((powers[0] + powers[1] + powers[2] + 1.0).abs() < 0.03, "{powers:?}");
        // D = E/(1 - nu^2 E_C/E_L): one standard deviation more of nu is 0.7 % of E at most; what these tones tell of nu leaves less.
        let of_poisson = along.parts().find(|(s, _)| s.cause == Cause::PoissonsRatio).expect("a part").1 / along.value;
        assert!((-0.007..0.0).contains(&of_poisson), "{of_poisson}");
        let uneven = |r: &BlankResult| r.notes.contains(&BlankNote::Uneven);
        assert!(!uneven(&result));
        // Every other tone 2.2 % higher: the moduli are told, and that the wood is uneven.
        let odd: Vec<Tone> = tones
            .iter()
            .enumerate()
            .map(|(i, t)| Tone { frequency_hz: t.frequency_hz * (1.0 + 0.022 * (i % 2) as f64), ..*t })
            .collect();
        let result = blank_from_tones(&sizes, &odd);
        assert!(result.decided() && uneven(&result), "{:?}", result.notes);
    }

    /// Tones of no blank at all: whatever fits them by chance, no modulus is given.
    #[test]
    fn chance_tones_give_no_modulus() {
        let sizes = Sizes {
            length: Figure::new(0.8, 3e-4, Cause::Length),
            width: Figure::new(0.12, 3e-4, Cause::Width),
            thickness: Figure::new(2.25e-3, 2e-5, Cause::Thickness),
            mass: Figure::new(0.133, 1e-3, Cause::Mass),
        };
        for seed in 1..=8u32 {
            // Fractions of multiples of the golden ratio: spread over the band without a pattern of any bar.
            let mut hz: Vec<f64> = (0..8 + seed % 5)
                .map(|i| 70.0 * 10f64.powf((f64::from(seed * 131 + i * 7) * 0.618_033_988_7).fract()))
                .collect();
            hz.sort_by(f64::total_cmp);
            let tones: Vec<Tone> = hz.iter().map(|f| Tone { frequency_hz: *f, frequency_hz_u: 1e-4 * f }).collect();
            let result = blank_from_tones(&sizes, &tones);
            assert!(
                !result.decided() && result.along.is_none() && !result.notes.is_empty(),
                "{hz:?}: {:?}",
                result.along
            );
        }
    }
}
