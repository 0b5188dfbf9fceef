//! Nothing is lost when a diary is interrupted: killed, without room on the disk, or written by two at once.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use tempfile::TempDir;

mod common;

use common::{LAMINATED, PLAIN, run, write_ring};

const BENCH: &str = "format = 1\n[[part]]\nname = \"rim\"\nkind = \"rim\"\n[[part.stage]]\nname = \"plain\"\n\
                     [[part.stage]]\nname = \"laminated\"\n";

fn bench() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (stage, ring, seed) in [("plain", PLAIN, 3), ("laminated", LAMINATED, 5)] {
        for take in 1..=2 {
            let name = format!("recordings/rim/{stage}/waist/take-0{take}.wav");
            write_ring(&folder.path().join(name), &ring, seed + take);
        }
    }
    fs::write(folder.path().join("bench.toml"), BENCH).expect("it can be written");
    folder
}

/// Every file below a folder but temporary ones, with its bytes.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        if path.is_dir() {
            all.extend(contents(&path).into_iter().map(|(inside, bytes)| (format!("{name}/{inside}"), bytes)));
        } else if !name.starts_with('.') {
            all.insert(name, fs::read(&path).expect("it can be read"));
        }
    }
    all
}

/// A second run over an unchanged folder measures nothing and writes the same; a changed recording, a changed description and
/// a lost or altered page are measured again, each alone.
#[test]
fn what_has_not_changed_is_not_measured_again() {
    let folder = bench();
    let reports = folder.path().join("reports");
    let kept = || -> BTreeMap<String, std::time::SystemTime> {
        let files = fs::read_dir(reports.join("kept")).expect("the folder").flatten();
        files
            .map(|e| {
                let changed = e.metadata().and_then(|m| m.modified()).expect("a time");
                (e.file_name().to_string_lossy().into_owned(), changed)
            })
            .collect()
    };
    let (code, first, err) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(0), "{first}{err}");
    let (before, known) = (contents(&reports), kept());
    assert_eq!(known.len(), 4);
    let (_, second, _) = run(folder.path(), &["diary", "."]);
    assert_eq!(first, second);
    assert_eq!(before, contents(&reports));
    assert_eq!(known, kept(), "something was measured again");
    let fresh = |what: &str, known: &BTreeMap<String, std::time::SystemTime>| {
        let (code, said, err) = run(folder.path(), &["diary", "."]);
        assert_eq!(code, Some(0), "{what}: {said}{err}");
        let now = kept();
        assert_eq!(now.len(), 4, "{what}: results that nobody needs are kept");
        (now.iter().filter(|(name, time)| known.get(*name) != Some(time)).count(), now)
    };
    let page = reports.join("rim-plain-waist-take-01.wav.png");
    fs::remove_file(&page).expect("it is there");
    let (count, known) = fresh("a lost page", &known);
    assert!(count == 1 && page.is_file(), "{count}");
    fs::write(&page, b"scribble").expect("it can be written");
    let (count, known) = fresh("an altered page", &known);
    assert!(count == 1 && fs::read(&page).expect("it is there") == before["rim-plain-waist-take-01.wav.png"]);
    write_ring(&folder.path().join("recordings/rim/plain/waist/take-02.wav"), &PLAIN, 77);
    let (count, known) = fresh("a new recording", &known);
    assert_eq!(count, 1);
    let described = BENCH.replace("name = \"laminated\"", "name = \"laminated\"\nmass = \"410 g\"");
    fs::write(folder.path().join("bench.toml"), described).expect("it can be written");
    let (count, known) = fresh("a new description", &known);
    assert_eq!(count, 2);
    // What was kept and cannot be read is nothing.
    let any = reports.join("kept").join(known.keys().next().expect("four"));
    fs::write(any, b"{").expect("it can be written");
    assert_eq!(fresh("a broken result", &known).0, 1);
}

/// A clock that jumps makes nothing old or new: recordings, results and pages dated decades off are as good as before, a recording that
/// changed under an unchanged date is measured anew, and another run's file in the making stays.
#[test]
fn a_clock_that_jumps_changes_nothing() {
    let folder = bench();
    let reports = folder.path().join("reports");
    let (code, first, err) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(0), "{first}{err}");
    let before = contents(folder.path());
    let year = Duration::from_secs(365 * 86_400);
    let epoch = std::time::SystemTime::UNIX_EPOCH;
    let in_the_making = reports.join(".ringwright-another");
    for then in [epoch + 5 * year, epoch + 150 * year] {
        fs::write(&in_the_making, b"half a page").expect("it can be written");
        for name in before.keys().map(String::as_str).chain(["reports/.ringwright-another"]) {
            date(&folder.path().join(name), then);
        }
        let (code, again, err) = run(folder.path(), &["diary", "."]);
        assert_eq!((code, &again), (Some(0), &first), "{err}");
        assert_eq!(before, contents(folder.path()), "{then:?}");
    }
    assert!(in_the_making.is_file(), "what the clock says is not yet made is somebody's");

    let take = folder.path().join("recordings/rim/plain/waist/take-01.wav");
    let dated = fs::metadata(&take).and_then(|m| m.modified()).expect("a date");
    write_ring(&take, &PLAIN, 78);
    date(&take, dated);
    let (code, _, err) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(0), "{err}");
    let page = "reports/rim-plain-waist-take-01.wav.png";
    assert_ne!(before[page], fs::read(folder.path().join(page)).expect("it is there"), "the old page stands");
}

fn date(file: &Path, then: std::time::SystemTime) {
    let opened = fs::File::options().write(true).open(file).expect("it is there");
    opened.set_modified(then).expect("it can be dated");
}

/// Killed at any moment, the program leaves every page either as it was or as it will be, and the next run is as good as one
/// that was never disturbed.
#[test]
fn killed_at_any_moment_nothing_is_half_written() {
    let folder = bench();
    let reports = folder.path().join("reports");
    assert_eq!(run(folder.path(), &["diary", "."]).0, Some(0));
    let before = contents(&reports);
    let recordings = contents(&folder.path().join("recordings"));
    assert_eq!(recordings.len(), 4);
    // The same with a remark is another diary: every page is written anew.
    let other = folder.path().join("other");
    fs::create_dir(&other).expect("it can be made");
    for name in ["recordings", "bench.toml"] {
        copy(&folder.path().join(name), &other.join(name));
    }
    assert_eq!(run(folder.path(), &["diary", "other", "--remark", "second"]).0, Some(0));
    let after = contents(&other.join("reports"));
    assert_ne!(before["index.html"], after["index.html"]);
    let mut cut_short = 0;
    for trial in 0..12u64 {
        let mut child = Command::new(env!("CARGO_BIN_EXE_ringwright"))
            .current_dir(folder.path())
            .args(["diary", ".", "--remark", "second"])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(Duration::from_millis(15 * trial));
        cut_short += usize::from(child.try_wait().expect("it can be asked").is_none());
        // SIGKILL on Unix: no handler runs.
        let _ = child.kill();
        child.wait().expect("it ends");
        let now = contents(&reports);
        let gone: Vec<&String> =
            before.keys().filter(|name| !name.starts_with("kept/") && !now.contains_key(*name)).collect();
        assert!(gone.is_empty(), "trial {trial}: {gone:?} are gone");
        for (name, bytes) in now {
            if name.starts_with("kept/") {
                assert!(serde_json::from_slice::<serde_json::Value>(&bytes).is_ok(), "trial {trial}: {name} is broken");
                continue;
            }
            let whole = before.get(&name) == Some(&bytes) || after.get(&name) == Some(&bytes);
            assert!(whole, "trial {trial}: {name} is neither the old page nor the new one ({} bytes)", bytes.len());
        }
    }
    assert!(cut_short > 3, "only {cut_short} runs were cut short");
    let (code, said, err) = run(folder.path(), &["diary", ".", "--remark", "second"]);
    assert_eq!(code, Some(0), "{said}{err}");
    assert_eq!(contents(&reports), after);
    assert_eq!(contents(&folder.path().join("recordings")), recordings);
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).expect("it can be made");
        for entry in fs::read_dir(from).expect("a folder").flatten() {
            copy(&entry.path(), &to.join(entry.file_name()));
        }
    } else {
        fs::copy(from, to).expect("it can be copied");
    }
}

/// Another program that writes the same diary is told to wait.
#[test]
fn two_do_not_write_one_diary() {
    let folder = bench();
    fs::create_dir(folder.path().join("reports")).expect("it can be made");
    let file = fs::File::create(folder.path().join("reports/.writing")).expect("it can be made");
    file.try_lock().expect("nobody else holds it");
    let (code, _, err) = run(folder.path(), &["diary", "."]);
    assert!(code == Some(2) && err.contains("another ringwright is writing"), "{code:?} {err}");
    assert!(!folder.path().join("reports/index.html").exists());
    drop(file);
    assert_eq!(run(folder.path(), &["diary", "."]).0, Some(0));
}

/// With no room for pages (a limit on the size of a file stands for a full disk: the write fails half-way) each trouble is
/// told, what was there stays, and nothing half-written is left.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_what_was_there() {
    let folder = bench();
    let reports = folder.path().join("reports");
    assert_eq!(run(folder.path(), &["diary", "."]).0, Some(0));
    let before = contents(&reports);
    assert!(before.contains_key("index.html") && before.contains_key("modes.json"), "{:?}", before.keys());
    let program = env!("CARGO_BIN_EXE_ringwright");
    // 8 blocks of 1024 bytes; the signal that comes with it is ignored, so that the write itself fails.
    let script = format!("trap '' XFSZ; ulimit -f 8; exec '{program}' diary . --remark second");
    let output = Command::new("bash")
        .args(["-c", &script])
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("a shell starts");
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(matches!(output.status.code(), Some(1 | 2)), "{:?} {err}", output.status);
    assert!(err.contains("cannot be written") && err.contains("free space") && !err.contains("panicked"), "{err}");
    let now = contents(&reports);
    for (name, bytes) in before.iter().filter(|(name, _)| !name.starts_with("kept/")) {
        assert!(now.get(name) == Some(bytes), "{name} was harmed");
    }
    let left = fs::read_dir(&reports).expect("a folder").flatten().filter(|e| {
        let name = e.file_name().to_string_lossy().into_owned();
        name.starts_with(".ringwright-")
    });
    assert_eq!(left.count(), 0, "temporary files are left");
}
