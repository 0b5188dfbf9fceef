//! A bar whose modulus is known, by its tones: a check of the way from sound and sizes to a modulus.

use crate::part::PartDescription;
use crate::uncertainty::{Cause, Figure};

/// Roots of cos(x) cosh(x) = 1, the bending modes of a bar that is free at both ends (any textbook on vibrations).
const FREE_FREE: [f64; 4] = [4.730_040_7, 7.853_204_6, 10.995_607_8, 14.137_165_5];
/// A tone is one of the bar's if it lies as near (share) to where the known modulus puts it: neighbours lie 1.6 times apart or more.
const NEAR: f64 = 0.08;
/// Shear and turning of the cross-sections lower f² by 1 + (1 + E/(k G)) beta² (t/L)²/12 to first order; E/(k G) is 3.1 for metals
/// (k 5/6, Poisson's ratio 0.3). ASTM E1876 has 6.9 for the factor of (t/L)² of the first mode, this 7.7, hence the doubt.
const SHEAR_AND_TURNING: (f64, f64) = (4.12 / 12.0, 0.2);
/// Thicker bars than this (share of the length) are no thin ones.
const THICKEST: f64 = 1.0 / 30.0;

/// What the tones of a bar make of its modulus.
#[derive(Debug, Clone, PartialEq)]
pub struct BarCheck {
    /// Modulus as known, and by the tones (Pa).
    pub known: Figure,
    pub measured: Figure,
    /// Measured over known.
    pub ratio: Figure,
    /// The tones that it rests on (Hz), and their numbers among the bending modes, from 1.
    pub tones: Vec<(usize, f64)>,
}

impl BarCheck {
    /// Whether the 95 % interval of the ratio holds 1.
    pub fn agrees(&self) -> bool {
        let [low, high] = self.ratio.interval_95_of_ratio();
        (low..=high).contains(&1.0)
    }
}

/// Why a bar says nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoBarCheck {
    #[error("{0} not given")]
    NotDescribed(String),
    #[error("it is too thick for its length: a thirtieth at most")]
    TooThick,
    #[error(
        "only {0} of its tones lie where the known modulus puts them, and two are needed. Check sizes, mass and modulus"
    )]
    FewTones(usize),
}

/// The modulus of a flat bar by its tones (each take's own; frequencies in Hz) against the known one.
///
/// E = 4 pi² f² 12 m L³ T/(w t³ beta⁴) for a thin bar, free at both ends (Euler and Bernoulli), T the correction above.
///
/// # Errors
/// What is missing.
pub fn check_bar(bar: &PartDescription, takes: &[Vec<Figure>]) -> Result<BarCheck, NoBarCheck> {
    let missing = |what: &str| NoBarCheck::NotDescribed(what.to_owned());
    let known = bar.known_modulus.clone().ok_or_else(|| missing("the modulus"))?;
    let sizes = bar.sizes().map_err(|what| missing(&what.join(", ")))?;
    let (length, width, thickness, mass) = (&sizes.length, &sizes.width, &sizes.thickness, &sizes.mass);
    if thickness.value > THICKEST * length.value {
        return Err(NoBarCheck::TooThick);
    }
    let shear =
        Figure::new(SHEAR_AND_TURNING.0, SHEAR_AND_TURNING.1 * SHEAR_AND_TURNING.0, Cause::ShearThroughThickness);
    let modulus = |f: &Figure, beta: f64| {
        Figure::combine(&[f, length, width, thickness, mass, &shear], |x| {
            let [f, l, w, t, m, shear] = x else { return f64::NAN };
            let turned = 1.0 + shear * (beta * t / l).powi(2);
            4.0 * std::f64::consts::PI.powi(2) * f * f * 12.0 * m * l.powi(3) * turned / (w * t.powi(3) * beta.powi(4))
        })
    };
    let mut found: Vec<(usize, f64, Figure)> = Vec::new();
    for (place, beta) in FREE_FREE.into_iter().enumerate() {
        // In each take the tone that is nearest to where the known modulus puts it.
        let of_take = |take: &Vec<Figure>| -> Option<Figure> {
            let off = |f: &&Figure| ((modulus(f, beta).value / known.value).ln() / 2.0).abs();
            take.iter().filter(|f| off(f) < NEAR).min_by(|a, b| off(a).total_cmp(&off(b))).cloned()
        };
        let tones: Vec<Figure> = takes.iter().filter_map(of_take).collect();
        if tones.is_empty() {
            continue;
        }
        let refs: Vec<&Figure> = tones.iter().collect();
        let mean = Figure::combine(&refs, |x| x.iter().sum::<f64>() / x.len() as f64);
        found.push((place + 1, mean.value, modulus(&mean, beta)));
    }
    if found.len() < 2 {
        return Err(NoBarCheck::FewTones(found.len()));
    }
    let refs: Vec<&Figure> = found.iter().map(|(_, _, e)| e).collect();
    let n = refs.len() as f64;
    let mean = Figure::combine(&refs, |x| x.iter().sum::<f64>() / n);
    let variance = refs.iter().map(|e| (e.value - mean.value).powi(2)).sum::<f64>() / (n - 1.0);
    let measured = mean.plus_uncertainty_with_dof((variance / n).sqrt(), Cause::TonesDiffer, n - 1.0);
    let tones = found.iter().map(|(place, hz, _)| (*place, *hz)).collect();
    Ok(BarCheck { ratio: measured.over(&known), known, measured, tones })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(modulus_gpa: f64) -> PartDescription {
        let mut bar =
            PartDescription::from_sizes(Some("600 mm"), Some("20 mm"), Some("5 mm"), Some("471 g")).expect("sizes");
        bar.known_modulus = Some(Figure::new(modulus_gpa * 1e9, 0.02 * modulus_gpa * 1e9, Cause::ModulusAlong));
        bar
    }

    /// Steel of 200 GPa and 7850 kg/m3, 600 x 20 x 5 mm: f1 = 1.0280 t/L² sqrt(E/rho) = 72.06 Hz by a handbook's formula, the next ones
    /// 2.757, 5.404 and 8.933 times as high.
    #[test]
    fn a_steel_bar_has_the_modulus_of_steel() {
        let tones = |first: f64| -> Vec<Figure> {
            [1.0, 2.757, 5.404, 8.933, 3.9].map(|times| Figure::new(first * times, 0.01, Cause::Noise)).into()
        };
        let first = 1.0280 * 5e-3 / 0.36 * (200e9 / 7850.0_f64).sqrt();
        let check = check_bar(&bar(200.0), &[tones(first), tones(first * 1.0002)]).expect("four tones");
        assert_eq!(check.tones.len(), 4);
        assert!((check.measured.value / 200e9 - 1.0).abs() < 3e-3 && check.agrees(), "{:?}", check.ratio.value);
        // A scale that shows a tenth too much makes the modulus a tenth too high: that is seen.
        let mut heavy = bar(200.0);
        heavy.mass = heavy.mass.map(|m| m.times(1.1));
        let check = check_bar(&heavy, &[tones(first)]).expect("four tones");
        assert!(!check.agrees() && (check.ratio.value - 1.1).abs() < 5e-3, "{:?}", check.ratio.value);
        // Called aluminium, at most one of its tones lies by chance where another of that metal should be.
        assert!(matches!(check_bar(&bar(70.0), &[tones(first)]), Err(NoBarCheck::FewTones(0..=1))));
    }
}
