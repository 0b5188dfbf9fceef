//! One way of numbering a blank's modes: fitted to the tones, and how likely it is.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::alignment::align;
use super::blank_modes::BlankModes;
use super::plate::{Constants, ModePlace, PlateMode, Size};
use super::tone::Tone;
use super::wood::{ACROSS, POISSON, POISSON_RANGE, SHEAR};

/// Relative deviation of real wood from a uniform plate at which modes are first aligned, and the limits of what it may be: the lower is
/// what the plate itself leaves out (terms of second order in the thickness, the ratio of the shear moduli through it: 4e-4 beside a
/// Reissner-Mindlin plate, `tests/outside/plates.rs`). With less, modes that it leaves out a little more of would fall out of the fit.
pub(super) const DEVIATION: f64 = 0.006;
pub(super) const DEVIATION_LIMITS: (f64, f64) = (5e-4, 0.012);
/// The shear moduli through the thickness are taken from the one in the plane; the shear term may be off by this part of it, much
/// the same for all modes, and by the other part for each by itself (boards are sawn between quarter and flat; by judgement).
pub(super) const SHEAR_TERM_U: f64 = 0.3;
pub(super) const SHEAR_SCATTER: f64 = 0.1;

/// Rounds of least squares, a step (in ln E) that moves nothing any more, and one over which a mode keeps its shape: what that leaves
/// out goes with the square of the step.
const ROUNDS: usize = 8;
const SETTLED: f64 = 1e-5;
const SAME_SHAPE: f64 = 3e-3;

/// One way of numbering the modes, and the moduli that it gives.
#[derive(Debug, Clone)]
pub struct Numbering {
    pub constants: Constants,
    /// For each tone (nodal lines across the length, across the width); `None`: not a mode of the blank, or, where
    /// one numbering stands alone, a mode that another nearby may be instead.
    pub numbers: Vec<Option<(usize, usize)>>,
    /// The same as the modes' places among those of their symmetry.
    pub(super) places: Vec<Option<ModePlace>>,
    /// Expected frequency of each tone (Hz).
    pub expected_hz: Vec<Option<f64>>,
    /// Log likelihood relative to the best.
    pub behind: f64,
    /// Relative deviation of the modes from the plate (standard deviation).
    pub deviation: f64,
    /// Covariance of ln E_L, ln E_C, ln G and Poisson's ratio from the frequencies and from what is known of them beforehand.
    pub(super) covariance: DMatrix<f64>,
    pub(super) freedom: f64,
    pub(super) evidence: f64,
}

impl Numbering {
    /// Whether the modes narrow what is known of a parameter beforehand (0 along, 1 across, 2 shear).
    pub(super) fn tells(&self, parameter: usize) -> bool {
        let before = [f64::INFINITY, ACROSS.1, SHEAR.1][parameter];
        self.covariance[(parameter, parameter)].sqrt() < 0.25 * before
    }
}

/// Least squares from a start; with `fixed` places each tone keeps its mode. `None` if hardly a tone fits.
pub(super) fn refine(
    size: &Size,
    tones: &[Tone],
    start: Constants,
    fixed: Option<&[Option<ModePlace>]>,
) -> Option<Numbering> {
    let measured: Vec<f64> = tones.iter().map(|t| t.frequency_hz).collect();
    let (lowest, highest) = (0.97 * measured[0], 1.03 * measured[measured.len() - 1]);
    let mut constants = start;
    let mut deviation = DEVIATION;
    let mut outcome = None;
    let mut blank = BlankModes::new(size, &constants, 1.1 * highest);
    let mut moved = 0.0;
    for round in 0..ROUNDS {
        if moved > SAME_SHAPE {
            blank = BlankModes::new(size, &constants, 1.1 * highest);
            moved = 0.0;
        } else if round > 0 {
            blank.move_to(size, &constants);
        }
        let kept: Vec<usize> = (0..blank.hz.len()).filter(|k| (lowest..highest).contains(&blank.hz[*k])).collect();
        if kept.len() < 2 {
            return None;
        }
        let matches: Vec<Option<usize>> = match fixed {
            Some(places) => {
                places.iter().map(|place| blank.modes.iter().position(|m| Some(m.place) == *place)).collect()
            }
            None => {
                let spread: Vec<f64> = tones.iter().map(|t| t.relative_u().hypot(deviation)).collect();
                let expected: Vec<f64> = kept.iter().map(|k| blank.hz[*k].ln()).collect();
                align(&measured.iter().map(|f| f.ln()).collect::<Vec<_>>(), &spread, &expected)
                    .matches
                    .iter()
                    .map(|m| m.map(|k| kept[k]))
                    .collect()
            }
        };
        let pairs: Vec<(usize, usize)> = matches.iter().enumerate().filter_map(|(i, k)| k.map(|k| (i, k))).collect();
        if pairs.len() < 3 {
            return None;
        }
        let n = pairs.len();
        let (design, target) = equations(size, tones, &constants, &blank, &pairs, deviation);
        let covariance = (design.transpose() * &design).try_inverse()?;
        let step = &covariance * design.transpose() * &target;
        // Once the step is taken the misfit tells how far the wood is from a uniform plate.
        let left = &target - &design * &step;
        let freedom = (n as f64 - 3.0).max(1.0);
        let ratio = (left.rows(0, n).norm_squared() / freedom).sqrt();
        let prior = -0.5 * target.rows(n, 3).norm_squared();
        let families = families(&blank.modes, &kept, &matches);
        outcome = Some(Numbering {
            constants,
            numbers: matches
                .iter()
                .map(|k| k.map(|k| (blank.modes[k].across_length, blank.modes[k].across_width)))
                .collect(),
            places: matches.iter().map(|k| k.map(|k| blank.modes[k].place)).collect(),
            expected_hz: matches.iter().map(|k| k.map(|k| blank.hz[k])).collect(),
            behind: 0.0,
            deviation,
            freedom,
            evidence: prior + evidence(tones, &pairs, &blank.hz, deviation, &families, &covariance),
            covariance,
        });
        constants = after(&constants, &step, 0.1);
        if !POISSON_RANGE.contains(&constants.poisson) {
            return None;
        }
        moved += step.amax();
        if round > 0 || fixed.is_some() {
            deviation = (deviation * ratio).clamp(DEVIATION_LIMITS.0, DEVIATION_LIMITS.1);
            if step.amax() < SETTLED && (0.8..1.25).contains(&ratio) {
                break;
            }
        }
    }
    outcome
}

/// Where one step of least squares leads from some constants, for tones of known modes.
pub(super) fn stepped(
    size: &Size,
    tones: &[Tone],
    from: &Constants,
    places: &[Option<ModePlace>],
    deviation: f64,
) -> Option<Constants> {
    let blank = BlankModes::new(size, from, 1.13 * tones.last()?.frequency_hz);
    let at = |place: &Option<ModePlace>| blank.modes.iter().position(|m| Some(m.place) == *place);
    let pairs: Vec<(usize, usize)> =
        places.iter().enumerate().filter_map(|(i, place)| at(place).map(|k| (i, k))).collect();
    let (design, target) = equations(size, tones, from, &blank, &pairs, deviation);
    let step = (design.transpose() * &design).try_inverse()? * design.transpose() * &target;
    Some(after(from, &step, f64::INFINITY))
}

/// The constants after a step in ln E_L, ln E_C, ln G and Poisson's ratio, in none of them longer than `most`.
pub(super) fn after(constants: &Constants, step: &DVector<f64>, most: f64) -> Constants {
    let step = step.map(|s| s.clamp(-most, most));
    Constants {
        along_pa: constants.along_pa * step[0].exp(),
        across_pa: constants.across_pa * step[1].exp(),
        shear_pa: constants.shear_pa * step[2].exp(),
        poisson: constants.poisson + step[3],
    }
}

/// The linear equations for one step in ln E_L, ln E_C, ln G and Poisson's ratio: a row for each matched tone, and one for what is known
/// of each ratio beforehand, all in units of their standard deviations.
fn equations(
    size: &Size,
    tones: &[Tone],
    constants: &Constants,
    blank: &BlankModes,
    pairs: &[(usize, usize)],
    deviation: f64,
) -> (DMatrix<f64>, DVector<f64>) {
    let n = pairs.len();
    let mut design = DMatrix::zeros(n + 3, 4);
    let mut target = DVector::zeros(n + 3);
    // D_x and D_y go with 1/(1 - nu^2 E_C/E_L), D_1 with nu as well.
    let nu = constants.poisson;
    let coupled = nu * constants.across_pa / constants.along_pa;
    let stiffer = 2.0 * coupled / (1.0 - nu * coupled);
    for (row, (i, k)) in pairs.iter().enumerate() {
        let (tone, mode) = (&tones[*i], &blank.modes[*k]);
        let (_, shear_term) = mode.thickness_terms(constants, &blank.stiffnesses, size.thickness_m);
        let sigma = tone.relative_u().hypot(deviation).hypot(0.5 * SHEAR_SCATTER * shear_term);
        // d ln f/d ln parameter from the energy shares; D_1 = nu E_C h^3/12/(...) moves with E_C.
        let share = |p: usize| mode.slopes[p] * blank.stiffnesses[p] / mode.omega_squared;
        let by_nu = stiffer * (share(0) + share(1) + share(2)) + share(2) / nu;
        for (parameter, slope) in [share(0), share(1) + share(2), share(3), by_nu].into_iter().enumerate() {
            design[(row, parameter)] = 0.5 * slope / sigma;
        }
        target[row] = (tone.frequency_hz / blank.hz[*k]).ln() / sigma;
    }
    let ratios =
        [(1, ACROSS, constants.across_pa / constants.along_pa), (2, SHEAR, constants.shear_pa / constants.along_pa)];
    for (row, (parameter, (median, spread), now)) in ratios.into_iter().enumerate() {
        design[(n + row, parameter)] = 1.0 / spread;
        design[(n + row, 0)] = -1.0 / spread;
        target[n + row] = (median / now).ln() / spread;
    }
    design[(n + 2, 3)] = 1.0 / POISSON.1;
    target[n + 2] = (POISSON.0 - nu) / POISSON.1;
    (design, target)
}

/// How many modes of each family (bending, twist, crosswise) lie in the band, and how many of them were heard.
fn families(modes: &[PlateMode], kept: &[usize], matches: &[Option<usize>]) -> [(usize, usize); 3] {
    let mut counts = [(0, 0); 3];
    for k in kept {
        let family = modes[*k].across_width.min(2);
        counts[family].0 += 1;
        counts[family].1 += usize::from(matches.contains(&Some(*k)));
    }
    counts
}

/// Log evidence of a numbering: how well the matched tones fit, how many of each family are heard (any share equally likely
/// beforehand), the tones that are nobody's, and how finely the parameters had to be chosen.
fn evidence(
    tones: &[Tone],
    pairs: &[(usize, usize)],
    hz: &[f64],
    deviation: f64,
    families: &[(usize, usize); 3],
    covariance: &DMatrix<f64>,
) -> f64 {
    let ln_factorial = |n: usize| (1..=n).map(|k| (k as f64).ln()).sum::<f64>();
    let fit: f64 = pairs
        .iter()
        .map(|(i, k)| {
            let sigma = tones[*i].relative_u().hypot(deviation);
            let z = (tones[*i].frequency_hz / hz[*k]).ln() / sigma;
            -0.5 * z * z - sigma.ln() - 0.5 * TAU.ln()
        })
        .sum();
    let heard: f64 = families
        .iter()
        .map(|(there, heard)| ln_factorial(*heard) + ln_factorial(there - heard) - ln_factorial(there + 1))
        .sum();
    let range = (tones[tones.len() - 1].frequency_hz / tones[0].frequency_hz).ln() + 0.1;
    // A tone that is nobody's may lie anywhere in the range, and is rare.
    let extra = (tones.len() - pairs.len()) as f64 * ((0.1 * tones.len() as f64 / range).min(1.0 / range).ln() - 2.0);
    fit + heard + extra + 0.5 * covariance.determinant().max(1e-300).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: Size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };
    const TRUTH: Constants = Constants { along_pa: 12e9, across_pa: 1.1e9, shear_pa: 0.9e9, poisson: 0.4 };

    fn tones_of(constants: &Constants) -> Vec<Tone> {
        let heard = |f: &&f64| (40.0..500.0).contains(*f);
        let hz = BlankModes::new(&SIDE, constants, 500.0).hz;
        hz.iter().filter(heard).map(|f| Tone { frequency_hz: *f, frequency_hz_u: 1e-4 * f }).collect()
    }

    /// From a start one to two percent off, exact tones lead back to the moduli; every tone has its mode, and the deviation from a
    /// uniform plate sinks to its limit.
    #[test]
    fn least_squares_find_the_moduli() {
        let tones = tones_of(&TRUTH);
        let start = Constants { along_pa: 12.12e9, across_pa: 1.08e9, shear_pa: 0.915e9, ..TRUTH };
        let fitted = refine(&SIDE, &tones, start, None).expect("a numbering");
        let of = |c: &Constants| [c.along_pa, c.across_pa, c.shear_pa];
        for (fitted, truth) in of(&fitted.constants).into_iter().zip(of(&TRUTH)) {
            assert!((fitted / truth - 1.0).abs() < 1e-4, "{fitted} {truth}");
        }
        assert!(
            fitted.numbers.iter().all(Option::is_some) && fitted.deviation <= DEVIATION_LIMITS.0,
            "{}",
            fitted.deviation
        );
        assert_eq!(fitted.freedom, tones.len() as f64 - 3.0);
        assert!(tones.len() > 10 && fitted.numbers.len() == tones.len() && fitted.expected_hz.len() == tones.len());
        for (expected, tone) in fitted.expected_hz.iter().zip(&tones) {
            assert!(expected.is_some_and(|f| (f / tone.frequency_hz - 1.0).abs() < 1e-4));
        }
        // Kept to their modes, tones that lie 1 % higher are of moduli 2 % higher.
        let higher: Vec<Tone> = tones.iter().map(|t| Tone { frequency_hz: 1.01 * t.frequency_hz, ..*t }).collect();
        let moved = refine(&SIDE, &higher, TRUTH, Some(&fitted.places)).expect("a numbering");
        for (moved, truth) in of(&moved.constants).into_iter().zip(of(&TRUTH)) {
            assert!((moved / truth / 1.0201 - 1.0).abs() < 5e-4, "{moved} {truth}");
        }
    }

    /// The rows of the equations are the derivatives of ln f, as the plate itself gives them when a modulus moves a little.
    #[test]
    fn equations_hold_the_plates_derivatives() {
        let tones = tones_of(&TRUTH);
        let blank = BlankModes::new(&SIDE, &TRUTH, 550.0);
        let at = |t: &Tone| blank.hz.iter().position(|f| *f == t.frequency_hz);
        let tones: Vec<Tone> = tones.iter().map(|t| Tone { frequency_hz: 1.001 * t.frequency_hz, ..*t }).collect();
        let unmoved: Vec<Tone> = tones_of(&TRUTH);
        let pairs: Vec<(usize, usize)> =
            unmoved.iter().enumerate().filter_map(|(i, t)| at(t).map(|k| (i, k))).collect();
        assert!(pairs.len() > 10);
        let (design, target) = equations(&SIDE, &tones, &TRUTH, &blank, &pairs, 0.006);
        let step = 1e-3f64;
        let moved = [
            Constants { along_pa: TRUTH.along_pa * step.exp(), ..TRUTH },
            Constants { across_pa: TRUTH.across_pa * step.exp(), ..TRUTH },
            Constants { shear_pa: TRUTH.shear_pa * step.exp(), ..TRUTH },
            Constants { poisson: TRUTH.poisson + step, ..TRUTH },
        ]
        .map(|c| BlankModes::new(&SIDE, &c, 550.0));
        for (row, (i, k)) in pairs.iter().enumerate() {
            let (_, term) = blank.modes[*k].thickness_terms(&TRUTH, &blank.stiffnesses, SIDE.thickness_m);
            let sigma = (tones[*i].frequency_hz_u / tones[*i].frequency_hz).hypot(0.006).hypot(0.05 * term);
            assert!((target[row] * sigma - 1.001f64.ln()).abs() < 1e-9);
            for (parameter, moved) in moved.iter().enumerate() {
                let same = moved.modes.iter().position(|m| m.place == blank.modes[*k].place).expect("the same mode");
                let slope = (moved.hz[same] / blank.hz[*k]).ln() / step;
                // What thickness takes moves with the moduli as well, which the equations leave out.
                assert!((design[(row, parameter)] * sigma - slope).abs() < 0.015, "{parameter}: {slope}");
            }
        }
        let n = pairs.len();
        // Ratios to E along beforehand: E across 0.075 within a factor of exp(0.5), G 0.074 within one of exp(0.37).
        assert!((target[n] - (0.075 / (1.1 / 12.0f64)).ln() / 0.5).abs() < 1e-9);
        assert!((target[n + 1] - (0.074 / (0.9 / 12.0f64)).ln() / 0.37).abs() < 1e-9);
        assert_eq!(design.row(n).iter().copied().collect::<Vec<_>>(), [-2.0, 2.0, 0.0, 0.0]);
        // Poisson's ratio 0.40 within 0.083.
        assert!(target[n + 2].abs() < 1e-9 && (design[(n + 2, 3)] * 0.083 - 1.0).abs() < 1e-9);
    }

    /// By hand: one tone off its mode by two deviations, one tone that is nobody's, one of two bending modes heard.
    #[test]
    fn evidence_adds_its_parts() {
        let tones = [100.0, 200.0].map(|frequency_hz| Tone { frequency_hz, frequency_hz_u: 0.0 });
        let covariance = DMatrix::from_diagonal_element(3, 3, 1e-4);
        let got = evidence(
            &tones,
            &[(0, 1)],
            &[50.0, 100.0 * (-0.02f64).exp()],
            0.01,
            &[(2, 1), (0, 0), (0, 0)],
            &covariance,
        );
        let fit = ((-2.0f64).exp() / (0.01 * TAU.sqrt())).ln();
        let range = 2f64.ln() + 0.1;
        let expected = fit + (1.0 / 6.0f64).ln() + (0.2 / range).ln() - 2.0 + 0.5 * 1e-12f64.ln();
        assert!((got - expected).abs() < 1e-9, "{got} {expected}");
    }
}
