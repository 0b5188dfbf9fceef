//! How a recording is to be read.

use crate::modes::EstimateOptions;
use crate::part::PartDescription;
use crate::sound::OpenOptions;

/// How a recording is to be read, and what was tapped.
#[derive(Debug, Clone, Default)]
pub struct Options {
    pub open: OpenOptions,
    pub estimate: EstimateOptions,
    /// The part that was tapped, if it was described.
    pub part: Option<PartDescription>,
}
