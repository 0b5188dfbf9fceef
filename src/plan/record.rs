//! A shop's own record of forecasts improves the next one.
//!
//! What was measured over what was foretold, in logarithms, is taken to be the shop's own factor (its glue lines, its way of
//! clamping, what the model leaves out) plus what varies from lamination to lamination. The factor is thought to be 1 give or take
//! a tenth before anything is known (a normal prior), and each lamination moves it by the weight of its certainty: the usual
//! estimate of a normal mean with known variances (Gelman et al., Bayesian Data Analysis, section 2.5; from memory).

use serde::{Deserialize, Serialize};

use super::forecast::Forecast;
use crate::uncertainty::{Cause, Figure};

/// A lamination that was foretold and then measured: its bending stiffness, times the plain part's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PastForecast {
    pub part: String,
    pub stage: String,
    pub station: String,
    pub foretold: f64,
    /// Relative standard uncertainty.
    pub foretold_relative_u: f64,
    pub measured: f64,
    /// Relative standard uncertainty.
    pub measured_relative_u: f64,
}

/// What a shop's laminations have been worth, times what was foretold.
#[derive(Debug, Clone, PartialEq)]
pub struct ShopFactor {
    /// For the next lamination: the factor, with what is left uncertain of it and what varies from one to the next.
    pub next: Figure,
    /// Laminations that it is from, as "part, stage".
    pub from: Vec<String>,
}

/// Before anything is known the factor is 1, with this relative standard uncertainty; and laminations of one shop differ by this.
/// Both by judgement, no source.
const PRIOR_U: f64 = 0.10;
const VARIES_U: f64 = 0.05;

/// The factor that a record tells; `None` if it is empty.
///
/// Of several stations of one lamination the most certain counts: they are one piece of wood and one glue line.
pub fn shop_factor(record: &[PastForecast]) -> Option<ShopFactor> {
    let spread = |p: &PastForecast| p.foretold_relative_u.hypot(p.measured_relative_u);
    let usable = |p: &&PastForecast| {
        p.foretold > 0.0
            && p.measured > 0.0
            && spread(p).is_finite()
            && p.foretold_relative_u >= 0.0
            && p.measured_relative_u >= 0.0
    };
    let mut laminations: Vec<&PastForecast> = Vec::new();
    for past in record.iter().filter(usable) {
        match laminations.iter_mut().find(|l| l.part == past.part && l.stage == past.stage) {
            Some(known) if spread(past) < spread(known) => *known = past,
            Some(_) => {}
            None => laminations.push(past),
        }
    }
    if laminations.is_empty() {
        return None;
    }
    let mut weight = PRIOR_U.powi(-2);
    let mut sum = 0.0;
    for past in &laminations {
        let own = 1.0 / (spread(past).powi(2) + VARIES_U.powi(2));
        weight += own;
        sum += own * (past.measured / past.foretold).ln();
    }
    let value = (sum / weight).exp();
    let next = Figure::new(value, value * (1.0 / weight).sqrt(), Cause::ShopFactor)
        .plus_uncertainty(value * VARIES_U, Cause::LaminationToLamination);
    Some(ShopFactor { next, from: laminations.iter().map(|l| format!("{}, {}", l.part, l.stage)).collect() })
}

impl Forecast {
    /// The forecast with a shop's factor on its stiffness; power and tones follow, mass and loss stay.
    pub fn with_factor(&self, factor: &Figure) -> Self {
        let times = |m: &Figure, power: f64| Figure::combine(&[m, factor], |x| x[0] * x[1].powf(power));
        Self {
            stiffness: times(&self.stiffness, 1.0),
            stiffness_ratio: times(&self.stiffness_ratio, 1.0),
            power_ratio: times(&self.power_ratio, -0.25),
            tone_ratio: times(&self.tone_ratio, 0.5),
            ..self.clone()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn past(part: &str, station: &str, ratio: f64, u: f64) -> PastForecast {
        PastForecast {
            part: part.into(),
            stage: "laminated".into(),
            station: station.into(),
            foretold: 5.0,
            foretold_relative_u: 0.0,
            measured: 5.0 * ratio,
            measured_relative_u: u,
        }
    }

    #[test]
    fn nothing_known_is_no_factor() {
        assert_eq!(shop_factor(&[]), None);
        assert_eq!(shop_factor(&[past("a", "waist", f64::NAN, 0.1)]), None);
    }

    /// One lamination 10 % below, known to 5 %: precisions 100 (prior) and 1/(0.05^2 + 0.05^2) = 200, so two thirds of it.
    #[test]
    fn one_lamination_moves_it_by_its_weight() {
        let got = shop_factor(&[past("a", "waist", 0.9, 0.05)]).expect("a factor");
        assert!((got.next.value - (0.9f64.ln() * 2.0 / 3.0).exp()).abs() < 1e-12);
        assert!((got.next.relative_u() - (1.0f64 / 300.0 + 0.05 * 0.05).sqrt()).abs() < 1e-9);
    }

    /// Two stations of one lamination are one; many laminations leave what varies between them.
    #[test]
    fn stations_of_one_lamination_count_once() {
        let one = shop_factor(&[past("a", "waist", 0.9, 0.05)]).expect("a factor");
        let two = shop_factor(&[past("a", "tail", 0.7, 0.3), past("a", "waist", 0.9, 0.05)]).expect("a factor");
        assert_eq!(one.next.value, two.next.value);
        let many: Vec<PastForecast> = (0..400).map(|i| past(&format!("part {i}"), "waist", 0.92, 0.03)).collect();
        let many = shop_factor(&many).expect("a factor");
        assert!((many.next.value - 0.92).abs() < 1e-3 && (many.next.relative_u() - VARIES_U).abs() < 1e-3);
    }
}
