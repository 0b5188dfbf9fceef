//! The manifest of a reference set as JSON.

use serde::Serialize;

use crate::analysis::{BarCheck, ReferenceSet};
use crate::bench::Packed;

/// Name and version of the manifest's form.
pub const REFERENCE_SCHEMA: &str = "ringwright.reference/1";

#[derive(Serialize)]
struct Manifest {
    schema: &'static str,
    /// Of the program that packed it.
    version: &'static str,
    complete: bool,
    missing: Vec<Missing>,
    parts: Vec<Part>,
    bars: Vec<Bar>,
    files: Vec<ManifestFile>,
}

#[derive(Serialize)]
struct Missing {
    code: &'static str,
    sentence: String,
}

#[derive(Serialize)]
struct Part {
    part: String,
    takes: usize,
    hung_again: usize,
    other_hand: usize,
    with_mass: usize,
}

#[derive(Serialize)]
struct Bar {
    part: String,
    known_pa: f64,
    measured_pa: f64,
    ratio: f64,
    ratio_95: [f64; 2],
    agrees: bool,
}

#[derive(Serialize)]
struct ManifestFile {
    name: String,
    bytes: u64,
    sha256: String,
}

/// As indented JSON with a final newline. `bars`: each with its part's name.
pub fn manifest_json(set: &ReferenceSet, bars: &[(String, BarCheck)], files: &[Packed]) -> String {
    let manifest = Manifest {
        schema: REFERENCE_SCHEMA,
        version: env!("CARGO_PKG_VERSION"),
        complete: set.lacks.is_empty(),
        missing: set.lacks.iter().map(|l| Missing { code: l.code(), sentence: l.sentence() }).collect(),
        parts: set
            .counts
            .iter()
            .map(|c| Part {
                part: c.part.clone(),
                takes: c.takes,
                hung_again: c.hung_again,
                other_hand: c.other_hand,
                with_mass: c.with_mass,
            })
            .collect(),
        bars: bars
            .iter()
            .map(|(part, b)| Bar {
                part: part.clone(),
                known_pa: b.known.value,
                measured_pa: b.measured.value,
                ratio: b.ratio.value,
                ratio_95: b.ratio.interval_95_of_ratio(),
                agrees: b.agrees(),
            })
            .collect(),
        files: files
            .iter()
            .map(|f| ManifestFile { name: f.name.clone(), bytes: f.bytes, sha256: f.sha256.clone() })
            .collect(),
    };
    let mut text = serde_json::to_string_pretty(&manifest).unwrap_or_default();
    text.push('\n');
    text
}
