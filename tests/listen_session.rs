//! Sessions at the bench on simulated sound with known truth, without a microphone.

use ringwright::listen::{Answer, Goal, Order, Phase, Session, Settings, Step, Tone, attend};
use ringwright::modes::Estimator;
use ringwright::simulate::{Mishap, NoiseColour, TakeSpec, TrueMode, workshop};
use ringwright::sound::TapReason;

const RATE: u32 = 48_000;

/// What a session did.
#[derive(Default)]
struct Told {
    takes: Vec<Vec<f32>>,
    codes: Vec<&'static str>,
    stirs: usize,
    good: usize,
    steps_done: usize,
    modes: Vec<ringwright::modes::Mode>,
}

fn settings(taps: usize) -> Settings {
    Settings {
        rate_hz: RATE,
        channels: 1,
        goal: Goal { taps, until: None, most_taps: 20 },
        steps: vec![Step { name: "waist".into(), change: String::new() }],
        change_s: 3.0,
        bell: true,
    }
}

/// Gives all that a session orders to `work`, one by one, and its answers back.
fn obey(session: &mut Session, mut work: impl FnMut(&mut Session, &Order) -> Vec<Answer>) {
    loop {
        let orders = session.take_orders();
        if orders.is_empty() {
            return;
        }
        for order in orders {
            work(session, &order).into_iter().for_each(|a| session.answer(a));
        }
    }
}

fn run(settings: Settings, sound: &[f32], piece: usize) -> Told {
    let mut session = Session::new(settings.clone());
    let mut estimator = Estimator::default();
    let mut told = Told::default();
    let mut last = None;
    for chunk in sound.chunks(piece * settings.channels) {
        session.hear(chunk);
        obey(&mut session, |session, order| {
            match order {
                Order::Grown { step, sound, .. } => {
                    told.takes.resize(*step + 1, Vec::new());
                    told.takes[*step] = sound.to_vec();
                }
                Order::Sound(Tone::StepDone) => {
                    told.steps_done += 1;
                    told.modes = session.view().modes.clone();
                }
                _ => {}
            }
            attend(order, settings.channels, settings.rate_hz, &mut estimator).into_iter().collect()
        });
        let phase = session.view().phase.clone();
        if let (Some(Phase::Again { code, .. }), true) = (&phase, phase != last) {
            told.codes.push(code);
        }
        last = phase;
        told.good = told.good.max(session.view().good);
        told.stirs = session.view().stirs;
        if session.finished() {
            break;
        }
    }
    if told.modes.is_empty() {
        told.modes = session.view().modes.clone();
    }
    told
}

fn side() -> Vec<TrueMode> {
    let mode = |frequency_hz, damping_ratio, db: f64, phase_rad| TrueMode {
        frequency_hz,
        damping_ratio,
        amplitude: 10f64.powf(db / 20.0),
        phase_rad,
    };
    vec![mode(112.0, 0.009, -22.0, 0.2), mode(287.0, 0.007, -26.0, 1.9), mode(655.0, 0.011, -30.0, 4.0)]
}

fn spec() -> TakeSpec {
    TakeSpec {
        modes: side(),
        taps: 8,
        first_tap_s: 4.0,
        interval_s: 4.0,
        after_last_s: 3.0,
        contact_s: 0.001,
        noise_colour: NoiseColour::Pink,
        noise_sigma: 3e-4,
        steady_lines: vec![(50.0, 2e-3), (150.0, 1e-3)],
        ..TakeSpec::default()
    }
}

/// Eight taps, one clipped, one double, hum: six are good, and what was played is what is kept.
#[test]
fn a_session_gathers_the_good_taps() {
    let take = TakeSpec {
        mishaps: vec![
            Mishap::TooLoud { tap: 2, times: 20.0 },
            Mishap::DoubleHit { tap: 4, after_s: 0.09, strength: 0.7 },
        ],
        ..spec()
    }
    .make();
    for piece in [480, 1024, 4800] {
        let told = run(settings(6), &take.samples, piece);
        assert_eq!(told.codes, ["clipped", "double_hit"], "{piece}");
        assert_eq!((told.good, told.steps_done), (6, 1), "{piece}");
        for (mode, truth) in told.modes.iter().zip(side()) {
            assert!((mode.frequency.value - truth.frequency_hz).abs() < 4.0 * mode.frequency.u_95(), "{mode:?}");
            assert!(
                (mode.damping_ratio.value - truth.damping_ratio).abs() < 4.0 * mode.damping_ratio.u_95(),
                "{mode:?}"
            );
        }
        assert_eq!(told.modes.len(), 3);
        // Every stretch of the take is a stretch of what was played, bit for bit.
        let kept = &told.takes[0];
        let (mut at, mut played, mut stretches) = (0, 0, 0);
        while at < kept.len() {
            let end = (at + 64).min(kept.len());
            let rest = take.samples[played..].windows(end - at);
            played += rest.clone().position(|w| *w == kept[at..end]).expect("what is kept was played, in its order");
            let same = kept[at..].iter().zip(&take.samples[played..]).take_while(|(a, b)| a == b).count();
            (at, played, stretches) = (at + same, played + same, stretches + 1);
        }
        // The longer quiet of a take's first two taps makes one of them.
        assert_eq!(stretches, 5, "one stretch a good tap");
    }
}

/// Taps struck before the one before has died away still count, each up to the next.
#[test]
fn quick_taps_are_each_kept() {
    let take = TakeSpec { interval_s: 0.9, ..spec() }.make();
    let mut settings = settings(8);
    settings.bell = false;
    let told = run(settings, &take.samples, 1000);
    assert_eq!(told.good, 8, "{:?} {}", told.codes, told.stirs);
}

/// Frames lost while a tap rings: it is to be tapped again, what was lost is counted, and nothing kept reaches over the gap.
#[test]
fn a_tap_hit_by_a_loss_is_not_kept() {
    let take = spec().make();
    let mut session = Session::new(settings(8));
    let mut estimator = Estimator::default();
    let mut kept = Vec::new();
    let mut codes = Vec::new();
    // A tenth of a second is lost, 0.2 s after the second strike.
    let lost = take.onsets[1] + 9600..take.onsets[1] + 14_400;
    let mut at = 0;
    while at < take.samples.len() {
        if at == lost.start {
            session.gap(4800);
            at = lost.end;
        }
        session.hear(&take.samples[at..(at + 480).min(take.samples.len())]);
        // Losses lie between pieces.
        at = if at < lost.start && at + 480 > lost.start { lost.start } else { at + 480 };
        for order in session.take_orders() {
            if let Order::Grown { sound, .. } = &order {
                kept = sound.to_vec();
            }
            if let Some(answer) = attend(&order, 1, RATE, &mut estimator) {
                session.answer(answer);
            }
        }
        if let Some(Phase::Again { code, .. }) = session.view().phase {
            codes.push(code);
        }
    }
    codes.dedup();
    assert_eq!(codes, ["lost_sound"]);
    assert_eq!((session.view().good, session.view().lost_frames), (7, 4800));
    let holds = |tap: usize| kept.windows(200).any(|w| *w == take.samples[take.onsets[tap]..take.onsets[tap] + 200]);
    assert!(!holds(1), "the tap that was hit is not in the take");
    assert!(holds(0) && (2..8).all(holds), "the others are");
}

/// Two minutes of a workshop without a tap: no tap is counted and nobody is told to tap again.
#[test]
fn a_workshop_is_no_tap() {
    for seed in [21, 22] {
        let sound: Vec<f32> = workshop(120.0, 2e-4, f64::from(RATE), seed).iter().map(|s| *s as f32).collect();
        let told = run(settings(6), &sound, 1000);
        assert_eq!((told.good, told.codes.len()), (0, 0), "{:?}", told.codes);
        assert!(told.stirs > 20, "the noise is heard: {}", told.stirs);
    }
}

/// Whose first taps all bounce is told at the second one: a single double knock is any sound of the room.
#[test]
fn bouncing_from_the_first_tap_on_is_told() {
    let bounce = |tap: usize| Mishap::DoubleHit { tap, after_s: 0.09, strength: 0.7 };
    let take = TakeSpec { mishaps: (0..3).map(bounce).collect(), taps: 3, ..spec() }.make();
    let told = run(settings(3), &take.samples, 480);
    assert_eq!((told.good, told.codes.first()), (0, Some(&"double_hit")), "{:?}", told.codes);
}

/// Two steps: after the first the maker has some seconds to stick the mass on.
#[test]
fn the_next_step_follows_by_itself() {
    let first = TakeSpec { taps: 3, ..spec() }.make().samples;
    let second = TakeSpec { taps: 3, seed: 9, first_tap_s: 6.0, ..spec() }.make().samples;
    let mut settings = settings(3);
    settings.steps.push(Step { name: "waist + 5 g".into(), change: "stick 5 g on at waist".into() });
    let sound: Vec<f32> = first.into_iter().chain(second).collect();
    let told = run(settings, &sound, 1000);
    assert_eq!((told.steps_done, told.takes.len()), (2, 2), "{:?} {}", told.codes, told.stirs);
}

/// With `until` the session goes on past the usual number, or stops earlier, as the precision asks.
#[test]
fn precision_decides_when_it_is_asked_for() {
    let take = spec().make();
    let told = |until| {
        let mut settings = settings(5);
        settings.goal.until = Some(until);
        run(settings, &take.samples, 1000)
    };
    let coarse = told(0.05);
    assert_eq!(coarse.steps_done, 1);
    assert!(coarse.good < 5, "{}", coarse.good);
    let fine = told(1e-5);
    assert_eq!((fine.steps_done, fine.good), (0, 8));
}

/// Plays a sound to a session; whatever it orders is given to `work`, whose answers go back to it.
fn attended(session: &mut Session, sound: &[f32], mut work: impl FnMut(&mut Session, &Order) -> Vec<Answer>) {
    for chunk in sound.chunks(4800) {
        session.hear(chunk);
        obey(session, &mut work);
        if session.finished() {
            return;
        }
    }
}

/// No room for the third of three taps: the step is not done, and two are counted, until the take is kept.
#[test]
fn what_is_not_kept_does_not_count() {
    let take = TakeSpec { taps: 3, ..spec() }.make();
    let mut session = Session::new(settings(3));
    let mut estimator = Estimator::default();
    let mut done = 0;
    attended(&mut session, &take.samples, |_, order| {
        done += usize::from(matches!(order, Order::Sound(Tone::StepDone)));
        let kept = match order {
            Order::Grown { taps, .. } => {
                Some(Answer::Kept { taps: *taps, trouble: (*taps == 3).then(|| "disk full".to_owned()) })
            }
            _ => None,
        };
        kept.into_iter().chain(attend(order, 1, RATE, &mut estimator)).collect()
    });
    assert!(!session.finished() && done == 0);
    assert_eq!((session.view().good, session.view().phase.clone()), (2, Some(Phase::Held)));
    session.answer(Answer::Kept { taps: 3, trouble: None });
    assert!(session.finished() && session.view().good == 3);
}

/// A tap of a fiftieth of the others' strength (34 dB) is not taken in; one of a fifth (14 dB) is.
#[test]
fn a_tap_far_softer_than_the_take_is_told() {
    let mishaps = vec![Mishap::TooLoud { tap: 3, times: 0.02 }, Mishap::TooLoud { tap: 4, times: 0.2 }];
    let take = TakeSpec { mishaps, taps: 6, ..spec() }.make();
    let told = run(settings(6), &take.samples, 480);
    assert_eq!((told.good, told.codes), (5, vec!["too_weak"]));
    let soft = &take.samples[take.onsets[3]..take.onsets[3] + 200];
    assert!(told.takes[0].windows(200).all(|w| w != soft), "the soft tap is not in the take");
}

/// A tap with which the take measures worse is taken back, and the file becomes again what it was. When a later one shows that the
/// fault was another's, it comes back.
#[test]
fn a_tap_that_spoils_the_take_is_taken_back() {
    let take = TakeSpec { taps: 6, ..spec() }.make();
    let mut session = Session::new(settings(6));
    let mut estimator = Estimator::default();
    let (mut files, mut codes) = (Vec::new(), Vec::new());
    attended(&mut session, &take.samples, |session, order| {
        if let Some(Phase::Again { code, .. }) = session.view().phase {
            codes.push(code);
        }
        let mut answer = attend(order, 1, RATE, &mut estimator);
        // The estimate of four taps leaves three out; of five or six none.
        if let (Order::Grown { taps, sound, .. }, Some(Answer::Estimated { estimate: Ok(estimate), .. })) =
            (order, &mut answer)
        {
            files.push((*taps, sound.clone()));
            if *taps == 4 {
                estimate.taps[..3].iter_mut().for_each(|t| t.reasons.push(TapReason::UnlikeOthers));
            }
        }
        answer.into_iter().collect()
    });
    codes.dedup();
    let sizes: Vec<usize> = files.iter().map(|f| f.0).collect();
    // The fourth spoils it, and so does the fifth; both together do not.
    assert_eq!(sizes, [2, 3, 4, 3, 4, 3, 5, 6]);
    assert!(files[3].1 == files[1].1 && files[5].1 == files[1].1, "the file is again what it was");
    assert_eq!((codes, session.finished(), session.view().good), (vec!["spoils_take"], true, 6));
}
