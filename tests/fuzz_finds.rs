//! What fuzzing has found, and what it begins with, run over once more: nothing panics, and what is read keeps its promises.

use std::fs;
use std::path::{Path, PathBuf};

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

fn texts(target: &str, check: fn(&str)) {
    for file in files(target) {
        println!("{}", file.display());
        check(&String::from_utf8_lossy(&fs::read(&file).expect("it can be read")));
    }
}

#[test]
fn sizes() {
    texts("units", checks::units);
}

#[test]
fn bench_files() {
    texts("bench_file", checks::bench_file);
}

#[test]
fn outlines() {
    texts("outlines", checks::outlines);
}

#[test]
fn documents() {
    texts("documents", checks::documents);
}

#[test]
fn sound_files() {
    files("decoders").iter().for_each(|file| checks::decoders(file));
}

#[test]
fn samples() {
    let every = |target: &str, check: fn(&[u8])| {
        files(target).iter().for_each(|file| check(&fs::read(file).expect("it can be read")));
    };
    every("taps", checks::taps);
    every("modes", |bytes| checks::modes(bytes, 40_000));
}
