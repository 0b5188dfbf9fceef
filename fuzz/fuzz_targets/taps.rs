#![no_main]

#[allow(dead_code, reason = "one of several targets")]
#[path = "../checks.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| checks::taps(bytes));
