//! The mobility of a station from what the stuck-on masses told of its modes.

use super::mobility::{Mobility, StationMode};
use crate::part::Measured;
use crate::stiffness::StationResult;

/// The mobility at a station named `at`, its modes in the order of `results`. A mode whose modal mass is not told takes the
/// median of the others', give or take all of it, so that what may be missing is in the uncertainty. `None` if no modal mass
/// is told.
///
/// The masses that were stuck on are taken to be the same pieces at every station; all else is read anew at each, and a take
/// holds all modes of its station anew together.
pub fn station_mobility(results: &[StationResult], at: &str) -> Option<Mobility> {
    let mut masses: Vec<f64> =
        results.iter().filter_map(|r| r.effective.as_ref().ok()).map(|e| e.modal_mass.value).collect();
    masses.sort_by(f64::total_cmp);
    let median = *masses.get(masses.len() / 2)?;
    let modes = results
        .iter()
        .enumerate()
        .map(|(index, result)| {
            let own = |s: &str| match s {
                s if s.starts_with("added ") => s.to_owned(),
                s if s.starts_with("held anew") => format!("{s}, {at}"),
                s => format!("{s}, mode {index}, {at}"),
            };
            let tone = &result.tone;
            let (frequency, modal_mass) = match &result.effective {
                Ok(effective) => (effective.frequency.renamed(own), effective.modal_mass.renamed(own)),
                Err(_) => (
                    Measured::new(tone.frequency_hz, tone.frequency_hz_u, &own("taps: frequency")),
                    Measured::new(median, median, &own("modal mass not told")),
                ),
            };
            let damping_ratio = Measured::new(tone.damping_ratio, tone.damping_ratio_u, &own("taps: damping"));
            StationMode { frequency, damping_ratio, modal_mass }
        })
        .collect();
    Mobility::new(modes)
}
