//! Moduli of a blank by one assignment of its modes, with all their uncertainties.

use nalgebra::DMatrix;

use super::blank_modes::BlankModes;
use super::blank_note::Modulus;
use super::numbering::{Numbering, SHEAR_TERM_U, stepped};
use super::odd_fit::odd_fit;
use super::odd_mean::OddFit;
use super::odd_prior::OddPrior;
use super::plate::{Constants, ModePlace, Size};
use super::tone::Tone;
use crate::part::{HUNG_AGAIN_DOF, HUNG_AGAIN_FREQUENCY, Sizes};
use crate::uncertainty::{Cause, Contribution, Figure, Source};

/// E along, E across and G (Pa), and E of the blank along its length.
pub(super) struct BlankModuli {
    all: [Figure; 3],
    told: [bool; 3],
    pub(super) along_length: Figure,
    /// Angle and bow.
    pub(super) odd: OddFit,
}

/// Which of the odd plate's figures is which of ours.
const FROM_ODD: [usize; 4] = [1, 2, 3, 0];

impl BlankModuli {
    /// From frequencies, sizes, mass, Poisson's ratio, shear through the thickness and hanging anew.
    pub(super) fn new(sizes: &Sizes, size: &Size, tones: &[Tone], best: &Numbering, prior: &OddPrior) -> Option<Self> {
        let solve = |size: &Size, tones: &[Tone]| stepped(size, tones, &best.constants, &best.places, best.deviation);
        let value = |c: &Constants| [c.along_pa, c.across_pa, c.shear_pa];
        let values = value(&solve(size, tones)?);
        let mut parts: [Vec<(Source, Contribution)>; 3] = Default::default();
        let mut add = |cause: Cause, sizes: [f64; 3], dof: f64| {
            for (parts, size) in parts.iter_mut().zip(sizes) {
                parts.push((Source::from(cause.clone()), Contribution { size, dof }));
            }
        };
        let change = |moved: &Constants, steps: f64| {
            let moved = value(moved);
            [0, 1, 2].map(|i| (moved[i] - values[i]) / steps)
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
            add(cause, change(&solve(&moved, tones)?, 0.5), measured.dof());
        }
        let sheared = shear_moved(size, tones, &best.constants, &best.places);
        add(Cause::ShearThroughThickness, change(&solve(size, &sheared)?, 1.0), f64::INFINITY);
        // Hung anew, all frequencies move together, and moduli by twice as much.
        add(Cause::HeldAnewFrequency, values.map(|v| 2.0 * HUNG_AGAIN_FREQUENCY * v), HUNG_AGAIN_DOF);
        let odd = odd_fit(size, tones, best, prior)?;
        let wedge = prior.wedge;
        let figures: Option<Vec<Figure>> = {
            let covariance = DMatrix::from_fn(4, 4, |i, j| odd.values[i] * odd.values[j] * odd.covariance[(i, j)]);
            let fitted = Figure::correlated(&odd.values, &covariance, Cause::PlateFit, odd.dof);
            let of = |own: usize| {
                let at = FROM_ODD[own];
                let value = odd.values[at];
                let like = if own == 3 { 0 } else { own };
                // Readings move the figure as they move the straight plate's.
                let readings = parts[like].iter().map(|(source, c)| {
                    (source.clone(), Contribution { size: c.size * value / values[like], dof: c.dof })
                });
                let more = [
                    (Cause::PoissonsRatio, odd.of_poisson[at]),
                    (Cause::GrainAngle, odd.of_grain[at]),
                    (Cause::Bow, odd.of_bow[at]),
                    (Cause::ThicknessProfile, wedge),
                ]
                .map(|(cause, size)| (Source::from(cause), Contribution { size: size * value, dof: f64::INFINITY }));
                let fit = fitted.get(at)?.contributions().map(|(s, c)| (s.clone(), c)).collect::<Vec<_>>();
                Some(Figure::with_contributions(value, fit.into_iter().chain(readings).chain(more)))
            };
            (0..4).map(of).collect()
        };
        let [along, across, shear, along_length] = <[Figure; 4]>::try_from(figures?).ok()?;
        let all = [along, across, shear];
        Some(Self { all, told: [true, best.tells(1), best.tells(2)], along_length, odd })
    }

    /// A modulus, if enough of its modes are among those heard.
    pub(super) fn get(&self, which: Modulus) -> Option<Figure> {
        self.told[which as usize].then(|| self.all[which as usize].clone())
    }
}

/// Bending stiffness EI of the whole width (N m2).
pub(super) fn bending_stiffness(along: &Figure, sizes: &Sizes) -> Figure {
    Figure::combine(&[along, &sizes.width, &sizes.thickness], |x| x[0] * x[1] * x[2].powi(3) / 12.0)
}

/// The same per width (N m).
pub(super) fn bending_stiffness_per_width(along: &Figure, sizes: &Sizes) -> Figure {
    Figure::combine(&[along, &sizes.thickness], |x| x[0] * x[1].powi(3) / 12.0)
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

#[cfg(test)]
mod tests {
    use super::super::wood::POISSON;
    use super::*;

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
