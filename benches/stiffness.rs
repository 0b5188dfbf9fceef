//! How long the plate's modes and a blank's whole inversion take. `cargo bench --bench stiffness`

mod goals;

use std::time::Instant;

use ringwright::part::Sizes;
use ringwright::rim::{Outline, Plane, Rim, Section};
use ringwright::simulate::Blank;
use ringwright::stiffness::{Constants, Size, Tone, bending_stiffnesses, blank_from_tones, free_plate_modes};
use ringwright::uncertainty::Figure;

fn median_ms(runs: usize, mut what: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..runs)
        .map(|_| {
            let started = Instant::now();
            what();
            1e3 * started.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[runs / 2]
}

fn main() {
    let size = Size { length_m: 0.76, width_m: 0.112, thickness_m: 1.9e-3, mass_kg: 0.0996 };
    let constants = Constants { along_pa: 12.3e9, across_pa: 1.29e9, shear_pa: 1.03e9, poisson: 0.48 };
    let stiffnesses = bending_stiffnesses(&constants, size.thickness_m);
    let count = free_plate_modes(&stiffnesses, &size, (24, 10), 1200.0).len();
    let ritz = median_ms(21, || {
        std::hint::black_box(free_plate_modes(&stiffnesses, &size, (24, 10), 1200.0));
    });
    let blank = Blank { size, constants, damping: [0.005, 0.011, 0.008] };
    let tones: Vec<Tone> = blank
        .modes((60.0, 900.0))
        .into_iter()
        .map(|(frequency_hz, _, _)| Tone { frequency_hz, frequency_hz_u: 1e-4 * frequency_hz })
        .collect();
    let sizes = Sizes {
        length: Figure::new(0.76, 3e-4, "length"),
        width: Figure::new(0.112, 3e-4, "width"),
        thickness: Figure::new(1.9e-3, 2e-5, "thickness"),
        mass: Figure::new(0.0996, 1e-3, "mass"),
    };
    let inversion = median_ms(5, || {
        std::hint::black_box(blank_from_tones(&sizes, &tones));
    });
    println!("plate, {count} modes below 1200 Hz: {ritz:.1} ms (goal: 40 modes in 20 ms)");
    goals::tell("40 modes of a plate", "20 ms", &format!("{ritz:.1} ms ({count} modes)"), count >= 40 && ritz <= 20.0);
    let section = Section::strip(1.9e-3, 0.095, 12.3e9, 1.03e9, 616.0);
    let rim = Rim::closed(&Outline::named("parlour").expect("a named outline"), 200, &section, &[]);
    let frame = median_ms(21, || {
        std::hint::black_box(rim.modes(Plane::In, 30));
    });
    println!("rim of 200 elements, 30 modes in its plane: {frame:.0} ms (goal: 100 ms)");
    goals::tell("a rim of 200 elements, 30 modes", "100 ms", &format!("{frame:.0} ms"), frame <= 100.0);
    println!("numbering and moduli from {} tones: {inversion:.0} ms (goal: 1000 ms)", tones.len());
    let told = format!("{inversion:.0} ms ({} tones)", tones.len());
    goals::tell("numbering and moduli of a blank", "1000 ms", &told, inversion <= 1000.0);
}
