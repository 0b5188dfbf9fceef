//! The same sound in every form a recorder may write it gives the true frequencies and dampings.
//!
//! WAV layout: Microsoft/IBM, "Multimedia Programming Interface and Data Specifications 1.0"; AIFF layout: the published
//! AIFF 1.3 description (both from memory). All files are written by hand here, so that no library checks itself.

use std::fs;
use std::process::{Command, Stdio};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use ringwright::report::{Document, RecordingEntry};
use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode, noise};

/// How a sample is written.
#[derive(Clone, Copy, PartialEq)]
enum Form {
    U8,
    I16,
    I24,
    I32,
    F32,
    F64,
}

impl Form {
    fn bits(self) -> u16 {
        match self {
            Form::U8 => 8,
            Form::I16 => 16,
            Form::I24 => 24,
            Form::I32 | Form::F32 => 32,
            Form::F64 => 64,
        }
    }

    /// Format tag: 1 integer, 3 float.
    fn tag(self) -> u16 {
        if matches!(self, Form::F32 | Form::F64) { 3 } else { 1 }
    }

    fn write(self, sample: f32, out: &mut Vec<u8>) {
        let x = f64::from(sample).clamp(-1.0, 1.0);
        match self {
            Form::U8 => out.push((128.0 + 127.0 * x).round() as u8),
            Form::I16 => out.extend(((32_767.0 * x).round() as i16).to_le_bytes()),
            Form::I24 => out.extend(&((8_388_607.0 * x).round() as i32).to_le_bytes()[..3]),
            Form::I32 => out.extend(((2_147_483_647.0 * x).round() as i32).to_le_bytes()),
            Form::F32 => out.extend(sample.to_le_bytes()),
            Form::F64 => out.extend(f64::from(sample).to_le_bytes()),
        }
    }
}

/// One chunk, padded to an even length.
fn chunk(id: &[u8; 4], length: [u8; 4], body: &[u8]) -> Vec<u8> {
    let mut bytes = [&id[..], &length, body].concat();
    if body.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

fn little(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    chunk(id, (body.len() as u32).to_le_bytes(), body)
}

fn big(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    chunk(id, (body.len() as u32).to_be_bytes(), body)
}

/// A WAV file; `channels` hold equally many samples.
fn wav(channels: &[&[f32]], rate: u32, form: Form, extensible: bool, before_data: &[Vec<u8>]) -> Vec<u8> {
    let count = channels.len() as u16;
    let frame = count * form.bits() / 8;
    let mut fmt = Vec::new();
    fmt.extend(if extensible { 0xfffe } else { form.tag() }.to_le_bytes());
    fmt.extend(count.to_le_bytes());
    fmt.extend(rate.to_le_bytes());
    fmt.extend((rate * u32::from(frame)).to_le_bytes());
    fmt.extend(frame.to_le_bytes());
    fmt.extend(form.bits().to_le_bytes());
    if extensible {
        fmt.extend(22u16.to_le_bytes());
        fmt.extend(form.bits().to_le_bytes());
        // Speakers: front centre, or front left and right.
        fmt.extend(if count == 1 { 4u32 } else { 3 }.to_le_bytes());
        // The sub-format: the tag, then the fixed tail of the GUID.
        fmt.extend(form.tag().to_le_bytes());
        fmt.extend([0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71]);
    }
    let mut data = Vec::new();
    for n in 0..channels[0].len() {
        channels.iter().for_each(|c| form.write(c[n], &mut data));
    }
    let mut body = b"WAVE".to_vec();
    body.extend(little(b"fmt ", &fmt));
    before_data.iter().for_each(|c| body.extend(c));
    body.extend(little(b"data", &data));
    little(b"RIFF", &body)
}

/// A 16-bit mono AIFF file.
fn aiff(samples: &[f32], rate: u32) -> Vec<u8> {
    // 80-bit extended: sign and exponent (biased by 16383), then the mantissa with its leading one.
    let exponent = rate.ilog2();
    let mut common = Vec::new();
    common.extend(1u16.to_be_bytes());
    common.extend((samples.len() as u32).to_be_bytes());
    common.extend(16u16.to_be_bytes());
    common.extend((16_383 + exponent as u16).to_be_bytes());
    common.extend((u64::from(rate) << (63 - exponent)).to_be_bytes());
    // Offset and block size come before the samples.
    let mut sound = vec![0; 8];
    samples.iter().for_each(|s| sound.extend(((32_767.0 * s).round() as i16).to_be_bytes()));
    let mut body = b"AIFF".to_vec();
    body.extend(big(b"COMM", &common));
    body.extend(big(b"SSND", &sound));
    big(b"FORM", &body)
}

/// Two modes that every sample rate from 8000 Hz on can hold, three taps, some 50 dB over the noise.
fn take(rate: u32, noise_sigma: f64) -> TakeSpec {
    let mode = |frequency_hz, damping_ratio, amplitude, phase_rad| TrueMode {
        frequency_hz,
        damping_ratio,
        amplitude,
        phase_rad,
    };
    TakeSpec {
        sample_rate_hz: f64::from(rate),
        modes: vec![mode(230.0, 0.009, 0.3, 0.3), mode(610.0, 0.007, 0.2, 1.9)],
        taps: 3,
        first_tap_s: 0.5,
        interval_s: 0.8,
        after_last_s: 0.8,
        noise_sigma,
        seed: u64::from(rate),
        ..TakeSpec::default()
    }
}

/// Measures files together; gives the entry of each, and what to print when a test fails.
fn measure(files: &[(&str, Vec<u8>)]) -> (Vec<RecordingEntry>, String) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, bytes) in files {
        fs::write(folder.path().join(name), bytes).expect("the test can write its file");
    }
    let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
    command.current_dir(folder.path()).stdin(Stdio::null()).args(["measure", "--format", "json"]);
    command.args(files.iter().map(|(name, _)| name));
    let output = command.output().expect("the program starts");
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    let all = format!("command: {command:?}\nexit code: {:?}\nstdout:\n{out}\nstderr:\n{err}", output.status.code());
    assert_eq!(output.status.code(), Some(0), "wrong exit code\n{all}");
    let document: Document =
        serde_json::from_str(&out).unwrap_or_else(|e| panic!("the JSON cannot be read: {e}\n{all}"));
    assert_eq!(document.recordings.len(), files.len(), "one entry a file\n{all}");
    (document.recordings, all)
}

/// Five standard uncertainties: with honest ones a miss has a chance of one in a million for each value, so a failure is
/// an error and not bad luck.
const SURE: f64 = 5.0;

/// Every true mode is there, close enough; `wider` widens the stated uncertainties.
fn expect_true(entry: &RecordingEntry, spec: &TakeSpec, wider: f64, all: &str) {
    assert_eq!(entry.sample_rate_hz, Some(spec.sample_rate_hz), "{}: wrong rate\n{all}", entry.file);
    for truth in &spec.modes {
        let nearest = entry
            .modes
            .iter()
            .min_by(|a, b| {
                (a.frequency_hz - truth.frequency_hz).abs().total_cmp(&(b.frequency_hz - truth.frequency_hz).abs())
            })
            .unwrap_or_else(|| panic!("{}: no mode\n{all}", entry.file));
        let off_f = (nearest.frequency_hz - truth.frequency_hz) / nearest.frequency_hz_u;
        let off_z = (nearest.damping_ratio - truth.damping_ratio) / nearest.damping_ratio_u;
        assert!(
            off_f.abs() < SURE * wider && off_z.abs() < SURE * wider,
            "{}: {} Hz is off by {off_f:.1} uncertainties in frequency, {off_z:.1} in damping\n{all}",
            entry.file,
            truth.frequency_hz
        );
        // The interval must say something: 30 dB or more of decay over three taps tells damping to a few per cent.
        assert!(nearest.damping_ratio_u < 0.1 * truth.damping_ratio, "{}: useless interval\n{all}", entry.file);
    }
}

#[test]
fn sample_formats() {
    let spec = take(16_000, 3e-4);
    let samples = spec.make().samples;
    // 127 dB of full scale over 8 bits leave a step of 0.0079. Noise of half a step (the usual dither) makes its rounding
    // behave as further noise; without that the tail of a decay is rounded away.
    let dithered = take(16_000, 4e-3);
    let coarse = dithered.make().samples;
    let one = |form, extensible| wav(&[&samples], 16_000, form, extensible, &[]);
    let files = [
        ("u8.wav", wav(&[&coarse], 16_000, Form::U8, false, &[])),
        ("u8-extensible.wav", wav(&[&coarse], 16_000, Form::U8, true, &[])),
        ("i16.wav", one(Form::I16, false)),
        ("i24.wav", one(Form::I24, false)),
        ("i32.wav", one(Form::I32, false)),
        ("f32.wav", one(Form::F32, false)),
        ("f64.wav", one(Form::F64, false)),
        ("i16-extensible.wav", one(Form::I16, true)),
        ("i24-extensible.wav", one(Form::I24, true)),
        ("i32-extensible.wav", one(Form::I32, true)),
        ("f32-extensible.wav", one(Form::F32, true)),
        ("f64-extensible.wav", one(Form::F64, true)),
    ];
    let (entries, all) = measure(&files);
    for entry in &entries {
        let eight = entry.file.starts_with("u8");
        // Rounding to 8 bits is not quite Gaussian noise: half as much again is allowed.
        expect_true(entry, if eight { &dithered } else { &spec }, if eight { 1.5 } else { 1.0 }, &all);
    }
    // 24 bits and more say the same. A step of 24 bits is 1.2e-7, 70 dB below the noise of 3e-4: it moves results by
    // about 1e-3.5 of their uncertainty; a thirtieth of it is allowed, as decisions along the way may tip.
    let reference = &entries[5];
    for entry in entries.iter().filter(|e| !e.file.starts_with("u8") && !e.file.starts_with("i16")) {
        assert_eq!(entry.modes.len(), reference.modes.len(), "{}: other modes than f32.wav\n{all}", entry.file);
        for (a, b) in entry.modes.iter().zip(&reference.modes) {
            let close = (a.frequency_hz - b.frequency_hz).abs() < b.frequency_hz_u / 30.0
                && (a.damping_ratio - b.damping_ratio).abs() < b.damping_ratio_u / 30.0;
            assert!(close, "{}: other values than f32.wav\n{all}", entry.file);
        }
    }
}

#[test]
fn chunks_before_the_data() {
    let spec = take(16_000, 3e-4);
    let samples = spec.make().samples;
    let with = |chunks: &[Vec<u8>]| wav(&[&samples], 16_000, Form::I16, false, chunks);
    // Odd lengths are padded by one byte that the length does not count.
    let files = [
        ("odd.wav", with(&[little(b"note", b"seven b")])),
        (
            "several.wav",
            with(&[little(b"LIST", b"INFOISFT\x03\0\0\0me\0\0"), little(b"junk", &[7; 4095]), little(b"cue ", &[])]),
        ),
    ];
    let (entries, all) = measure(&files);
    entries.iter().for_each(|e| expect_true(e, &spec, 1.0, &all));
}

#[test]
fn sample_rates() {
    let rates = [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000];
    let specs = rates.map(|rate| {
        // The same density of noise per hertz at every rate, so that every file tells the same.
        take(rate, 3e-4 * (f64::from(rate) / 16_000.0).sqrt())
    });
    let names = rates.map(|rate| format!("{rate}.wav"));
    let files: Vec<(&str, Vec<u8>)> = names
        .iter()
        .zip(rates.iter().zip(&specs))
        .map(|(name, (rate, spec))| (name.as_str(), wav(&[&spec.make().samples], *rate, Form::I24, false, &[])))
        .collect();
    let (entries, all) = measure(&files);
    for (entry, spec) in entries.iter().zip(&specs) {
        expect_true(entry, spec, 1.0, &all);
    }
}

#[test]
fn the_better_channel_is_used() {
    let spec = take(16_000, 3e-4);
    let good = spec.make().samples;
    // The same taps under 40 dB more noise, as from a microphone in the wrong place.
    let mut random = ChaCha8Rng::seed_from_u64(77);
    let hiss = noise(NoiseColour::White, 3e-2, good.len(), 16_000.0, &mut random);
    let bad: Vec<f32> = good.iter().zip(&hiss).map(|(s, n)| (0.5 * f64::from(*s) + n) as f32).collect();
    let silent = vec![0.0; good.len()];
    let files = [
        ("second.wav", wav(&[&bad, &good], 16_000, Form::I16, false, &[])),
        ("first.wav", wav(&[&good, &bad], 16_000, Form::I24, true, &[])),
        ("other-is-silent.wav", wav(&[&silent, &good], 16_000, Form::F32, false, &[])),
        ("equal.wav", wav(&[&good, &good], 16_000, Form::I16, false, &[])),
        ("mono.wav", wav(&[&good], 16_000, Form::I16, false, &[])),
    ];
    let (entries, all) = measure(&files);
    for (entry, (channels, used)) in entries.iter().zip([(2, 2), (2, 1), (2, 2), (2, 1), (1, 1)]) {
        assert_eq!(entry.channels, Some(channels), "{}: channels\n{all}", entry.file);
        assert_eq!(entry.channel_used, Some(used), "{}: wrong channel\n{all}", entry.file);
        expect_true(entry, &spec, 1.0, &all);
    }
}

#[test]
fn aiff_at_several_rates() {
    let rates = [8_000u32, 22_050, 44_100, 48_000];
    let specs = rates.map(|rate| take(rate, 3e-4));
    let names = rates.map(|rate| format!("{rate}.aiff"));
    let files: Vec<(&str, Vec<u8>)> = names
        .iter()
        .zip(rates.iter().zip(&specs))
        .map(|(name, (rate, spec))| (name.as_str(), aiff(&spec.make().samples, *rate)))
        .collect();
    let (entries, all) = measure(&files);
    for (entry, spec) in entries.iter().zip(&specs) {
        expect_true(entry, spec, 1.0, &all);
    }
}

/// What telephones give (`tests/fixtures/README.md`): the lossless forms hold the very same take; of the others the truth must
/// lie within the stated uncertainties, however wide the coder made them.
#[test]
fn what_telephones_give() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures");
    let names = ["take.flac", "take-alac.m4a", "take-aac.m4a", "take.mp3", "take.ogg"];
    let files: Vec<(&str, Vec<u8>)> =
        names.iter().map(|n| (*n, fs::read(folder.join(n)).unwrap_or_else(|e| panic!("{n}: {e}")))).collect();
    let (entries, all) = measure(&files);
    for entry in &entries {
        for (frequency, damping) in [(230.0, 0.009), (610.0, 0.007)] {
            let mode = entry.modes.iter().find(|m| (m.frequency_hz / frequency - 1.0).abs() < 0.01);
            let mode = mode.unwrap_or_else(|| panic!("{}: no mode near {frequency} Hz\n{all}", entry.file));
            let off = ((mode.frequency_hz - frequency) / mode.frequency_hz_u)
                .abs()
                .max(((mode.damping_ratio - damping) / mode.damping_ratio_u).abs());
            assert!(off < SURE, "{}: {frequency} Hz is off by {off:.1} uncertainties\n{all}", entry.file);
        }
    }
    assert_eq!(entries[0].modes.len(), entries[1].modes.len(), "FLAC and ALAC differ\n{all}");
    for (a, b) in entries[0].modes.iter().zip(&entries[1].modes) {
        assert!((a.frequency_hz - b.frequency_hz).abs() < 1e-9, "FLAC and ALAC differ\n{all}");
    }
}
