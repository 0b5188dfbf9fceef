//! Which numbering is believed: the rivals that explain the modes about as well, and what stands against the best of them.

use super::blank_note::BlankNote;
use super::numbering::Numbering;
use super::plate::Size;
use super::tone::{LEAST_BENDING, LEAST_NAMED, Tone};
use super::wood::{ORDINARY_SPEED_M_S, SHEAR_RANGE, SPEED_M_S};
use crate::uncertainty::COVERAGE_95;

/// A rival must be less likely by this factor (natural logarithm) to be passed over.
const SURE: f64 = 7.0;

/// The different numberings that explain the modes about as well as the best, the best first; and those that
/// agree with the best otherwise and differ in E across.
pub(super) fn rivals(mut found: Vec<Numbering>, size: &Size) -> (Vec<Numbering>, Vec<Numbering>) {
    found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    // A fit that wandered out of what wood can be is no numbering.
    found.retain(|n| {
        let shear = n.constants.shear_pa / n.constants.along_pa;
        SPEED_M_S.contains(&size.speed_m_s(&n.constants)) && SHEAR_RANGE.contains(&shear)
    });
    let Some(best) = found.first().cloned() else { return (found, Vec::new()) };
    found.iter_mut().for_each(|n| n.behind = best.evidence - n.evidence);
    found.retain(|n| n.behind < SURE);
    let differ = |a: f64, b: f64, by: f64| (a / b).ln().abs() > by;
    let same = |a: &Numbering, b: &Numbering| {
        !differ(a.constants.along_pa, b.constants.along_pa, 0.01)
            && (!differ(a.constants.shear_pa, b.constants.shear_pa, 0.02) || !a.tells(2))
    };
    let across = |n: &Numbering| same(&best, n) && differ(n.constants.across_pa, best.constants.across_pa, 0.03);
    let others_across = found.iter().filter(|n| across(n)).cloned().collect();
    let mut distinct: Vec<Numbering> = Vec::new();
    for numbering in found {
        if !distinct.iter().any(|d| same(d, &numbering)) {
            distinct.push(numbering);
        }
    }
    (distinct, others_across)
}

/// Why even the best numbering is not believed.
pub(super) fn why_not_believed(best: &Numbering, tones: &[Tone]) -> Option<BlankNote> {
    let named = best.numbers.iter().flatten().count();
    let bending = best.numbers.iter().flatten().filter(|n| n.1 == 0).count();
    if 3 * named < 2 * tones.len() {
        return Some(BlankNote::MostDoNotFit { named, of: tones.len() });
    }
    (bending < LEAST_BENDING || named < LEAST_NAMED).then_some(BlankNote::TooFewNamed { named, bending })
}

/// Leaves out what would be refused by itself, sound going along the grain at no ordinary wood's speed as far as the sizes let it be
/// known (relative standard uncertainty of the speed); or what to say if the best is refused and none is left to compete with it.
pub(super) fn of_wood(all: &mut Vec<Numbering>, size: &Size, relative_u: f64) -> Option<BlankNote> {
    let within = 1.0 + COVERAGE_95 * relative_u;
    let ordinary = |n: &Numbering| {
        let speed = size.speed_m_s(&n.constants);
        speed * within >= ORDINARY_SPEED_M_S.start && speed / within < ORDINARY_SPEED_M_S.end
    };
    let best = all.first()?;
    if ordinary(best) {
        all.retain(ordinary);
        return None;
    }
    (!all.iter().any(ordinary)).then(|| BlankNote::UnusualSpeed(size.speed_m_s(&best.constants)))
}

#[cfg(test)]
mod tests {
    use super::super::plate::Constants;
    use super::super::wood::POISSON;
    use super::*;

    const SIDE: Size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };

    /// A numbering of some moduli (GPa), of which E across and G are told to so much (standard deviation of the logarithm).
    fn numbering(moduli_gpa: [f64; 3], evidence: f64, told: f64) -> Numbering {
        let [along_pa, across_pa, shear_pa] = moduli_gpa.map(|m| 1e9 * m);
        Numbering {
            constants: Constants { along_pa, across_pa, shear_pa, poisson: POISSON.0 },
            numbers: Vec::new(),
            places: Vec::new(),
            expected_hz: Vec::new(),
            behind: 0.0,
            deviation: 0.005,
            covariance: nalgebra::DMatrix::from_diagonal_element(3, 3, told * told),
            freedom: 10.0,
            evidence,
        }
    }

    #[test]
    fn rivals_are_other_moduli_that_explain_the_modes_as_well() {
        let best = numbering([12.0, 1.0, 1.0], -3.0, 0.01);
        // Sound at 7560 m/s; G at a quarter of E; too unlikely; the best again; E along 5 % off, behind by 2.
        let found = vec![
            numbering([35.2, 1.0, 2.0], 5.0, 0.01),
            numbering([12.0, 1.0, 3.0], 4.0, 0.01),
            numbering([13.0, 1.0, 1.0], -11.0, 0.01),
            best.clone(),
            numbering([12.05, 1.0, 1.0], -4.0, 0.01),
            numbering([12.6, 1.0, 1.0], -5.0, 0.01),
        ];
        let (distinct, others_across) = rivals(found, &SIDE);
        let told: Vec<(f64, f64)> = distinct.iter().map(|n| (n.constants.along_pa, n.behind)).collect();
        assert_eq!(told, [(12e9, 0.0), (12.6e9, 2.0)]);
        assert!(others_across.is_empty());
        // E across 5 % off; G 5 % off where it is told, and where it is not.
        let (distinct, others_across) = rivals(vec![best.clone(), numbering([12.0, 1.05, 1.0], -4.0, 0.01)], &SIDE);
        assert!(distinct.len() == 1 && others_across.len() == 1);
        let shear = |told| {
            rivals(vec![numbering([12.0, 1.0, 1.0], -3.0, told), numbering([12.0, 1.0, 1.05], -4.0, told)], &SIDE)
        };
        assert_eq!(shear(0.01).0.len(), 2);
        assert_eq!(shear(0.2).0.len(), 1);
        assert!(rivals(Vec::new(), &SIDE).0.is_empty());
    }

    #[test]
    fn only_ordinary_speeds_of_sound_give_moduli() {
        let left = |speeds: &[f64], relative_u: f64| {
            let of = |speed: &f64| numbering([1e-9 * SIDE.density_kg_m3() * speed * speed, 1.0, 1.0], 0.0, 0.01);
            let mut all: Vec<Numbering> = speeds.iter().map(of).collect();
            let why = of_wood(&mut all, &SIDE, relative_u);
            (why.map(|w| w.code()), all.len())
        };
        assert_eq!(left(&[4500.0], 0.0), (None, 1));
        // An ordinary best has ordinary rivals; a best that is none, and an ordinary rival, stay undecided.
        assert_eq!(left(&[4500.0, 2500.0, 4600.0], 0.0), (None, 2));
        assert_eq!(left(&[7000.0, 4500.0], 0.0), (None, 2));
        assert_eq!(left(&[7000.0, 2500.0], 0.01).0, Some("unusual_sound_speed"));
        assert_eq!(left(&[], 0.0), (None, 0));
        // Known within 1 %, 2950 m/s may be 3000, and 6600 may be 6500; 2900 and 6700 may not.
        for (speed, refused) in [(2950.0, false), (2900.0, true), (6600.0, false), (6700.0, true)] {
            assert_eq!(left(&[speed], 0.01).0.is_some(), refused, "{speed}");
        }
    }

    #[test]
    fn a_numbering_is_believed_for_enough_tones_and_enough_bending() {
        let why = |bending: usize, twist: usize, tones: usize| {
            let numbers = [(2, 0)].repeat(bending).into_iter().chain([(1, 1)].repeat(twist)).map(Some);
            let nobody = std::iter::repeat_n(None, tones - bending - twist);
            let best = Numbering { numbers: numbers.chain(nobody).collect(), ..numbering([12.0, 1.0, 1.0], 0.0, 0.01) };
            why_not_believed(&best, &vec![Tone { frequency_hz: 100.0, frequency_hz_u: 0.01 }; tones])
        };
        assert_eq!(why(2, 4, 9), None);
        assert_eq!(why(2, 3, 9), Some(BlankNote::MostDoNotFit { named: 5, of: 9 }));
        assert_eq!(why(2, 3, 7), Some(BlankNote::TooFewNamed { named: 5, bending: 2 }));
        assert_eq!(why(1, 5, 9), Some(BlankNote::TooFewNamed { named: 6, bending: 1 }));
    }
}
