#![no_main]

#[allow(dead_code, reason = "one of several targets")]
#[path = "../checks.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    // Few samples: the estimator takes a thousand times as long as the tap finder.
    checks::modes(bytes, 10_000);
});
