//! Effective stiffness and modal mass at a station, from the shift that a small stuck-on mass makes.

use nalgebra::{DMatrix, DVector};

use crate::part::HELD_ANEW_FREQUENCY;
use crate::uncertainty::{COVERAGE_95, Cause, Figure, Source, student_factor};

/// A frequency of one mode with a mass stuck on (0: without).
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedTone {
    /// The stuck-on mass (kg).
    pub added: Figure,
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
}

/// What the added masses tell of one mode at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct EffectiveMass {
    /// Frequency without added mass (Hz).
    pub frequency: Figure,
    /// Modal mass M referred to the station (kg).
    pub modal_mass: Figure,
    /// Effective stiffness k = (2 pi f0)^2 M at the station (N/m).
    pub stiffness: Figure,
    /// Added masses and (f0/f)^2 - 1 with its standard uncertainty, for the picture.
    pub points: Vec<(f64, f64, f64)>,
    /// What the user should know.
    pub notes: Vec<String>,
}

/// Why the added masses tell nothing.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AddedMassError {
    #[error("no take without added mass: tap the station once with nothing stuck on")]
    NoBare,
    #[error("no take with an added mass")]
    NoLoaded,
    #[error("the shift is no larger than its uncertainty: {advice}")]
    NoShift { advice: String },
    #[error(
        "takes with a single added mass do not give M and k, because one mass cannot show how far the other modes bend the shift: \
         tap again with a second, different mass, about {}",
        second_mass(*.added_kg, *.about_kg)
    )]
    OneMass {
        /// The mass that was stuck on (kg).
        added_kg: f64,
        /// What it makes of the modal mass (kg): good enough to choose the second one by.
        about_kg: f64,
    },
    #[error("the shift grows faster than the mass, which no part does: are the masses labelled right?")]
    BendsUp,
    #[error("the frequency rises with the mass stuck on: another mode, or the part was held differently")]
    Rises,
}

impl AddedMassError {
    /// Stable short code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NoBare => "no_bare_take",
            Self::NoLoaded => "no_added_mass",
            Self::NoShift { .. } => "no_shift",
            Self::OneMass { .. } => "one_mass",
            Self::BendsUp => "bends_up",
            Self::Rises => "rises",
        }
    }
}

/// A shift must be at least so many times its uncertainty to give a mass.
const LEAST_SHIFT: f64 = 5.0;
/// Points this far off their line, as a share of the largest shift, are not for the curve's sake.
const LOOSE: f64 = 0.02;
/// Masses that differ by less than this share are one and the same.
const SAME_MASS: f64 = 0.02;

/// Fits (f0/f)^2 - 1 = dm/M (1 + bend dm) to takes with different masses on one station.
///
/// For a single mode the line is straight (Rayleigh); the part's other modes and its rigid motion bend it, always so that a
/// straight line reads M too high (0.8 dm/M at a free bar's end). The bend is fitted, which takes two different masses: what one
/// alone reads is off by an unknown amount.
///
/// # Errors
/// What is missing or contradicts.
pub fn effective_mass(tones: &[LoadedTone]) -> Result<EffectiveMass, AddedMassError> {
    let bare: Vec<&LoadedTone> = tones.iter().filter(|t| t.added.value == 0.0).collect();
    let mut loaded: Vec<&LoadedTone> = tones.iter().filter(|t| t.added.value > 0.0).collect();
    if bare.is_empty() {
        return Err(AddedMassError::NoBare);
    }
    if loaded.is_empty() {
        return Err(AddedMassError::NoLoaded);
    }
    loaded.sort_by(|a, b| a.added.value.total_cmp(&b.added.value));
    // Weighted mean of the takes without mass.
    let weights: f64 = bare.iter().map(|t| t.frequency_hz_u.powi(-2)).sum();
    let mean = bare.iter().map(|t| t.frequency_hz * t.frequency_hz_u.powi(-2)).sum::<f64>() / weights;
    let chi2: f64 = bare.iter().map(|t| ((t.frequency_hz - mean) / t.frequency_hz_u).powi(2)).sum();
    let spread = (chi2 / (bare.len() as f64 - 1.0).max(1.0)).max(1.0).sqrt();
    let bare_u = weights.powf(-0.5) * spread;

    let shift = |f0: f64, f: f64| (f0 / f).powi(2) - 1.0;
    let points: Vec<(f64, f64, f64)> = loaded
        .iter()
        .map(|t| {
            let told =
                (bare_u / mean).hypot(t.frequency_hz_u / t.frequency_hz).hypot(HELD_ANEW_FREQUENCY * 2f64.sqrt());
            let u = 2.0 * (mean / t.frequency_hz).powi(2) * told;
            (t.added.value, shift(mean, t.frequency_hz), u)
        })
        .collect();
    let last = points[points.len() - 1];
    if last.1 < -LEAST_SHIFT * last.2 {
        return Err(AddedMassError::Rises);
    }
    if last.1 < LEAST_SHIFT * last.2 {
        let wanted = last.0 * (10.0 * last.2 / last.1.max(last.2)).clamp(2.0, 20.0);
        return Err(AddedMassError::NoShift { advice: format!("stick on about {}", grams(wanted)) });
    }
    if let [only] = distinct_masses(tones)[..] {
        let about_kg = points.iter().map(|p| p.0).sum::<f64>() / points.iter().map(|p| p.1).sum::<f64>();
        return Err(AddedMassError::OneMass { added_kg: only, about_kg });
    }
    // The slope at zero mass as a function of everything that was read, so that each reading's part can be told.
    let terms = 2;
    let slope_of = |f0: f64, masses: &[f64], frequencies: &[f64]| -> Option<f64> {
        let n = masses.len();
        let design = DMatrix::from_fn(n, terms, |i, j| masses[i].powi(j as i32 + 1) / points[i].2);
        let target = DVector::from_fn(n, |i, _| shift(f0, frequencies[i]) / points[i].2);
        let normal = design.transpose() * &design;
        let solution = normal.try_inverse()? * design.transpose() * target;
        (solution[0] > 0.0).then(|| solution[0])
    };
    let masses: Vec<f64> = loaded.iter().map(|t| t.added.value).collect();
    let frequencies: Vec<f64> = loaded.iter().map(|t| t.frequency_hz).collect();
    let no_line = || AddedMassError::NoShift { advice: "the points make no line; repeat the takes".into() };
    let slope = slope_of(mean, &masses, &frequencies).ok_or_else(no_line)?;
    let mass = 1.0 / slope;
    // Against the lightest mass the heaviest shifts less than in proportion, never more.
    let (first, heaviest) = (points[0], points[points.len() - 1]);
    let steeper = heaviest.1 / heaviest.0 - first.1 / first.0;
    let steeper_u = (heaviest.2 / heaviest.0).hypot(first.2 / first.0);
    if steeper > 2.5 * steeper_u && steeper > 0.05 * first.1 / first.0 {
        return Err(AddedMassError::BendsUp);
    }
    let moved =
        |f0: f64, masses: &[f64], frequencies: &[f64]| slope_of(f0, masses, frequencies).map_or(mass, |s| 1.0 / s);
    let mut of_frequencies = vec![moved(mean + bare_u, &masses, &frequencies) - mass];
    let mut of_holding = vec![moved(mean * (1.0 + HELD_ANEW_FREQUENCY), &masses, &frequencies) - mass];
    let mut parts: Vec<(Source, f64)> = Vec::new();
    for i in 0..masses.len() {
        let mut changed = frequencies.clone();
        changed[i] += loaded[i].frequency_hz_u;
        of_frequencies.push(moved(mean, &masses, &changed) - mass);
        changed[i] = frequencies[i] * (1.0 + HELD_ANEW_FREQUENCY);
        of_holding.push(moved(mean, &masses, &changed) - mass);
        for (name, part) in loaded[i].added.parts() {
            let mut changed = masses.clone();
            changed[i] += part;
            parts.push((name.clone(), moved(mean, &changed, &frequencies) - mass));
        }
    }
    let mut notes = Vec::new();
    // Points off the line by more than their uncertainties widen it.
    let freedom = points.len() as f64 - terms as f64;
    let mut widened = 1.0f64;
    if freedom >= 1.0 {
        let n = points.len();
        let design = DMatrix::from_fn(n, terms, |i, j| masses[i].powi(j as i32 + 1) / points[i].2);
        let target = DVector::from_fn(n, |i, _| points[i].1 / points[i].2);
        if let Some(inverse) = (design.transpose() * &design).try_inverse() {
            let left = &target - &design * (inverse * design.transpose() * &target);
            let chi2 = left.norm_squared() / freedom;
            let rough = left.iter().zip(&points).map(|(l, p)| (l * p.2).powi(2)).sum::<f64>().sqrt();
            if chi2 > 4.0 && rough > LOOSE * last.1 {
                notes.push(
                    "the points do not lie on one line within their uncertainties: a mass that sat loose or elsewhere?"
                        .into(),
                );
            }
            // What lies off the line is as often a mass that sat loose as chance: Student's t of these few points stays in it whatever
            // else there is.
            widened = if chi2 > 1.0 { chi2.sqrt() * student_factor(freedom) } else { 1.0 };
        }
    }
    let u = of_frequencies.iter().map(|p| p * p).sum::<f64>().sqrt() * widened;
    parts.push((Cause::HeldAnewFrequency.into(), of_holding.iter().map(|p| p * p).sum::<f64>().sqrt()));
    let heaviest = masses[masses.len() - 1] / mass;
    // The next term of the series is about the square of the one that was fitted.
    let straight = points.iter().map(|p| (p.0 / p.2).powi(2)).sum::<f64>()
        / points.iter().map(|p| p.0 * p.1 / (p.2 * p.2)).sum::<f64>();
    parts.push((Cause::NextTerm.into(), (straight / mass - 1.0).powi(2) * mass));
    if heaviest > 0.15 {
        notes.push(format!(
            "the heaviest added mass is {:.0} % of the modal mass; up to 10 % is better",
            100.0 * heaviest
        ));
    }
    let modal_mass = Figure::with_parts(mass, parts).plus_uncertainty(u, Cause::FrequencyShift);
    let frequency = Figure::new(mean, bare_u, Cause::Frequency);
    let stiffness = Figure::combine(&[&modal_mass, &frequency], |x| x[0] * (std::f64::consts::TAU * x[1]).powi(2));
    Ok(EffectiveMass { frequency, modal_mass, stiffness, points, notes })
}

/// The different masses (kg) that were stuck on, the lightest first. One piece in several takes is one mass, also when it was
/// weighed anew: masses count as different if they lie apart by more than 2 % and by more than two readings of one piece do.
pub(super) fn distinct_masses(tones: &[LoadedTone]) -> Vec<f64> {
    let mut loaded: Vec<&Figure> = tones.iter().map(|t| &t.added).filter(|m| m.value > 0.0).collect();
    loaded.sort_by(|a, b| a.value.total_cmp(&b.value));
    let mut distinct: Vec<&Figure> = Vec::new();
    for mass in loaded {
        let new = distinct.last().is_none_or(|last| {
            let weighed_twice = COVERAGE_95 * last.u_95().hypot(mass.u_95());
            mass.value - last.value > (SAME_MASS * last.value).max(weighed_twice)
        });
        if new {
            distinct.push(mass);
        }
    }
    distinct.into_iter().map(|m| m.value).collect()
}

/// A second mass to tell the bend by: half or twice the first, whichever leaves both light beside the modal mass.
fn second_mass(added_kg: f64, about_kg: f64) -> String {
    grams(if added_kg > advised_mass_kg(about_kg) { 0.5 * added_kg } else { 2.0 * added_kg })
}

/// A mass to stick on: some 4 % of the modal mass, whose shift is about 2 %.
pub fn advised_mass_kg(modal_mass_kg: f64) -> f64 {
    0.04 * modal_mass_kg
}

fn grams(kg: f64) -> String {
    let g = 1e3 * kg;
    if g < 3.0 { format!("{g:.1} g") } else { format!("{g:.0} g") }
}

/// Stiffness from a weight and the way it pushed the part down: k = m g/d (N/m), with standard gravity.
///
/// It is the sum of all modes' give and of the supports', so it is less than the effective stiffness of one mode.
pub fn static_stiffness(weight: &Figure, deflection: &Figure) -> Figure {
    const GRAVITY: f64 = 9.80665;
    Figure::combine(&[weight, deflection], |x| x[0] * GRAVITY / x[1])
}

/// Stiffness ratio of one part in two stages from frequency and mass alone: (f2/f1)^2 (m2/m1).
///
/// It assumes that the mode's shape, and where the mass sits along it, did not change.
pub fn stage_ratio(before: (&Figure, &Figure), after: (&Figure, &Figure)) -> Figure {
    Figure::combine(&[before.0, before.1, after.0, after.1], |x| (x[2] / x[0]).powi(2) * x[3] / x[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(added_g: f64, frequency_hz: f64) -> LoadedTone {
        let added = if added_g == 0.0 {
            Figure::exact(0.0)
        } else {
            Figure::new(1e-3 * added_g, 2e-5, Cause::AddedMass("mass".into()))
        };
        LoadedTone { added, frequency_hz, frequency_hz_u: 0.005 }
    }

    /// f0^2/f^2 = 1 + dm/M with M 100 g, f0 200 Hz; two masses with a bend of their own.
    #[test]
    fn a_bent_line_is_followed_to_its_slope_at_zero() {
        let f = |dm: f64, bend: f64| 200.0 / (1.0 + dm / 100.0 * (1.0 - bend * dm / 100.0)).sqrt();
        let fit = effective_mass(&[tone(0.0, 200.0), tone(4.0, f(4.0, 0.8)), tone(8.0, f(8.0, 0.8))]);
        let fit = fit.unwrap_or_else(|e| panic!("{e}"));
        assert!((fit.modal_mass.value - 0.1).abs() < 1e-6, "{}", fit.modal_mass.value);
        assert!((fit.stiffness.value / (0.1 * (std::f64::consts::TAU * 200.0).powi(2)) - 1.0).abs() < 1e-4);
    }

    /// However often a piece is stuck on, and however it is weighed, it is one mass: no M, and half or twice of it is asked for.
    #[test]
    fn one_mass_gives_no_modal_mass() {
        let said = |takes: &[LoadedTone]| effective_mass(takes).expect_err("one mass").to_string();
        let light = said(&[tone(0.0, 200.0), tone(2.0, 198.05)]);
        assert!(
            light.contains("one mass cannot show") && light.ends_with("a second, different mass, about 4 g"),
            "{light}"
        );
        assert!(said(&[tone(0.0, 200.0), tone(8.0, 192.6)]).ends_with("about 4 g"));
        let again = said(&[tone(0.0, 200.0), tone(8.0, 192.6), tone(8.0, 192.7), tone(8.0, 192.65)]);
        assert!(again.ends_with("about 4 g"), "{again}");
        // Two readings of one piece on a pocket scale, 0.1 g apart.
        let weighed = |g: f64, hz| LoadedTone { added: Figure::new(1e-3 * g, 5e-5, "added"), ..tone(g, hz) };
        assert!(said(&[tone(0.0, 200.0), weighed(3.0, 197.1), weighed(3.1, 197.0)]).contains("second, different mass"));
        assert!(effective_mass(&[tone(0.0, 200.0), weighed(3.0, 197.1), weighed(6.0, 194.2)]).is_ok());
    }

    #[test]
    fn says_when_it_tells_nothing() {
        assert_eq!(effective_mass(&[tone(5.0, 190.0)]), Err(AddedMassError::NoBare));
        assert_eq!(effective_mass(&[tone(0.0, 190.0)]), Err(AddedMassError::NoLoaded));
        assert_eq!(effective_mass(&[tone(0.0, 190.0), tone(5.0, 195.0)]), Err(AddedMassError::Rises));
        let small = effective_mass(&[tone(0.0, 190.0), tone(0.5, 189.995)]);
        assert!(matches!(small, Err(AddedMassError::NoShift { .. })), "{small:?}");
    }

    /// Takes without mass count by their uncertainties; farther apart than these allow, their mean is the less certain.
    #[test]
    fn takes_without_mass_are_weighted() {
        let bare = |hz, u| LoadedTone { added: Figure::exact(0.0), frequency_hz: hz, frequency_hz_u: u };
        let takes = [bare(200.0, 0.01), bare(200.05, 0.02), tone(4.0, 196.0), tone(8.0, 192.3)];
        let fit = effective_mass(&takes).expect("a mass");
        // Weights 4 to 1; chi squared is 1 + 4 for one degree of freedom, so sqrt(5) times 0.01 sqrt(4/5).
        assert!((fit.frequency.value - 200.01).abs() < 1e-9 && (fit.frequency.u() - 0.02).abs() < 1e-9);
        let (mass, shift, u) = fit.points[0];
        let ratio = (200.01f64 / 196.0).powi(2);
        let told = (0.02f64 / 200.01).hypot(0.005 / 196.0).hypot(2f64.sqrt() * HELD_ANEW_FREQUENCY);
        assert!(mass == 0.004 && (shift - (ratio - 1.0)).abs() < 1e-12 && (u - 2.0 * ratio * told).abs() < 1e-12);
    }

    /// Through two points y = m/M + c m^2 exactly: 1/M = (y1 m2/m1 - y2 m1/m2)/(m2 - m1); each source moves it as the derivatives say.
    #[test]
    fn two_masses_have_their_sources() {
        let (f1, f2) = (196.0f64, 192.4f64);
        let fit = effective_mass(&[tone(0.0, 200.0), tone(4.0, f1), tone(8.0, f2)]).expect("a mass");
        let slope = |m: [f64; 2], f: [f64; 3]| {
            let y = [1, 2].map(|i| (f[0] / f[i]).powi(2) - 1.0);
            (y[0] * m[1] / m[0] - y[1] * m[0] / m[1]) / (m[1] - m[0])
        };
        let (m, f) = ([4e-3, 8e-3], [200.0, f1, f2]);
        let mass = 1.0 / slope(m, f);
        assert!((fit.modal_mass.value / mass - 1.0).abs() < 1e-9);
        let moved = |m: [f64; 2], f: [f64; 3]| 1.0 / slope(m, f) - mass;
        let each = |by: &dyn Fn(f64) -> f64| -> f64 {
            let with = |i: usize| moved(m, std::array::from_fn(|k| if k == i { f[k] + by(f[k]) } else { f[k] }));
            (0..3).map(|i| with(i).powi(2)).sum::<f64>().sqrt()
        };
        for (source, expected) in [
            ("frequency shift", each(&|_| 0.005)),
            ("held anew", each(&|f| f * HELD_ANEW_FREQUENCY)),
            // One scale: both masses are off alike.
            ("added mass", moved([m[0] + 2e-5, m[1]], f) + moved([m[0], m[1] + 2e-5], f)),
        ] {
            let (_, part) = fit.modal_mass.parts().find(|(s, _)| s.to_string() == source).expect(source);
            assert!((part.abs() / expected.abs() - 1.0).abs() < 0.02, "{source}: {part} {expected}");
        }
    }

    /// Equal masses in takes of different clearness: weighted; points that disagree widen the uncertainty and are told.
    #[test]
    fn repeated_masses_are_weighted_and_watched() {
        let loaded = |hz, u| LoadedTone { frequency_hz: hz, frequency_hz_u: u, ..tone(4.0, 0.0) };
        let heavier = || tone(8.0, 193.2);
        let fit =
            effective_mass(&[tone(0.0, 200.0), loaded(196.0, 0.1), loaded(196.3, 0.4), heavier()]).expect("a mass");
        // The two at 4 g count as their weighted mean.
        let (a, b) = (fit.points[0], fit.points[1]);
        let mean = (a.1 / (a.2 * a.2) + b.1 / (b.2 * b.2)) / (a.2.powi(-2) + b.2.powi(-2));
        let slope = (mean * 2.0 - fit.points[2].1 / 2.0) / 4e-3;
        assert!((fit.modal_mass.value * slope - 1.0).abs() < 1e-9);
        let disagree = |n: &String| n.contains("do not lie on one line");
        assert!(!fit.notes.iter().any(disagree), "{:?}", fit.notes);
        let two = |first, second| {
            let takes = [tone(0.0, 200.0), loaded(first, 0.01), loaded(second, 0.01), heavier()];
            effective_mass(&takes).expect("a mass")
        };
        let (alike, rough) = (two(196.4, 196.4), two(196.0, 196.8));
        assert!(!alike.notes.iter().any(disagree) && rough.notes.iter().any(disagree));
        let (rough, alike) = (rough.modal_mass.u_95(), alike.modal_mass.u_95());
        assert!(rough > 3.0 * alike, "{rough} {alike}");
    }

    /// (f0/f)^2 - 1 for masses in grams on a part of 100 g.
    fn bent(bend: f64, masses_g: &[f64]) -> Vec<LoadedTone> {
        masses_g.iter().map(|dm| tone(*dm, 200.0 / (1.0 + dm / 100.0 * (1.0 - bend * dm / 100.0)).sqrt())).collect()
    }

    /// Three masses on one line, however bent: nothing to complain of; what bends it is allowed for.
    #[test]
    fn a_bent_line_is_no_disagreement() {
        let fit = effective_mass(&bent(2.0, &[0.0, 4.5, 9.0, 13.5])).expect("a mass");
        assert!(fit.notes.is_empty(), "{:?}", fit.notes);
        assert!((fit.modal_mass.value - 0.1).abs() < 1e-6);
        let part = |name: &str| fit.modal_mass.parts().find(|(s, _)| s.to_string() == name).expect("a source").1;
        // A straight line would read sum(m^2/u^2)/sum(m shift/u^2), 100 g and about a fifth more; the next term is of its square.
        let sum = |of: fn(&(f64, f64, f64)) -> f64| fit.points.iter().map(of).sum::<f64>();
        let straight = sum(|p| (p.0 / p.2).powi(2)) / sum(|p| p.0 * p.1 / (p.2 * p.2));
        assert!((0.115..0.13).contains(&straight), "{straight}");
        assert!((part("the curve's next term") / ((straight / 0.1 - 1.0).powi(2) * 0.1) - 1.0).abs() < 1e-3);
    }

    /// Bent the other way, as no part does: told, unless the readings are too uncertain to say so.
    #[test]
    fn a_line_bent_upwards_is_refused_if_it_is_sure() {
        let takes = bent(-4.0, &[0.0, 3.0, 9.0]);
        assert_eq!(effective_mass(&takes), Err(AddedMassError::BendsUp));
        let mut unsure = takes;
        unsure[2].frequency_hz_u = 1.0;
        assert!(effective_mass(&unsure).is_ok());
    }

    #[test]
    fn weights_and_stages_by_hand() {
        let read = |value, u: f64, source| Figure::new(value, u, source);
        let k = static_stiffness(&read(1.0, 0.01, "weight"), &read(2e-3, 4e-5, "deflection"));
        assert!((k.value - 4903.325).abs() < 1e-6 && (k.relative_u() - 5f64.sqrt() * 0.01).abs() < 1e-4);
        let (f1, f2, m2) = (read(200.0, 2.0, "f1"), read(220.0, 0.0, "f2"), read(0.12, 0.0, "m2"));
        let ratio = stage_ratio((&f1, &read(0.1, 0.0, "m1")), (&f2, &m2));
        assert!((ratio.value - 1.21 * 1.2).abs() < 1e-12 && (ratio.relative_u() - 0.02).abs() < 1e-4);
    }

    /// The advice is a mass whose shift would be ten times its uncertainty, within twice and twenty times the one that was on.
    #[test]
    fn advises_a_mass_that_shows() {
        let said = |f: f64| match effective_mass(&[tone(0.0, 200.0), tone(2.0, f)]) {
            Err(AddedMassError::NoShift { advice }) => advice,
            other => panic!("{other:?}"),
        };
        // The shift's uncertainty is 8.6e-4: 4 of them call for 2.5 times 2 g, none for ten times.
        assert_eq!(said(200.0 * (1.0 - 0.5 * 4.0 * 8.6e-4)), "stick on about 5 g");
        assert_eq!(said(200.0), "stick on about 20 g");
        // 4 % of M lower the tone by 2 %, nearly.
        assert!((1.0 / (1.0 + advised_mass_kg(0.5) / 0.5).sqrt() - 0.98).abs() < 1e-3);
    }
}
