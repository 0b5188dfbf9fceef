//! The bench folder and its diary: made, checked, written, and left alone where it must be.

use std::fs;
use std::path::Path;

use ringwright::report::Document;
use tempfile::TempDir;

mod common;

use common::{LAMINATED, PLAIN, write_ring};

/// Exit code and all that was said, in one line.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let (code, out, err) = common::run(folder, arguments);
    (code, format!("{out} {err}").split_whitespace().collect::<Vec<_>>().join(" "))
}

const BENCH: &str = "# mine, in my order
format = 1
shop = \"a <test> shop\"
[[part]]
name = \"rim\"
kind = \"rim\"
[[part.stage]]
name = \"plain\"
mass = \"206.7 g\"
[[part.stage]]
name = \"laminated\"
mass = \"413.4 g\"
";

fn bench() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let recordings = folder.path().join("recordings");
    write_ring(&recordings.join("rim/plain/waist/take-01.wav"), &PLAIN, 3);
    write_ring(&recordings.join("rim/plain/waist/take-02.wav"), &PLAIN, 4);
    write_ring(&recordings.join("rim/laminated/waist/take-01.wav"), &LAMINATED, 5);
    fs::write(folder.path().join("bench.toml"), BENCH).expect("it can be written");
    folder
}

#[test]
fn a_bench_becomes_a_diary() {
    let folder = bench();
    let take = folder.path().join("recordings/rim/plain/waist/take-01.wav");
    let before = fs::read(&take).expect("it is there");
    let (code, said) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("laminated against plain:") && said.contains("times as stiff"), "{said}");
    let reports = folder.path().join("reports");
    let page = fs::read_to_string(reports.join("index.html")).expect("the page");
    assert!(page.contains("a &lt;test&gt; shop") && page.contains("times as stiff"), "names are not escaped");
    assert!(page.matches("<img alt=\"").count() >= 3 && !page.contains("src=\"http"));
    let document: Document =
        serde_json::from_str(&fs::read_to_string(reports.join("modes.json")).expect("JSON")).expect("a document");
    assert_eq!(document.recordings.len(), 3);
    assert!(document.recordings.iter().all(|r| r.file.starts_with("recordings/")));
    for page in ["rim-plain-waist-take-01.wav.png", "rim-plain-waist-take-02.wav.png", "rim-waist-compared.png"] {
        assert!(reports.join(page).is_file(), "{page}");
    }
    // What is the maker's stays the maker's.
    assert_eq!(fs::read(&take).expect("it is there"), before);
    assert_eq!(fs::read_to_string(folder.path().join("bench.toml")).expect("it is there"), BENCH);
    // Compared by hand, the stages are the bench's.
    let (code, said) = run(folder.path(), &["compare", "recordings/rim/plain", "recordings/rim/laminated/waist"]);
    assert!(code == Some(0) && said.contains("times the mass"), "{said}");
}

#[test]
fn what_does_not_fit_is_named() {
    let folder = bench();
    assert_eq!(run(folder.path(), &["diary", "--check", "."]).0, Some(0));
    fs::create_dir_all(folder.path().join("recordings/rim/glued/waist")).expect("it can be made");
    for stray in ["recordings/loose.wav", "recordings/rim/glued/waist/take-01.wav"] {
        fs::copy(folder.path().join("recordings/rim/plain/waist/take-01.wav"), folder.path().join(stray))
            .expect("copied");
    }
    fs::write(folder.path().join("recordings/rim/plain/waist/take-03.wav"), b"no sound").expect("it can be written");
    let (code, said) = run(folder.path(), &["diary", "--check", "."]);
    assert_eq!(code, Some(1), "{said}");
    for words in ["loose.wav: lies in the wrong place", "has no stage \"glued\"", "line 5"] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    assert!(!folder.path().join("reports").exists(), "a check changes nothing");
    let (code, said) = run(folder.path(), &["diary", "."]);
    assert!(code == Some(1) && said.contains("take-03.wav") && said.contains("times as stiff"), "{said}");

    let with = |text: &str| {
        fs::write(folder.path().join("bench.toml"), text).expect("it can be written");
        run(folder.path(), &["diary", "."])
    };
    let (code, said) = with("format = 7\n");
    assert!(code == Some(2) && said.contains("format 7 is not known"), "{said}");
    let (code, said) = with(&BENCH.replace("206.7 g", "206.7"));
    assert!(code == Some(2) && said.contains("line 9, mass"), "{said}");
    let (code, said) = run(folder.path(), &["diary", "nowhere"]);
    assert!(code == Some(2) && said.contains("--new"), "{said}");
}

#[test]
fn a_new_bench_is_made_once() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    assert_eq!(run(folder.path(), &["diary", "--new", "shop"]).0, Some(0));
    assert!(folder.path().join("shop/recordings").is_dir());
    let (code, said) = run(folder.path(), &["diary", "--new", "shop"]);
    assert!(code == Some(2) && said.contains("exists already"), "{said}");
    let (code, said) = run(folder.path(), &["diary", "shop"]);
    assert!(code == Some(2) && said.contains("no recording where one belongs"), "{said}");
}
