//! A flat blank: elastic moduli from its modes, whose numbers are inferred from their pattern.
//!
//! The lowest modes of a side blank lie below what a microphone hears, so the lowest one heard is not the first. All
//! numberings are tried: moduli are scanned over what wood can have, each gives the modes of a free orthotropic plate, the
//! measured ones are aligned with them, the best are refined by least squares, and rivals that explain the modes about as
//! well are reported beside the best.

use nalgebra::DMatrix;

use super::blank_modes::BlankModes;
use super::candidates::candidates;
use super::numbering::{DEVIATION_LIMITS, Numbering, SHEAR_TERM_U, refine};
use super::over_rivals::over_rivals;
use super::plate::{Constants, ModePlace, PlateMode, Size};
use super::rivals::{LEAST_MATCHED, no_wood, rivals, undecided, why_not_believed};
use super::tone::Tone;
use super::wood::POISSON;
use crate::part::Sizes;
use crate::uncertainty::{Cause, Contribution, Figure, Source};

/// Most modes that are used, the lowest.
const MOST_MODES: usize = 40;

/// What the modes of a blank tell.
#[derive(Debug, Clone, Default)]
pub struct BlankResult {
    /// The best numbering first; more than one if they explain the modes about equally well.
    pub numberings: Vec<Numbering>,
    /// Moduli (Pa); `None` where undecided or not told by these modes.
    pub along: Option<Figure>,
    pub across: Option<Figure>,
    pub shear: Option<Figure>,
    /// Bending stiffness EI of the whole width (N m2) and per width (N m).
    pub bending_stiffness: Option<Figure>,
    pub bending_stiffness_per_width: Option<Figure>,
    /// What the user should know, in words.
    pub notes: Vec<String>,
    /// Modes of the plate with the best constants, for pictures and mobility.
    pub modes: Vec<PlateMode>,
}

impl BlankResult {
    /// Whether one numbering stands alone and is believed. Moduli may be given without: over all that compete, where those agree.
    pub fn decided(&self) -> bool {
        self.numberings.len() == 1 && self.along.is_some()
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
    let (numberings, others_across) = rivals(candidates(&size, tones), &size);
    result.numberings = numberings;
    let Some(best) = result.numberings.first().cloned() else {
        result.notes.push("no numbering explains these modes: are sizes, mass and kind of the part right?".into());
        return result;
    };
    let speeds = result.numberings.iter().map(|n| size.speed_m_s(&n.constants));
    if let Some(why) = why_not_believed(&best, tones).or_else(|| no_wood(speeds)) {
        result.notes.push(why);
        return result;
    }
    if let Some(why) = undecided(&result.numberings) {
        result.notes.push(why);
        let of_each = |n: &Numbering| {
            let mut own = BlankResult::default();
            moduli(&mut own, sizes, &size, tones, n);
            own
        };
        let all: Vec<BlankResult> = result.numberings.iter().map(of_each).collect();
        if all[0].along.is_some() {
            result.take_over(&all);
        }
        return result;
    }
    result.modes = BlankModes::new(&size, &best.constants, 1.2 * tones[tones.len() - 1].frequency_hz).modes;
    moduli(&mut result, sizes, &size, tones, &best);
    if !others_across.is_empty()
        && let Some(across) = result.across.take()
    {
        let of_each = |n: &Numbering| {
            let mut own = BlankResult::default();
            moduli(&mut own, sizes, &size, tones, n);
            own.across
        };
        let all: Vec<Option<Figure>> = [Some(across)].into_iter().chain(others_across.iter().map(of_each)).collect();
        result.across = over_rivals(&all);
        let what =
            if result.across.is_some() { "its interval holds what each of them gives" } else { "it is not given" };
        result
            .notes
            .push(format!("E across the grain: the crosswise modes can be numbered in more than one way; {what}"));
    }
    result
}

impl BlankResult {
    /// Takes over what competing assignments agree in, and says what they do not.
    fn take_over(&mut self, all: &[BlankResult]) {
        let of = |figure: fn(&BlankResult) -> &Option<Figure>| {
            over_rivals(&all.iter().map(|r| figure(r).clone()).collect::<Vec<_>>())
        };
        self.along = of(|r| &r.along);
        self.across = of(|r| &r.across);
        self.shear = of(|r| &r.shear);
        self.bending_stiffness = of(|r| &r.bending_stiffness);
        self.bending_stiffness_per_width = of(|r| &r.bending_stiffness_per_width);
        let given: Vec<&str> = [("E along", &self.along), ("E across", &self.across), ("G", &self.shear)]
            .into_iter()
            .filter(|(_, figure)| figure.is_some())
            .map(|(what, _)| what)
            .collect();
        if !given.is_empty() {
            self.notes.push(format!(
                "{} are given all the same: each interval holds what every one of these ways gives",
                given.join(", ")
            ));
        }
    }
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
    let value = |c: &Constants| [c.along_pa, c.across_pa, c.shear_pa];
    let mut parts: [Vec<(Source, Contribution)>; 3] = Default::default();
    let mut perturb = |cause: Cause, other: Option<Constants>, steps: f64, dof: f64| {
        let Some(other) = other else { return };
        for (parts, (moved, here)) in parts.iter_mut().zip(value(&other).into_iter().zip(value(&centre))) {
            parts.push((Source::from(cause.clone()), Contribution { size: (moved - here) / steps, dof }));
        }
    };
    type Set = fn(&mut Size, f64);
    let readings: [(Cause, &Figure, Set); 4] = [
        (Cause::Length, &sizes.length, |s, d| s.length_m += d),
        (Cause::Width, &sizes.width, |s, d| s.width_m += d),
        (Cause::Thickness, &sizes.thickness, |s, d| s.thickness_m += d),
        (Cause::Mass, &sizes.mass, |s, d| s.mass_kg += d),
    ];
    for (cause, measured, set) in readings {
        // Half an uncertainty is small enough to be straight and large enough to be told from the fit's own tolerance.
        let mut moved = *size;
        set(&mut moved, 0.5 * measured.u());
        perturb(cause, solve(&moved, POISSON.0), 0.5, measured.dof());
    }
    perturb(Cause::PoissonsRatio, solve(size, POISSON.0 + POISSON.1), 1.0, f64::INFINITY);
    let sheared = shear_moved(size, tones, &centre, &best.places);
    let refined = refine(size, &sheared, best.constants, Some(&best.places));
    perturb(Cause::ShearThroughThickness, refined.map(|n| n.constants), 1.0, f64::INFINITY);
    // Found together, they are off together: as the fit's covariance says.
    let values = value(&centre);
    let covariance = DMatrix::from_fn(3, 3, |i, j| values[i] * values[j] * best.covariance[(i, j)]);
    let fitted = Figure::correlated(&values, &covariance, Cause::PlateFit, best.freedom);
    let mut moduli = fitted.iter().zip(parts).map(|(fit, parts)| {
        Figure::with_contributions(fit.value, fit.contributions().map(|(s, c)| (s.clone(), c)).chain(parts))
    });
    let (Some(along), Some(across), Some(shear)) = (moduli.next(), moduli.next(), moduli.next()) else { return };
    let inputs = [&along, &sizes.width, &sizes.thickness];
    result.bending_stiffness = Some(Figure::combine(&inputs, |x| x[0] * x[1] * x[2].powi(3) / 12.0));
    result.bending_stiffness_per_width =
        Some(Figure::combine(&[&along, &sizes.thickness], |x| x[0] * x[1].powi(3) / 12.0));
    result.along = Some(along);
    let untold = |what: &str, family: &str| {
        format!("{what} cannot be told from these modes: too few {family} modes are among them")
    };
    if best.tells(1) {
        result.across = Some(across);
    } else {
        result.notes.push(untold("E across the grain", "crosswise"));
    }
    if best.tells(2) {
        result.shear = Some(shear);
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
        // E goes with mass length^3/(width thickness^3) at given frequencies.
        let along = result.along.as_ref().expect("told");
        for (size, power) in [(&sizes.length, 3.0), (&sizes.width, -1.0), (&sizes.thickness, -3.0), (&sizes.mass, 1.0)]
        {
            let source = size.parts().next().expect("one source").0;
            let (_, part) = along.parts().find(|(s, _)| *s == source).expect("a part");
            let got = part / along.value / size.relative_u();
            assert!((got - power).abs() < 0.1, "{source}: {got}");
        }
        // D = E/(1 - nu^2 E_C/E_L): one standard deviation more of nu is 0.7 % of E at most, nothing where free edges let it curl.
        let of_poisson = along.parts().find(|(s, _)| s.cause == Cause::PoissonsRatio).expect("a part").1 / along.value;
        assert!((-0.007..-0.001).contains(&of_poisson), "{of_poisson}");
        let uneven = |r: &BlankResult| r.notes.iter().any(|n| n.contains("more than 1 % off"));
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

    const SIDE: Size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };

    /// The uncertainty of what shear through the thickness takes moves the tones by half of it, since omega^2 falls.
    #[test]
    fn moved_tones_stand_for_the_doubt_in_shear() {
        let constants = Constants { along_pa: 12e9, across_pa: 1.1e9, shear_pa: 0.9e9, poisson: POISSON.0 };
        let blank = BlankModes::new(&SIDE, &constants, 400.0);
        let tones: Vec<Tone> = blank.hz.iter().map(|f| Tone { frequency_hz: *f, frequency_hz_u: 0.01 }).collect();
        let mut places: Vec<_> = blank.modes.iter().map(|m| Some(m.place)).collect();
        places[0] = None;
        let moved = shear_moved(&SIDE, &tones, &constants, &places);
        assert_eq!(moved[0], tones[0]);
        assert!(tones.len() > 5 && moved.len() == tones.len(), "{} {}", tones.len(), moved.len());
        for ((mode, tone), moved) in blank.modes.iter().zip(&tones).zip(&moved).skip(1) {
            let (_, term) = mode.thickness_terms(&constants, &blank.stiffnesses, SIDE.thickness_m);
            // Fewer polynomials, as the band asks for them, see the term itself a little differently.
            let ratio = (moved.frequency_hz / tone.frequency_hz - 1.0) / (0.5 * 0.3 * term);
            assert!((ratio - 1.0).abs() < 0.05 && term > 0.0, "{}: {ratio}", mode.name());
        }
    }
}
