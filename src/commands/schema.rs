//! `ringwright schema`: the form of the JSON report, for other programs.

use super::{Outcome, print};
use crate::report;

pub fn run() -> anyhow::Result<Outcome> {
    print(&report::schema());
    Ok(Outcome::Done)
}
