//! Takes as telephones and editors leave them: digital zeros before, between and behind, an offset that stays or drifts, a coder's
//! start-up, a key's click. Damped sinusoids and noise are written out here, so that the simulator does not check itself.

use std::path::Path;

use ringwright::modes::{Estimate, EstimateOptions, Estimator};
use ringwright::sound::{NoiseSource, OpenOptions, Recording, find_taps};

const RATE: f64 = 48_000.0;
/// Frequency (Hz), damping ratio, amplitude (full scale = 1).
const MODES: [(f64, f64, f64); 5] =
    [(93.0, 0.009, 0.02), (147.0, 0.007, 0.03), (236.0, 0.008, 0.02), (411.0, 0.006, 0.025), (873.0, 0.005, 0.015)];

/// Numbers that look random (Marsaglia's xorshift, 64 bits), and sums of twelve of them, which are nearly Gaussian.
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// A room's noise: white, and rumble that falls by 6 dB an octave above 20 Hz.
fn room(samples: usize, sigma: f64, rumble: f64, chance: &mut Chance) -> Vec<f64> {
    let pole = (-std::f64::consts::TAU * 20.0 / RATE).exp();
    let mut brown = 0.0;
    (0..samples)
        .map(|_| {
            brown = pole * brown + (1.0 - pole * pole).sqrt() * chance.normal();
            sigma * chance.normal() + rumble * brown
        })
        .collect()
}

/// A take of six taps from 0.7 s on, each 0.9 s behind the other.
fn take(seed: u64) -> Vec<f64> {
    take_beside(seed, 1.5e-4)
}

fn take_beside(seed: u64, rumble: f64) -> Vec<f64> {
    let mut chance = Chance(0x9e37_79b9_7f4a_7c15 ^ (seed << 20));
    for _ in 0..100 {
        chance.even();
    }
    let mut sound = room((6.5 * RATE) as usize, 1.5e-4, rumble, &mut chance);
    for tap in 0..6 {
        let onset = ((0.7 + 0.9 * f64::from(tap)) * RATE) as usize;
        let strength = 0.7 + 0.6 * chance.even();
        for (k, (frequency_hz, damping, amplitude)) in MODES.into_iter().enumerate() {
            let omega = std::f64::consts::TAU * frequency_hz;
            let turn = omega * (1.0 - damping * damping).sqrt() / RATE;
            for (n, s) in sound[onset..].iter_mut().enumerate().take((1.5 * RATE) as usize) {
                let decay = (-damping * omega * n as f64 / RATE).exp();
                // The hand takes a millisecond to let go.
                let contact = (n as f64 / 48.0).min(1.0);
                *s += strength * amplitude * contact * decay * (turn * n as f64 + k as f64).sin();
            }
        }
    }
    sound
}

fn zeros(seconds: f64) -> Vec<f64> {
    vec![0.0; (seconds * RATE) as usize]
}

/// As 16 bits hold it.
fn measured(sound: &[f64]) -> (Estimate, NoiseSource) {
    let samples = sound.iter().map(|s| ((s * 32_767.0).round() / 32_768.0) as f32).collect();
    estimated(&mut Recording::from_samples(samples, RATE).expect("sound samples"))
}

fn estimated(recording: &mut Recording) -> (Estimate, NoiseSource) {
    let found = find_taps(recording).expect("memory can be read");
    let estimate =
        Estimator::default().estimate(recording, &found, &EstimateOptions::default()).expect("memory can be read");
    (estimate, found.noise_source)
}

/// All taps are used, the room's noise was read before them, every mode is there within four of its uncertainties (of the ten figures of a
/// take chance breaks one in some 1500 takes), with an interval as narrow as the noise allows, and nothing else is.
fn expect_truth(what: &str, sound: &[f64]) {
    let (estimate, source) = measured(sound);
    expect_modes(what, &estimate, source, &MODES.map(|(f, z, _)| (f, z)), 6);
}

fn expect_modes(what: &str, estimate: &Estimate, source: NoiseSource, truths: &[(f64, f64)], taps: usize) {
    let used = estimate.taps.iter().filter(|t| t.accepted()).count();
    assert_eq!(used, taps, "{what}: {:?}", estimate.taps);
    assert_eq!(source, NoiseSource::BeforeTaps, "{what}");
    let told: Vec<f64> = estimate.modes.iter().map(|m| m.frequency.value).collect();
    assert_eq!(told.len(), truths.len(), "{what}: {told:?}, left out {:?}", estimate.left_out);
    for (got, (frequency_hz, damping)) in estimate.modes.iter().zip(truths) {
        let off_f = (got.frequency.value - frequency_hz) / got.frequency.u_95();
        let off_z = (got.damping_ratio.value - damping) / got.damping_ratio.u_95();
        assert!(off_f.abs() < 4.0 && off_z.abs() < 4.0, "{what}: {frequency_hz} Hz is off by {off_f:.1}, {off_z:.1} u");
        assert!(got.damping_ratio.u_95() < 0.02 * damping, "{what}: the interval of {frequency_hz} Hz is no use");
    }
}

#[test]
fn a_take_without_defects() {
    (0..3).for_each(|seed| expect_truth(&format!("seed {seed}"), &take(seed)));
}

#[test]
fn zeros_before_a_take_cost_nothing() {
    for (seed, seconds) in (10..).zip([0.02, 0.1, 0.4, 0.5, 1.0, 2.0]) {
        expect_truth(&format!("{seconds} s"), &[zeros(seconds), take(seed)].concat());
    }
}

#[test]
fn zeros_between_and_behind_cost_nothing() {
    for (seed, seconds) in (20..).zip([0.03, 0.3, 1.0]) {
        // 0.75 s behind the third strike all has sunk.
        let mut sound = take(seed);
        let at = ((0.7 + 1.8 + 0.75) * RATE) as usize;
        sound.splice(at..at, zeros(seconds));
        expect_truth(&format!("{seconds} s between"), &sound);
        expect_truth(&format!("{seconds} s behind"), &[take(seed), zeros(seconds)].concat());
        // Muted from there to shortly before the next strike.
        let mut sound = take(seed);
        sound[at..at + (0.1 * RATE) as usize].fill(0.0);
        expect_truth("muted", &sound);
    }
}

/// Taps and a room without rumble as a recorder with its level turned down gives them: the noise is as one step of 16 bits.
const SOFT: f64 = 0.2;

#[test]
fn an_offset_hides_no_tap() {
    for (seed, offset) in (30..).zip([0.01, -0.02, 0.03]) {
        let sound: Vec<f64> = take(seed).into_iter().map(|s| s + offset).collect();
        expect_truth(&format!("offset {offset}"), &sound);
        let soft: Vec<f64> = take_beside(seed, 0.0).into_iter().map(|s| SOFT * s + offset).collect();
        expect_truth(&format!("offset {offset}, soft taps"), &soft);
        // Zeros before, between and behind.
        let at = ((0.7 + 1.8 + 0.75) * RATE) as usize;
        let with = [zeros(0.5), sound[..at].to_vec(), zeros(0.3), sound[at..].to_vec(), zeros(0.3)].concat();
        expect_truth(&format!("zeros around offset {offset}"), &with);
    }
}

#[test]
fn a_drifting_offset_hides_no_tap() {
    for (seed, (offset, time_s)) in (40..).zip([(0.03, 0.5), (-0.02, 2.0), (0.03, 8.0)]) {
        let drift = |n: usize| offset * (-(n as f64) / RATE / time_s).exp();
        let sound: Vec<f64> = take(seed).into_iter().enumerate().map(|(n, s)| s + drift(n)).collect();
        expect_truth(&format!("{offset} that goes in {time_s} s"), &sound);
        let soft: Vec<f64> = take_beside(seed, 0.0).into_iter().enumerate().map(|(n, s)| SOFT * s + drift(n)).collect();
        expect_truth(&format!("{offset} that goes in {time_s} s, soft taps"), &soft);
    }
}

/// As loud as the modes when they begin to fade: its low end must be learned from the room, and from nothing else.
const RUMBLE: f64 = 3e-3;

/// 21 ms that are nearly silent, and a fade, are not the room; a key's click and a hand that rustles cost no truth.
#[test]
fn what_a_recorder_begins_with_is_not_the_room() {
    let begun = |seed: u64, shape: &dyn Fn(f64, &mut Chance) -> (f64, f64)| {
        let mut chance = Chance(77 + seed);
        let with = |(n, s)| {
            let (factor, more) = shape(n as f64 / RATE, &mut chance);
            factor * s + more
        };
        take_beside(seed, RUMBLE).into_iter().enumerate().map(with).collect::<Vec<f64>>()
    };
    let near_silence = begun(50, &|t, _| (if t < 0.021 { 0.01 } else { 1.0 }, 0.0));
    expect_truth("near silence", &near_silence);
    let fade = begun(51, &|t, _| ((t / 0.3).min(1.0), 0.0));
    expect_truth("fade", &fade);
    let click = begun(52, &|t, chance| {
        let since = t - 0.03;
        (1.0, if since > 0.0 { 0.1 * (-since / 0.002).exp() * chance.normal() } else { 0.0 })
    });
    let rustle =
        begun(53, &|t, chance| (1.0, if t < 0.4 { 2e-3 * (0.5 + chance.even()) * chance.normal() } else { 0.0 }));
    // These may pass for a first tap, behind which no quiet is known; what is told must be true all the same.
    for (what, sound) in [("click", click), ("rustle", rustle)] {
        let (estimate, _) = measured(&sound);
        assert_eq!(estimate.modes.len(), MODES.len(), "{what}: {:?}", estimate.taps);
        for (got, (frequency_hz, damping, _)) in estimate.modes.iter().zip(MODES) {
            let off_f = (got.frequency.value - frequency_hz) / got.frequency.u_95();
            let off_z = (got.damping_ratio.value - damping) / got.damping_ratio.u_95();
            assert!(off_f.abs() < 4.0 && off_z.abs() < 4.0, "{what}: {got:?}");
        }
    }
}

/// What an encoder puts in front and behind is left out, as the container says; the samples then lie where they were recorded
/// (`tests/fixtures/README.md`).
#[test]
fn a_coders_start_up_is_left_out() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures");
    let open = |name: &str| Recording::open(&folder.join(name), &OpenOptions::default()).expect("a sound file");
    let (mut lossless, mut coded) = (open("take.flac"), open("take-aac.m4a"));
    assert!(coded.len().abs_diff(lossless.len()) <= 16, "{} {}", coded.len(), lossless.len());
    let onsets = |recording: &mut Recording| -> Vec<usize> {
        find_taps(recording).expect("memory can be read").taps.iter().map(|t| t.onset).collect()
    };
    let (true_onsets, found) = (onsets(&mut lossless), onsets(&mut coded));
    assert_eq!(true_onsets.len(), found.len());
    // The coder smears a strike by some of its shortest windows, of 128 samples.
    assert!(true_onsets.iter().zip(&found).all(|(a, b)| a.abs_diff(*b) < 256), "{true_onsets:?} {found:?}");
}

/// Beside low rumble, with and without a container that tells of the start-up.
#[test]
fn coded_takes_beside_rumble_are_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures");
    for name in ["rumble.m4a", "rumble.aac"] {
        let mut recording = Recording::open(&folder.join(name), &OpenOptions::default()).expect("a sound file");
        let (estimate, source) = estimated(&mut recording);
        expect_modes(name, &estimate, source, &[(123.0, 0.009), (230.0, 0.008), (610.0, 0.007)], 5);
    }
}
