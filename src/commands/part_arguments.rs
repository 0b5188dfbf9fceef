//! The part that was tapped, as options describe it.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use clap::Args;

use crate::files::{MOST_WRITTEN_BYTES, read_text};
use crate::part::PartDescription;

/// The part that was tapped.
#[derive(Debug, Args)]
pub struct PartArguments {
    /// A file that describes the part: kind, sizes, mass (see docs/part.md)
    #[arg(long, value_name = "FILE", conflicts_with_all = ["length", "width", "thickness", "mass"])]
    part: Option<PathBuf>,
    /// Length of a flat blank along the grain, such as "760 mm"
    #[arg(long, value_name = "SIZE")]
    length: Option<String>,
    /// Its width, such as "112 mm"
    #[arg(long, value_name = "SIZE")]
    width: Option<String>,
    /// Its thickness; several readings are averaged: "1.88 1.91 1.90 1.92 mm"
    #[arg(long, value_name = "SIZE")]
    thickness: Option<String>,
    /// Angle of its grain to the length, such as "4 deg" or "4 deg +- 1"; unread, some degrees of doubt are counted
    #[arg(long, value_name = "ANGLE", allow_hyphen_values = true, conflicts_with = "part")]
    grain: Option<String>,
    /// How far it rises over its length with its ends on a flat table, such as "3 mm"
    #[arg(long, value_name = "SIZE", conflicts_with = "part")]
    bow: Option<String>,
    /// Its mass, such as "100 g"
    #[arg(long, value_name = "MASS")]
    mass: Option<String>,
}

impl PartArguments {
    /// The file that describes the part, if one was named.
    pub fn file(&self) -> Option<&Path> {
        self.part.as_deref()
    }

    /// The description, if one was given.
    pub fn read(&self) -> anyhow::Result<Option<PartDescription>> {
        if let Some(file) = &self.part {
            let text =
                read_text(file, MOST_WRITTEN_BYTES).with_context(|| format!("{}: cannot be read", file.display()))?;
            let part = PartDescription::from_toml(&text).map_err(|e| anyhow!("{}: {e}", file.display()))?;
            return Ok(Some(part));
        }
        let sizes = [&self.length, &self.width, &self.thickness, &self.mass].map(Option::as_deref);
        if sizes.iter().all(Option::is_none) && self.grain.is_none() && self.bow.is_none() {
            return Ok(None);
        }
        let wrong = |e: String| anyhow!("--{e}");
        let mut part = PartDescription::from_sizes(sizes[0], sizes[1], sizes[2], sizes[3]).map_err(wrong)?;
        part.departures = part.departures.with(self.grain.as_deref(), self.bow.as_deref()).map_err(wrong)?;
        Ok(Some(part))
    }
}
