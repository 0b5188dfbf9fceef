//! Moduli and mode numbers of flat blanks against finite elements (`fem/plates.py`, scikit-fem, conforming thin-plate
//! elements, and the Reissner-Mindlin equations for the thickness, `fem/plates_thick.py`): none of the frequencies comes from this
//! crate.

use ringwright::modes::COVERAGE_95;
use ringwright::part::Sizes;
use ringwright::stiffness::{Constants, Size, Tone, bending_stiffnesses, blank_from_tones, free_plate_modes};
use ringwright::uncertainty::Figure;

use super::{Dice, goals};

struct Blank {
    size: [f64; 3],
    density: f64,
    moduli: [f64; 3],
    /// Frequency (Hz), lines across the length and across the width (negative: no clear kind), shape at the tap.
    modes: Vec<(f64, i64, i64, f64)>,
}

fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
    text.lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .map(|l| l.split(',').map(|v| v.parse().unwrap_or_else(|e| panic!("{v}: {e}"))).collect())
}

fn blanks() -> Vec<Blank> {
    let mut blanks: Vec<Blank> = rows(include_str!("fem/blanks.csv"))
        .map(|r| Blank { size: [r[1], r[2], r[3]], density: r[4], moduli: [r[5], r[6], r[7]], modes: vec![] })
        .collect();
    // The elements are those of a thin plate; wood also gives way in shear through its thickness, along and across.
    let thick = rows(include_str!("fem/plates_thick.csv")).map(|r| r[3]);
    for (r, ratio) in rows(include_str!("fem/plates.csv")).zip(thick) {
        blanks[r[0] as usize].modes.push((r[1] * ratio, r[2] as i64, r[3] as i64, r[4]));
    }
    blanks.iter_mut().for_each(|b| b.modes.sort_by(|x, y| x.0.total_cmp(&y.0)));
    blanks
}

/// A maker's afternoon: sizes read with a rule, a calliper and a scale; modes above 60 Hz heard with an uncertainty that
/// grows as they get weaker, one in six missed, sometimes a tone that is not the blank's.
///
/// Goals: E along within 0.5 % of the truth beyond what the sizes' own errors do; 95 % intervals that hold the truth in 93 to
/// 97 % of cases; a numbering that is right or called undecided, never wrong and sure.
#[test]
fn blanks_give_their_moduli() {
    let count: usize = std::env::var("RINGWRIGHT_BLANKS").ok().and_then(|v| v.parse().ok()).unwrap_or(40);
    let trace = std::env::var_os("RINGWRIGHT_TRACE").is_some();
    let (mut decided, mut wrong) = (0usize, Vec::<String>::new());
    let (mut called, mut wrongly_called) = (0usize, 0usize);
    let mut held = [(0usize, 0usize); 3];
    let mut exact = Vec::new();
    let only: Option<usize> = std::env::var("RINGWRIGHT_BLANK").ok().and_then(|v| v.parse().ok());
    for (index, blank) in blanks().iter().enumerate().take(count) {
        if only.is_some_and(|o| o != index) {
            continue;
        }
        // Each blank its own, so that any of them can be looked at alone.
        let mut dice = Dice::new(7000 + index as u64);
        let highest = 500.0 + 500.0 * dice.uniform();
        let mut tones = Vec::new();
        let mut truths = Vec::new();
        for (f, m, n, phi) in &blank.modes {
            let weak = phi.abs() < 0.6;
            if *f < 60.0 || *f > highest || weak || dice.uniform() < 1.0 / 6.0 {
                continue;
            }
            let u = f * 10f64.powf(-4.5 + 1.5 * dice.uniform());
            tones.push(Tone { frequency_hz: f + u * dice.normal(), frequency_hz_u: u });
            truths.push((*m, *n));
        }
        if dice.uniform() < 0.3 {
            let f = 60.0 + (highest - 60.0) * dice.uniform();
            let at = tones.iter().position(|t| t.frequency_hz > f).unwrap_or(tones.len());
            tones.insert(at, Tone { frequency_hz: f, frequency_hz_u: 1e-4 * f });
            truths.insert(at, (-2, -2));
        }
        // A table of modes goes by frequency, also where the noise turns two of them round.
        let mut order: Vec<usize> = (0..tones.len()).collect();
        order.sort_by(|a, b| tones[*a].frequency_hz.total_cmp(&tones[*b].frequency_hz));
        let (tones, truths): (Vec<Tone>, Vec<(i64, i64)>) = order.iter().map(|i| (tones[*i], truths[*i])).unzip();
        let mut read = |value: f64, u: f64, name: &str| Figure::new(value + u * dice.normal(), u, name);
        let [a, b, h] = blank.size;
        let mass = blank.density * a * b * h;
        let sizes = Sizes {
            length: read(a, 0.3e-3, "length"),
            width: read(b, 0.3e-3, "width"),
            thickness: read(h, 0.02e-3, "thickness"),
            mass: read(mass, 0.5e-3, "mass"),
        };
        let result = blank_from_tones(&sizes, &tones);
        // What these very size readings make of the true moduli.
        let [mass_off, length_off, width_off, thickness_off] =
            [sizes.mass.value / mass, sizes.length.value / a, sizes.width.value / b, sizes.thickness.value / h];
        let readings = mass_off / thickness_off.powi(3);
        let from_sizes = [
            blank.moduli[0] * readings * length_off.powi(3) / width_off,
            blank.moduli[1] * readings * width_off.powi(3) / length_off,
            blank.moduli[2] * readings * length_off * width_off,
        ];
        let given = [&result.along, &result.across, &result.shear];
        let mut far = Vec::new();
        for (i, got) in given.into_iter().enumerate() {
            let Some(got) = got else { continue };
            held[i].0 += usize::from((got.value - blank.moduli[i]).abs() < COVERAGE_95 * got.u());
            held[i].1 += 1;
            // Beside the readings, a modulus is off by what the tones and the plate leave, which is a percent or two where few are heard.
            let beyond = (got.value / from_sizes[i] - 1.0).abs();
            if (got.value - blank.moduli[i]).abs() > 2.5 * got.half_95() || beyond > 0.03 {
                far.push(format!("{}: {:+.1} %", ["E along", "E across", "G"][i], 100.0 * beyond));
            }
        }
        if !far.is_empty() {
            wrong.push(format!("{index} ({})", far.join(", ")));
        }
        if !result.decided() || result.along.is_none() {
            if trace {
                println!("{index}: {} tones, undecided: {:?}", tones.len(), result.notes);
            }
            continue;
        }
        decided += 1;
        let numbering = &result.numberings[0];
        // A tone of the blank must be called what the elements call it (or nothing), whatever its family.
        let miscalled = numbering
            .numbers
            .iter()
            .zip(&truths)
            .filter(|(got, truth)| got.is_some_and(|(m, n)| truth.0 >= 0 && (m as i64, n as i64) != **truth));
        let miscalled = miscalled.count();
        called += numbering.numbers.iter().flatten().count();
        wrongly_called += miscalled;
        let along = result.along.as_ref().expect("it is told");
        exact.push((along.value / from_sizes[0] - 1.0).abs());
        let confident_wrong = !far.is_empty() || 4 * miscalled > tones.len();
        if 4 * miscalled > tones.len() {
            wrong.push(format!("{index} ({miscalled} of {} miscalled)", tones.len()));
        }
        if trace && only.is_some() {
            for ((tone, got), truth) in tones.iter().zip(&numbering.numbers).zip(&truths) {
                println!("   {:9.2} Hz is {truth:?}, called {got:?}", tone.frequency_hz);
            }
        }
        if trace {
            let z3: Vec<String> = [&result.along, &result.across, &result.shear]
                .into_iter()
                .zip(blank.moduli)
                .map(|(g, t)| {
                    g.as_ref().map_or("-".into(), |g| format!("{:.2}/{:.3}", (g.value - t) / g.u(), g.relative_u()))
                })
                .collect();
            println!(
                "{index}: {} tones, {miscalled} miscalled, {z3:?} exact {:.4} deviation {:.5}{}",
                tones.len(),
                exact[exact.len() - 1],
                numbering.deviation,
                if confident_wrong { " WRONG" } else { "" }
            );
        }
    }
    exact.sort_by(f64::total_cmp);
    let share = |(held, all): (usize, usize)| format!("{held} of {all}");
    println!(
        "{count} blanks: decided {decided}; wrong and sure {wrong:?}; {wrongly_called} of {called} tones miscalled; intervals hold E along {}, across {}, G {}; E beyond the \
         sizes' errors: median {:.3} %, 95 % within {:.3} %",
        share(held[0]),
        share(held[1]),
        share(held[2]),
        100.0 * exact[exact.len() / 2],
        100.0 * exact[exact.len() * 95 / 100]
    );
    let (half, most) = (100.0 * exact[exact.len() / 2], 100.0 * exact[exact.len() * 95 / 100]);
    let goal = format!("{count} blanks by finite elements");
    let told = format!("median {half:.2} %, 95 % of them within {most:.2} %");
    goals::tell(&format!("{goal}: E along, beyond the sizes' own errors"), "0.5 %", &told, half < 0.5);
    let shares = held.map(|(held, all)| 100.0 * held as f64 / all.max(1) as f64);
    let told = format!("{:.1}, {:.1}, {:.1} % of {decided}", shares[0], shares[1], shares[2]);
    let met = shares.iter().all(|s| (93.0..=97.0).contains(s));
    goals::tell(&format!("{goal}: intervals hold E along, across, G"), "93 to 97 %", &told, met);
    let right = 100.0 * (1.0 - wrongly_called as f64 / called.max(1) as f64);
    let told = format!("{right:.1} %; {} wrong and sure", wrong.len());
    goals::tell(
        &format!("{goal}: tones called by their name"),
        "98 %; none wrong and sure",
        &told,
        right >= 98.0 && wrong.is_empty(),
    );
    assert!(wrong.is_empty(), "wrong and sure: {wrong:?}");
    // Wanted: 98 % right. Where two modes mix, the name is a matter of which product they are most like.
    assert!(wrongly_called * 50 <= called, "{wrongly_called} of {called} tones are called what they are not");
    assert!(decided * 10 >= count * 7, "only {decided} of {count} are decided");
    // Binomial: with 95 % true, fewer than 85 % of 40 or more happens once in a thousand.
    for (held, all) in held {
        assert!(all > 0, "none of {decided} is told");
        assert!(held * 100 >= all * 85, "intervals hold the truth in {held} of {all} cases");
    }
    assert!(exact[exact.len() / 2] < 0.005);
}

/// Length, width, thickness; mass; tones; moduli as published; moduli as a thin plate has these tones.
type Tapped = ([f64; 3], f64, [f64; 3], [f64; 3], [f64; 3]);

/// Real plates of spruce, tapped: length, width, thickness (mm), mass (g), tones (Hz) of twist, first bending along and across, and
/// moduli E along, across, G (GPa) as published, and as a thin plate of nu 0.39 has these very tones (project reference, by another
/// program). Sizes, masses and published moduli: Badiane and others, J. Acoust. Soc. Am. 154 (2023) 730, open data; tones: from the
/// records there.
const TAPPED: [Tapped; 5] = [
    ([580.0, 217.2, 4.90], 256.0, [51.502, 75.743, 163.252], [10.700, 0.976, 0.682], [10.609, 0.959, 0.652]),
    ([580.0, 217.0, 4.70], 253.8, [51.495, 74.990, 159.150], [11.600, 0.964, 0.756], [11.694, 1.021, 0.733]),
    ([576.0, 216.2, 4.60], 225.6, [54.327, 79.418, 159.681], [11.900, 1.010, 0.816], [12.227, 0.971, 0.766]),
    ([581.4, 217.6, 5.00], 272.8, [56.704, 80.824, 162.865], [12.100, 0.999, 0.798], [12.184, 0.961, 0.801]),
    ([581.2, 217.4, 5.00], 269.2, [56.742, 77.308, 163.828], [10.800, 0.970, 0.794], [10.996, 0.956, 0.793]),
];

/// The thin plate has the tones that real plates have, with the moduli that another program found for them; and with the published
/// ones about so: their thickness varies by 2 to 3 % within a plate, which is 4 % of a tone.
#[test]
fn real_plates_have_their_tones() {
    for ([length, width, thickness], grams, tones, published, thin) in TAPPED {
        let size = Size {
            length_m: 1e-3 * length,
            width_m: 1e-3 * width,
            thickness_m: 1e-3 * thickness,
            mass_kg: 1e-3 * grams,
        };
        for (moduli, within) in [(thin, 5e-4), (published, 0.04)] {
            let [along, across, shear] = moduli.map(|gpa| 1e9 * gpa);
            let constants = Constants { along_pa: along, across_pa: across, shear_pa: shear, poisson: 0.39 };
            let stiffnesses = bending_stiffnesses(&constants, size.thickness_m);
            let modes = free_plate_modes(&stiffnesses, &size, (14, 12), 250.0);
            for (tone, kind) in tones.into_iter().zip([(1, 1), (2, 0), (0, 2)]) {
                let mode = modes.iter().find(|m| (m.across_length, m.across_width) == kind).expect("it is there");
                let got = mode.omega_squared.sqrt() / std::f64::consts::TAU;
                assert!((got / tone - 1.0).abs() < within, "{thickness} mm {kind:?}: {got} {tone}");
            }
        }
    }
}

/// What thickness takes from each mode, against the Reissner-Mindlin plate. There the shear modulus for bending across is 0.3 of the one
/// in the plane, the program takes a quarter: 20 % more of what that shear takes, which is at most 8e-3 of omega^2 in these blanks, so
/// 8e-4 of the frequency; terms of the second order are up to 5e-4.
#[test]
fn thickness_takes_what_a_thick_plate_says() {
    let sizes: Vec<Vec<f64>> = rows(include_str!("fem/blanks.csv")).take(40).collect();
    let (mut count, mut squares) = (0, 0.0);
    for b in &sizes {
        let size = Size { length_m: b[1], width_m: b[2], thickness_m: b[3], mass_kg: b[4] * b[1] * b[2] * b[3] };
        let constants = Constants { along_pa: b[5], across_pa: b[6], shear_pa: b[7], poisson: b[8] };
        let stiffnesses = bending_stiffnesses(&constants, size.thickness_m);
        let ours = free_plate_modes(&stiffnesses, &size, (26, 14), 1100.0);
        let both = rows(include_str!("fem/plates.csv")).zip(rows(include_str!("fem/plates_thick.csv")));
        for (mode, thick) in both.filter(|(m, _)| m[0] == b[0] && m[2] >= 0.0) {
            let kind = (mode[2] as usize, mode[3] as usize);
            let Some(own) = ours.iter().find(|o| (o.across_length, o.across_width) == kind) else { continue };
            let thin = own.omega_squared.sqrt() / std::f64::consts::TAU;
            // Where two modes mix the same name may mean the other one.
            if (thin / mode[1] - 1.0).abs() > 2e-4 {
                continue;
            }
            let off = own.frequency_hz(&constants, &stiffnesses, size.thickness_m) / thin / thick[3] - 1.0;
            assert!(off.abs() < 2e-3, "{kind:?} of {size:?}: {off}");
            (count, squares) = (count + 1, squares + off * off);
        }
    }
    let rms = (squares / f64::from(count)).sqrt();
    println!("{count} modes: {rms:.1e} (root mean square)");
    assert!(count > 1000 && rms < 5e-4, "{count} {rms}");
}
