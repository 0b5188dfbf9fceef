//! The program as people and other programs meet it: its options, exit codes and reports.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use proptest::prelude::*;
use ringwright::part::HUNG_AGAIN_FREQUENCY;
use ringwright::report::{Detail, Document, ModeEntry, RecordingEntry, SCHEMA_NAME, WIDTH, to_text};
use ringwright::simulate::{NoiseColour, TakeSpec};
use ringwright::sound::{WavSamples, wav_bytes};
use tempfile::TempDir;

/// What the program did.
struct Run {
    command: String,
    code: Option<i32>,
    out: String,
    err: String,
}

impl Run {
    fn of(mut command: Command) -> Self {
        let output = command.stdin(Stdio::null()).output().expect("the program starts");
        Self {
            command: format!("{command:?}"),
            code: output.status.code(),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    fn all(&self) -> String {
        format!("command: {}\nexit code: {:?}\nstdout:\n{}\nstderr:\n{}", self.command, self.code, self.out, self.err)
    }

    fn expect(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "wrong exit code\n{}", self.all());
        assert!(!format!("{}{}", self.out, self.err).contains("panicked"), "a panic\n{}", self.all());
        self
    }
}

fn program(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
    command.current_dir(folder).args(arguments);
    command
}

fn run(folder: &Path, arguments: &[&str]) -> Run {
    Run::of(program(folder, arguments))
}

/// A folder with a simulated take of two modes called `take.wav`.
fn with_take() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    run(folder.path(), &[&["simulate", "take.wav"], &TAKE[..]].concat()).expect(0);
    folder
}

const TAKE: [&str; 12] = [
    "--mode",
    "220,0.01,-12",
    "--mode",
    "570,0.008,-18",
    "--rate",
    "16000",
    "--taps",
    "3",
    "--interval",
    "0.8",
    "--seed",
    "4",
];

#[test]
fn json_is_a_document() {
    let folder = with_take();
    let run = run(folder.path(), &["measure", "take.wav", "--format", "json"]).expect(0);
    let document: Document = serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}\n{}", run.all()));
    assert_eq!(document.schema, SCHEMA_NAME, "{}", run.all());
    assert_eq!(document.recordings[0].modes.len(), 2, "two modes\n{}", run.all());
    // There and back again, nothing is lost: the same fields, and numbers but for what reading may round.
    let read = |text: &str| -> serde_json::Value { serde_json::from_str(text).expect("JSON") };
    assert!(
        same(&read(&document.to_json()), &read(&run.out)),
        "written again it differs\n{}\n{}",
        document.to_json(),
        run.all()
    );
    // Every field of the structs is there, also when it is null: readers can rely on them.
    let value: serde_json::Value = serde_json::from_str(&run.out).expect("JSON");
    assert!(value.pointer("/recordings/0/error").is_some_and(|e| e.is_null()), "{}", run.all());
}

#[test]
fn checked_in_schema_is_the_programs() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for of in ["measure", "compare", "plan"] {
        let run = run(folder.path(), &["schema", of]).expect(0);
        let name = format!("docs/{of}.schema.json");
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(&name);
        let kept = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{name}: {e}\n{}", run.all()));
        // A checkout may turn line ends.
        let kept = kept.replace("\r\n", "\n");
        assert_eq!(kept, run.out, "write it anew: ringwright schema {of} > {name}\n{}", run.all());
    }
}

/// Two JSON values agree. serde_json reads numbers to the last bit or one beside it (2e-16): 1e-14 is ample.
fn same(a: &serde_json::Value, b: &serde_json::Value) -> bool {
    use serde_json::Value::{Array, Number, Object};
    match (a, b) {
        (Object(a), Object(b)) => a.len() == b.len() && a.iter().all(|(k, v)| b.get(k).is_some_and(|w| same(v, w))),
        (Array(a), Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(v, w)| same(v, w)),
        (Number(a), Number(b)) => close(a.as_f64(), b.as_f64()),
        _ => a == b,
    }
}

fn close(a: Option<f64>, b: Option<f64>) -> bool {
    a.zip(b).is_some_and(|(a, b)| (a - b).abs() <= 1e-14 * a.abs())
}

fn too_wide(text: &str) -> Option<&str> {
    text.lines().find(|line| line.chars().count() > WIDTH)
}

#[test]
fn text_is_at_most_100_columns_wide() {
    assert_eq!(WIDTH, 100);
    let folder = with_take();
    fs::write(folder.path().join("text.wav"), "no sound").expect("the test can write");
    run(
        folder.path(),
        &[&["simulate", "mishaps.wav", "--double-hit", "1,0.09,0.6", "--line", "50,-40", "--loud", "2,9"], &TAKE[..]]
            .concat(),
    )
    .expect(0);
    let measured = run(folder.path(), &["measure", ".", "gone.wav", "--verbose"]).expect(1);
    assert!(measured.out.contains("mishaps.wav"), "{}", measured.all());
    assert!(too_wide(&measured.out).is_none(), "too wide: {:?}\n{}", too_wide(&measured.out), measured.all());
    for arguments in [
        &["--help"][..],
        &["measure", "--help"],
        &["simulate", "--help"],
        &["demo", "--help"],
        &["compare", "--help"],
        &["plan", "--help"],
        &["diary", "--help"],
        &["verify", "--help"],
    ] {
        let mut command = program(folder.path(), arguments);
        // A wide terminal is no reason to write wider.
        command.env("COLUMNS", "200");
        let help = Run::of(command).expect(0);
        assert!(too_wide(&help.out).is_none(), "too wide: {:?}\n{}", too_wide(&help.out), help.all());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the numbers, the table keeps its width: frequencies over the whole range that may be searched, damping
    /// ratios from 0.0001 to 0.3, relative uncertainties down to what a quiet room and strong taps give (a ten-millionth
    /// for frequency, a hundred-thousandth for damping), up to seven doubts.
    #[test]
    fn the_table_keeps_its_width(
        frequency in 1.0f64..4.98, damping in -4.0f64..-0.5, u_f in -7.0f64..0.0, u_z in -5.0f64..0.0,
        level_db in -120.0f64..0.0, taps_used in 1usize..1000, doubts in 0usize..8, all_digits in any::<bool>(),
    ) {
        let (f, z) = (10f64.powf(frequency), 10f64.powf(damping));
        let (fu, zu) = (f * 10f64.powf(u_f), z * 10f64.powf(u_z));
        let ring = 1000f64.ln() / (z * std::f64::consts::TAU * f);
        let mode = ModeEntry {
            energy_lost_per_cycle: 0.1,
            energy_lost_per_cycle_u: 0.001,
            name: Some("crosswise 10+10".into()),
            expected_hz: None,
            frequency_hz: f, frequency_hz_u: fu, frequency_hz_95: [f - 2.0 * fu, f + 2.0 * fu],
            part_frequency_hz_u: Some(fu), part_frequency_hz_95: None, part_damping_ratio_u: Some(zu), part_damping_ratio_95: None,
            frequency_hz_dof: None, frequency_hz_budget: vec![], damping_ratio_dof: None, damping_ratio_budget: vec![],
            damping_ratio: z, damping_ratio_u: zu, damping_ratio_95: [z - 2.0 * zu, z + 2.0 * zu],
            loss_factor: 2.0 * z, loss_factor_u: 2.0 * zu, q: 0.5 / z, q_u: 0.5 / z * zu / z,
            ring_time_s: ring, ring_time_s_u: ring * zu / z, level_db, decay_seen_db: 40.0,
            envelope_damping_ratio: None, taps_used, per_tap: vec![],
            reasons: vec![], explanations: (0..doubts).map(|d| format!("doubt number {d} of this mode, in some words")).collect(),
        };
        let entry = RecordingEntry { file: "take.wav".into(), modes: vec![mode], ..RecordingEntry::default() };
        let document = Document { schema: SCHEMA_NAME.into(), recordings: vec![entry], stations: vec![] };
        let text = to_text(&document, Detail { verbose: true, explain: true, all_digits, why: "--verbose" });
        prop_assert!(text.contains("take.wav"), "{text}");
        prop_assert!(too_wide(&text).is_none(), "too wide: {:?}\n{text}", too_wide(&text));
    }
}

/// A table shows no digit that holding the part anew would change, unless it is asked for; JSON has both intervals.
#[test]
fn digits_are_those_that_the_part_repeats() {
    let folder = with_take();
    let json = run(folder.path(), &["measure", "take.wav", "--format", "json"]).expect(0);
    let document: Document = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}\n{}", json.all()));
    let mode = &document.recordings[0].modes[0];
    let (own, part) = (mode.frequency_hz_u, mode.part_frequency_hz_u.expect("the part's"));
    // Student's t of six degrees of freedom over the normal quantile, from tables: 2.447/1.960.
    let expected = 2.447 / 1.960 * own.hypot(mode.frequency_hz * HUNG_AGAIN_FREQUENCY);
    assert!((part / expected - 1.0).abs() < 0.02, "{own} {part}");
    let half = |u: f64| format!("± {:.*}", (1 - (1.96 * u).log10().floor() as i32).max(0) as usize, 1.959_964 * u);
    let rounded = run(folder.path(), &["measure", "take.wav"]).expect(0);
    assert!(
        rounded.out.contains(&half(part)) && rounded.out.contains("95 % interval of the part"),
        "{}",
        rounded.all()
    );
    let all = run(folder.path(), &["measure", "take.wav", "--all-digits"]).expect(0);
    assert!(all.out.contains(&half(own)) && !all.out.contains(&half(part)), "{}", all.all());
}

/// Doubts are given by letter: with more of them than the alphabet has letters, each must still have a mark of its own.
#[test]
fn many_doubts_have_marks_of_their_own() {
    let folder = with_take();
    let json = run(folder.path(), &["measure", "take.wav", "--format", "json"]).expect(0);
    let mut document: Document = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}\n{}", json.all()));
    let modes = &mut document.recordings[0].modes;
    let first = modes[0].clone();
    *modes = (0..30).map(|n| ModeEntry { explanations: vec![format!("doubt no {n}")], ..first.clone() }).collect();
    let text = to_text(&document, Detail::default());
    let mut marks: Vec<&str> =
        text.lines().filter(|l| l.contains("doubt no")).filter_map(|l| l.split_whitespace().next()).collect();
    marks.sort_unstable();
    marks.dedup();
    assert_eq!(marks.len(), 30, "two doubts share a mark\n{text}");
}

#[test]
fn csv_has_a_heading_and_one_row_a_mode() {
    let folder = with_take();
    fs::write(folder.path().join("bad, \"worse\".wav"), "no sound").expect("the test can write");
    let json = run(folder.path(), &["measure", "take.wav", "--format", "json"]).expect(0);
    let document: Document = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}\n{}", json.all()));
    let modes = &document.recordings[0].modes;
    assert_eq!(modes.len(), 2, "{}", json.all());
    let run = run(folder.path(), &["measure", "take.wav", "bad, \"worse\".wav", "--format", "csv"]).expect(1);
    let mut reader = csv::Reader::from_reader(run.out.as_bytes());
    let heading: Vec<String> = reader.headers().expect("a heading").iter().map(str::to_owned).collect();
    let column =
        |name: &str| heading.iter().position(|h| h == name).unwrap_or_else(|| panic!("no {name}\n{}", run.all()));
    let rows: Vec<csv::StringRecord> =
        reader.records().map(|r| r.unwrap_or_else(|e| panic!("{e}\n{}", run.all()))).collect();
    // One row for each mode, one for the file that failed.
    assert_eq!(rows.len(), modes.len() + 1, "{}", run.all());
    for (row, mode) in rows.iter().zip(modes) {
        assert_eq!(&row[column("file")], "take.wav", "{}", run.all());
        // The same numbers as in the JSON, unrounded.
        for (name, value) in [("frequency_hz", mode.frequency_hz), ("damping_ratio_u", mode.damping_ratio_u)] {
            assert!(close(row[column(name)].parse().ok(), Some(value)), "{name}\n{}", run.all());
        }
    }
    let last = &rows[modes.len()];
    assert_eq!(&last[column("file")], "bad, \"worse\".wav", "{}", run.all());
    assert!(!last[column("error")].is_empty() && last[column("frequency_hz")].is_empty(), "{}", run.all());
}

#[test]
fn simulate_follows_its_seed() {
    let folder = with_take();
    let bytes = |name: &str, seed: &str| {
        // The last --seed of the common options is left off.
        run(folder.path(), &[&["simulate", name], &TAKE[..10], &["--seed", seed]].concat()).expect(0);
        fs::read(folder.path().join(name)).expect("the file is there")
    };
    let first = bytes("a.wav", "4");
    assert!(first == bytes("b.wav", "4"), "the same seed gave another file");
    assert!(
        first == fs::read(folder.path().join("take.wav")).expect("the file is there"),
        "the same seed gave another file"
    );
    assert!(first != bytes("c.wav", "5"), "another seed gave the same file");
    // An existing file is not overwritten unless asked.
    let again = run(folder.path(), &[&["simulate", "a.wav"], &TAKE[..]].concat()).expect(2);
    assert!(again.err.contains("a.wav") && again.err.contains("--force"), "{}", again.all());
    assert!(fs::read(folder.path().join("a.wav")).expect("the file is there") == first, "the file was harmed");
    run(folder.path(), &[&["simulate", "a.wav", "--force"], &TAKE[..]].concat()).expect(0);
}

#[test]
fn exit_codes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let help = run(folder.path(), &["--help"]).expect(0);
    assert!(help.out.contains("measure") && help.out.contains("Exit codes"), "{}", help.all());
    let version = run(folder.path(), &["--version"]).expect(0);
    assert_eq!(version.out.trim(), format!("ringwright {}", env!("CARGO_PKG_VERSION")), "{}", version.all());
    for wrong in [
        &["measure", "--no-such-flag", "take.wav"][..],
        &["--no-such-flag"],
        &["no-such-command"],
        &[],
        &["measure"],
        &["measure", "take.wav", "--format", "song"],
        &["measure", "take.wav", "--channel", "first"],
        &["simulate", "take.wav"],
        &["simulate", "take.wav", "--mode", "220"],
        &["simulate", "take.wav", "--mode", "220,-1,0"],
        &["simulate", "take.wav", "--mode", "220,0.01,-12", "--rate", "100"],
    ] {
        let refused = run(folder.path(), wrong).expect(2);
        assert!(!refused.err.is_empty() && refused.out.is_empty(), "errors go to stderr alone\n{}", refused.all());
    }
    assert!(!folder.path().join("take.wav").exists(), "a refused command left a file");
}

/// Numbers that no person means, but that a script may pass, are refused like any other wrong usage.
#[test]
fn absurd_simulations_are_refused() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut wrong = Vec::new();
    for absurd in [
        "--interval=NaN",
        "--interval=-3",
        "--interval=inf",
        "--contact=-5",
        "--contact=NaN",
        "--clip=-1",
        "--clip=NaN",
    ] {
        let run =
            run(folder.path(), &["simulate", "x.wav", "--mode", "220,0.01,-12", "--rate", "8000", "--force", absurd]);
        if run.code != Some(2) || run.err.contains("panicked") {
            wrong.push(run.all());
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn demo_makes_recordings_and_pages() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = run(folder.path(), &["demo", "shown"]).expect(0);
    let shown = folder.path().join("shown");
    let pages: Vec<_> = fs::read_dir(shown.join("reports"))
        .unwrap_or_else(|e| panic!("{e}\n{}", run.all()))
        .filter_map(|e| e.ok().map(|e| e.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "png"))
        .collect();
    let index = fs::read_to_string(shown.join("reports/index.html")).expect("the diary's page");
    for words in ["<html lang=\"en\">", "simulated", "times as stiff", "alt=\"", "data:image/png;base64,"] {
        assert!(index.contains(words), "{words} is not on the page");
    }
    assert!(!index.contains("src=\"http") && !index.contains("href=\"http"), "the page needs the network");
    let named = |part: &str| pages.iter().filter(|p| p.to_string_lossy().contains(part)).count();
    // A page for each of 47 takes, shapes for the seven of the blanks, five stations, three comparisons of stages, one of two
    // blanks, one with earlier rims.
    assert_eq!((pages.len(), named("shapes"), named("station-")), (64, 7, 5), "{pages:?}\n{}", run.all());
    for page in pages {
        let bytes = fs::read(&page).expect("the page is there");
        // PNG: the magic number, then the IHDR chunk, which begins with width and height.
        assert!(bytes.starts_with(b"\x89PNG\r\n\x1a\n"), "{} is no PNG\n{}", page.display(), run.all());
        let number = |at: usize| u32::from_be_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]);
        assert_eq!(number(16), 1600, "{}\n{}", page.display(), run.all());
    }
    assert!(run.out.contains("imulated"), "a simulation must say so\n{}", run.all());
    // The true moduli of the demonstration's blank (src/commands/demo.rs) lie in the stated intervals of every take.
    let within = |name: &str, truth: f64| {
        let told: Vec<(f64, f64)> = run
            .out
            .lines()
            .filter_map(|l| l.trim().strip_prefix(name))
            .map(|l| {
                let words: Vec<f64> = l.split_whitespace().filter_map(|w| w.parse().ok()).collect();
                (words[0], words[1])
            })
            .collect();
        assert_eq!(told.len(), 3, "{name}\n{}", run.all());
        assert!(
            told.iter().all(|(v, half)| (v - truth).abs() < *half),
            "{name}: {told:?}, true {truth}\n{}",
            run.all()
        );
    };
    within("E along the grain", 12.3);
    within("E across the grain", 1.29);
    within("shear modulus G", 1.03);
    // Last, as it is the least.
    assert!(too_wide(&run.out).is_none(), "too wide: {:?}\n{}", too_wide(&run.out), run.all());
}

#[test]
fn needs_no_terminal() {
    let folder = with_take();
    let mut command = program(folder.path(), &["measure", "take.wav", "take.wav"]);
    command.env_clear().env("NO_COLOR", "1");
    let bare = Run::of(command).expect(0);
    assert!(!format!("{}{}", bare.out, bare.err).contains('\x1b'), "escape codes\n{}", bare.all());
    // The same words as with everything set.
    let mut command = program(folder.path(), &["measure", "take.wav", "take.wav"]);
    command.env("TERM", "xterm-256color").env_remove("NO_COLOR");
    let usual = Run::of(command).expect(0);
    assert_eq!(bare.out, usual.out, "the report depends on the terminal\n{}\n{}", bare.all(), usual.all());
}

#[test]
fn reader_that_goes_away() {
    let folder = with_take();
    for arguments in
        [&["measure", "take.wav"][..], &["schema"], &["--help"], &["measure", "take.wav", "--format", "csv"]]
    {
        let mut command = program(folder.path(), arguments);
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        // Nobody reads: the first write meets a closed pipe.
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("the program ends");
        let err = String::from_utf8_lossy(&output.stderr);
        let all =
            format!("command: {command:?}\nexit code: {:?}\nstdout: closed\nstderr:\n{err}", output.status.code());
        assert!(!err.contains("panicked"), "a panic\n{all}");
        assert_eq!(output.status.code(), Some(0), "wrong exit code\n{all}");
    }
}

#[test]
fn verify_holds_here() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = run(folder.path(), &["verify", "--takes", "10"]).expect(0);
    assert!(run.out.matches("holds").count() > 15 && !run.out.contains("FAILS"), "{}", run.all());
    for source in ["Love", "Leissa", "Kaw", "NIST", "Wood Handbook"] {
        assert!(run.out.contains(source), "{source} is not named\n{}", run.all());
    }
}

/// A room's noise: what it allows is forecast and tried; too little of it, and what is no sound, is refused.
#[test]
fn a_room_is_tried() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let write = |name: &str, seconds: f64| {
        let take = TakeSpec {
            taps: 0,
            first_tap_s: 0.0,
            after_last_s: seconds,
            noise_sigma: 3e-4,
            noise_colour: NoiseColour::Pink,
            ..TakeSpec::default()
        };
        let bytes = wav_bytes(&take.make().samples, 1, 48_000, WavSamples::Float).expect("a WAV file");
        fs::write(folder.path().join(name), bytes).expect("it can be written");
    };
    write("room.wav", 40.0);
    write("short.wav", 3.0);
    let tried = run(folder.path(), &["verify", "--noise", "room.wav", "--taps", "3"]).expect(0);
    assert!(tried.out.contains("100 Hz") && tried.out.matches("holds").count() == 3, "{}", tried.all());
    let short = run(folder.path(), &["verify", "--noise", "short.wav"]).expect(2);
    assert!(short.err.contains("short.wav: 3.0 s of noise are too short"), "{}", short.all());
    let none = run(folder.path(), &["verify", "--noise", "none.wav"]).expect(2);
    assert!(none.err.contains("none.wav"), "{}", none.all());
}

/// Every command has its manual page, and every shell its script.
#[test]
fn shells_and_man_are_served() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    run(folder.path(), &["manual", "man1"]).expect(0);
    let page = |name: &str| fs::read_to_string(folder.path().join("man1").join(name)).expect("a page");
    assert!(page("ringwright.1").contains(".TH") && page("ringwright-measure.1").contains("thickness"));
    for shell in ["bash", "zsh", "fish", "powershell"] {
        let script = run(folder.path(), &["completions", shell]).expect(0);
        assert!(script.out.contains("ringwright") && script.out.contains("measure"), "{shell}");
    }
}
