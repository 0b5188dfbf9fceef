//! `ringwright devices` in a program that was built without the microphone.

use anyhow::bail;
use clap::Args;

use super::Outcome;

#[derive(Debug, Args)]
pub struct Arguments {}

pub fn run(_: &Arguments) -> anyhow::Result<Outcome> {
    bail!("this program was built without the microphone (feature `record`): it knows no devices")
}
