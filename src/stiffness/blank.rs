//! A flat blank: elastic moduli from its modes, whose numbers are inferred from their pattern.
//!
//! The lowest modes of a side blank lie below what a microphone hears, so the lowest one heard is not the first. All
//! numberings are tried: moduli are scanned over what wood can have, each gives the modes of a free orthotropic plate, the
//! measured ones are aligned with them, the best are refined by least squares, and rivals that explain the modes about as
//! well are reported beside the best.

use super::blank_modes::BlankModes;
use super::candidates::candidates;
use super::numbering::{DEVIATION_LIMITS, Numbering, SHEAR_TERM_U, refine};
use super::plate::{Constants, ModePlace, PlateMode, Size, mode_name};
use super::wood::{ORDINARY_SPEED_M_S, POISSON, SHEAR_RANGE, SPEED_M_S};
use crate::modes::student_factor;
use crate::part::{Measured, Sizes, Source};

/// A measured mode: undamped frequency and its standard uncertainty (Hz).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
}

impl Tone {
    pub(super) fn relative_u(&self) -> f64 {
        self.frequency_hz_u / self.frequency_hz
    }
}

/// A rival must be less likely by this factor (natural logarithm) to be passed over.
const SURE: f64 = 7.0;
/// A numbering is believed with so many modes that fit, so many of them bending along.
const LEAST_MATCHED: usize = 6;
const LEAST_BENDING: usize = 2;
/// Most modes that are used, the lowest.
const MOST_MODES: usize = 40;
/// What the modes of a blank tell.
#[derive(Debug, Clone, Default)]
pub struct BlankResult {
    /// The best numbering first; more than one if they explain the modes about equally well.
    pub numberings: Vec<Numbering>,
    /// Moduli (Pa); `None` where undecided or not told by these modes.
    pub along: Option<Measured>,
    pub across: Option<Measured>,
    pub shear: Option<Measured>,
    /// Bending stiffness EI of the whole width (N m2) and per width (N m).
    pub bending_stiffness: Option<Measured>,
    pub bending_stiffness_per_width: Option<Measured>,
    /// What the user should know, in words.
    pub notes: Vec<String>,
    /// Modes of the plate with the best constants, for pictures and mobility.
    pub modes: Vec<PlateMode>,
}

impl BlankResult {
    /// Whether one numbering stands alone and is believed.
    pub fn decided(&self) -> bool {
        self.along.is_some()
    }

    /// The numbering, if one stands alone.
    pub fn numbering(&self) -> Option<&Numbering> {
        self.numberings.first().filter(|_| self.decided())
    }
}

/// Moduli and mode numbers of a flat blank from its tones.
///
/// Uncertainties: frequencies, the deviation of the wood from a uniform plate (from the misfit itself), sizes, mass, Poisson's
/// ratio, and the shear term; sizes are shared by all results.
pub fn blank_from_tones(sizes: &Sizes, tones: &[Tone]) -> BlankResult {
    let mut result = BlankResult::default();
    let size = Size {
        length_m: sizes.length.value,
        width_m: sizes.width.value,
        thickness_m: sizes.thickness.value,
        mass_kg: sizes.mass.value,
    };
    let tones: &[Tone] = &tones[..tones.len().min(MOST_MODES)];
    if tones.len() < LEAST_MATCHED {
        result.notes.push(format!(
            "{} modes are too few to tell which they are ({LEAST_MATCHED} at least): tap near a corner, where all of them sound",
            tones.len()
        ));
        return result;
    }
    let (numberings, across_undecided) = rivals(candidates(&size, tones), &size);
    result.numberings = numberings;
    let Some(best) = result.numberings.first().cloned() else {
        result.notes.push("no numbering explains these modes: are sizes, mass and kind of the part right?".into());
        return result;
    };
    let speeds = result.numberings.iter().map(|n| size.speed_m_s(&n.constants));
    let why = why_not_believed(&best, tones).or_else(|| no_wood(speeds)).or_else(|| undecided(&result.numberings));
    if let Some(why) = why {
        result.notes.push(why);
        return result;
    }
    result.modes = BlankModes::new(&size, &best.constants, 1.2 * tones[tones.len() - 1].frequency_hz).modes;
    moduli(&mut result, sizes, &size, tones, &best);
    if across_undecided && result.across.take().is_some() {
        result
            .notes
            .push("E across the grain is undecided: the crosswise modes can be numbered in more than one way".into());
    }
    result
}

/// The different numberings that explain the modes about as well as the best, the best first; and whether numberings that
/// agree with the best otherwise differ in E across.
fn rivals(mut found: Vec<Numbering>, size: &Size) -> (Vec<Numbering>, bool) {
    found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    // A fit that wandered out of what wood can be is no numbering.
    found.retain(|n| {
        let shear = n.constants.shear_pa / n.constants.along_pa;
        SPEED_M_S.contains(&size.speed_m_s(&n.constants)) && SHEAR_RANGE.contains(&shear)
    });
    let Some(best) = found.first().cloned() else { return (found, false) };
    found.iter_mut().for_each(|n| n.behind = best.evidence - n.evidence);
    found.retain(|n| n.behind < SURE);
    let differ = |a: f64, b: f64, by: f64| (a / b).ln().abs() > by;
    let same = |a: &Numbering, b: &Numbering| {
        !differ(a.constants.along_pa, b.constants.along_pa, 0.01)
            && (!differ(a.constants.shear_pa, b.constants.shear_pa, 0.02) || !a.tells(2))
    };
    let across = |n: &Numbering| same(&best, n) && differ(n.constants.across_pa, best.constants.across_pa, 0.03);
    let across_undecided = found.iter().any(across);
    let mut distinct: Vec<Numbering> = Vec::new();
    for numbering in found {
        if !distinct.iter().any(|d| same(d, &numbering)) {
            distinct.push(numbering);
        }
    }
    (distinct, across_undecided)
}

/// Why even the best numbering is not believed.
fn why_not_believed(best: &Numbering, tones: &[Tone]) -> Option<String> {
    let matched = best.numbers.iter().flatten().count();
    let bending = best.numbers.iter().flatten().filter(|n| n.1 == 0).count();
    if 3 * matched < 2 * tones.len() {
        return Some(format!(
            "no numbering explains these modes: at best {matched} of {} fit a flat blank of this size. Are sizes and mass right, \
             is it flat, and did anything else ring?",
            tones.len()
        ));
    }
    (bending < LEAST_BENDING || matched < LEAST_MATCHED).then(|| {
        format!(
            "too few modes to be sure which they are: {matched} fit, {bending} of them bending along the grain (at least \
             {LEAST_MATCHED} and {LEAST_BENDING} are needed). Tap near a corner, harder, or in a quieter room"
        )
    })
}

/// What to say if sound would go along the grain at no ordinary wood's speed (m/s) by any numbering.
fn no_wood(mut speeds_m_s: impl Iterator<Item = f64>) -> Option<String> {
    let best = speeds_m_s.next()?;
    let ordinary = |speed: f64| ORDINARY_SPEED_M_S.contains(&speed);
    (!ordinary(best) && !speeds_m_s.any(ordinary)).then(|| {
        format!(
            "no modulus is told: sound would go along the grain at {best:.0} m/s, which is no ordinary wood's ({:.0} to {:.0}). Are \
             length, thickness and mass right, and does the grain go along the length?",
            ORDINARY_SPEED_M_S.start, ORDINARY_SPEED_M_S.end
        )
    })
}

/// What to say if there is more than one.
fn undecided(numberings: &[Numbering]) -> Option<String> {
    let told = |n: &Numbering| {
        let first = n.numbers.iter().flatten().next().map_or(String::new(), |(l, w)| mode_name(*l, *w));
        format!("{:.1} GPa (the lowest is {first})", n.constants.along_pa * 1e-9)
    };
    (numberings.len() > 1).then(|| {
        format!(
            "undecided: the modes can be numbered in {} ways that fit about equally well, with E along {}. Tap at a second \
             station (near a corner and at the middle of the end), or cut a shorter strip, and measure again",
            numberings.len(),
            numberings.iter().take(3).map(told).collect::<Vec<_>>().join(" or ")
        )
    })
}

/// The tones as they would be if shear through the thickness took less by the uncertainty of what it takes.
fn shear_moved(size: &Size, tones: &[Tone], constants: &Constants, places: &[Option<ModePlace>]) -> Vec<Tone> {
    let blank = BlankModes::new(size, constants, 1.1 * tones.last().map_or(0.0, |t| t.frequency_hz));
    let moved = |(tone, place): (&Tone, &Option<ModePlace>)| {
        let mode = blank.modes.iter().find(|m| Some(m.place) == *place);
        let term = mode.map_or(0.0, |m| m.thickness_terms(constants, &blank.stiffnesses, size.thickness_m).1);
        Tone { frequency_hz: tone.frequency_hz * (1.0 + 0.5 * SHEAR_TERM_U * term), ..*tone }
    };
    tones.iter().zip(places).map(moved).collect()
}

/// Moduli with all their uncertainties: frequencies, sizes, mass, Poisson's ratio, shear through the thickness.
fn moduli(result: &mut BlankResult, sizes: &Sizes, size: &Size, tones: &[Tone], best: &Numbering) {
    let solve = |size: &Size, poisson: f64| {
        let start = Constants { poisson, ..best.constants };
        refine(size, tones, start, Some(&best.places)).map(|n| n.constants)
    };
    let Some(centre) = solve(size, POISSON.0) else { return };
    if let Some(why) = no_wood(std::iter::once(size.speed_m_s(&centre))) {
        result.notes.push(why);
        return;
    }
    let widened = student_factor(best.freedom);
    let value = |c: &Constants| [c.along_pa, c.across_pa, c.shear_pa];
    let mut parts: [Vec<(Source, f64)>; 3] = Default::default();
    let mut perturb = |source: &str, other: Option<Constants>, steps: f64| {
        let Some(other) = other else { return };
        for (parts, (moved, here)) in parts.iter_mut().zip(value(&other).into_iter().zip(value(&centre))) {
            parts.push((Source::from(source), (moved - here) / steps));
        }
    };
    type Set = fn(&mut Size, f64);
    let readings: [(&str, &Measured, Set); 4] = [
        ("length", &sizes.length, |s, d| s.length_m += d),
        ("width", &sizes.width, |s, d| s.width_m += d),
        ("thickness", &sizes.thickness, |s, d| s.thickness_m += d),
        ("mass", &sizes.mass, |s, d| s.mass_kg += d),
    ];
    for (source, measured, set) in readings {
        // Half an uncertainty is small enough to be straight and large enough to be told from the fit's own tolerance.
        let mut moved = *size;
        set(&mut moved, 0.5 * measured.u());
        perturb(source, solve(&moved, POISSON.0), 0.5);
    }
    perturb("Poisson's ratio", solve(size, POISSON.0 + POISSON.1), 1.0);
    let sheared = shear_moved(size, tones, &centre, &best.places);
    let start = Constants { poisson: POISSON.0, ..best.constants };
    perturb("shear through the thickness", refine(size, &sheared, start, Some(&best.places)).map(|n| n.constants), 1.0);
    for (parameter, parts) in parts.iter_mut().enumerate() {
        let u = best.covariance[(parameter, parameter)].sqrt() * widened;
        parts.push((Source::from("frequencies and uneven wood"), value(&centre)[parameter] * u));
    }
    let [along, across, shear] = parts;
    let along = Measured::with_parts(centre.along_pa, along);
    let inputs = [&along, &sizes.width, &sizes.thickness];
    result.bending_stiffness = Some(Measured::combine(&inputs, |x| x[0] * x[1] * x[2].powi(3) / 12.0));
    result.bending_stiffness_per_width =
        Some(Measured::combine(&[&along, &sizes.thickness], |x| x[0] * x[1].powi(3) / 12.0));
    result.along = Some(along);
    let untold = |what: &str, family: &str| {
        format!("{what} cannot be told from these modes: too few {family} modes are among them")
    };
    if best.tells(1) {
        result.across = Some(Measured::with_parts(centre.across_pa, across));
    } else {
        result.notes.push(untold("E across the grain", "crosswise"));
    }
    if best.tells(2) {
        result.shear = Some(Measured::with_parts(centre.shear_pa, shear));
    } else {
        result.notes.push(untold("the shear modulus G", "twist"));
    }
    if best.deviation > 0.8 * DEVIATION_LIMITS.1 {
        result.notes.push(
            "the modes lie more than 1 % off those of a uniform plate: uneven thickness, a bend, or a wrong size"
                .into(),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
            length: Measured::new(0.8, 1e-4, "length"),
            width: Measured::new(0.12, 1e-4, "width"),
            thickness: Measured::new(2.25e-3, 0.02e-3, "thickness"),
            mass: Measured::new(0.13306, 1e-4, "mass"),
        };
        let result = blank_from_tones(&sizes, &tones);
        assert!(result.decided());
        let within = |m: &Option<Measured>, truth: f64| {
            let m = m.as_ref().expect("told");
            assert!((m.value - truth).abs() < 3.0 * m.u(), "{} {} {truth}", m.value, m.u());
        };
        within(&result.along, truth.along_pa);
        within(&result.shear, truth.shear_pa);
        let (source, share) = result.along.as_ref().and_then(Measured::largest_source).expect("sources");
        assert!(&**source == "thickness" && share > 0.9, "{source} {share}");
    }

    /// Tones of no blank at all: whatever fits them by chance, no modulus is given.
    #[test]
    fn chance_tones_give_no_modulus() {
        let sizes = Sizes {
            length: Measured::new(0.8, 3e-4, "length"),
            width: Measured::new(0.12, 3e-4, "width"),
            thickness: Measured::new(2.25e-3, 2e-5, "thickness"),
            mass: Measured::new(0.133, 1e-3, "mass"),
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
