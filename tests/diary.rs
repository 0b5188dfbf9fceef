//! The bench folder and its diary: made, checked, written, and left alone where it must be.

use std::fs;
use std::path::Path;

use ringwright::report::Document;
use tempfile::TempDir;

mod common;

use common::{LAMINATED, PLAIN, write_ring};
use ringwright::simulate::Ring;

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

/// Two sides that match and two rims that went before: the diary says how alike and how usual, and where a name leads nowhere.
#[test]
fn sides_are_matched_and_rims_set_against_earlier_ones() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let stiffer = |factor: f64| Ring { bending_stiffness_n_m2: factor * PLAIN.bending_stiffness_n_m2, ..PLAIN };
    let parts = [
        ("left-side", 1.0, ""),
        ("right-side", 1.1, ""),
        ("rim-1", 1.0, ""),
        ("rim-2", 1.03, ""),
        ("rim-3", 2.0, "earlier = [\"rim-1\", \"rim-2\"]\n"),
    ];
    let mut text = "format = 1\n".to_owned();
    for (place, (name, factor, more)) in parts.iter().enumerate() {
        // People write a name in more than one way.
        let (stage, spot) = if *name == "right-side" { ("Bent", "Waist") } else { ("bent", "waist") };
        let file = folder.path().join(format!("recordings/{name}/{stage}/{spot}/take-01.wav"));
        write_ring(&file, &stiffer(*factor), 40 + place as u64);
        text += &format!(
            "[[part]]\nname = \"{name}\"\nkind = \"rim\"\n{more}[[part.stage]]\nname = \"{stage}\"\nmass = \"206.7 g\"\n"
        );
    }
    fs::write(folder.path().join("bench.toml"), &text).expect("it can be written");
    let (code, said) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(0), "{said}");
    // f goes with the square root of the stiffness, so f2 m with the stiffness: 10 % more.
    assert!(said.contains("right-side beside left-side: stiffness 10"), "{said}");
    assert!(said.contains("mass alike within 2 %"), "{said}");
    assert_eq!(said.matches("beside left-side:").count(), 1, "a pair is told once: {said}");
    assert!(said.contains("rim-3 is not as usual") && said.contains("2 earlier parts are few"), "{said}");
    let reports = folder.path().join("reports");
    for page in ["right-side-beside-left-side-bent-waist.png", "rim-3-waist-earlier.png"] {
        assert!(reports.join(page).is_file(), "{page}");
    }
    let page = fs::read_to_string(reports.join("index.html")).expect("the page");
    assert!(page.contains("among the shop&#39;s earlier ones") || page.contains("among the shop's earlier ones"));
    fs::write(folder.path().join("bench.toml"), text.replace("rim-2\"]", "rim-9\"]")).expect("it can be written");
    let (code, said) = run(folder.path(), &["diary", "."]);
    assert!(code == Some(2) && said.contains("earlier: there is no other part \"rim-9\""), "{said}");
}

/// A folder that is no bench is measured as it is.
#[test]
fn loose_recordings_have_a_diary_too() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    write_ring(&folder.path().join("a.wav"), &PLAIN, 3);
    write_ring(&folder.path().join("inner/b.wav"), &LAMINATED, 4);
    fs::write(folder.path().join("c.wav"), b"no sound").expect("it can be written");
    let (code, said) = run(folder.path(), &["diary", "."]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("2 of 3 recordings measured") && said.contains("c.wav"), "{said}");
    let page = fs::read_to_string(folder.path().join("reports/index.html")).expect("the page");
    assert!(page.matches("<img alt=\"").count() == 2 && page.contains("belong to no bench"));
    assert!(folder.path().join("reports/inner-b.wav.png").is_file());
    let (code, said) = run(folder.path(), &["diary", "--check", "."]);
    assert!(code == Some(2) && said.contains("no bench.toml"), "{said}");
    // Takes whose pages would be called alike have a page each.
    write_ring(&folder.path().join("x/y-z.wav"), &PLAIN, 5);
    write_ring(&folder.path().join("x-y/z.wav"), &LAMINATED, 6);
    run(folder.path(), &["diary", "."]);
    let pages = fs::read_dir(folder.path().join("reports")).expect("the folder").flatten();
    let alike = pages.filter(|e| e.file_name().to_string_lossy().starts_with("x-y-z.wav")).count();
    assert_eq!(alike, 2);
}
