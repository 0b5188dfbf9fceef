#![no_main]

use std::fs;
use std::panic;
use std::path::PathBuf;

#[allow(dead_code, reason = "one of several targets")]
#[path = "../checks.rs"]
mod checks;

fn contained() {
    let usual = panic::take_hook();
    panic::set_hook(Box::new(move |panic| {
        // Contained by the program, so no find.
        if !ringwright::sound::decoding() {
            usual(panic);
        }
    }));
}

libfuzzer_sys::fuzz_target!(init: contained(), |bytes: &[u8]| {
    let memory = PathBuf::from("/dev/shm");
    let folder = if memory.is_dir() { memory } else { std::env::temp_dir() };
    let file = folder.join(format!("ringwright-fuzz-{}.wav", std::process::id()));
    fs::write(&file, bytes).expect("a file in memory");
    checks::decoders(&file);
});
