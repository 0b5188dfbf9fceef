//! The outline of a rim as it is named: one of ours, or a file of the mould; and places on it.

use std::path::Path;

use anyhow::{Context, anyhow};

use crate::files::{MOST_WRITTEN_BYTES, read_text};
use crate::rim::Outline;

/// A named outline, or a file (SVG drawing, else points) beside `folder` if its path is relative.
pub fn outline_named(name: &str, folder: &Path) -> anyhow::Result<Outline> {
    let file = folder.join(name);
    if !file.is_file() {
        return Outline::named(name).map_err(|e| anyhow!("{e}"));
    }
    let text = read_text(&file, MOST_WRITTEN_BYTES).with_context(|| format!("{name}: cannot be read"))?;
    let drawn = file.extension().is_some_and(|e| e.eq_ignore_ascii_case("svg"));
    let read = if drawn { Outline::from_svg(&text) } else { Outline::from_csv(&text) };
    read.map_err(|e| anyhow!("{name}: {e}"))
}

/// Stations parted by commas, each with its share of the way around.
pub fn places_on(outline: &Outline, names: &str) -> anyhow::Result<Vec<(String, f64)>> {
    let place = |name: &str| {
        let share = outline.station(name).with_context(|| {
            format!(
                "{:?} is not on the outline; there are lower bout, waist, upper bout, tail, neck, and shares from 0 to 1",
                name.trim()
            )
        })?;
        Ok((name.trim().to_owned(), share))
    };
    names.split(',').map(place).collect()
}
