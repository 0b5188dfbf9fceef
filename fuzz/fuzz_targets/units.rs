//! Sizes as people write them: whatever is read is a number that can be computed with.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ringwright::part::{Dimension, parse_readings, parse_uncertainty};

fuzz_target!(|text: &str| {
    for dimension in [Dimension::Length, Dimension::Mass, Dimension::Temperature, Dimension::Humidity] {
        if let Ok(readings) = parse_readings(text, dimension) {
            assert!(!readings.is_empty() && readings.iter().all(|r| r.is_finite()), "{text:?} {readings:?}");
        }
        if let Ok(u) = parse_uncertainty(text, dimension) {
            assert!(u.is_finite() && u >= 0.0, "{text:?} {u}");
        }
    }
});
