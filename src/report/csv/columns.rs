//! The columns of the table of modes, one row a mode. SI units; missing is an empty cell; a file that failed has a row with its error.

use super::cell::text_cell;
use crate::report::json::document::Document;

const COLUMNS: [&str; 24] = [
    "file",
    "mode",
    "frequency_hz",
    "frequency_hz_u",
    "damping_ratio",
    "damping_ratio_u",
    "loss_factor",
    "loss_factor_u",
    "q",
    "q_u",
    "ring_time_s",
    "ring_time_s_u",
    "level_db",
    "decay_seen_db",
    "taps_used",
    "reasons",
    "error",
    "energy_lost_per_cycle",
    "energy_lost_per_cycle_u",
    "name",
    "modulus_along_pa",
    "modulus_along_pa_u",
    "part_frequency_hz_u",
    "part_damping_ratio_u",
];

/// The document as comma-separated values with a heading.
pub fn to_csv(document: &Document) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut row = |cells: Vec<String>| drop(writer.write_record(&cells));
    row(COLUMNS.iter().map(|c| (*c).to_owned()).collect());
    let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    for recording in &document.recordings {
        let error = text_cell(recording.error.as_deref().unwrap_or_default());
        let quantities = recording.part.iter().flat_map(|p| &p.quantities);
        let along = quantities.into_iter().find(|q| q.code == "modulus_along_pa");
        if recording.modes.is_empty() {
            let mut cells = vec![String::new(); COLUMNS.len()];
            cells[0] = text_cell(&recording.file);
            cells[16] = error.clone();
            row(cells);
        }
        for (index, m) in recording.modes.iter().enumerate() {
            row(vec![
                text_cell(&recording.file),
                (index + 1).to_string(),
                m.frequency_hz.to_string(),
                m.frequency_hz_u.to_string(),
                m.damping_ratio.to_string(),
                m.damping_ratio_u.to_string(),
                m.loss_factor.to_string(),
                m.loss_factor_u.to_string(),
                m.q.to_string(),
                m.q_u.to_string(),
                m.ring_time_s.to_string(),
                m.ring_time_s_u.to_string(),
                m.level_db.to_string(),
                m.decay_seen_db.to_string(),
                m.taps_used.to_string(),
                m.reasons.join(" "),
                error.clone(),
                m.energy_lost_per_cycle.to_string(),
                m.energy_lost_per_cycle_u.to_string(),
                text_cell(m.name.as_deref().unwrap_or_default()),
                along.map_or(String::new(), |q| q.figure.value.to_string()),
                along.map_or(String::new(), |q| q.figure.u.to_string()),
                number(m.part_frequency_hz_u),
                number(m.part_damping_ratio_u),
            ]);
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
