//! `listen` and `devices` with the real capture path, and no hardware (Linux: ALSA's file plug-in as the microphone).
#![cfg(all(target_os = "linux", feature = "record"))]

#[path = "common/microphone.rs"]
mod microphone;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};
use std::time::{Duration, Instant};

use microphone::{CHANNELS, FakeMicrophone, RATE, ServedMicrophone, Then};
use ringwright::simulate::{Mishap, NoiseColour, TakeSpec, TrueMode};
use ringwright::sound::{WavSamples, wav_bytes};

fn side() -> Vec<TrueMode> {
    let mode = |frequency_hz, damping_ratio, amplitude, phase_rad| TrueMode {
        frequency_hz,
        damping_ratio,
        amplitude,
        phase_rad,
    };
    vec![mode(112.0, 0.012, 0.08, 0.2), mode(287.0, 0.009, 0.05, 1.9), mode(655.0, 0.011, 0.03, 4.0)]
}

/// A session: quiet, then taps every 3.2 s.
fn spec(taps: usize) -> TakeSpec {
    TakeSpec {
        sample_rate_hz: f64::from(RATE),
        modes: side(),
        taps,
        first_tap_s: 4.0,
        interval_s: 3.2,
        after_last_s: 3.5,
        contact_s: 0.001,
        spread: 0.2,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 6e-4,
        steady_lines: vec![(50.0, 3e-3)],
        ..TakeSpec::default()
    }
}

/// Says on the real standard error that a check was not made: `eprintln!` is swallowed with a passing test's output.
fn skipped(reason: &str) {
    let _ = std::io::stderr().write_all(format!("\nSKIPPED: {reason}\n").as_bytes());
}

fn words(output: &Output) -> String {
    let all = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(!all.contains("panicked"), "{all}");
    all
}

const WAIST: [&str; 11] =
    ["listen", "shop", "--part", "rim", "--stage", "plain", "--station", "waist", "--takes", "1", "--plain"];

/// Samples of a take, frame by frame of its first channel; all channels are the same here.
fn first_channel(path: &Path) -> Vec<f32> {
    let mut reader = hound::WavReader::open(path).expect("a WAV file");
    assert_eq!((reader.spec().sample_rate, usize::from(reader.spec().channels)), (RATE, CHANNELS));
    let all: Vec<f32> = reader.samples::<f32>().map(|s| s.expect("a sample")).collect();
    assert!(all.chunks(CHANNELS).all(|f| f[0] == f[1]));
    all.iter().step_by(CHANNELS).copied().collect()
}

/// Eight taps, one clipped, one double, hum: played in real time, gathered without a key, and kept bit for bit.
#[test]
fn a_session_from_the_microphone_to_the_take() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mishaps =
        vec![Mishap::TooLoud { tap: 2, times: 20.0 }, Mishap::DoubleHit { tap: 4, after_s: 0.09, strength: 0.7 }];
    let played = TakeSpec { mishaps, ..spec(8) }.make().samples;
    let microphone = FakeMicrophone::playing(folder.path(), &played, Then::Silence);
    let output = microphone.program().args(WAIST).args(["--taps", "6"]).output().expect("it runs");
    let told = words(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    for part in ["tap now (0 of 6 good taps)", "[clipped]", "[double_hit]", "got it: 6 of 6", "steady lines", "50.0 Hz"]
    {
        assert!(told.contains(part), "{part}\n{told}");
    }
    let kept = first_channel(&folder.path().join("shop/recordings/rim/plain/waist/take-01.wav"));
    // Every stretch of what is kept was played, in order: one stretch a tap, but that the longer quiet of a take's first two taps
    // makes one of them.
    let (mut at, mut from, mut stretches) = (0, 0, 0);
    while at < kept.len() {
        let end = (at + 64).min(kept.len());
        let mut rest = played[from..].windows(end - at);
        from += rest.position(|w| *w == kept[at..end]).expect("what is kept was played, bit for bit");
        let same = kept[at..].iter().zip(&played[from..]).take_while(|(a, b)| a == b).count();
        (at, from, stretches) = (at + same, from + same, stretches + 1);
    }
    assert_eq!(stretches, 5, "{told}");
    // And what it says of the modes is the truth.
    let report = microphone.program().args(["measure", "shop", "--format", "json"]).output().expect("it runs");
    let report: serde_json::Value = serde_json::from_slice(&report.stdout).expect("a JSON document");
    let modes = report["recordings"][0]["modes"].as_array().expect("modes").clone();
    assert_eq!(modes.len(), 3);
    for (mode, truth) in modes.iter().zip(side()) {
        let (f, u) = (mode["frequency_hz"].as_f64().expect("f"), mode["frequency_hz_u"].as_f64().expect("u"));
        assert!((f - truth.frequency_hz).abs() < 4.0 * u, "{f} {u}");
    }
}

/// Killed at once: what was accepted lies there whole.
#[test]
fn what_was_accepted_survives_a_kill() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let played = spec(6).make().samples;
    let microphone = FakeMicrophone::playing(folder.path(), &played, Then::Silence);
    let mut child = microphone
        .program()
        .args(WAIST)
        .args(["--taps", "6"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    let take = folder.path().join("shop/recordings/rim/plain/waist/take-01.wav");
    let since = Instant::now();
    // Killed at whatever it does when it has kept the first two taps, then the third, and goes on with the fourth.
    let mut changes = 0;
    let mut size = 0;
    while changes < 2 && since.elapsed() < Duration::from_secs(40) {
        std::thread::sleep(Duration::from_millis(5));
        let now = fs::metadata(&take).map_or(0, |m| m.len());
        changes += usize::from(now != size);
        size = now;
    }
    child.kill().expect("it can be killed");
    child.wait().expect("it ends");
    assert_eq!(changes, 2, "taps were kept in time");
    let measured = microphone.program().args(["measure", "shop"]).output().expect("it runs");
    assert!(words(&measured).contains("3 of 3 taps used"), "{}", words(&measured));
}

/// The microphone brings nothing more: that is said, and what was accepted is kept.
#[test]
fn a_microphone_that_stalls_is_noticed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let played = spec(2).make().samples;
    let microphone = FakeMicrophone::playing(folder.path(), &played, Then::Nothing);
    let output = microphone.program().args(WAIST).args(["--taps", "6"]).output().expect("it runs");
    let told = words(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("no sound has come from") && told.contains("What was accepted is kept"), "{told}");
    assert!(told.contains("take-01.wav (2 taps)"), "{told}");
}

/// The microphone is pulled out in the middle of a take: what was accepted is kept. (It is served by a sound server, as on most
/// desktops, and vanishes with it.)
#[test]
fn a_microphone_that_vanishes_costs_no_tap() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let Some(mut microphone) = ServedMicrophone::playing(folder.path(), &spec(4).make().samples) else {
        skipped("no sound server (pulseaudio) is here to give a microphone that can vanish");
        return;
    };
    let mut child =
        microphone.program().args(WAIST).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it runs");
    let take = folder.path().join("shop/recordings/rim/plain/waist/take-01.wav");
    let since = Instant::now();
    while !take.exists() && since.elapsed() < Duration::from_secs(20) && child.try_wait().expect("a state").is_none() {
        std::thread::sleep(Duration::from_millis(20));
    }
    microphone.vanish();
    let output = child.wait_with_output().expect("it ends");
    let told = words(&output);
    if !take.exists() && told.contains("cannot be opened") {
        skipped("the sound library cannot reach a sound server here (libasound2-plugins)");
        return;
    }
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("the microphone is lost") && told.contains("(2 taps)"), "{told}");
}

/// An end that the maker asks for (Ctrl-C): a summary, and the tap that is still dying away counts.
#[test]
fn an_interrupt_ends_with_a_summary() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let played = spec(3).make().samples;
    let microphone = FakeMicrophone::playing(folder.path(), &played, Then::Silence);
    let child =
        microphone.program().args(WAIST).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it runs");
    // The second tap comes at 7.2 s and has sunk into the noise half a second later: it and the first count then.
    std::thread::sleep(Duration::from_millis(8600));
    let asked = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill");
    assert!(asked.success());
    let output = child.wait_with_output().expect("it ends");
    let told = words(&output);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("ended; what was accepted is kept") && told.contains("take-01.wav"), "{told}");
}

/// No device, a device that cannot be opened, a rate that it does not offer.
#[test]
fn what_cannot_be_heard_is_said() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let microphone = FakeMicrophone::playing(folder.path(), &[], Then::Nothing);
    let run = |more: &[&str], pipe: Option<&str>| {
        let mut program = microphone.program();
        if let Some(pipe) = pipe {
            program.env("FAKE_MICROPHONE", pipe);
        }
        let output = program.args(WAIST).args(more).output().expect("it runs");
        let told = words(&output);
        // ALSA's own complaints do not reach the terminal.
        assert!(!told.contains("ALSA lib"), "{told}");
        (output.status.code(), told)
    };
    let (code, told) = run(&[], Some("/nowhere/microphone"));
    assert!(code == Some(2) && told.contains("cannot be opened"), "{told}");
    let (code, told) = run(&["--microphone", "no such thing"], None);
    assert!(code == Some(2) && told.contains("no microphone's name holds \"no such thing\""), "{told}");
    let (code, told) = run(&["--rate", "12345678"], None);
    assert!(code == Some(2) && told.contains("8000..=192000"), "{told}");
}

/// The choice of a microphone is remembered, and can be forgotten.
#[test]
fn the_choice_is_remembered() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let microphone = FakeMicrophone::playing(folder.path(), &[], Then::Silence);
    let run = |arguments: &[&str]| {
        let output = microphone.program().arg("devices").args(arguments).output().expect("it runs");
        (output.status.code(), words(&output))
    };
    let (code, told) = run(&[]);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("[default]") && told.contains("48000 Hz, 2 channels, f32"), "{told}");
    let (code, told) = run(&["--use", "default"]);
    assert!(code == Some(0) && told.contains("settings.toml"), "{told}");
    let kept = fs::read_to_string(folder.path().join("config/ringwright/settings.toml")).expect("settings");
    assert_eq!(kept, "microphone = \"default\"\n");
    let (code, told) = run(&["--use", "no such thing"]);
    assert!(code == Some(2) && told.contains("no microphone's name holds it"), "{told}");
    run(&["--forget"]);
    let kept = fs::read_to_string(folder.path().join("config/ringwright/settings.toml")).expect("settings");
    assert_eq!(kept, "");
}

/// Plays a session from a file, with everything else as at the bench.
fn play(folder: &Path, played: &[f32]) -> std::process::Command {
    let bytes = wav_bytes(played, 1, RATE, WavSamples::Float).expect("a WAV file");
    fs::write(folder.join("session.wav"), bytes).expect("it can be written");
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_ringwright"));
    command.current_dir(folder).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// No room for the third tap: that is said at once and at the end, and the first two stay as they were.
#[test]
fn a_full_disk_costs_no_tap_that_was_kept() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let _ = play(folder.path(), &spec(3).make().samples);
    let program = env!("CARGO_BIN_EXE_ringwright");
    let script = format!(
        "trap '' XFSZ; ulimit -f 1500; exec '{program}' {} --taps 3 --rescue rescued --play session.wav",
        WAIST.join(" ")
    );
    let output = std::process::Command::new("bash")
        .current_dir(folder.path())
        .args(["-c", &script])
        .output()
        .expect("bash runs");
    let told = words(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.contains("trouble: ") && told.contains("NOT KEPT: ") && told.contains("(2 taps)"), "{told}");
    assert!(!told.contains("got it: 3 of 3") && !told.contains("--force"), "{told}");
    let measured = std::process::Command::new(program)
        .current_dir(folder.path())
        .args(["measure", "shop"])
        .output()
        .expect("it runs");
    assert!(words(&measured).contains("2 of 2 taps used"), "{}", words(&measured));
}

/// From the start to the finished comparison page without a key: a second stage, two stations' worth of steps, a mass.
#[test]
fn a_session_ends_with_the_comparison() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let stiffer: Vec<TrueMode> = side().iter().map(|m| TrueMode { frequency_hz: 1.9 * m.frequency_hz, ..*m }).collect();
    let run = |modes: Vec<TrueMode>, stage: &str| {
        let mut program = play(folder.path(), &TakeSpec { modes, ..spec(3) }.make().samples);
        program.args(["listen", "shop", "--part", "rim", "--stage", stage, "--station", "waist", "--taps", "3"]);
        let output = program.args(["--play", "session.wav", "--speed", "4"]).output().expect("it runs");
        (output.status.code(), words(&output))
    };
    let (code, told) = run(side(), "plain");
    assert_eq!(code, Some(0), "{told}");
    let (code, told) = run(stiffer, "laminated");
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("laminated against plain, at waist"), "{told}");
    let page = folder.path().join("shop/reports/rim-waist-laminated-against-plain.png");
    assert!(fs::metadata(page).expect("the page").len() > 20_000);
}

/// After the first take the part is to be hung again; the second lies beside it.
#[test]
fn a_station_gets_two_takes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let sound = [spec(3), TakeSpec { seed: 9, ..spec(3) }].map(|take| take.make().samples).concat();
    let mut program = play(folder.path(), &sound);
    program.args(["listen", "shop", "--part", "rim", "--stage", "plain", "--station", "waist", "--takes", "2"]);
    let output = program
        .args(["--taps", "3", "--change", "0", "--play", "session.wav", "--speed", "4", "--plain"])
        .output()
        .expect("it runs");
    let told = words(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    assert!(told.contains("lift the part off, hang it again just as it was, and tap at waist"), "{told}");
    for take in ["take-01.wav", "take-02.wav"] {
        assert!(folder.path().join("shop/recordings/rim/plain/waist").join(take).exists(), "{take}: {told}");
    }
}

/// The screen in a real terminal, small and without colour too: it draws, ends on a key, and puts the terminal back.
#[test]
fn the_screen_in_a_terminal() {
    if std::process::Command::new("script").arg("--version").output().is_err() {
        skipped("the program `script` (util-linux) is not here, which gives a terminal");
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let _ = play(folder.path(), &spec(2).make().samples);
    let program = env!("CARGO_BIN_EXE_ringwright");
    for (columns, rows) in [(100, 36), (80, 24), (40, 12)] {
        let listen = "listen shop --part rim --stage plain --station waist --taps 2 --no-comparison";
        let command = format!(
            "stty cols {columns} rows {rows}; NO_COLOR=1 '{program}' {listen} --play session.wav; echo code $?"
        );
        let output = std::process::Command::new("script")
            .current_dir(folder.path())
            .env("TERM", "xterm-256color")
            .args(["-qec", &command, "/dev/null"])
            .stdin(Stdio::null())
            .output()
            .expect("script runs");
        let told = words(&output);
        // Into the other screen, out of it again, and the bell of accepted taps.
        for sign in ["\u{1b}[?1049h", "\u{1b}[?1049l", "\u{7}", "code 0", "(2 taps)"] {
            assert!(told.contains(sign), "{columns} x {rows}: {sign:?}\n{told}");
        }
        assert!(!told.contains("\u{1b}[32m") && !told.contains("\u{1b}[38;5;2m"), "colour in spite of NO_COLOR");
    }
}

/// The terminal goes away (a window closed, a link broken): the session ends by itself, and what was accepted is kept.
#[test]
fn a_lost_terminal_ends_the_session() {
    if std::process::Command::new("script").arg("--version").output().is_err() {
        skipped("the program `script` (util-linux) is not here, which gives a terminal");
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let _ = play(folder.path(), &spec(8).make().samples);
    let program = env!("CARGO_BIN_EXE_ringwright");
    let listen = "listen shop --part rim --stage plain --station waist --taps 8 --play session.wav";
    let mut terminal = std::process::Command::new("script")
        .current_dir(folder.path())
        .env("TERM", "xterm-256color")
        .args(["-qec", &format!("sh -c 'echo $$ > pid; exec {program} {listen}'"), "/dev/null"])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .expect("script runs");
    // Two taps are kept after 10 s at most.
    std::thread::sleep(Duration::from_millis(10_500));
    terminal.kill().expect("it can be killed");
    terminal.wait().expect("it ends");
    let pid = fs::read_to_string(folder.path().join("pid")).expect("the program's number");
    let state = format!("/proc/{}", pid.trim());
    let since = Instant::now();
    while Path::new(&state).exists() && since.elapsed() < Duration::from_secs(8) {
        std::thread::sleep(Duration::from_millis(50));
    }
    let lives = Path::new(&state).exists();
    let _ = std::process::Command::new("kill").args(["-9", pid.trim()]).stderr(Stdio::null()).status();
    assert!(!lives, "it goes on without a terminal");
    assert!(folder.path().join("shop/recordings/rim/plain/waist/take-01.wav").exists());
}

/// Nobody taps for nothing: where takes cannot be kept, and where a name is a slip, that is said first.
#[test]
fn mistakes_are_told_before_the_first_tap() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let _ = play(folder.path(), &[0.0; 4800]);
    let run = |arguments: &[&str]| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_ringwright"))
            .current_dir(folder.path())
            .args(["listen", "--plain", "--play", "session.wav"])
            .args(arguments)
            .stdin(Stdio::null())
            .output()
            .expect("it runs");
        (output.status.code(), words(&output))
    };
    fs::write(
        folder.path().join("bench.toml"),
        "format = 1\n[[part]]\nname = \"rim\"\nkind = \"rim\"\n[[part.stage]]\nname = \"plain\"\n",
    )
    .expect("it can be written");
    fs::write(folder.path().join("file"), "x").expect("it can be written");
    let rim = ["--part", "rim", "--stage", "plain", "--station", "waist"];
    let with = |more: &[&'static str]| [&rim[..], more].concat();
    for (arguments, sentence) in [
        (with(&["--added", "heavy"]), "is no mass that can be read"),
        (with(&["--added", "5 kg"]), "more than 200 g"),
        (with(&["--added", "5 g", "--added", "5 g"]), "named twice"),
        (with(&["--station", "waist "]), "named twice"),
        (with(&["--until", "soon"]), "write it like 2%"),
        (with(&["--until", "2%", "--most", "3"]), "is less than --taps 5"),
        (vec!["--part", "rimm", "--stage", "plain", "--station", "waist"], "has no part \"rimm\"; it has: rim"),
        (vec!["--part", "rim", "--stage", "planed", "--station", "waist"], "has no stage \"planed\" of part \"rim\""),
        (vec!["--part", "rim", "--stage", "plain"], "which station? Say it like"),
        (vec!["file", "--part", "rim", "--stage", "plain", "--station", "waist"], "cannot be read"),
        (vec!["file/shop", "--part", "rim", "--stage", "plain", "--station", "waist"], "file/shop"),
    ] {
        let (code, told) = run(&arguments);
        assert!(code == Some(2) && told.contains(sentence), "{arguments:?}\n{told}");
    }
    assert!(!folder.path().join("recordings").exists(), "what was refused leaves nothing behind");
}

/// Nobody reads what it says (`| head`, a closed window): the session goes on, and keeps its takes.
#[test]
fn a_closed_pipe_costs_no_take() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut program = play(folder.path(), &spec(3).make().samples);
    program.args(WAIST).args(["--taps", "3", "--play", "session.wav", "--speed", "4", "--verbose"]);
    let mut child = program.spawn().expect("it runs");
    drop((child.stdout.take(), child.stderr.take()));
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
    let take = folder.path().join("shop/recordings/rim/plain/waist/take-01.wav");
    assert!(take.exists(), "the take is lost with its reader");
    let measured = std::process::Command::new(env!("CARGO_BIN_EXE_ringwright"))
        .current_dir(folder.path())
        .args(["measure", "shop"])
        .output()
        .expect("it runs");
    assert!(words(&measured).contains("3 of 3 taps used"), "{}", words(&measured));
}

/// A take whose folder is gone: it is held, not counted, and goes to the rescue folder when that is asked for.
#[test]
fn a_take_without_a_place_is_held_and_rescued() {
    use std::io::{BufRead, BufReader, Read};
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut program = play(folder.path(), &TakeSpec { after_last_s: 40.0, ..spec(3) }.make().samples);
    program.args(WAIST).args(["--taps", "3", "--play", "session.wav", "--speed", "2", "--rescue", "rescued"]);
    let mut child = program.stdin(Stdio::piped()).spawn().expect("it runs");
    let place = folder.path().join("shop/recordings/rim/plain/waist");
    let since = Instant::now();
    while !place.join("take-01.wav").exists() && since.elapsed() < Duration::from_secs(30) {
        std::thread::sleep(Duration::from_millis(5));
    }
    // A file where the folder was: nothing can be written there, whoever asks.
    fs::remove_dir_all(&place).and_then(|()| fs::write(&place, "x")).expect("it can be replaced");
    let mut out = BufReader::new(child.stdout.take().expect("its output"));
    let mut told = String::new();
    while !told.contains("NOT KEPT yet") && out.read_line(&mut told).expect("a line") > 0 {}
    assert!(told.contains("type f and Enter to keep the takes in rescued"), "{told}");
    std::io::Write::write_all(child.stdin.as_mut().expect("its input"), b"f\n").expect("it reads");
    out.read_to_string(&mut told).expect("the rest");
    let output = child.wait_with_output().expect("it ends");
    let told = told + &words(&output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    let not_kept = told.find("NOT KEPT yet").expect("it is said");
    let got = told.find("got it: 3 of 3").expect("it is got in the end");
    assert!(not_kept < got, "{told}");
    let rescued = "rescued/rim/plain/waist/take-01.wav (3 taps)";
    assert!(told.contains(&format!("the take lies in {rescued}")) && told.contains("3 of 3 taps used"), "{told}");
}
