//! Where the next take of a station belongs.

use std::path::{Path, PathBuf};

/// The first of take-01.wav, take-02.wav, ... behind all that lie in a station's folder, whatever their ending.
pub fn next_take(station: &Path) -> PathBuf {
    let number = |name: &str| {
        let digits: String = name.strip_prefix("take-")?.chars().take_while(char::is_ascii_digit).collect();
        digits.parse::<u32>().ok()
    };
    let last = std::fs::read_dir(station)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|e| number(&e.file_name().to_string_lossy()))
        .max()
        .unwrap_or(0);
    station.join(format!("take-{:02}.wav", last + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_go_on_behind_the_last() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        assert!(next_take(&folder.path().join("none")).ends_with("take-01.wav"));
        for name in ["take-01.wav", "take-09-mishaps.flac", "notes.txt"] {
            std::fs::write(folder.path().join(name), "x").expect("it can be written");
        }
        assert!(next_take(folder.path()).ends_with("take-10.wav"));
    }
}
