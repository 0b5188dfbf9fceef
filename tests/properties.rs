//! What must not change, or must change in a known direction, when a recording is altered in a known way; and that
//! recordings without a tap give no mode.

#[path = "../benches/goals/mod.rs"]
mod goals;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use ringwright::modes::{EstimateOptions, Estimator, Mode, ModeReason};
use ringwright::part::Sizes;
use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode, noise, syllable};
use ringwright::sound::{OpenOptions, Recording, TapReason, WavSamples, find_taps, wav_bytes};
use ringwright::stiffness::{Constants, Size, Tone, bending_stiffnesses, blank_from_tones, free_plate_modes};
use ringwright::uncertainty::Figure;

const RATE: f64 = 16_000.0;
const SEEDS: [u64; 3] = [3, 14, 159];
const NOISE: f64 = 1e-3;

/// Two modes, three taps, some 45 dB over the noise, 2.9 s.
fn take(seed: u64) -> TakeSpec {
    let mode = |frequency_hz, damping_ratio, amplitude, phase_rad| TrueMode {
        frequency_hz,
        damping_ratio,
        amplitude,
        phase_rad,
    };
    TakeSpec {
        sample_rate_hz: RATE,
        modes: vec![mode(240.0, 0.010, 0.3, 0.5), mode(590.0, 0.008, 0.2, 2.0)],
        taps: 3,
        first_tap_s: 0.5,
        interval_s: 0.8,
        after_last_s: 0.8,
        noise_sigma: NOISE,
        seed,
        ..TakeSpec::default()
    }
}

/// The modes of a recording, with nothing but the library.
fn modes_of(mut recording: Recording) -> Vec<Mode> {
    let found = find_taps(&mut recording).expect("memory can be read");
    Estimator::default()
        .estimate(&mut recording, &found, &EstimateOptions::default())
        .expect("memory can be read")
        .modes
}

fn modes(samples: Vec<f32>, rate_hz: f64) -> Vec<Mode> {
    modes_of(Recording::from_samples(samples, rate_hz).expect("the samples are sound"))
}

/// The two modes of a take; anything else is a failure.
fn two(what: &str, samples: Vec<f32>, rate_hz: f64) -> Vec<Mode> {
    let modes = modes(samples, rate_hz);
    assert_eq!(modes.len(), 2, "{what}: two modes are true, found {}", told(&modes));
    modes
}

fn told(modes: &[Mode]) -> String {
    let one = |m: &Mode| {
        format!(
            "{:.4} ± {:.4} Hz, zeta {:.6} ± {:.6}",
            m.frequency.value,
            m.frequency.u_95(),
            m.damping_ratio.value,
            m.damping_ratio.u_95()
        )
    };
    modes.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Frequencies and dampings agree within `share` of the first one's standard uncertainties.
fn expect_same(what: &str, before: &[Mode], after: &[Mode], share: f64) {
    for (a, b) in before.iter().zip(after) {
        let off_f = (a.frequency.value - b.frequency.value).abs() / a.frequency.u_95();
        let off_z = (a.damping_ratio.value - b.damping_ratio.value).abs() / a.damping_ratio.u_95();
        assert!(
            off_f < share && off_z < share,
            "{what}: moved by {off_f:.3} and {off_z:.3} uncertainties, {share} are allowed\nbefore {}\nafter  {}",
            told(before),
            told(after)
        );
    }
}

/// Gain and polarity carry no news. In exact arithmetic nothing would change; rounding to f32 is 1e-7 of full scale, 80 dB
/// below the noise of 1e-3, so what can move is a decision at a threshold (a start or an end by a sample): a tenth of a
/// standard uncertainty is allowed for those.
#[test]
fn gain_and_polarity_change_nothing() {
    for seed in SEEDS {
        let samples = take(seed).make().samples;
        let before = two("as it is", samples.clone(), RATE);
        for (what, gain) in [("gain 0.1", 0.1f32), ("polarity reversed", -1.0), ("both", -0.1)] {
            let altered: Vec<f32> = samples.iter().map(|s| gain * s).collect();
            let what = format!("seed {seed}, {what}");
            expect_same(&what, &before, &two(&what, altered, RATE), 0.1);
        }
    }
}

/// More room noise before the first tap or after the last shifts the taps in time and lets the noise be read better. The
/// ring-downs are the same samples; only the weights, from the noise's density, may change. Half a second or more of
/// noise tells a density to some 10 %, and weights that are wrong by 10 % move an estimate by far less than its
/// uncertainty: half of one is allowed.
#[test]
fn more_quiet_around_the_taps_changes_little() {
    for seed in SEEDS {
        let samples = take(seed).make().samples;
        let before = two("as it is", samples.clone(), RATE);
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0xabcd);
        let quiet: Vec<f32> =
            noise(NoiseColour::White, NOISE, 11_111, RATE, &mut random).iter().map(|s| *s as f32).collect();
        let what = format!("seed {seed}, quiet before");
        expect_same(&what, &before, &two(&what, [&quiet[..], &samples].concat(), RATE), 0.5);
        let what = format!("seed {seed}, quiet after");
        expect_same(&what, &before, &two(&what, [&samples[..], &quiet].concat(), RATE), 0.5);
    }
}

/// Taps in another order are the same taps: each keeps its own quiet before it and its ring-down. What each starts from (the end
/// of another's decay, far under the noise), where it ends, and the noise's density move a little, and with them which noise is read
/// along: they must agree within an uncertainty.
#[test]
fn order_of_taps_changes_little() {
    for seed in SEEDS {
        let take = TakeSpec { interval_s: 1.2, ..take(seed) }.make();
        let before = two("as it is", take.samples.clone(), RATE);
        let cut = |onset: usize| onset - (0.3 * RATE) as usize;
        let ends = [cut(take.onsets[1]), cut(take.onsets[2]), take.samples.len()];
        let pieces: Vec<&[f32]> =
            take.onsets.iter().zip(ends).map(|(onset, end)| &take.samples[cut(*onset)..end]).collect();
        let lead = &take.samples[..cut(take.onsets[0])];
        for order in [[1, 0, 2], [2, 1, 0], [1, 2, 0]] {
            let mut altered = lead.to_vec();
            order.iter().for_each(|i| altered.extend_from_slice(pieces[*i]));
            let what = format!("seed {seed}, order {order:?}");
            expect_same(&what, &before, &two(&what, altered, RATE), 1.0);
        }
    }
}

/// A blank of the same wood twice as large in every direction has all its tones an octave lower (thin plates, shear and edges
/// included), and one of 1.6 times the mass with the same tones has 1.6 times the moduli: to the fit's own tolerance.
#[test]
fn sizes_scale_as_physics_says() {
    let constants = Constants { along_pa: 11.6e9, across_pa: 1.1e9, shear_pa: 0.9e9, poisson: 0.4 };
    let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.1331 };
    let stiffnesses = bending_stiffnesses(&constants, size.thickness_m);
    let tones: Vec<f64> = free_plate_modes(&stiffnesses, &size, (24, 10), 700.0)
        .iter()
        .map(|m| m.frequency_hz(&constants, &stiffnesses, size.thickness_m))
        .filter(|hz| *hz > 60.0)
        .collect();
    let moduli = |scale: f64, mass: f64, pitch: f64| -> Vec<f64> {
        let read = |value: f64, name: &str| Figure::new(value, 1e-4 * value, name);
        let sizes = Sizes {
            length: read(scale * size.length_m, "length"),
            width: read(scale * size.width_m, "width"),
            thickness: read(scale * size.thickness_m, "thickness"),
            mass: read(mass * size.mass_kg, "mass"),
        };
        let tones: Vec<Tone> =
            tones.iter().map(|f| Tone { frequency_hz: pitch * f, frequency_hz_u: 1e-4 * pitch * f }).collect();
        let result = blank_from_tones(&sizes, &tones);
        [result.along, result.across, result.shear].iter().flatten().map(|m| m.value).collect()
    };
    let (once, large, heavy) = (moduli(1.0, 1.0, 1.0), moduli(2.0, 8.0, 0.5), moduli(1.0, 1.6, 1.0));
    assert_eq!((once.len(), large.len(), heavy.len()), (3, 3, 3));
    for i in 0..3 {
        assert!((large[i] / once[i] - 1.0).abs() < 1e-4, "{once:?} {large:?}");
        assert!((heavy[i] / once[i] / 1.6 - 1.0).abs() < 1e-3, "{once:?} {heavy:?}");
    }
}

/// Whichever channel the good sound is in, the same samples are read: the same result to the last bit but for the order of
/// sums, for which a thousandth of an uncertainty is ample.
#[test]
fn order_of_channels_changes_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for seed in SEEDS {
        let good = take(seed).make().samples;
        let poor = TakeSpec { noise_sigma: 30.0 * NOISE, seed: seed + 1000, ..take(seed) }.make().samples;
        let write = |name: &str, left: &[f32], right: &[f32]| {
            let path = folder.path().join(name);
            let both: Vec<f32> = left.iter().zip(right).flat_map(|(l, r)| [*l, *r]).collect();
            let bytes = wav_bytes(&both, 2, RATE as u32, WavSamples::Float).expect("a WAV file");
            std::fs::write(&path, bytes).expect("the test can write");
            let recording = Recording::open(&path, &OpenOptions::default()).expect("the file is sound");
            (recording.channel(), modes_of(recording))
        };
        // Lengths differ as the intervals do: cut to the shorter.
        let (first, a) = write("left.wav", &good, &poor);
        let (second, b) = write("right.wav", &poor, &good);
        assert_eq!((first, second), (0, 1), "seed {seed}: the good channel is used");
        assert_eq!((a.len(), b.len()), (2, 2), "seed {seed}: {} | {}", told(&a), told(&b));
        expect_same(&format!("seed {seed}"), &a, &b, 1e-3);
    }
}

/// Ten times the noise is ten times the uncertainty where noise alone limits it (Cramer-Rao). Few taps let the stated
/// uncertainties scatter, and the quiet take has a floor from misfit; three times as wide is asked for.
#[test]
fn more_noise_gives_wider_intervals() {
    for seed in SEEDS {
        let quiet = two("quiet", take(seed).make().samples, RATE);
        let loud = two("noisy", TakeSpec { noise_sigma: 10.0 * NOISE, ..take(seed) }.make().samples, RATE);
        for (q, l) in quiet.iter().zip(&loud) {
            assert!(
                l.frequency.u_95() > 3.0 * q.frequency.u_95() && l.damping_ratio.u_95() > 3.0 * q.damping_ratio.u_95(),
                "seed {seed}: ten times the noise, but\nquiet {}\nnoisy {}",
                told(&quiet),
                told(&loud)
            );
        }
    }
}

/// The same part recorded at twice the rate, with other noise of the same density: the same answer within four combined
/// standard uncertainties (12 comparisons: chance of a miss below 0.1 % if the uncertainties are honest).
#[test]
fn twice_the_sample_rate_gives_the_same() {
    for seed in SEEDS {
        let low = two("16 kHz", take(seed).make().samples, RATE);
        let doubled =
            TakeSpec { sample_rate_hz: 2.0 * RATE, noise_sigma: 2f64.sqrt() * NOISE, seed: seed + 50, ..take(seed) };
        let high = two("32 kHz", doubled.make().samples, 2.0 * RATE);
        for (a, b) in low.iter().zip(&high) {
            let off_f = (a.frequency.value - b.frequency.value) / a.frequency.u_95().hypot(b.frequency.u_95());
            let off_z =
                (a.damping_ratio.value - b.damping_ratio.value) / a.damping_ratio.u_95().hypot(b.damping_ratio.u_95());
            assert!(
                off_f.abs() < 4.0 && off_z.abs() < 4.0,
                "seed {seed}: apart by {off_f:.2} and {off_z:.2} combined uncertainties\n16 kHz {}\n32 kHz {}",
                told(&low),
                told(&high)
            );
        }
    }
}

// Recordings without a tap: 60 of them, 3 s each.

const LENGTH: usize = 48_000;

fn random(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

fn uniform(random: &mut ChaCha8Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Makes a family of recordings and lists those that give modes. RINGWRIGHT_NO_TAP makes so many times as many.
fn expect_no_modes(family: &str, count: u64, make: impl Fn(&mut ChaCha8Rng) -> Vec<f64>) {
    let times = std::env::var("RINGWRIGHT_NO_TAP").ok().and_then(|v| v.parse().ok()).unwrap_or(1);
    let count: u64 = count * times;
    let mut wrong = Vec::new();
    for seed in 0..count {
        let sound = make(&mut random(1 + seed));
        let found = modes(sound.iter().map(|s| s.clamp(-1.0, 1.0) as f32).collect(), RATE);
        if !found.is_empty() {
            wrong.push(format!("{family}, seed {}: {}", 1 + seed, told(&found)));
        }
    }
    let told = format!("{} of {count} give modes", wrong.len());
    goals::tell(
        &format!("recordings of {family}, not of taps"),
        "no modes in 200 of all kinds",
        &told,
        wrong.is_empty(),
    );
    assert!(wrong.is_empty(), "{} of {count} recordings without a tap give modes\n{}", wrong.len(), wrong.join("\n"));
}

fn coloured(colour: NoiseColour, random: &mut ChaCha8Rng) -> Vec<f64> {
    let sigma = 10f64.powf(uniform(random, -3.5, -1.5));
    noise(colour, sigma, LENGTH, RATE, random)
}

#[test]
fn white_noise_has_no_modes() {
    expect_no_modes("white noise", 10, |r| coloured(NoiseColour::White, r));
}

#[test]
fn pink_noise_has_no_modes() {
    expect_no_modes("pink noise", 10, |r| coloured(NoiseColour::Pink, r));
}

#[test]
fn brown_noise_has_no_modes() {
    expect_no_modes("brown noise", 10, |r| coloured(NoiseColour::Brown, r));
}

/// A whistle, a kettle, a test tone: one to three tones from start to end, over a little noise.
#[test]
fn steady_tones_have_no_modes() {
    expect_no_modes("steady tones", 8, |r| {
        let mut sound = noise(NoiseColour::Pink, 3e-4, LENGTH, RATE, r);
        for _ in 0..1 + r.next_u64() % 3 {
            let (f, a, p) =
                (uniform(r, 80.0, 3000.0), 10f64.powf(uniform(r, -2.5, -0.7)), uniform(r, 0.0, std::f64::consts::TAU));
            sound
                .iter_mut()
                .enumerate()
                .for_each(|(n, s)| *s += a * (std::f64::consts::TAU * f * n as f64 / RATE + p).sin());
        }
        sound
    });
}

/// Mains hum at 50 or 60 Hz (off by up to 0.05 Hz) with ten harmonics.
#[test]
fn hum_has_no_modes() {
    expect_no_modes("hum", 8, |r| {
        let mut sound = noise(NoiseColour::Pink, 5e-4, LENGTH, RATE, r);
        let base = if r.next_u64() % 2 == 0 { 50.0 } else { 60.0 } + uniform(r, -0.05, 0.05);
        let level = 10f64.powf(uniform(r, -2.5, -1.0));
        for k in 1..=10 {
            let (a, p) = (level / f64::from(k), uniform(r, 0.0, std::f64::consts::TAU));
            let omega = std::f64::consts::TAU * base * f64::from(k) / RATE;
            sound.iter_mut().enumerate().for_each(|(n, s)| *s += a * (omega * n as f64 + p).sin());
        }
        sound
    });
}

/// Bursts like whispered syllables: noise through three two-pole resonators, swelling within 20 to 60 ms, 100 to 300 ms
/// long, with pauses between.
#[test]
fn speech_like_bursts_have_no_modes() {
    expect_no_modes("speech-like bursts", 14, |r| {
        let mut sound = noise(NoiseColour::Pink, 3e-4, LENGTH, RATE, r);
        let mut at_s = uniform(r, 0.4, 0.7);
        while at_s < 2.6 {
            let burst = syllable(10f64.powf(uniform(r, -1.7, -0.7)), RATE, r);
            let from = (at_s * RATE) as usize;
            sound.iter_mut().skip(from).zip(&burst).for_each(|(s, b)| *s += b);
            let length_s = burst.len() as f64 / RATE;
            at_s += length_s + uniform(r, 0.1, 0.4);
        }
        sound
    });
}

/// A gain that closes behind each strike bends every mode down together: no damping may be read off it.
#[test]
fn a_gain_that_closes_is_suspected_or_kept_out() {
    let mut suspected = 0;
    let cases = [0.06, 0.08, 0.12]
        .into_iter()
        .flat_map(|c| SEEDS.map(|s| (c, s)))
        .flat_map(|(c, s)| [(c, s, true), (c, s, false)]);
    for (closes_s, seed, room_too) in cases {
        // Either the room's noise goes through the gain as well, or it is the recorder's own behind it.
        let made = TakeSpec { noise_sigma: if room_too { NOISE } else { 1e-9 }, ..take(seed) }.make();
        let mut samples = made.samples.clone();
        for &onset in &made.onsets {
            for (n, s) in samples[onset..].iter_mut().take((0.7 * RATE) as usize).enumerate() {
                // It closes behind the strike and opens again, slowly enough to be no strike, before the next.
                let closing = (-(n as f64 / RATE / closes_s).powi(2)).exp();
                let opening = (10.0 * (n as f64 / RATE - 0.7)).exp();
                *s *= closing.max(opening) as f32;
            }
        }
        if !room_too {
            let own = noise(NoiseColour::White, NOISE, samples.len(), RATE, &mut ChaCha8Rng::seed_from_u64(seed));
            samples.iter_mut().zip(own).for_each(|(s, n)| *s += n as f32);
        }
        let mut recording = Recording::from_samples(samples, RATE).expect("the samples are sound");
        let found = find_taps(&mut recording).expect("memory can be read");
        let estimate = Estimator::default()
            .estimate(&mut recording, &found, &EstimateOptions::default())
            .expect("memory can be read");
        for mode in &estimate.modes {
            let truth = take(seed).modes.into_iter().find(|t| (t.frequency_hz - mode.frequency.value).abs() < 5.0);
            let told = mode.reasons.iter().any(|r| r.is_doubt())
                || estimate.notes.iter().any(|n| n.sentence().contains("gain"));
            let right = truth
                .is_some_and(|t| (t.damping_ratio - mode.damping_ratio.value).abs() < 3.0 * mode.damping_ratio.u_95());
            assert!(right || told, "closing in {closes_s} s, seed {seed}: {}", self::told(&estimate.modes));
        }
        suspected += estimate.taps.iter().filter(|t| t.reasons.contains(&TapReason::GainSuspected)).count();
    }
    assert!(suspected > 0, "no gain was suspected");
}

/// Two modes a tenth of their bandwidth apart, struck in another mixture by each tap: read as one they are named as beating, with
/// an interval that reaches one of them; read as two, each interval holds its own.
#[test]
fn modes_too_close_to_resolve_are_told() {
    let mut named = 0;
    for seed in 1..=6 {
        let mut spec = take(seed);
        let second = TrueMode { frequency_hz: 240.5, ..spec.modes[0] };
        spec.modes.insert(1, second);
        (spec.taps, spec.spread) = (5, 0.8);
        let modes = modes(spec.make().samples, RATE);
        assert!(modes.iter().any(|m| m.frequency.value < 400.0), "seed {seed}: {}", told(&modes));
        for mode in modes.iter().filter(|m| m.frequency.value < 400.0) {
            let reaches = spec.modes.iter().any(|t| {
                (t.frequency_hz - mode.frequency.value).abs() < 2.5 * mode.frequency.u_95()
                    && (t.damping_ratio - mode.damping_ratio.value).abs() < 2.5 * mode.damping_ratio.u_95()
            });
            let beating = mode.reasons.contains(&ModeReason::BeatingUnresolved);
            named += usize::from(beating);
            assert!(reaches, "seed {seed}: {}", told(&modes));
        }
    }
    assert!(named > 0, "no take was called beating");
}

/// A second mode half a bandwidth away and far weaker, struck alike by every tap, so that nothing but the shape of the decay
/// tells of it: the interval of the one mode that is read holds the stronger one's damping, which without a thought of a
/// second mode it does in hardly half of these takes.
#[test]
fn a_second_mode_that_hides_widens_the_interval() {
    let mut held = 0;
    const TAKES: u64 = 24;
    for seed in 1..=TAKES {
        let mut spec = take(seed);
        spec.spread = 0.0;
        let own = spec.modes[0];
        let side = if seed % 2 == 0 { 1.0 } else { -1.0 };
        let gap_hz = side * own.damping_ratio * own.frequency_hz;
        spec.modes.push(TrueMode {
            frequency_hz: own.frequency_hz + gap_hz,
            amplitude: 0.02 * own.amplitude,
            phase_rad: own.phase_rad + 0.7 * seed as f64,
            ..own
        });
        let modes = modes(spec.make().samples, RATE);
        let read = modes.iter().min_by(|a, b| {
            let gap = |m: &Mode| (m.frequency.value - own.frequency_hz).abs();
            gap(a).total_cmp(&gap(b))
        });
        let read = read.expect("a strong mode is read");
        held += u64::from((read.damping_ratio.value - own.damping_ratio).abs() < 1.96 * read.damping_ratio.u_95());
    }
    assert!(10 * held >= 9 * TAKES, "{held} of {TAKES} intervals hold the damping");
}
