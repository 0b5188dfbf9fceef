//! This part against the shop's earlier ones: a control chart of individual values.

use super::moisture::MoistureChange;
use super::pairing::pair_modes;
use super::same_mode::StageMode;
use super::stage::{Stage, paired};
use crate::uncertainty::{COVERAGE_95, Figure, student_factor};

/// Limits are the mean give or take so many mean moving ranges: 3/d2, with d2 = 1.128 for ranges of two (NIST/SEMATECH
/// e-Handbook of Statistical Methods, 6.3.2.2).
const INDIVIDUALS: f64 = 3.0 / 1.128;
/// Fewer earlier parts make limits that mean little; so many are usual before they are relied on (common practice).
const USUAL: usize = 20;

const USUAL_WORDS: &str = "as usual";

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
    /// The new one lies outside by more than so few earlier ones could by chance (95 %).
    sure: f64,
    pub centre: f64,
    pub low: f64,
    pub high: f64,
}

impl Chart {
    /// Earlier values with their standard uncertainties, oldest first; `None` with fewer than two.
    ///
    /// No scatter is smaller than that of the readings themselves, whatever a few values may show.
    pub fn new(what: String, shown: (&'static str, f64), earlier: &[(f64, f64)], new: (f64, f64)) -> Option<Self> {
        if earlier.len() < 2 {
            return None;
        }
        let n = earlier.len() as f64;
        let centre = earlier.iter().map(|e| e.0).sum::<f64>() / n;
        let ranges = earlier.windows(2).map(|w| (w[1].0 - w[0].0).abs());
        let from_ranges = INDIVIDUALS * ranges.sum::<f64>() / (n - 1.0);
        let readings = (earlier.iter().map(|e| e.1 * e.1).sum::<f64>() / n).sqrt();
        let reach = from_ranges.max(3.0 * readings);
        // The next of a few: Student's t for the mean and scatter of n values (prediction interval).
        let sure = COVERAGE_95 * student_factor(n - 1.0) * (1.0 + 1.0 / n).sqrt() * reach / 3.0;
        let (low, high) = (centre - reach, centre + reach);
        let earlier = earlier.iter().map(|e| e.0).collect();
        Some(Self { what, shown, earlier, new: new.0, new_u: new.1, sure, centre, low, high })
    }

    /// In plain words.
    pub fn verdict(&self) -> &'static str {
        let off = self.new - self.centre;
        let own = 2.0 * self.new_u;
        if off.abs() <= self.high - self.centre + own {
            return USUAL_WORDS;
        }
        match (off > 0.0, off.abs() > self.sure + own) {
            (true, true) => "above all that is usual here",
            (false, true) => "below all that is usual here",
            (true, false) => "above the limits, but so few earlier ones do not tell",
            (false, false) => "below the limits, but so few earlier ones do not tell",
        }
    }

    /// Whether nothing speaks against its being like the others.
    pub fn as_usual(&self) -> bool {
        self.verdict() == USUAL_WORDS
    }
}

/// A figure of a mode: what, unit with its factor from SI, and where it is.
type ModeFigure = (&'static str, (&'static str, f64), fn(&StageMode) -> &Figure);

const MODE_FIGURES: &[ModeFigure] =
    &[("frequency", ("Hz", 1.0), |m| &m.frequency), ("damping", ("%", 100.0), |m| &m.damping_ratio)];

/// Charts of mass, and of frequency and damping of every mode that this part and all earlier ones have; and what the user
/// should know.
pub fn control_charts(this: &Stage, earlier: &[Stage]) -> (Vec<Chart>, Vec<String>) {
    let mut charts = Vec::new();
    let mut notes = Vec::new();
    // Each as at this part's moisture. What is to be said of one is much the same for the next: the first will do.
    let changes: Vec<MoistureChange> = earlier.iter().map(|s| MoistureChange::between(this, s)).collect();
    notes.extend(changes.iter().zip(earlier).find_map(|(change, s)| change.note(&this.name, &s.name)));
    let earlier: Vec<Stage> = changes.iter().zip(earlier).map(|(change, s)| change.bring(s)).collect();
    if earlier.len() < USUAL {
        notes.push(format!(
            "{} earlier parts are few: limits from fewer than {USUAL} or so are rough, and move with every new one",
            earlier.len()
        ));
    }
    let reading = |m: &Figure| (m.value, m.u_95());
    let mut whole = |what: &str, shown, of: &dyn Fn(&Stage) -> Option<Figure>| {
        let all: Option<Vec<(f64, f64)>> = earlier.iter().map(|s| of(s).as_ref().map(reading)).collect();
        if let (Some(all), Some(own)) = (all, of(this)) {
            charts.extend(Chart::new(what.to_owned(), shown, &all, reading(&own)));
        }
    };
    whole("mass", ("g", 1e3), &|s| s.mass.clone());
    whole("bending stiffness EI", ("N m²", 1.0), &|s| s.bending_stiffness.clone());
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
        let partners: Option<Vec<&StageMode>> = pairings
            .iter()
            .zip(&earlier)
            .map(|(pairing, stage)| {
                let partner = pairing.pairs.iter().find(|p| p.0 == Some(index))?.1?;
                stage.modes.get(partner)
            })
            .collect();
        let Some(partners) = partners else { continue };
        let name = mode.name.clone().unwrap_or_else(|| format!("mode {}", index + 1));
        for (what, shown, of) in MODE_FIGURES {
            let all: Vec<(f64, f64)> = partners.iter().map(|m| reading(of(m))).collect();
            charts.extend(Chart::new(format!("{what}, {name}"), *shown, &all, reading(of(mode))));
        }
    }
    if charts.len() > 1 {
        notes.push(format!(
            "of {} figures about {:.0} would be called unusual by chance alone (1 in 20)",
            charts.len(),
            (0.05 * charts.len() as f64).ceil()
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
        let earlier = [10.0, 12.0, 11.0, 13.0, 12.0].map(|v| (v, 0.1));
        let chart = |new| Chart::new("x".into(), ("", 1.0), &earlier, (new, 0.1)).expect("enough");
        assert!((chart(11.0).centre - 11.6).abs() < 1e-12);
        assert!((chart(11.0).low - 7.610638).abs() < 1e-6 && (chart(11.0).high - 15.589362).abs() < 1e-6);
        assert_eq!(chart(11.0).verdict(), "as usual");
        // Five earlier ones: t(4) = 2.776, times sqrt(1.2) and 1.5/1.128: 4.044 from the centre.
        assert_eq!(chart(15.7).verdict(), "as usual", "within its own uncertainty of the limit");
        assert_eq!(chart(15.9).verdict(), "above all that is usual here");
        assert_eq!(chart(7.0).verdict(), "below all that is usual here");
        assert!(Chart::new("x".into(), ("", 1.0), &earlier[..1], (1.0, 0.1)).is_none());
        // Two earlier ones tell little: t(1) = 12.7.
        let two = |new| Chart::new("x".into(), ("", 1.0), &earlier[..2], (new, 0.1)).expect("enough").verdict();
        assert_eq!(two(20.0), "above the limits, but so few earlier ones do not tell");
        assert_eq!(two(60.0), "above all that is usual here");
        // Readings that agree by chance are no better than they are.
        let same = [(10.0, 0.5), (10.0, 0.5), (10.0, 0.5)];
        assert!(Chart::new("x".into(), ("", 1.0), &same, (11.0, 0.5)).expect("enough").as_usual());
    }
}
