//! A planned rim as CSV.

use super::cell::text_cell;
use crate::analysis::RimPlan;
use crate::uncertainty::Figure;

/// The rim as CSV: a figure a line, in SI units, with its standard uncertainty.
pub fn rim_csv(report: &RimPlan) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: [&str; 6]| drop(writer.write_record(cells));
    put(["stage", "figure", "place", "value", "value_u", "unit"]);
    for stage in &report.stages {
        let mut figure = |what: &str, place: &str, m: &Figure, unit: &str| {
            put([stage.name, what, &text_cell(place), &m.value.to_string(), &m.u_95().to_string(), unit]);
        };
        figure("mass", "", &stage.mass, "kg");
        let sideways = if report.held { "tone of the sides, edges held" } else { "tone in its plane" };
        for (what, tones) in [(sideways, &stage.in_plane_hz), ("tone out of its plane", &stage.out_of_plane_hz)] {
            tones.iter().enumerate().for_each(|(n, hz)| figure(what, &(n + 1).to_string(), hz, "Hz"));
        }
        stage.squeeze_n_m.iter().for_each(|m| figure("waist pressed together", "", m, "N/m"));
        let placed = report.stations.iter().zip(&stage.power);
        for ((station, _), power) in placed {
            figure("power drawn, times the plain rim's", station, &power.given_force, "");
            figure("power from a top like the plain side, times the plain rim's", station, &power.matched_top, "");
            figure("power drawn by a given movement, times the plain rim's", station, &power.given_speed, "");
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
