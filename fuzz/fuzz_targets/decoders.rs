#![no_main]

use std::fs;
use std::path::PathBuf;

#[allow(dead_code, reason = "one of several targets")]
#[path = "../checks.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let memory = PathBuf::from("/dev/shm");
    let folder = if memory.is_dir() { memory } else { std::env::temp_dir() };
    let file = folder.join(format!("ringwright-fuzz-{}.wav", std::process::id()));
    fs::write(&file, bytes).expect("a file in memory");
    checks::decoders(&file);
});
