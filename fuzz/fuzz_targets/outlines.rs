//! Outlines as points and as drawings: a closed curve of a guitar's size, or refused.
#![no_main]

use libfuzzer_sys::fuzz_target;
use ringwright::rim::Outline;

fuzz_target!(|text: &str| {
    for outline in [Outline::from_csv(text), Outline::from_svg(text)].into_iter().flatten() {
        assert!((1.0..=4.0).contains(&outline.length_m()), "{}", outline.length_m());
        for i in 0..=20 {
            let (x, y) = outline.at(f64::from(i) / 20.0);
            assert!(x.is_finite() && y.is_finite());
        }
        for name in ["lower bout", "waist", "upper bout"] {
            assert!(outline.station(name).is_none_or(|s| (0.0..=1.0).contains(&s)));
        }
    }
});
