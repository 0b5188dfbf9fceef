//! Gives the program a fingerprint of its own sources, so that results kept by an older build are never taken for this one's.

use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::path::{Path, PathBuf};

fn files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() { files(&path, into) } else { into.push(path) }
    }
}

fn main() {
    let mut sources = vec![PathBuf::from("Cargo.toml"), PathBuf::from("Cargo.lock")];
    files(Path::new("src"), &mut sources);
    files(Path::new("assets"), &mut sources);
    sources.sort();
    let mut hasher = DefaultHasher::new();
    for source in &sources {
        source.to_string_lossy().hash(&mut hasher);
        std::fs::read(source).unwrap_or_default().hash(&mut hasher);
        println!("cargo::rerun-if-changed={}", source.display());
    }
    println!("cargo::rerun-if-changed=src");
    println!("cargo::rustc-env=RINGWRIGHT_SOURCES={:016x}", hasher.finish());
}
