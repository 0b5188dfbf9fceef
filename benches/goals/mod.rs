//! What was promised, and what was measured: rows of the table that `scripts/targets` prints.

use std::io::Write;

/// Adds a row to the file that RINGWRIGHT_GOALS names; without it nothing is done. RINGWRIGHT_GOALS_BY says which command measures.
///
/// The columns are parted by tabs: goal, wanted, measured, `yes` or `NO`, command.
pub fn tell(goal: &str, wanted: &str, measured: &str, met: bool) {
    let Some(file) = std::env::var_os("RINGWRIGHT_GOALS") else { return };
    let by = std::env::var("RINGWRIGHT_GOALS_BY").unwrap_or_default();
    let row = format!("{goal}\t{wanted}\t{measured}\t{}\t{by}\n", if met { "yes" } else { "NO" });
    // One write, so that tests side by side do not cut each other's rows.
    let added =
        std::fs::File::options().append(true).create(true).open(&file).and_then(|mut to| to.write_all(row.as_bytes()));
    added.unwrap_or_else(|error| panic!("{} cannot be written: {error}", file.display()));
}
