//! The outline of a rim as it is named: one of ours, or a file of the mould.

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
