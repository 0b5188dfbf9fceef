#![no_main]

#[allow(dead_code, reason = "one of several targets")]
#[path = "../checks.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|text: &str| checks::documents(text));
