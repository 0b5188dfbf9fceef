//! One field of a description, with its uncertainty, or what is wrong with it and where.

use toml::Spanned;

use super::units::{Dimension, parse_readings, parse_uncertainty};
use crate::uncertainty::{Cause, Figure, mean_of_readings};

/// What is wrong with a description: the field, its line (from 1) if it stands in a file, and the sentence.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PartError {
    #[error("line {line}, {field}: {why}")]
    Field { line: usize, field: String, why: String },
    #[error("{0}")]
    File(String),
}

pub(crate) fn line_of(text: &str, at: usize) -> usize {
    text[..at.min(text.len())].matches('\n').count() + 1
}

/// Reads one field with its uncertainty.
pub(super) struct Reader<'a> {
    pub(super) text: &'a str,
}

impl Reader<'_> {
    pub(super) fn wrong(&self, field: &str, value: &Spanned<String>, why: String) -> PartError {
        PartError::Field { line: line_of(self.text, value.span().start), field: field.to_owned(), why }
    }

    pub(super) fn read(
        &self,
        field: &str,
        value: &Spanned<String>,
        uncertainty: Option<&Spanned<String>>,
        (cause, dimension): (Cause, Dimension),
        usual: f64,
    ) -> Result<Figure, PartError> {
        let readings = parse_readings(value.get_ref(), dimension).map_err(|why| self.wrong(field, value, why))?;
        let u = match uncertainty {
            Some(u) => parse_uncertainty(u.get_ref(), dimension)
                .map_err(|why| self.wrong(&format!("uncertainty.{field}"), u, why))?,
            None => usual,
        };
        Ok(mean_of_readings(&readings, u, cause))
    }
}
