//! This part against the shop's earlier ones: a control chart of individual values.

use super::pairing::pair_modes;
use super::stage::{Stage, paired};

/// Limits are the mean give or take so many mean moving ranges: 3/d2, with d2 = 1.128 for ranges of two (NIST/SEMATECH
/// e-Handbook of Statistical Methods, 6.3.2.2).
const INDIVIDUALS: f64 = 3.0 / 1.128;
/// Fewer earlier parts make limits that mean little; so many are usual before they are relied on (common practice).
const USUAL: usize = 20;

/// One quantity over the shop's builds.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    pub what: String,
    /// Unit as shown, and the factor from SI to it.
    pub shown: (&'static str, f64),
    /// Earlier values, oldest first, and the new one.
    pub earlier: Vec<f64>,
    pub new: f64,
    /// Standard uncertainty of the new one.
    pub new_u: f64,
    pub centre: f64,
    pub low: f64,
    pub high: f64,
}

impl Chart {
    /// `None` with fewer than two earlier values.
    pub fn new(what: String, shown: (&'static str, f64), earlier: Vec<f64>, new: f64, new_u: f64) -> Option<Self> {
        if earlier.len() < 2 {
            return None;
        }
        let centre = earlier.iter().sum::<f64>() / earlier.len() as f64;
        let ranges = earlier.windows(2).map(|w| (w[1] - w[0]).abs());
        let mean_range = ranges.sum::<f64>() / (earlier.len() - 1) as f64;
        let reach = INDIVIDUALS * mean_range;
        Some(Self { what, shown, new, new_u, centre, low: centre - reach, high: centre + reach, earlier })
    }

    /// In plain words.
    pub fn verdict(&self) -> &'static str {
        let (low, high) = (self.low - 2.0 * self.new_u, self.high + 2.0 * self.new_u);
        if self.new < low {
            "below all that is usual here"
        } else if self.new > high {
            "above all that is usual here"
        } else {
            "as usual"
        }
    }
}

/// Charts of mass, and of frequency and damping of every mode that this part and all earlier ones have; and what the user
/// should know.
pub fn control_charts(this: &Stage, earlier: &[Stage]) -> (Vec<Chart>, Vec<String>) {
    let mut charts = Vec::new();
    let mut notes = Vec::new();
    if earlier.len() < USUAL {
        notes.push(format!(
            "{} earlier parts are few: limits from fewer than {USUAL} or so are rough, and move with every new one",
            earlier.len()
        ));
    }
    let masses: Option<Vec<f64>> = earlier.iter().map(|s| s.mass.as_ref().map(|m| m.value)).collect();
    if let (Some(masses), Some(mass)) = (masses, &this.mass) {
        charts.extend(Chart::new("mass".into(), ("g", 1e3), masses, mass.value, mass.u()));
    }
    let stiffnesses: Option<Vec<f64>> = earlier.iter().map(|s| s.bending_stiffness.as_ref().map(|m| m.value)).collect();
    if let (Some(earlier), Some(own)) = (stiffnesses, &this.bending_stiffness) {
        charts.extend(Chart::new("bending stiffness EI".into(), ("N m²", 1.0), earlier, own.value, own.u()));
    }
    // The mode of each earlier part that goes with each of this one's.
    let pairings: Vec<_> = earlier.iter().map(|s| pair_modes(&paired(&this.modes), &paired(&s.modes), &[])).collect();
    for (stage, pairing) in earlier.iter().zip(&pairings) {
        if pairing.rival.is_some() {
            notes.push(format!(
                "{}: its modes can be paired with this part's in two ways; the likelier is used",
                stage.name
            ));
        }
    }
    for (index, mode) in this.modes.iter().enumerate() {
        let partners: Option<Vec<&super::stage::StageMode>> = pairings
            .iter()
            .zip(earlier)
            .map(|(pairing, stage)| {
                let partner = pairing.pairs.iter().find(|p| p.0 == Some(index))?.1?;
                stage.modes.get(partner)
            })
            .collect();
        let Some(partners) = partners else { continue };
        let name = mode.name.clone().unwrap_or_else(|| format!("mode {}", index + 1));
        let of = |f: &dyn Fn(&super::stage::StageMode) -> f64| partners.iter().map(|m| f(m)).collect::<Vec<f64>>();
        let (f, z) = (&mode.frequency, &mode.damping_ratio);
        charts.extend(Chart::new(
            format!("frequency, {name}"),
            ("Hz", 1.0),
            of(&|m| m.frequency.value),
            f.value,
            f.u(),
        ));
        charts.extend(Chart::new(
            format!("damping, {name}"),
            ("%", 100.0),
            of(&|m| m.damping_ratio.value),
            z.value,
            z.u(),
        ));
    }
    if charts.is_empty() {
        notes.push("this part has no mode that all earlier ones have".into());
    }
    (charts, notes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Individuals 10, 12, 11, 13, 12: mean 11.6, moving ranges 2, 1, 2, 1, mean 1.5; limits 11.6 +- 3 x 1.5 / 1.128 (by hand).
    #[test]
    fn limits_are_those_of_the_individuals_chart() {
        let chart =
            |new| Chart::new("x".into(), ("", 1.0), vec![10.0, 12.0, 11.0, 13.0, 12.0], new, 0.1).expect("enough");
        assert!((chart(11.0).centre - 11.6).abs() < 1e-12);
        assert!((chart(11.0).low - 7.610638).abs() < 1e-6 && (chart(11.0).high - 15.589362).abs() < 1e-6);
        assert_eq!(chart(11.0).verdict(), "as usual");
        assert_eq!(chart(16.0).verdict(), "above all that is usual here");
        assert!(Chart::new("x".into(), ("", 1.0), vec![1.0], 1.0, 0.1).is_none());
    }
}
