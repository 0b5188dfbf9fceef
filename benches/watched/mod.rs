//! A run of the program under watch: how long it takes, and its peak memory as Linux counts it.

use std::ffi::OsStr;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Seconds and peak memory (MB) of one run on so many cores.
pub fn run<S: AsRef<OsStr>>(arguments: &[S], cores: usize) -> (f64, u64) {
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_ringwright"))
        .args(arguments)
        .env("RAYON_NUM_THREADS", cores.to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program was built");
    let mut peak_kb = 0u64;
    while child.try_wait().ok().flatten().is_none() {
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let now = status
            .lines()
            .find_map(|l| l.strip_prefix("VmHWM:"))
            .and_then(|v| v.trim().split(' ').next()?.parse().ok());
        peak_kb = peak_kb.max(now.unwrap_or(0));
        std::thread::sleep(Duration::from_millis(5));
    }
    (start.elapsed().as_secs_f64(), peak_kb / 1024)
}

pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}
