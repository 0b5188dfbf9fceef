//! Files that would do harm: outputs that are inputs, links out of a bench, pipes and devices, names that command a terminal or
//! a spreadsheet, a full disk under the report.
//!
//! Exit codes as the program's help gives them: 0 done, 1 some inputs could not be measured, 2 refused or not saved.
#![cfg(unix)]

mod common;

use std::fs;
use std::os::unix::fs::{FileTypeExt, symlink};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use common::{run, take, write};
use ringwright::simulate::{TakeSpec, TrueMode};
use tempfile::TempDir;

/// Nothing here takes a second; what hangs is ended.
const LIMIT: Duration = Duration::from_secs(60);

fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

fn good_take() -> TakeSpec {
    let mode = |frequency_hz, amplitude| TrueMode { frequency_hz, damping_ratio: 0.008, amplitude, phase_rad: 0.4 };
    TakeSpec { modes: vec![mode(220.0, 0.2), mode(570.0, 0.1)], ..take() }
}

/// Code, standard output and standard error of a shell's command line, in which `$R` is the program; no code if it hung.
fn shell(folder: &Path, line: &str) -> (Option<i32>, String, String) {
    let (out, err) = (folder.join(".out"), folder.join(".err"));
    let mut child = Command::new("sh")
        .current_dir(folder)
        .args(["-c", &format!("exec 2>.err; {line}")])
        .env("R", env!("CARGO_BIN_EXE_ringwright"))
        .stdin(Stdio::null())
        .stdout(fs::File::create(&out).expect("it can be made"))
        .spawn()
        .expect("the shell starts");
    let from = Instant::now();
    let code = loop {
        match child.try_wait().expect("it can be waited for") {
            Some(status) => break status.code(),
            None if from.elapsed() > LIMIT => {
                let _ = child.kill();
                break None;
            }
            None => std::thread::sleep(Duration::from_millis(20)),
        }
    };
    let text = |path: &Path| String::from_utf8_lossy(&fs::read(path).unwrap_or_default()).into_owned();
    let told = (code, text(&out), text(&err));
    assert!(!format!("{}{}", told.1, told.2).contains("panicked"), "a panic: {told:?}");
    told
}

fn pipe(path: &Path) {
    assert!(Command::new("mkfifo").arg(path).status().expect("mkfifo is there").success());
}

/// The lines of a message lie where they fit: compare without them.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `command` is refused, says `why`, and leaves `victim` as it was.
fn refused(folder: &Path, victim: &str, command: &[&str], why: &str) {
    let before = fs::read(folder.join(victim)).expect("it is there");
    let (code, out, err) = run(folder, command);
    assert_eq!(fs::read(folder.join(victim)).ok(), Some(before), "{command:?} changed {victim}");
    assert_eq!(code, Some(2), "{command:?}\n{out}{err}");
    assert!(flat(&err).contains(why), "{command:?}\n{err}");
}

const PART: &str =
    "kind = \"strip\"\nlength = \"760 mm\"\nwidth = \"112 mm\"\nthickness = \"1.9 mm\"\nmass = \"100 g\"\n";
const BENCH: &str = "format = 1\n[[part]]\nname = \"side\"\nkind = \"side\"\n[[part.stage]]\nname = \"plain\"\n";

#[test]
fn no_output_replaces_an_input() {
    let folder = folder();
    let at = folder.path();
    for name in ["a.wav", "b/take-01.wav", "c/take-01.wav"] {
        write(&at.join(name), &good_take());
    }
    fs::hard_link(at.join("a.wav"), at.join("twin")).expect("a link");
    symlink("a.wav", at.join("link")).expect("a link");
    symlink("b", at.join("b-too")).expect("a link");
    fs::copy(at.join("a.wav"), at.join("a.wav.png")).expect("a copy");
    fs::write(at.join("part.toml"), PART).expect("it can be written");
    fs::write(at.join("b/part.toml"), PART).expect("it can be written");
    let why = "is one of the inputs";
    for out in ["a.wav", "./b/../a.wav", "twin", "link"] {
        refused(at, "a.wav", &["measure", "a.wav", "--format", "json", "--out", out, "--force"], why);
    }
    refused(at, "b/take-01.wav", &["measure", "b", "--out", "b-too/take-01.wav", "--force"], why);
    refused(at, "part.toml", &["measure", "a.wav", "--part", "part.toml", "--out", "part.toml", "--force"], why);
    refused(at, "a.wav.png", &["measure", "a.wav", "a.wav.png", "--pages", ".", "--force"], why);
    for option in ["--out", "--page"] {
        refused(at, "c/take-01.wav", &["compare", "b", "c", option, "c/take-01.wav", "--force"], why);
        refused(at, "b/part.toml", &["compare", "b", "c", option, "b/part.toml", "--force"], why);
        let earlier = ["compare", "b", "--earlier", "c", "--earlier", "a.wav", option, "a.wav", "--force"];
        refused(at, "a.wav", &earlier, why);
        let plan = ["plan", "--outer", "b", "--inner", "maple 1.4 mm", option, "b/take-01.wav", "--force"];
        refused(at, "b/take-01.wav", &plan, why);
    }
    let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="500mm" viewBox="0 0 400 500"><ellipse cx="200" cy="250" rx="150" ry="200"/></svg>"#;
    fs::write(at.join("mould.svg"), svg).expect("it can be written");
    let plies = ["plan", "--outer", "black walnut 1.9 mm", "--inner", "maple 1.4 mm", "--rim", "mould.svg", "--force"];
    for option in ["--out", "--page", "--rim-page", "--rim-table"] {
        refused(at, "mould.svg", &[&plies[..], &[option, "mould.svg"]].concat(), why);
    }
    // What is no input may be replaced.
    fs::write(at.join("old.txt"), "old").expect("it can be written");
    assert_eq!(run(at, &["measure", "a.wav", "--out", "old.txt", "--force"]).0, Some(0));
    assert!(fs::read_to_string(at.join("old.txt")).expect("a report").contains("frequency, Hz"));
}

/// A device or a pipe would be replaced by a file; of two outputs of one name only the last would be left.
#[test]
fn an_output_is_a_file_of_its_own() {
    let folder = folder();
    let at = folder.path();
    write(&at.join("a.wav"), &good_take());
    pipe(&at.join("pipe"));
    let (code, _, err) = run(at, &["measure", "a.wav", "--out", "pipe", "--force"]);
    assert!(fs::symlink_metadata(at.join("pipe")).expect("it is there").file_type().is_fifo(), "the pipe was replaced");
    assert!(code == Some(2) && err.contains("named pipe"), "{code:?} {err}");
    let plan = ["plan", "--outer", "black walnut 2 mm", "--inner", "maple", "--out", "x", "--page", "./x", "--force"];
    let (code, _, err) = run(at, &plan);
    assert!(code == Some(2) && err.contains("twice") && !at.join("x").exists(), "{code:?} {err}");
}

fn bench() -> TempDir {
    let folder = folder();
    let at = folder.path();
    write(&at.join("bench/recordings/side/plain/waist/take-01.wav"), &good_take());
    fs::write(at.join("bench/bench.toml"), BENCH).expect("it can be written");
    fs::create_dir_all(at.join("bench/reports")).expect("it can be made");
    fs::create_dir_all(at.join("outside")).expect("it can be made");
    fs::write(at.join("outside/notes.json"), "mine").expect("it can be written");
    folder
}

#[test]
fn the_diary_follows_no_link_out_of_its_bench() {
    for (link, target) in [
        ("reports/.writing", "../../outside/notes.json"),
        ("reports/.writing", "../../outside/made-anew"),
        ("reports/kept", "../../outside"),
        ("reports", "../outside"),
    ] {
        let folder = bench();
        let at = folder.path();
        let link = at.join("bench").join(link);
        if link.is_dir() {
            fs::remove_dir(&link).expect("it is empty");
        }
        symlink(target, &link).expect("a link");
        refused(at, "outside/notes.json", &["diary", "bench", "--quiet"], "is a link");
        let left = fs::read_dir(at.join("outside")).expect("it is there").count();
        assert_eq!(left, 1, "{} let something out", link.display());
    }
    // A link inside the bench empties nothing either.
    let folder = bench();
    let at = folder.path();
    symlink("../bench.toml", at.join("bench/reports/.writing")).expect("a link");
    let (code, _, err) = run(at, &["diary", "bench", "--quiet"]);
    assert_eq!(fs::read_to_string(at.join("bench/bench.toml")).expect("it is there"), BENCH, "{code:?} {err}");
    // A bench may itself lie behind a link.
    let folder = bench();
    let at = folder.path();
    symlink("bench", at.join("shop")).expect("a link");
    let (code, out, err) = run(at, &["diary", "shop", "--quiet"]);
    assert!(code == Some(0) && at.join("bench/reports/index.html").exists(), "{out}{err}");
}

#[test]
fn sessions_and_demonstrations_follow_no_link_out_of_their_bench() {
    let folder = bench();
    let at = folder.path();
    symlink("../../../outside", at.join("bench/recordings/side/bent")).expect("a link");
    let listen = ["listen", "bench", "--part", "side", "--stage", "bent", "--station", "waist", "--new", "--plain"];
    let play = ["--play", "bench/recordings/side/plain/waist/take-01.wav", "--speed", "20"];
    refused(at, "outside/notes.json", &[&listen[..], &play].concat(), "is a link");
    assert!(!at.join("outside/waist").exists(), "a folder was made outside");
    fs::create_dir(at.join("trial")).expect("it can be made");
    symlink("../outside", at.join("trial/recordings")).expect("a link");
    refused(at, "outside/notes.json", &["demo", "trial", "--force"], "is a link");
    fs::create_dir(at.join("new")).expect("it can be made");
    symlink("../outside", at.join("new/recordings")).expect("a link");
    refused(at, "outside/notes.json", &["diary", "--new", "new"], "is a link");
    assert_eq!(fs::read_dir(at.join("outside")).expect("it is there").count(), 1);
}

#[test]
fn pipes_and_devices_are_not_read() {
    let folder = folder();
    let at = folder.path();
    write(&at.join("takes/a.wav"), &good_take());
    pipe(&at.join("takes/pipe.wav"));
    symlink("/dev/zero", at.join("takes/zero.wav")).expect("a link");
    let (code, out, err) = shell(at, "$R measure takes");
    let told = flat(&format!("{out} {err}"));
    assert!(code == Some(1) && told.contains("named pipe") && told.contains("device"), "{code:?} {told}");
    // Without a limit this would fill the memory that is allowed here.
    symlink("/dev/zero", at.join("endless.toml")).expect("a link");
    let (code, _, err) = shell(at, "ulimit -v 4000000; $R measure takes/a.wav --part endless.toml");
    assert!(code == Some(2) && flat(&err).contains("endless.toml: cannot be read: it is a device"), "{code:?} {err}");
    pipe(&at.join("pipe.json"));
    let (code, _, err) = shell(at, "$R compare pipe.json takes/a.wav");
    assert!(code == Some(2) && flat(&err).contains("pipe.json: cannot be read: it is a named pipe"), "{code:?} {err}");
}

#[test]
fn what_is_too_large_is_not_read() {
    let folder = folder();
    let at = folder.path();
    write(&at.join("a.wav"), &good_take());
    // Holes: they take no room on the disk.
    let long = |name: &str, bytes: u64| {
        let file = fs::File::create(at.join(name)).expect("it can be made");
        file.set_len(bytes).expect("it can be long");
    };
    long("part.toml", 3 << 30);
    let (code, _, err) = shell(at, "$R measure a.wav --part part.toml");
    assert!(code == Some(2) && flat(&err).contains("part.toml: cannot be read: it holds 3221 MB"), "{code:?} {err}");
    long("old.json", 3 << 30);
    let (code, _, err) = shell(at, "$R compare old.json a.wav");
    assert!(code == Some(2) && flat(&err).contains("old.json: cannot be read: it holds 3221 MB"), "{code:?} {err}");
}

#[test]
fn a_recording_of_days_is_refused() {
    let folder = folder();
    let file = fs::File::create(folder.path().join("days.wav")).expect("it can be made");
    file.set_len(40 << 30).expect("it can be long");
    let (code, out, err) = shell(folder.path(), "$R measure days.wav");
    let told = flat(&format!("{out} {err}"));
    assert!(code == Some(1) && told.contains("holds 42.9 GB"), "{code:?} {told}");
}

#[test]
fn a_drawing_opens_no_other_file() {
    let folder = folder();
    let at = folder.path();
    pipe(&at.join("pipe.png"));
    // Whoever opens the pipe waits for ever; who does not sees that nothing is drawn.
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="500mm" viewBox="0 0 400 500">
        <image href="{}" width="9" height="9"/></svg>"#,
        at.join("pipe.png").display()
    );
    fs::write(at.join("mould.svg"), svg).expect("it can be written");
    let plan = r#"$R plan --outer "black walnut 1.9 mm" --inner "maple 1.4 mm" --rim mould.svg"#;
    let (code, _, err) = shell(at, plan);
    assert!(code == Some(2) && err.contains("no closed path"), "{code:?} {err}");
}

/// Everything that moves a cursor, turns the writing round or hides.
fn harmless(told: &str) -> bool {
    !told.chars().any(|c| {
        (c.is_control() && c != '\n' && c != '\t')
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    })
}

#[test]
fn names_command_no_terminal() {
    let folder = folder();
    let at = folder.path();
    let name = "a\u{1b}[31m\u{202e}red\u{9b}2J\u{7f}\u{200f}.wav";
    write(&at.join(name), &good_take());
    fs::write(at.join("b\u{1b}]0;x\u{7}.wav"), "no sound").expect("it can be written");
    let (_, out, err) = run(at, &["measure", "."]);
    assert!(out.contains("\\u{1b}[31m\\u{202e}red\\u{9b}2J\\u{7f}\\u{200f}.wav"), "{out:?}");
    assert!(harmless(&out) && harmless(&err), "{out:?} {err:?}");
    let (_, out, err) = run(at, &["measure", ".", "--format", "json"]);
    assert!(harmless(&out) && harmless(&err), "{out:?} {err:?}");
    let read: ringwright::report::Document = serde_json::from_str(&out).expect("it is JSON");
    assert!(read.recordings[0].file.ends_with(name), "{:?}", read.recordings[0].file);
    for command in
        [&["measure", "gone\u{1b}[2J"][..], &["diary", "gone\u{1b}[2J"], &["measure", "--x\u{1b}[2J\u{202e}"]]
    {
        let (_, out, err) = run(at, command);
        assert!(harmless(&out) && harmless(&err) && (out + &err).contains("\\u{"), "{command:?} {err:?}");
    }
}

#[test]
fn names_command_no_spreadsheet() {
    let folder = folder();
    let at = folder.path();
    for name in ["=A1", "+1", "-1", "@x", "plain"] {
        write(&at.join(format!("{name}.wav")), &good_take());
    }
    let (code, out, err) =
        run(at, &["measure", "--format", "csv", "--", "=A1.wav", "+1.wav", "-1.wav", "@x.wav", "plain.wav"]);
    assert_eq!(code, Some(0), "{err}");
    let mut reader = csv::Reader::from_reader(out.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
    // A number below 0 stays one: the level of the weaker mode in dB.
    let below = |row: &csv::StringRecord| row[12].parse::<f64>().is_ok_and(|db| db < 0.0);
    for name in ["'=A1.wav", "'+1.wav", "'-1.wav", "'@x.wav", "plain.wav"] {
        assert!(rows.iter().any(|row| &row[0] == name && below(row)), "{name}\n{out}");
    }
    let compare = ["compare", "--format", "csv", "--", "=A1.wav", "-1.wav"];
    let (_, out, err) = run(at, &compare);
    assert!(out.contains("\n'=A1.wav,'-1.wav,"), "{out}{err}");
}

#[test]
fn a_report_that_nobody_gets_is_an_error() {
    if !Path::new("/dev/full").exists() {
        return;
    }
    let folder = folder();
    let at = folder.path();
    write(&at.join("a.wav"), &good_take());
    for line in [
        "$R measure a.wav >/dev/full",
        "$R schema >/dev/full",
        "$R --help >/dev/full",
        "$R measure a.wav --format csv >/dev/full",
    ] {
        let (code, _, err) = shell(at, line);
        assert!(code == Some(2) && err.contains("cannot be written"), "{line} {code:?} {err}");
    }
    // A reader that has seen enough is no error.
    let (_, _, err) = shell(at, "{ sleep 0.3; $R schema; echo $? >code; } | true");
    let told = fs::read_to_string(at.join("code")).expect("a code");
    assert!(told.trim() == "0" && err.is_empty(), "{told} {err}");
}
