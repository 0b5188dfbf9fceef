//! Places on an outline as people name them.

use super::outline::Outline;

/// Stations parted by commas, each with its share of the way around.
///
/// # Errors
/// A sentence that names what is not on the outline.
pub fn places_on(outline: &Outline, names: &str) -> Result<Vec<(String, f64)>, String> {
    let place = |name: &str| {
        let share = outline.station(name).ok_or_else(|| {
            format!(
                "{:?} is not on the outline; there are lower bout, waist, upper bout, tail, neck, and shares from 0 to 1",
                name.trim()
            )
        })?;
        Ok((name.trim().to_owned(), share))
    };
    names.split(',').map(place).collect()
}
