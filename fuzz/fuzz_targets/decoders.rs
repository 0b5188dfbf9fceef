//! Sound files of any kind: opened as sound that holds its promises, or refused.
#![no_main]

use std::cell::RefCell;
use std::fs;
use std::path::PathBuf;

use libfuzzer_sys::fuzz_target;
use ringwright::sound::{OpenOptions, Recording};

thread_local! {
    static FILE: RefCell<PathBuf> = RefCell::new({
        let memory = PathBuf::from("/dev/shm");
        let folder = if memory.is_dir() { memory } else { std::env::temp_dir() };
        folder.join(format!("ringwright-fuzz-{}.wav", std::process::id()))
    });
}

fuzz_target!(|bytes: &[u8]| {
    FILE.with_borrow(|file| {
        fs::write(file, bytes).expect("a file in memory");
        if let Ok(mut recording) = Recording::open(file, &OpenOptions::default()) {
            assert!(recording.sample_rate_hz() > 0.0 && recording.len() > 0);
            let mut scratch = Vec::new();
            let most = recording.len().min(1 << 16);
            if let Ok(samples) = recording.read(0, most, &mut scratch) {
                assert!(samples.len() == most && samples.iter().all(|s| s.is_finite()));
            }
        }
    });
});
