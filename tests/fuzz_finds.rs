//! What fuzzing has found, and what it begins with, run over once more: nothing panics, and what is read keeps its promises.

use std::fs;
use std::path::{Path, PathBuf};

use ringwright::bench::Bench;
use ringwright::part::{Dimension, parse_readings};
use ringwright::report::Document;
use ringwright::rim::Outline;
use ringwright::sound::{OpenOptions, Recording};

#[path = "../fuzz/checks.rs"]
mod checks;

/// The files of a target among `fuzz/seeds` and `fuzz/finds`.
fn files(target: &str) -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let all = ["seeds", "finds"].iter().filter_map(|of| fs::read_dir(root.join(of).join(target)).ok());
    let files: Vec<PathBuf> = all.flatten().filter_map(|entry| Some(entry.ok()?.path())).collect();
    assert!(!files.is_empty(), "no files for {target}");
    files
}

/// `read`: whether a text is accepted; some must be, or the checks of what is read are checks of nothing.
fn texts(target: &str, check: fn(&str), read: fn(&str) -> bool) {
    let mut accepted = 0;
    for file in files(target) {
        println!("{}", file.display());
        let text = String::from_utf8_lossy(&fs::read(&file).expect("it can be read")).into_owned();
        check(&text);
        accepted += usize::from(read(&text));
    }
    assert!(accepted > 0, "every file for {target} is refused");
}

#[test]
fn sizes() {
    texts("units", checks::units, |text| parse_readings(text, Dimension::Length).is_ok());
}

#[test]
fn bench_files() {
    texts("bench_file", checks::bench_file, |text| Bench::from_toml(text).is_ok());
}

#[test]
fn outlines() {
    texts("outlines", checks::outlines, |text| Outline::from_csv(text).or_else(|_| Outline::from_svg(text)).is_ok());
}

#[test]
fn documents() {
    texts("documents", checks::documents, |text| serde_json::from_str::<Document>(text).is_ok());
}

#[test]
fn sound_files() {
    let all = files("decoders");
    all.iter().for_each(|file| checks::decoders(file));
    let opened = |file: &PathBuf| Recording::open(file, &OpenOptions::default()).is_ok();
    assert!(all.iter().any(opened), "every sound file is refused");
}

#[test]
fn samples() {
    let every = |target: &str, check: fn(&[u8])| {
        files(target).iter().for_each(|file| check(&fs::read(file).expect("it can be read")));
    };
    every("taps", checks::taps);
    every("modes", |bytes| checks::modes(bytes, 40_000));
}
