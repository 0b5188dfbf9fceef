//! `ringwright schema`: the form of the JSON reports, for other programs.

use clap::{Args, ValueEnum};

use super::{Outcome, print};
use crate::report::{comparison_schema, plan_schema, schema};

#[derive(Debug, Args)]
pub struct Arguments {
    /// The command whose report it is
    #[arg(value_enum, default_value_t = Of::Measure)]
    of: Of,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Of {
    Measure,
    Compare,
    /// What `plan --format json` writes
    Plan,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    print(&match arguments.of {
        Of::Measure => schema(),
        Of::Compare => comparison_schema(),
        Of::Plan => plan_schema(),
    });
    Ok(Outcome::Done)
}
