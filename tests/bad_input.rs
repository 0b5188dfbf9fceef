//! Inputs that are broken, empty, odd or hostile: the program says what is wrong with which file and goes on.
//!
//! Exit codes as the program's help gives them: 0 all measured, 1 some inputs could not be measured, 2 wrong usage.

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use proptest::prelude::*;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use ringwright::report::Document;
use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode, noise};
use ringwright::sound::{OpenOptions, Recording};
use tempfile::TempDir;

const RATE: u32 = 16_000;

/// What the program did.
struct Run {
    command: String,
    code: Option<i32>,
    out: String,
    err: String,
}

impl Run {
    fn all(&self) -> String {
        format!("command: {}\nexit code: {:?}\nstdout:\n{}\nstderr:\n{}", self.command, self.code, self.out, self.err)
    }

    /// The exit code is this one, nothing panicked, and every one of these words was said.
    fn expect(self, code: i32, words: &[&str]) -> Self {
        assert_eq!(self.code, Some(code), "wrong exit code\n{}", self.all());
        assert!(!format!("{}{}", self.out, self.err).contains("panicked"), "a panic\n{}", self.all());
        // The text breaks lines between words: compare without line breaks.
        let said = format!("{} {}", self.out, self.err).split_whitespace().collect::<Vec<_>>().join(" ");
        for word in words {
            assert!(said.contains(word), "nothing says {word:?}\n{}", self.all());
        }
        self
    }

    fn document(&self) -> Document {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("the JSON cannot be read: {e}\n{}", self.all()))
    }
}

/// Runs `ringwright measure` in a folder.
fn measure<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Run {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
    command.current_dir(folder).stdin(Stdio::null()).arg("measure").args(arguments);
    let output = command.output().expect("the program starts");
    Run {
        command: format!("{command:?}"),
        code: output.status.code(),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// A take that can be measured with ease: two modes far apart, three taps, 60 dB over the noise.
fn good_take() -> TakeSpec {
    let mode =
        |frequency_hz, damping_ratio, amplitude| TrueMode { frequency_hz, damping_ratio, amplitude, phase_rad: 0.4 };
    TakeSpec {
        sample_rate_hz: f64::from(RATE),
        modes: vec![mode(220.0, 0.01, 0.3), mode(570.0, 0.008, 0.15)],
        taps: 3,
        first_tap_s: 0.5,
        interval_s: 0.8,
        after_last_s: 0.8,
        noise_sigma: 3e-4,
        ..TakeSpec::default()
    }
}

/// One chunk of a RIFF file, padded to an even length.
fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend((body.len() as u32).to_le_bytes());
    bytes.extend(body);
    if body.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

/// The body of a plain `fmt ` chunk: tag 1 is integer, 3 is float.
fn fmt(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let frame = channels * bits / 8;
    let mut body = Vec::new();
    body.extend(tag.to_le_bytes());
    body.extend(channels.to_le_bytes());
    body.extend(rate.to_le_bytes());
    body.extend((rate * u32::from(frame)).to_le_bytes());
    body.extend(frame.to_le_bytes());
    body.extend(bits.to_le_bytes());
    body
}

fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((body.len() as u32 + 4).to_le_bytes());
    bytes.extend(b"WAVE");
    bytes.extend(body);
    bytes
}

fn i16_data(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|s| ((s.clamp(-1.0, 1.0) * 32767.0).round() as i16).to_le_bytes()).collect()
}

/// 16-bit mono WAV. The header is 44 bytes: the data chunk's length stands at 40, the samples begin at 44.
fn wav(samples: &[f32], rate: u32) -> Vec<u8> {
    riff(&[chunk(b"fmt ", &fmt(1, 1, rate, 16)), chunk(b"data", &i16_data(samples))])
}

fn float_wav(samples: &[f32], rate: u32) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
    riff(&[chunk(b"fmt ", &fmt(3, 1, rate, 32)), chunk(b"data", &data)])
}

fn good_wav() -> Vec<u8> {
    wav(&good_take().make().samples, RATE)
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    fs::write(folder.join(name), bytes).expect("the test can write its file");
}

/// Measures one file of these bytes, called `odd.wav`, as JSON.
fn measure_bytes(bytes: &[u8]) -> Run {
    let folder = folder();
    put(folder.path(), "odd.wav", bytes);
    measure(folder.path(), &["odd.wav", "--format", "json"])
}

/// The true modes of the good take were found, within 5 of the stated standard uncertainties (chance of a miss below
/// one in a million for each value, if the uncertainties are honest), and these say something: two taps 60 dB over the noise tell
/// damping to a few per cent.
fn expect_good_modes(run: &Run) {
    let document = run.document();
    let entry = &document.recordings[0];
    assert!(entry.error.is_none(), "an error\n{}", run.all());
    for truth in good_take().modes {
        let hit = entry.modes.iter().any(|m| {
            (m.frequency_hz - truth.frequency_hz).abs() < 5.0 * m.frequency_hz_u
                && (m.damping_ratio - truth.damping_ratio).abs() < 5.0 * m.damping_ratio_u
                && m.damping_ratio_u < 0.1 * truth.damping_ratio
        });
        assert!(hit, "the mode at {} Hz was not measured\n{}", truth.frequency_hz, run.all());
    }
}

fn expect_no_modes(run: &Run) {
    let entry = &run.document().recordings[0];
    assert!(entry.modes.is_empty(), "modes out of nothing\n{}", run.all());
    assert!(entry.error.is_some(), "no error in the JSON\n{}", run.all());
}

#[test]
fn empty_file() {
    expect_no_modes(&measure_bytes(b"").expect(1, &["odd.wav", "empty"]));
}

#[test]
fn header_only() {
    expect_no_modes(&measure_bytes(&wav(&[], RATE)).expect(1, &["odd.wav", "no samples"]));
    // Broken off within the header.
    expect_no_modes(&measure_bytes(&good_wav()[..20]).expect(1, &["odd.wav"]));
    expect_no_modes(&measure_bytes(b"RIFF").expect(1, &["odd.wav"]));
}

#[test]
fn truncated_wav_is_measured_with_a_note() {
    let bytes = good_wav();
    // Two of the three taps are left.
    let kept = 44 + 2 * (2.0 * f64::from(RATE)) as usize;
    let run = measure_bytes(&bytes[..kept]).expect(0, &["odd.wav", "cut short"]);
    expect_good_modes(&run);
    assert!(!run.document().recordings[0].notes.is_empty(), "no note\n{}", run.all());
    // An odd number of bytes: half a sample at the end.
    expect_good_modes(&measure_bytes(&bytes[..kept + 1]).expect(0, &["odd.wav", "cut short"]));
}

#[test]
fn text_named_wav() {
    let text = "Shopping list: blankets, foam strips, a quieter clock.\n".repeat(50);
    expect_no_modes(&measure_bytes(text.as_bytes()).expect(1, &["odd.wav", "not a sound file"]));
}

#[test]
fn noise_without_taps() {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let hiss: Vec<f32> = noise(NoiseColour::Pink, 1e-2, 3 * RATE as usize, f64::from(RATE), &mut random)
        .iter()
        .map(|s| *s as f32)
        .collect();
    expect_no_modes(&measure_bytes(&wav(&hiss, RATE)).expect(1, &["odd.wav", "no tap found"]));
}

#[test]
fn samples_that_are_no_numbers() {
    for (value, word) in [(f32::NAN, "NaN"), (f32::INFINITY, "inf"), (f32::NEG_INFINITY, "-inf")] {
        let mut samples = good_take().make().samples;
        // 20 000/16 000 s.
        samples[20_000] = value;
        let run = measure_bytes(&float_wav(&samples, RATE)).expect(1, &["odd.wav", "not a number", word, "1.2500 s"]);
        expect_no_modes(&run);
    }
}

#[test]
fn digital_silence() {
    expect_no_modes(&measure_bytes(&wav(&[0.0; 32_000], RATE)).expect(1, &["odd.wav", "silence", "2.00 s"]));
}

#[test]
fn all_taps_clipped() {
    let mut spec = good_take();
    spec.modes[0].amplitude = 2.0;
    spec.clip_at = 0.5;
    let run = measure_bytes(&wav(&spec.make().samples, RATE)).expect(1, &["odd.wav", "none of the 3 taps", "clipped"]);
    expect_no_modes(&run);
    let taps = &run.document().recordings[0].taps;
    assert_eq!(taps.len(), spec.taps, "wrong number of taps\n{}", run.all());
    for tap in taps {
        assert!(!tap.accepted && tap.reasons.iter().any(|r| r == "clipped"), "a tap is not clipped\n{}", run.all());
    }
}

#[test]
fn one_sample() {
    expect_no_modes(&measure_bytes(&wav(&[0.5], RATE)).expect(1, &["odd.wav", "long"]));
}

#[test]
fn impossible_and_too_low_rates() {
    let samples = good_take().make().samples;
    expect_no_modes(&measure_bytes(&wav(&samples, 0)).expect(1, &["odd.wav", "0 Hz"]));
    expect_no_modes(&measure_bytes(&wav(&samples, 4000)).expect(1, &["odd.wav", "4000 Hz"]));
    let mut rate_without_end = wav(&samples, RATE);
    rate_without_end[24..28].copy_from_slice(&u32::MAX.to_le_bytes());
    expect_no_modes(&measure_bytes(&rate_without_end).expect(1, &["odd.wav", "4294967295 Hz"]));
}

#[test]
fn no_channels_and_no_bits() {
    let mut no_channels = good_wav();
    no_channels[22..24].copy_from_slice(&[0, 0]);
    expect_no_modes(&measure_bytes(&no_channels).expect(1, &["odd.wav"]));
    let mut no_bits = good_wav();
    no_bits[34..36].copy_from_slice(&[0, 0]);
    expect_no_modes(&measure_bytes(&no_bits).expect(1, &["odd.wav"]));
}

/// A WAV with an extensible header, whose mask says at which speaker each channel belongs.
fn extensible(samples: &[f32], channels: u16, speakers: u32) -> Vec<u8> {
    let mut body = fmt(0xfffe, channels, RATE, 16);
    body.extend(22u16.to_le_bytes());
    body.extend(16u16.to_le_bytes());
    body.extend(speakers.to_le_bytes());
    body.extend([1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71]);
    riff(&[chunk(b"fmt ", &body), chunk(b"data", &i16_data(samples))])
}

#[test]
fn more_channels_than_can_be() {
    let mut many = good_wav();
    many[22..24].copy_from_slice(&0x8000u16.to_le_bytes());
    expect_no_modes(&measure_bytes(&many).expect(1, &["odd.wav"]));
    // 33 channels, no speaker told. Refused or read as 33 channels; read as fewer, every frequency would be wrong.
    let run = measure_bytes(&extensible(&good_take().make().samples, 33, 0)).expect(1, &["odd.wav"]);
    let channels = run.document().recordings[0].channels;
    assert!(channels.is_none() || channels == Some(33), "channels were lost\n{}", run.all());
}

#[test]
fn speaker_mask_that_does_not_fit() {
    let samples = good_take().make().samples;
    let twice: Vec<f32> = samples.iter().flat_map(|s| [*s, *s]).collect();
    // None told, fewer and more than there are channels, and the highest bit alone ("all speakers").
    for speakers in [0, 4, 0x3f, 0x8000_0000, 0xffff_ffff] {
        expect_good_modes(&measure_bytes(&extensible(&samples, 1, speakers)).expect(0, &["odd.wav"]));
        expect_good_modes(&measure_bytes(&extensible(&twice, 2, speakers)).expect(0, &["odd.wav"]));
    }
}

#[test]
fn header_that_claims_two_gigabytes() {
    let mut bytes = good_wav();
    bytes[40..44].copy_from_slice(&0x8000_0000u32.to_le_bytes());
    bytes[4..8].copy_from_slice(&0x8000_0024u32.to_le_bytes());
    expect_good_modes(&measure_bytes(&bytes).expect(0, &["odd.wav", "2147483648 bytes"]));
}

#[test]
fn length_that_was_never_written() {
    // A recorder that lost power leaves both lengths 0; one that streams leaves them at their largest.
    let mut bytes = good_wav();
    bytes[40..44].copy_from_slice(&[0; 4]);
    bytes[4..8].copy_from_slice(&[0; 4]);
    let run = measure_bytes(&bytes).expect(0, &["odd.wav", "never wrote the length"]);
    expect_good_modes(&run);
    bytes[40..44].copy_from_slice(&[0xff; 4]);
    bytes[4..8].copy_from_slice(&[0xff; 4]);
    expect_good_modes(&measure_bytes(&bytes).expect(0, &["odd.wav"]));
}

/// RF64 as EBU Tech 3306 lays it out: lengths of 0xFFFFFFFF, the true ones in a `ds64` chunk.
#[test]
fn rf64() {
    let data = i16_data(&good_take().make().samples);
    let mut ds64 = Vec::new();
    ds64.extend((data.len() as u64 + 72).to_le_bytes());
    ds64.extend((data.len() as u64).to_le_bytes());
    ds64.extend((data.len() as u64 / 2).to_le_bytes());
    ds64.extend(0u32.to_le_bytes());
    let mut bytes = b"RF64\xff\xff\xff\xffWAVE".to_vec();
    bytes.extend(chunk(b"ds64", &ds64));
    bytes.extend(chunk(b"fmt ", &fmt(1, 1, RATE, 16)));
    bytes.extend(b"data\xff\xff\xff\xff");
    bytes.extend(data);
    expect_good_modes(&measure_bytes(&bytes).expect(0, &["odd.wav"]));
}

#[test]
fn folder_with_nothing_in_it() {
    let folder = folder();
    fs::create_dir(folder.path().join("bare")).expect("a folder");
    measure(folder.path(), &["bare"]).expect(1, &["bare", "no sound file"]);
    // Files of other kinds are no recordings either.
    put(&folder.path().join("bare"), "notes.txt", b"nothing to hear");
    measure(folder.path(), &["bare"]).expect(1, &["bare", "no sound file"]);
}

#[test]
fn missing_file() {
    let folder = folder();
    let run = measure(folder.path(), &["gone.wav", "--format", "json"]).expect(1, &["gone.wav", "cannot be opened"]);
    expect_no_modes(&run);
}

#[cfg(unix)]
#[test]
fn no_permission() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder();
    put(folder.path(), "locked.wav", &good_wav());
    let path = folder.path().join("locked.wav");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).expect("permissions can be set");
    if fs::File::open(&path).is_ok() {
        // On the real standard error: `eprintln!` is swallowed with a passing test's output.
        let words = "\nSKIPPED no_permission: this user (root?) may read everything, so nothing can be locked\n";
        let _ = std::io::Write::write_all(&mut std::io::stderr(), words.as_bytes());
        return;
    }
    measure(folder.path(), &["locked.wav"]).expect(1, &["locked.wav", "cannot be opened", "may read"]);
}

/// Over this header the decoding library panics where it is built with checks: a file like any other that is no sound.
#[test]
fn header_that_the_decoder_trips_over() {
    let folder = folder();
    put(folder.path(), "good.wav", &good_wav());
    put(folder.path(), "bad.caf", include_bytes!("../fuzz/finds/decoders/more-bits-than-a-number-holds.caf"));
    let run = measure(folder.path(), &["good.wav", "bad.caf", "--format", "json"]).expect(1, &["bad.caf"]);
    expect_good_modes(&run);
}

/// Only where the file system takes such names (Linux; not macOS).
#[cfg(target_os = "linux")]
#[test]
fn name_that_is_not_utf8() {
    use std::os::unix::ffi::OsStrExt;
    let folder = folder();
    let name = OsStr::from_bytes(b"tap-\xff\xfe.wav");
    fs::write(folder.path().join(name), good_wav()).expect("the test can write its file");
    let run = measure(folder.path(), &[name, OsStr::new("--format"), OsStr::new("json")]).expect(0, &["tap-"]);
    expect_good_modes(&run);
    // Found inside a folder, and with a picture page named after it.
    let run = measure(folder.path(), &[".", "--pages", "pages", "--format", "json"]).expect(0, &["tap-"]);
    expect_good_modes(&run);
    let pages = fs::read_dir(folder.path().join("pages")).expect("a folder of pages").count();
    assert_eq!(pages, 1, "one page\n{}", run.all());
}

#[cfg(unix)]
#[test]
fn symlink_loops() {
    let folder = folder();
    let inner = folder.path().join("takes");
    fs::create_dir(&inner).expect("a folder");
    put(&inner, "good.wav", &good_wav());
    // A folder that holds itself.
    std::os::unix::fs::symlink(&inner, inner.join("again")).expect("a link");
    let run = measure(folder.path(), &["takes", "--format", "json"]).expect(0, &["good.wav"]);
    assert_eq!(run.document().recordings.len(), 1, "the file is measured once\n{}", run.all());
    expect_good_modes(&run);
    // A file that is a link to itself.
    std::os::unix::fs::symlink(inner.join("self.wav"), inner.join("self.wav")).expect("a link");
    measure(folder.path(), &["takes"]).expect(1, &["good.wav", "self.wav", "cannot be opened"]);
}

#[test]
fn good_file_beside_bad_ones() {
    let folder = folder();
    put(folder.path(), "a-empty.wav", b"");
    put(folder.path(), "b-good.wav", &good_wav());
    put(folder.path(), "c-text.wav", b"no sound here");
    let run = measure(folder.path(), &["b-good.wav", "a-empty.wav", "c-text.wav", "gone.wav", "--format", "json"])
        .expect(1, &["a-empty.wav", "c-text.wav", "gone.wav", "3 of 4 recordings"]);
    let files: Vec<String> = run.document().recordings.iter().map(|r| r.file.clone()).collect();
    assert_eq!(files, ["b-good.wav", "a-empty.wav", "c-text.wav", "gone.wav"], "order as given\n{}", run.all());
    expect_good_modes(&run);
    // The same through the folder and as text.
    measure(folder.path(), &["."]).expect(1, &["a-empty.wav", "b-good.wav", "c-text.wav", "frequency, Hz"]);
}

#[test]
fn existing_report_is_not_lost() {
    let folder = folder();
    put(folder.path(), "good.wav", &good_wav());
    put(folder.path(), "report.json", b"precious");
    let report = folder.path().join("report.json");
    let arguments = ["good.wav", "--format", "json", "--out", "report.json"];
    let run = measure(folder.path(), &arguments).expect(2, &["report.json", "exists already", "--force"]);
    assert_eq!(fs::read(&report).expect("the file is there"), b"precious", "the file was harmed\n{}", run.all());
    let run = measure(folder.path(), &[&arguments[..], &["--force"]].concat()).expect(0, &[]);
    let text = fs::read_to_string(&report).expect("the file is there");
    assert!(serde_json::from_str::<Document>(&text).is_ok(), "the file was not replaced\n{}\n{text}", run.all());
    let left: Vec<_> =
        fs::read_dir(folder.path()).expect("the folder").filter_map(|e| e.ok()).map(|e| e.file_name()).collect();
    assert_eq!(left.len(), 2, "temporary files were left: {left:?}\n{}", run.all());
}

#[test]
fn report_that_cannot_be_saved() {
    let folder = folder();
    put(folder.path(), "good.wav", &good_wav());
    put(folder.path(), "file", b"not a folder");
    measure(folder.path(), &["good.wav", "--out", "file/report.txt"]).expect(2, &["report.txt"]);
}

#[test]
fn channel_that_is_not_there() {
    let folder = folder();
    put(folder.path(), "good.wav", &good_wav());
    measure(folder.path(), &["good.wav", "--channel", "3"]).expect(1, &["good.wav", "channel 3", "1 channel"]);
    measure(folder.path(), &["good.wav", "--channel", "0"]).expect(2, &["--channel"]);
    measure(folder.path(), &["good.wav", "--channel", "1"]).expect(0, &["good.wav"]);
}

#[test]
fn frequencies_that_make_no_range() {
    let folder = folder();
    put(folder.path(), "good.wav", &good_wav());
    for (from, to) in [("500", "100"), ("100", "100"), ("0", "100"), ("-5", "100"), ("NaN", "100"), ("100", "NaN")] {
        measure(folder.path(), &["good.wav", &format!("--from={from}"), &format!("--to={to}")]).expect(2, &["--from"]);
    }
    // Nothing below half the sample rate in the range: no modes, but no crash.
    measure(folder.path(), &["good.wav", "--from", "9000", "--to", "12000"]).expect(1, &["good.wav"]);
}

proptest! {
    // Enough to hit every field of the 44-byte header several times; one case takes some milliseconds.
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any few wrong bytes in the header, and any place to break off: opening answers, it never panics, and what it opens holds
    /// samples at some rate.
    #[test]
    fn broken_headers_never_panic(
        wrong in proptest::collection::vec((0usize..44, any::<u8>()), 0..5),
        length in 0usize..4044,
        rf64: bool,
    ) {
        let mut bytes = wav(&good_take().make().samples[..2000], RATE);
        for (at, value) in wrong {
            bytes[at] = value;
        }
        if rf64 {
            bytes[..4].copy_from_slice(b"RF64");
        }
        bytes.truncate(length);
        let folder = folder();
        put(folder.path(), "odd.wav", &bytes);
        if let Ok(opened) = Recording::open(&folder.path().join("odd.wav"), &OpenOptions::default()) {
            prop_assert!(opened.sample_rate_hz() > 0.0 && !opened.is_empty());
        }
    }
}
