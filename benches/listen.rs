//! Listening at the bench, without its screen: false alarms in a workshop's noise, taps caught, time to the verdict, and the
//! share of a core that idle listening takes.
//!
//! `cargo bench --bench listen -- [minutes] [first seed]` (10 and 1 unless said).

mod goals;

use std::time::Instant;

use ringwright::listen::{Goal, Order, Phase, Session, Settings, Step, attend};
use ringwright::modes::Estimator;
use ringwright::simulate::{NoiseColour, TakeSpec, TrueMode, workshop};

const RATE: u32 = 48_000;

#[derive(Default)]
struct Told {
    good: usize,
    again: Vec<&'static str>,
    alone: usize,
    stirs: usize,
    verdict_ms: Vec<f64>,
    estimate_ms: Vec<f64>,
    hearing_s: f64,
}

fn listen(sound: &[f32], rate_hz: u32, taps: usize) -> Told {
    let goal = Goal { taps, until: None, most_taps: taps };
    let steps = vec![Step { name: "bench".into(), change: String::new() }];
    let mut session = Session::new(Settings { rate_hz, channels: 1, goal, steps, change_s: 0.0, bell: true });
    let mut estimator = Estimator::default();
    let mut told = Told::default();
    let mut last = None;
    for piece in sound.chunks(rate_hz as usize / 50) {
        let began = Instant::now();
        session.hear(piece);
        let orders = session.take_orders();
        told.hearing_s += began.elapsed().as_secs_f64();
        for order in orders {
            let began = Instant::now();
            if let Some(answer) = attend(&order, 1, rate_hz, &mut estimator) {
                let ms = 1e3 * began.elapsed().as_secs_f64();
                session.answer(answer);
                match order {
                    // What the sound has moved on until the verdict, and the work itself.
                    Order::Judge { .. } => {
                        told.verdict_ms.push(ms + 1e3 * session.view().verdict_after_s.unwrap_or(f64::NAN));
                    }
                    Order::Grown { .. } => told.estimate_ms.push(ms),
                    _ => {}
                }
            }
        }
        let phase = session.view().phase.clone();
        if let (Some(Phase::Again { code, .. }), true) = (&phase, phase != last) {
            told.again.push(code);
        }
        told.alone += usize::from(phase == Some(Phase::Heard) && phase != last);
        last = phase;
        told.good = told.good.max(session.view().good);
        told.stirs = session.view().stirs;
    }
    told
}

fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(((values.len() as f64 - 1.0) * share).round() as usize).copied().unwrap_or(f64::NAN)
}

fn main() {
    let minutes: f64 = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(10.0);
    let first_seed = std::env::args().skip(1).filter_map(|a| a.parse().ok()).nth(1).unwrap_or(1);
    let (mut false_taps, mut calls) = (0, 0);
    for seed in first_seed..first_seed + 3 {
        let sound: Vec<f32> = workshop(60.0 * minutes, 2e-4, f64::from(RATE), seed).iter().map(|s| *s as f32).collect();
        let told = listen(&sound, RATE, usize::MAX);
        println!(
            "workshop noise, {minutes} min, seed {seed}: {} false taps, {} lone ones that wait for another, {} calls to tap again {:?}, {} \
             stirs told quietly",
            told.good,
            told.alone,
            told.again.len(),
            told.again,
            told.stirs
        );
        false_taps += told.good;
        calls += told.again.len();
    }
    let heard = format!("{false_taps} in {} min, {calls} calls to tap again", 3.0 * minutes);
    goals::tell("sounds of a workshop counted as taps", "none in 10 min", &heard, false_taps == 0);
    for (name, level_db) in [("15 dB", -59.0), ("20 dB", -54.0), ("30 dB", -44.0), ("50 dB", -24.0)] {
        let mode = |frequency_hz, damping_ratio, db: f64| TrueMode {
            frequency_hz,
            damping_ratio,
            amplitude: 10f64.powf((level_db + db) / 20.0),
            phase_rad: 1.0,
        };
        let modes = vec![mode(112.0, 0.009, 0.0), mode(287.0, 0.007, -4.0), mode(655.0, 0.011, -8.0)];
        let mut told = Told::default();
        let wanted = 40;
        for seed in 1..=5 {
            let noise = NoiseColour::White;
            let take = TakeSpec {
                modes: modes.clone(),
                taps: wanted / 5,
                first_tap_s: 4.0,
                interval_s: 5.0,
                after_last_s: 5.0,
                contact_s: 1e-3,
                noise_colour: noise,
                noise_sigma: 2e-4,
                seed,
                ..TakeSpec::default()
            }
            .make();
            let one = listen(&take.samples, RATE, usize::MAX);
            told.good += one.good;
            told.again.extend(one.again);
            told.stirs += one.stirs;
            told.verdict_ms.extend(one.verdict_ms);
            told.estimate_ms.extend(one.estimate_ms);
        }
        println!(
            "taps {name} over the noise: {} of {wanted} caught, again {:?}, {} taken for no tap; verdict {:.0} ms after the end of \
             the ring-down (median), {:.0} ms (most); modes of all taps {:.0} ms (most)",
            told.good,
            told.again,
            told.stirs,
            quantile(&mut told.verdict_ms, 0.5),
            quantile(&mut told.verdict_ms, 1.0),
            quantile(&mut told.estimate_ms, 1.0)
        );
        if level_db == -54.0 {
            let caught = format!("{} of {wanted}", told.good);
            goals::tell("taps of 20 dB caught", "98 %", &caught, told.good * 100 >= wanted * 98);
            let most = quantile(&mut told.verdict_ms, 1.0);
            goals::tell(
                "verdict after the end of a ring-down",
                "150 ms",
                &format!("{most:.0} ms at most"),
                most <= 150.0,
            );
        }
    }
    for rate_hz in [48_000, 96_000] {
        let quiet = TakeSpec {
            sample_rate_hz: f64::from(rate_hz),
            taps: 0,
            first_tap_s: 0.0,
            after_last_s: 60.0,
            ..TakeSpec::default()
        }
        .make();
        let told = listen(&quiet.samples, rate_hz, 5);
        let share = 100.0 * told.hearing_s / 60.0;
        println!("idle at {rate_hz} Hz: {share:.2} % of a core");
        let told = format!("{share:.2} % (without the screen)");
        goals::tell(&format!("idle listening at {rate_hz} Hz"), "5 % of a core", &told, share < 5.0);
    }
}
