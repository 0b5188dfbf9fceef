//! One stage against the baseline: what a comparison says.

use super::moisture::MoistureChange;
use super::verdict::Ratio;
use crate::uncertainty::Figure;

/// A line of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Stable short code.
    pub code: &'static str,
    pub what: String,
    /// As they were measured; the ratio may be as at one moisture.
    pub baseline: Figure,
    pub other: Figure,
    /// Unit as shown, and the factor from SI to it.
    pub shown: (&'static str, f64),
    pub ratio: Ratio,
    /// Pairs of modes that it rests on; 0 where it needs none.
    pub pairs: usize,
}

/// One stage against the baseline.
#[derive(Debug, Clone, Default)]
pub struct Comparison {
    pub baseline: String,
    pub other: String,
    /// For the whole part.
    pub whole: Vec<Row>,
    /// For each pair of modes: the pair's name and its rows.
    pub pairs: Vec<(String, Vec<Row>)>,
    /// Whether some pairs are unsure: the modes can be paired in more than one way, or what is joined to the sides differs. Nothing
    /// is derived from such pairs; they have a frequency and no other row.
    pub undecided: bool,
    /// Modes (Hz) that have no partner, in the baseline and in the other.
    pub unpaired: (Vec<f64>, Vec<f64>),
    pub notes: Vec<String>,
    /// Band over which the power drawn was compared (Hz), where both stages' mobility was measured.
    pub power_band_hz: Option<(f64, f64)>,
    /// What was foretold of the other stage from its plies.
    pub foretold: Vec<Foretold>,
    /// Whether the answer is to say how alike the two are (a left and a right side), not what changed.
    pub alike: bool,
    /// What moisture makes of the two, and what was done about it.
    pub moisture: MoistureChange,
}

/// A ratio that was foretold, and whether the measured one is what it said.
#[derive(Debug, Clone, PartialEq)]
pub struct Foretold {
    /// Code of the row that it stands beside.
    pub code: &'static str,
    pub what: String,
    pub value: f64,
    pub low: f64,
    pub high: f64,
    /// Whether the two agree within both intervals.
    pub met: bool,
}
