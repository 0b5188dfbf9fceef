//! The tap finder and the estimator on any samples: times in order and inside, figures that are numbers.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ringwright::modes::{EstimateOptions, Estimator};
use ringwright::sound::{Recording, find_taps};

fuzz_target!(|bytes: &[u8]| {
    let Some((head, body)) = bytes.split_first_chunk::<2>() else { return };
    let rate_hz = f64::from(8000 + u32::from(head[0]) * 300);
    // Each byte is held for some samples, so that a short input lasts, plus a little noise of its own.
    let held = 1 + usize::from(head[1]);
    let mut state = 1u32;
    let samples: Vec<f32> = body
        .iter()
        .flat_map(|b| std::iter::repeat_n(f32::from(*b as i8) / 128.0, held))
        .take(40_000)
        .map(|s| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            s + (state >> 8) as f32 * 1e-12
        })
        .collect();
    let Ok(mut recording) = Recording::from_samples(samples, rate_hz) else { return };
    let Ok(found) = find_taps(&mut recording) else { return };
    let length = recording.len();
    assert!(found.taps.iter().all(|t| t.onset < t.end && t.end <= length), "{:?}", found.taps);
    assert!(found.taps.windows(2).all(|w| w[0].onset < w[1].onset), "{:?}", found.taps);
    let estimate = Estimator::default().estimate(&mut recording, &found, &EstimateOptions::default());
    for m in estimate.map(|e| e.modes).unwrap_or_default() {
        let all = [m.frequency_hz, m.frequency_hz_u, m.damping_ratio, m.damping_ratio_u, m.level_db];
        assert!(all.iter().all(|v| v.is_finite()) && m.frequency_hz > 0.0 && m.damping_ratio > 0.0, "{m:?}");
        assert!(m.frequency_hz_u > 0.0 && m.damping_ratio_u > 0.0, "{m:?}");
    }
});
