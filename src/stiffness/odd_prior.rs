//! What is known of a blank's grain and flatness before it is tapped.

use crate::part::Departures;

/// Unmeasured, the grain goes along the length as cut by eye: within 2.5 degrees (standard deviation) in nine blanks of ten, and anywhere up
/// to 12 degrees in the tenth. Judgement, no source.
const BY_EYE_DEG: f64 = 2.5;
const ANYWHERE_DEG: f64 = 12.0;
const BY_EYE: f64 = 0.9;
/// Unmeasured, a blank of 760 mm rises by some 4 mm in four of five (half-normal), and by anything up to 50 mm in the fifth; others are bent to
/// the same radius. Judgement, no source.
const FLAT_BY_EYE_M: f64 = 4e-3;
const BENT_M: f64 = 50e-3;
const FLAT: f64 = 0.8;
const USUAL_LENGTH_M: f64 = 0.76;
/// A reading may be wrong by far in one blank of fifty.
const SLIP: f64 = 0.02;
const BOWS: usize = 100;

/// What is known beforehand of angle and bow.
pub(super) struct OddPrior {
    grain: Option<(f64, f64)>,
    bow: Option<(f64, f64)>,
    /// The usual blank's millimetre of bow, in this blank.
    pub(super) unit_m: f64,
    /// What a wedge leaves open in a modulus (relative).
    pub(super) wedge: f64,
}

impl OddPrior {
    pub(super) fn new(departures: &Departures, length_m: f64) -> Self {
        let read = |figure: &Option<crate::uncertainty::Figure>| figure.as_ref().map(|f| (f.value.abs(), f.u_95()));
        Self {
            grain: read(&departures.grain_deg),
            bow: read(&departures.bow),
            wedge: departures.wedge.iter().map(|s| s * s).sum(),
            unit_m: (length_m / USUAL_LENGTH_M).powi(2),
        }
    }

    /// Whether nobody read the bow.
    pub(super) fn bow_unread(&self) -> bool {
        self.bow.is_none()
    }

    /// Whether an angle (degrees) need be looked at.
    pub(super) fn may_be(&self, deg: f64) -> bool {
        self.grain.is_none_or(|(read, u)| (deg - read).abs() < 3.5 + 3.0 * u)
    }

    /// Logarithm of the density over angles (degrees).
    pub(super) fn of_grain(&self, deg: f64) -> f64 {
        match self.grain {
            Some((read, u)) => mixed(1.0 - SLIP, normal(deg - read, u.max(0.2)), SLIP, 1.0 / ANYWHERE_DEG),
            None => mixed(BY_EYE, 2.0 * normal(deg, BY_EYE_DEG), 1.0 - BY_EYE, 1.0 / ANYWHERE_DEG),
        }
    }

    /// Rises (m), evenly, with the logarithm of the weight of each.
    pub(super) fn bows(&self) -> Vec<(f64, f64)> {
        let most = BENT_M * self.unit_m;
        let all = (0..BOWS).map(|i| {
            // Closer together where the bow is small.
            let share = (i as f64 + 0.5) / BOWS as f64;
            let rise = most * share * share;
            let density = match self.bow {
                Some((read, u)) => mixed(1.0 - SLIP, normal(rise - read, u.max(2e-4)), SLIP, 1.0 / most),
                None => mixed(FLAT, 2.0 * normal(rise, FLAT_BY_EYE_M * self.unit_m), 1.0 - FLAT, 1.0 / most),
            };
            (rise, density + (2.0 * share * most / BOWS as f64).ln())
        });
        all.collect()
    }
}

fn normal(off: f64, sd: f64) -> f64 {
    (-0.5 * (off / sd).powi(2)).exp() / (sd * std::f64::consts::TAU.sqrt())
}

fn mixed(a: f64, one: f64, b: f64, other: f64) -> f64 {
    (a * one + b * other).ln()
}
