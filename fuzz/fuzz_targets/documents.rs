//! Reports read back from JSON, and told as text and CSV.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ringwright::report::{Detail, Document, to_text};

fuzz_target!(|text: &str| {
    if let Ok(document) = serde_json::from_str::<Document>(text) {
        let told = to_text(&document, Detail::default());
        assert!(document.recordings.is_empty() || !told.is_empty());
        let again = serde_json::to_string(&document).expect("it can be written");
        serde_json::from_str::<Document>(&again).expect("what was written can be read");
    }
});
