//! A flat blank: elastic moduli from its modes, whose numbers are inferred from their pattern.
//!
//! The lowest modes of a side blank lie below what a microphone hears, so the lowest one heard is not the first. All
//! numberings are tried: moduli are scanned over what wood can have, each gives the modes of a free orthotropic plate, the
//! measured ones are aligned with them, the best are refined by least squares, and rivals that explain the modes about as
//! well are reported beside the best.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::alignment::align;
use super::plate::{Constants, PlateMode, Size, bending_stiffnesses, free_plate_modes, mode_name};
use crate::modes::student_factor;
use crate::part::{Measured, Sizes, Source};

/// A measured mode: undamped frequency and its standard uncertainty (Hz).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
}

/// Speed of sound along the grain, sqrt(E_L/rho), that is searched (m/s): from soft to the stiffest straight-grained wood,
/// with a margin.
const SPEED_M_S: (f64, f64) = (2200.0, 7500.0);
/// What sound along the grain does in most woods (m/s), by the moduli and densities of the Wood Handbook with a margin.
const ORDINARY_SPEED_M_S: std::ops::Range<f64> = 3000.0..6500.0;
/// Ratios to E_L: median and spread (standard deviation of the logarithm) over the species of the Wood Handbook's Table 5-1
/// (E_R/E_L and E_T/E_L; G_LR/E_L and G_LT/E_L), and the range that is searched.
const ACROSS: (f64, f64) = (0.09, 0.45);
const SHEAR: (f64, f64) = (0.085, 0.40);
const SHEAR_RANGE: (f64, f64) = (0.03, 0.22);
const ACROSS_RANGE: [f64; 3] = [0.04, 0.085, 0.18];
/// nu_LR and nu_LT of the same table: 0.4 and its spread.
const POISSON: (f64, f64) = (0.40, 0.07);
/// Relative deviation of real wood from a uniform plate at which modes are first aligned, and the limits of what it may be.
const DEVIATION: f64 = 0.006;
const DEVIATION_LIMITS: (f64, f64) = (1e-4, 0.012);
/// The shear modulus through the thickness is taken as the one in the plane; the shear term may be off by this part of it.
const SHEAR_TERM_U: f64 = 0.3;
/// A rival must be less likely by this factor (natural logarithm) to be passed over.
const SURE: f64 = 7.0;
/// Fewer modes than this fit too many numberings.
const LEAST_MODES: usize = 4;
/// A numbering is believed with so many modes that fit, so many of them bending along.
const LEAST_MATCHED: usize = 6;
const LEAST_BENDING: usize = 2;
/// Most modes that are used, the lowest.
const MOST_MODES: usize = 40;
const STEP_SPEED: f64 = 0.003;
const CANDIDATES: usize = 16;
const CANDIDATES_ACROSS: usize = 6;
const ACROSS_STEPS: usize = 30;

/// One way of numbering the modes, and the moduli that it gives.
#[derive(Debug, Clone)]
pub struct Numbering {
    pub constants: Constants,
    /// For each tone (nodal lines across the length, across the width); `None`: not a mode of the blank.
    pub numbers: Vec<Option<(usize, usize)>>,
    /// Expected frequency of each tone (Hz).
    pub expected_hz: Vec<Option<f64>>,
    /// Log likelihood relative to the best.
    pub behind: f64,
    /// Relative deviation of the modes from the plate (standard deviation).
    pub deviation: f64,
    /// Covariance of ln E_L, ln E_C, ln G from the frequencies (and from nothing else).
    covariance: DMatrix<f64>,
    freedom: f64,
    evidence: f64,
}

/// What the modes of a blank tell.
#[derive(Debug, Clone)]
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
    /// Whether one numbering stands alone.
    pub fn decided(&self) -> bool {
        self.numberings.len() == 1
    }
}

/// Polynomials along length and width that describe all modes up to a frequency.
fn terms(size: &Size, constants: &Constants, below_hz: f64) -> (usize, usize) {
    let stiffness = bending_stiffnesses(constants, size.thickness_m);
    let per_area = size.mass_kg / (size.length_m * size.width_m);
    let lines = |d: f64, side: f64| (TAU * below_hz * (per_area / d).sqrt()).sqrt() * side / std::f64::consts::PI;
    let along = lines(stiffness[0], size.length_m);
    // The twist family crosses the band with more lines than bending does.
    let twist = 2.0 * below_hz * size.length_m * size.width_m
        / (2.0
            * size.thickness_m
            * (constants.shear_pa * size.length_m * size.width_m * size.thickness_m / size.mass_kg).sqrt());
    let wide = lines(stiffness[1], size.width_m);
    let count = |lines: f64| lines.ceil().clamp(2.0, 40.0) as usize;
    (count(along.max(twist.min(1.3 * along))) + 8, count(wide) + 5)
}

fn frequencies(size: &Size, constants: &Constants, below_hz: f64) -> (Vec<PlateMode>, Vec<f64>) {
    let mut stiffness = bending_stiffnesses(constants, size.thickness_m);
    stiffness[3] *= edge_factor(size);
    let modes = free_plate_modes(&stiffness, size, terms(size, constants, below_hz), 1.05 * below_hz);
    let hz = modes.iter().map(|m| m.frequency_hz(constants, &stiffness, size.thickness_m)).collect();
    (modes, hz)
}

/// What the free edges take from the twisting stiffness: a strip's torsion constant is b h^3/3 (1 - 0.63 h/b) (Saint-Venant;
/// in the standard textbooks of elasticity), and likewise for the other pair of edges.
fn edge_factor(size: &Size) -> f64 {
    1.0 - 0.63 * size.thickness_m * (1.0 / size.width_m + 1.0 / size.length_m)
}

/// A mode's numbers and its frequency at the reference speed.
type GridMode = ((usize, usize), f64);

/// The plate's modes at some ratios of the moduli; all frequencies scale with the speed of sound along the grain.
struct Grid {
    shear: Vec<f64>,
    /// For each across ratio and shear ratio.
    modes: Vec<Vec<Vec<GridMode>>>,
}

const REFERENCE_SPEED: f64 = 4500.0;

fn constants_of(size: &Size, speed: f64, across: f64, shear: f64) -> Constants {
    let density = size.mass_kg / (size.length_m * size.width_m * size.thickness_m);
    let along_pa = density * speed * speed;
    Constants { along_pa, across_pa: across * along_pa, shear_pa: shear * along_pa, poisson: POISSON.0 }
}

impl Grid {
    fn new(size: &Size, highest_hz: f64) -> Self {
        const SHEARS: usize = 9;
        let step = (SHEAR_RANGE.1 / SHEAR_RANGE.0).ln() / (SHEARS - 1) as f64;
        let shear: Vec<f64> = (0..SHEARS).map(|i| SHEAR_RANGE.0 * (step * i as f64).exp()).collect();
        // At the lowest speed the most modes lie in the band.
        let below = highest_hz * REFERENCE_SPEED / SPEED_M_S.0;
        let modes = ACROSS_RANGE
            .par_iter()
            .map(|across| {
                shear
                    .par_iter()
                    .map(|shear| {
                        let constants = constants_of(size, REFERENCE_SPEED, *across, *shear);
                        let (modes, hz) = frequencies(size, &constants, below);
                        modes.iter().map(|m| (m.across_length, m.across_width)).zip(hz).collect()
                    })
                    .collect()
            })
            .collect();
        Self { shear, modes }
    }

    /// Frequencies at the reference speed between two grid points, those that exist at both.
    fn between(&self, across: usize, place: usize, share: f64) -> Vec<f64> {
        let (low, high) = (&self.modes[across][place], &self.modes[across][place + 1]);
        let mut hz: Vec<f64> = low
            .iter()
            .filter_map(|(numbers, f)| {
                let other = high.iter().find(|(n, _)| n == numbers)?;
                Some(f.powf(1.0 - share) * other.1.powf(share))
            })
            .collect();
        hz.sort_by(f64::total_cmp);
        hz
    }
}

/// Moduli and mode numbers of a flat blank from its tones.
///
/// Uncertainties: frequencies, the deviation of the wood from a uniform plate (from the misfit itself), sizes, mass, Poisson's
/// ratio, and the shear term; sizes are shared by all results.
pub fn blank_from_tones(sizes: &Sizes, tones: &[Tone]) -> BlankResult {
    let mut result = BlankResult {
        numberings: Vec::new(),
        along: None,
        across: None,
        shear: None,
        bending_stiffness: None,
        bending_stiffness_per_width: None,
        notes: Vec::new(),
        modes: Vec::new(),
    };
    let size = Size {
        length_m: sizes.length.value,
        width_m: sizes.width.value,
        thickness_m: sizes.thickness.value,
        mass_kg: sizes.mass.value,
    };
    let tones: &[Tone] = &tones[..tones.len().min(MOST_MODES)];
    if tones.len() < LEAST_MODES {
        result.notes.push(format!(
            "{} modes are too few to tell which they are ({LEAST_MODES} at least): tap near a corner, where all of them sound",
            tones.len()
        ));
        return result;
    }
    let mut found = candidates(&size, tones);
    found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    // A fit that wandered out of what wood can be is no numbering.
    let density = size.mass_kg / (size.length_m * size.width_m * size.thickness_m);
    found.retain(|n| {
        let speed = (n.constants.along_pa / density).sqrt();
        let shear = n.constants.shear_pa / n.constants.along_pa;
        (SPEED_M_S.0..=SPEED_M_S.1).contains(&speed) && (SHEAR_RANGE.0..=1.2 * SHEAR_RANGE.1).contains(&shear)
    });
    let mut distinct: Vec<Numbering> = Vec::new();
    let mut found_across: Vec<(f64, f64)> = Vec::new();
    for candidate in found {
        let same = |n: &Numbering| {
            (n.constants.along_pa / candidate.constants.along_pa).ln().abs() < 0.01
                && ((n.constants.shear_pa / candidate.constants.shear_pa).ln().abs() < 0.02 || told(n, 2).is_none())
        };
        if distinct.first().is_some_and(same) {
            found_across.push((candidate.constants.across_pa, candidate.evidence));
        }
        if !distinct.iter().any(same) {
            distinct.push(candidate);
        }
    }
    let across_undecided = found_across.iter().any(|(across, evidence)| {
        distinct
            .first()
            .is_some_and(|b| (across / b.constants.across_pa).ln().abs() > 0.03 && b.evidence - evidence < SURE)
    });
    let Some(best) = distinct.first().cloned() else {
        result.notes.push("no numbering explains these modes: are sizes, mass and kind of the part right?".into());
        return result;
    };
    distinct.iter_mut().for_each(|n| n.behind = best.evidence - n.evidence);
    distinct.retain(|n| n.behind < SURE);
    let matched = best.numbers.iter().flatten().count();
    let bending = best.numbers.iter().flatten().filter(|n| n.1 == 0).count();
    if bending < LEAST_BENDING || matched < LEAST_MATCHED {
        result.notes.push(format!(
            "too few modes to be sure which they are: {matched} fit, {bending} of them bending along the grain (at least \
             {LEAST_MATCHED} and {LEAST_BENDING} are needed). Tap near a corner, harder, or in a quieter room"
        ));
        result.numberings = distinct;
        return result;
    }
    if matched < LEAST_MODES || 3 * matched < 2 * tones.len() {
        result.notes.push(format!(
            "no numbering explains these modes: at best {matched} of {} fit a flat blank of this size. Are sizes and mass right, \
             is it flat, and did anything else ring?",
            tones.len()
        ));
        result.numberings = distinct;
        return result;
    }
    result.modes = frequencies(&size, &best.constants, 1.2 * tones[tones.len() - 1].frequency_hz).0;
    result.numberings = distinct;
    if result.numberings.len() > 1 {
        let told: Vec<String> = result
            .numberings
            .iter()
            .take(3)
            .map(|n| {
                let first = n.numbers.iter().flatten().next().map_or(String::new(), |(l, w)| mode_name(*l, *w));
                format!("{:.1} GPa (the lowest is {first})", n.constants.along_pa * 1e-9)
            })
            .collect();
        result.notes.push(format!(
            "undecided: the modes can be numbered in {} ways that fit about equally well, with E along {}. Tap at a second \
             station (near a corner and at the middle of the end), or cut a shorter strip, and measure again",
            result.numberings.len(),
            told.join(" or ")
        ));
        return result;
    }
    moduli(&mut result, sizes, &size, tones, &best);
    if across_undecided && result.across.take().is_some() {
        result
            .notes
            .push("E across the grain is undecided: the crosswise modes can be numbered in more than one way".into());
    }
    result
}

/// The best numberings, refined.
fn candidates(size: &Size, tones: &[Tone]) -> Vec<Numbering> {
    let measured: Vec<f64> = tones.iter().map(|t| t.frequency_hz).collect();
    let coarse: Vec<f64> = tones.iter().map(|t| (t.frequency_hz_u / t.frequency_hz).hypot(1.3 * DEVIATION)).collect();
    let highest = measured[measured.len() - 1];
    let (lowest, highest_kept) = (measured[0] * 0.97, highest * 1.03);
    let grid = Grid::new(size, highest_kept);
    let speeds = ((SPEED_M_S.1 / SPEED_M_S.0).ln() / STEP_SPEED) as usize;
    let mut scanned: Vec<(f64, f64, f64, f64)> = (0..ACROSS_RANGE.len())
        .flat_map(|across| {
            (0..grid.shear.len() - 1).flat_map(move |place| (0..8).map(move |eighth| (across, place, eighth)))
        })
        .collect::<Vec<_>>()
        .into_par_iter()
        .flat_map_iter(|(across, place, eighth)| {
            let share = f64::from(eighth) / 8.0;
            let reference = grid.between(across, place, share);
            let shear = grid.shear[place].powf(1.0 - share) * grid.shear[place + 1].powf(share);
            let prior = -0.5 * ((shear / SHEAR.0).ln() / SHEAR.1).powi(2)
                - 0.5 * ((ACROSS_RANGE[across] / ACROSS.0).ln() / ACROSS.1).powi(2);
            let mut scores: Vec<f64> = Vec::with_capacity(speeds);
            let mut expected = Vec::new();
            for step in 0..speeds {
                let speed = SPEED_M_S.0 * (STEP_SPEED * step as f64).exp();
                let scale = speed / REFERENCE_SPEED;
                expected.clear();
                expected.extend(reference.iter().map(|f| f * scale).filter(|f| *f > lowest && *f < highest_kept));
                let score = if 2 * expected.len() < measured.len() {
                    f64::NEG_INFINITY
                } else {
                    align(&measured, &coarse, &expected).score + prior
                };
                scores.push(score);
            }
            // Local maxima only.
            let mut peaks = Vec::new();
            for (i, score) in scores.iter().enumerate() {
                let higher = |j: Option<usize>| j.and_then(|j| scores.get(j)).is_some_and(|s| s > score);
                if score.is_finite() && !higher(i.checked_sub(1)) && !higher(Some(i + 1)) {
                    peaks.push((*score, SPEED_M_S.0 * (STEP_SPEED * i as f64).exp(), ACROSS_RANGE[across], shear));
                }
            }
            peaks
        })
        .collect();
    scanned.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The best of each neighbourhood in speed and shear.
    let mut seeds: Vec<(f64, f64, f64, f64)> = Vec::new();
    for peak in scanned {
        let near = |s: &(f64, f64, f64, f64)| (s.1 / peak.1).ln().abs() < 0.012 && (s.3 / peak.3).ln().abs() < 0.08;
        if !seeds.iter().any(near) {
            seeds.push(peak);
            if seeds.len() == CANDIDATES {
                break;
            }
        }
    }
    let mut refined: Vec<Numbering> = seeds
        .par_iter()
        .filter_map(|(_, speed, across, shear)| refine(size, tones, constants_of(size, *speed, *across, *shear), None))
        .collect();
    refined.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    refined.truncate(CANDIDATES_ACROSS);
    refined.par_iter().flat_map(|n| across_again(size, tones, n)).collect()
}

/// The crosswise modes move with E_C alone, which the scan took in coarse steps: from a numbering's moduli along the grain,
/// all of E_C is gone through, and the best places are refined.
fn across_again(size: &Size, tones: &[Tone], from: &Numbering) -> Vec<Numbering> {
    let measured: Vec<f64> = tones.iter().map(|t| t.frequency_hz).collect();
    let spread: Vec<f64> = tones.iter().map(|t| (t.frequency_hz_u / t.frequency_hz).hypot(DEVIATION)).collect();
    let (lowest, highest) = (0.97 * measured[0], 1.03 * measured[measured.len() - 1]);
    let (low, high) = (0.8 * ACROSS_RANGE[0], 1.2 * ACROSS_RANGE[2]);
    let step = (high / low).ln() / (ACROSS_STEPS - 1) as f64;
    let mut scored: Vec<(f64, Constants)> = (0..ACROSS_STEPS)
        .map(|i| {
            let across_pa = from.constants.along_pa * low * (step * i as f64).exp();
            let constants = Constants { across_pa, ..from.constants };
            let (_, hz) = frequencies(size, &constants, highest);
            let expected: Vec<f64> = hz.into_iter().filter(|f| *f > lowest && *f < highest).collect();
            (align(&measured, &spread, &expected).score, constants)
        })
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut results: Vec<Numbering> =
        scored.iter().take(3).filter_map(|(_, constants)| refine(size, tones, *constants, None)).collect();
    results.push(from.clone());
    results.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    results
}

/// The parameter's posterior spread, if the modes narrow what is known of it beforehand (0 along, 1 across, 2 shear).
fn told(numbering: &Numbering, parameter: usize) -> Option<f64> {
    let u = numbering.covariance[(parameter, parameter)].sqrt();
    let before = [f64::INFINITY, ACROSS.1, SHEAR.1][parameter];
    (u < 0.25 * before).then_some(u)
}

/// Least squares from a start; with `fixed` numbers the modes keep them.
fn refine(
    size: &Size,
    tones: &[Tone],
    start: Constants,
    fixed: Option<&[Option<(usize, usize)>]>,
) -> Option<Numbering> {
    let measured: Vec<f64> = tones.iter().map(|t| t.frequency_hz).collect();
    let highest = measured[measured.len() - 1] * 1.03;
    let lowest = measured[0] * 0.97;
    let mut constants = start;
    let mut deviation = DEVIATION;
    let mut outcome = None;
    for round in 0..6 {
        let (modes, hz) = frequencies(size, &constants, highest * 1.1);
        let kept: Vec<usize> = (0..modes.len()).filter(|k| hz[*k] > lowest && hz[*k] < highest).collect();
        let expected: Vec<f64> = kept.iter().map(|k| hz[*k]).collect();
        if expected.len() < 2 {
            return None;
        }
        let mut stiffness = bending_stiffnesses(&constants, size.thickness_m);
        stiffness[3] *= edge_factor(size);
        let of_mode = |k: usize| modes[k].thickness_terms(&constants, &stiffness, size.thickness_m);
        let spread: Vec<f64> = tones.iter().map(|t| (t.frequency_hz_u / t.frequency_hz).hypot(deviation)).collect();
        let alignment = align(&measured, &spread, &expected);
        let matches: Vec<Option<usize>> = match fixed {
            Some(numbers) => numbers
                .iter()
                .map(|n| {
                    let (l, w) = (*n)?;
                    modes.iter().position(|m| m.across_length == l && m.across_width == w)
                })
                .collect(),
            None => alignment.matches.iter().map(|m| m.map(|k| kept[k])).collect(),
        };
        let pairs: Vec<(usize, usize)> = matches.iter().enumerate().filter_map(|(i, k)| k.map(|k| (i, k))).collect();
        if pairs.len() < 3 {
            return None;
        }
        // d ln f/d ln parameter from the energy shares.
        let rows: Vec<[f64; 3]> = pairs
            .iter()
            .map(|(_, k)| {
                let mode = &modes[*k];
                let parts: Vec<f64> = (0..4).map(|p| mode.slopes[p] * stiffness[p] / mode.omega_squared).collect();
                // D_1 = nu E_C h^3/12/(...): moves with E_C.
                [0.5 * parts[0], 0.5 * (parts[1] + parts[2]), 0.5 * parts[3]]
            })
            .collect();
        let n = pairs.len();
        let mut design = DMatrix::zeros(n + 2, 3);
        let mut target = DVector::zeros(n + 2);
        for (row, ((i, k), slopes)) in pairs.iter().zip(&rows).enumerate() {
            let shear_u = 0.5 * SHEAR_TERM_U * of_mode(*k).1;
            let sigma = (tones[*i].frequency_hz_u / tones[*i].frequency_hz).hypot(deviation).hypot(shear_u);
            let off = (measured[*i] / hz[*k]).ln();
            for p in 0..3 {
                design[(row, p)] = slopes[p] / sigma;
            }
            target[row] = off / sigma;
        }
        for (row, (parameter, (centre, width), now)) in
            [(1, ACROSS, constants.across_pa / constants.along_pa), (2, SHEAR, constants.shear_pa / constants.along_pa)]
                .into_iter()
                .enumerate()
        {
            design[(n + row, parameter)] = 1.0 / width;
            design[(n + row, 0)] = -1.0 / width;
            target[n + row] = (centre / now).ln() / width;
        }
        let normal = design.transpose() * &design;
        let covariance = normal.try_inverse()?;
        let step = &covariance * design.transpose() * &target;
        // Once the step is taken the misfit tells how far the wood is from a uniform plate.
        let left = &target - &design * &step;
        let misfit: f64 = left.rows(0, n).iter().map(|v| v * v).sum();
        let freedom = (n as f64 - 3.0).max(1.0);
        let families = families(&modes, &kept, &matches);
        outcome = Some(Numbering {
            constants,
            numbers: matches.iter().map(|k| k.map(|k| (modes[k].across_length, modes[k].across_width))).collect(),
            expected_hz: matches.iter().map(|k| k.map(|k| hz[k])).collect(),
            behind: 0.0,
            deviation,
            covariance: covariance.clone(),
            freedom,
            evidence: evidence(tones, &pairs, &hz, deviation, &families, measured.len(), &covariance)
                - 0.5 * target.rows(n, 2).norm_squared(),
        });
        let limit = |v: f64| v.clamp(-0.1, 0.1);
        constants.along_pa *= limit(step[0]).exp();
        constants.across_pa *= limit(step[1]).exp();
        constants.shear_pa *= limit(step[2]).exp();
        let settled = step.amax() < 1e-5;
        if round > 0 || fixed.is_some() {
            let ratio = (misfit / freedom).sqrt();
            deviation = (deviation * ratio).clamp(DEVIATION_LIMITS.0, DEVIATION_LIMITS.1);
            if settled && (0.8..1.25).contains(&ratio) {
                break;
            }
        }
    }
    outcome
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
    all: usize,
    covariance: &DMatrix<f64>,
) -> f64 {
    let ln_factorial = |n: usize| (1..=n).map(|k| (k as f64).ln()).sum::<f64>();
    let fit: f64 = pairs
        .iter()
        .map(|(i, k)| {
            let sigma = (tones[*i].frequency_hz_u / tones[*i].frequency_hz).hypot(deviation);
            let z = (tones[*i].frequency_hz / hz[*k]).ln() / sigma;
            -0.5 * z * z - sigma.ln() - 0.5 * TAU.ln()
        })
        .sum();
    let heard: f64 = families
        .iter()
        .map(|(there, heard)| ln_factorial(*heard) + ln_factorial(there - heard) - ln_factorial(there + 1))
        .sum();
    let range = (tones[tones.len() - 1].frequency_hz / tones[0].frequency_hz).ln() + 0.1;
    let extra = (all - pairs.len()) as f64 * (0.1 * all as f64 / range).min(1.0 / range).ln();
    let extra = extra + (all - pairs.len()) as f64 * (-2.0);
    fit + heard + extra + 0.5 * covariance.determinant().max(1e-300).ln()
}

/// Moduli with all their uncertainties: frequencies, sizes, mass, Poisson's ratio, the free edges.
fn moduli(result: &mut BlankResult, sizes: &Sizes, size: &Size, tones: &[Tone], best: &Numbering) {
    let solve = |size: &Size, poisson: f64| {
        let start = Constants { poisson, ..best.constants };
        refine(size, tones, start, Some(&best.numbers)).map(|n| n.constants)
    };
    let Some(centre) = solve(size, POISSON.0) else { return };
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
    for (parameter, parts) in parts.iter_mut().enumerate() {
        let u = best.covariance[(parameter, parameter)].sqrt() * widened;
        parts.push((Source::from("frequencies and uneven wood"), value(&centre)[parameter] * u));
    }
    parts[2].push((Source::from("free edges"), centre.shear_pa * (1.0 - edge_factor(size))));
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
    if told(best, 1).is_some() {
        result.across = Some(Measured::with_parts(centre.across_pa, across));
    } else {
        result.notes.push(untold("E across the grain", "crosswise"));
    }
    if told(best, 2).is_some() {
        result.shear = Some(Measured::with_parts(centre.shear_pa, shear));
    } else {
        result.notes.push(untold("the shear modulus G", "twist"));
    }
    let density = size.mass_kg / (size.length_m * size.width_m * size.thickness_m);
    let speed = (centre.along_pa / density).sqrt();
    if !ORDINARY_SPEED_M_S.contains(&speed) {
        result.notes.push(format!(
            "a speed of sound of {speed:.0} m/s along the grain is unusual for wood (most lie between {:.0} and {:.0}): are length, \
             thickness and mass right?",
            ORDINARY_SPEED_M_S.start, ORDINARY_SPEED_M_S.end
        ));
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
        let (modes, hz) = frequencies(&size, &truth, 900.0);
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
}
