//! What an uncertainty comes from, as the JSON document says it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::uncertainty::{Figure, Source};

/// A number that JSON can hold.
pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// What one source contributes to an uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetEntry {
    /// Short code of the cause.
    pub cause: String,
    /// The source in words.
    pub source: String,
    /// Its part of the variance (0 to 1).
    pub share: f64,
    /// Degrees of freedom; null if infinitely many.
    #[serde(default)]
    pub dof: Option<f64>,
}

impl BudgetEntry {
    /// The budget of a figure, the largest part first; what is less than a thousandth of the variance is left out.
    pub fn of(figure: &Figure) -> Vec<Self> {
        Self::named(figure, |source| source.to_string())
    }

    /// The same of a mode: that its sources are those of this mode of this recording goes without saying.
    pub fn of_mode(figure: &Figure) -> Vec<Self> {
        Self::named(figure, |source| source.cause.to_string())
    }

    fn named(figure: &Figure, name: impl Fn(&Source) -> String) -> Vec<Self> {
        let lines = figure.budget().into_iter().filter(|line| line.share >= 1e-3);
        lines
            .map(|line| Self {
                cause: line.source.cause.code().to_owned(),
                source: name(&line.source),
                share: line.share,
                dof: finite(line.dof),
            })
            .collect()
    }
}
