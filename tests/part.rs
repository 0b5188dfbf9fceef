//! `measure` with a described part, and with masses stuck on: what it says, and what it says of wrong descriptions.

use std::fs;

use ringwright::report::Document;
use ringwright::simulate::{Blank, TakeSpec};
use ringwright::stiffness::{Constants, Size};
use tempfile::TempDir;

mod common;

use common::{LAMINATED, PLAIN, run, take, write};

/// A folder with a take of a blank of E 12 and 1 GPa, G 1.1 GPa, 700 x 110 x 2.5 mm, 120 g.
fn blank() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let blank = Blank {
        size: Size { length_m: 0.7, width_m: 0.11, thickness_m: 2.5e-3, mass_kg: 0.12 },
        constants: Constants { along_pa: 12e9, across_pa: 1e9, shear_pa: 1.1e9, poisson: 0.4 },
        damping: [0.005, 0.01, 0.008],
    };
    write(&folder.path().join("take.wav"), &TakeSpec { modes: blank.sound((0.06, 0.12), (0.3, 0.35), 0.1), ..take() });
    folder
}

const SIZES: [&str; 8] =
    ["--length", "700 mm", "--width", "110 mm", "--thickness", "2.50 2.52 2.49 mm", "--mass", "120 g"];

#[test]
fn a_described_blank_has_its_moduli_in_all_forms() {
    let folder = blank();
    let (code, text, err) = run(folder.path(), &[&["measure", "take.wav", "--explain"][..], &SIZES].concat());
    assert_eq!(code, Some(0), "{text}{err}");
    for words in [
        "E along the grain",
        "thickness:",
        "how hard the wood is to stretch",
        "Its uncertainty comes from",
        "is: b bending",
    ] {
        let said = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{words} is not said\n{text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 100), "{text}");
    let (_, json, _) = run(folder.path(), &[&["measure", "take.wav", "--format", "json"][..], &SIZES].concat());
    let document: Document = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    let part = document.recordings[0].part.as_ref().expect("a part");
    assert_eq!(part.decided, Some(true));
    for (code, truth) in [("modulus_along_pa", 12e9), ("modulus_across_pa", 1e9), ("shear_modulus_pa", 1.1e9)] {
        let quantity = part.quantities.iter().find(|q| q.code == code).unwrap_or_else(|| panic!("{code}\n{json}"));
        let [low, high] = quantity.figure.interval_95;
        assert!(low < truth && truth < high, "{code}: {low} to {high}");
    }
    let (_, csv, _) = run(folder.path(), &[&["measure", "take.wav", "--format", "csv"][..], &SIZES].concat());
    assert!(
        csv.contains("bending 3")
            && csv.lines().next().is_some_and(|l| l.split(',').any(|c| c == "modulus_along_pa_u")),
        "{csv}"
    );
}

#[test]
fn wrong_descriptions_are_named() {
    let folder = blank();
    let with = |extra: &[&str]| run(folder.path(), &[&["measure", "take.wav"][..], extra].concat());
    let said = |(code, out, err): (Option<i32>, String, String), wanted: i32, words: &[&str]| {
        let all = format!("{out} {err}").split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(code, Some(wanted), "{all}");
        words.iter().for_each(|w| assert!(all.contains(w), "{w:?} is not said\n{all}"));
        assert!(!all.contains("panicked"), "{all}");
    };
    said(with(&["--length", "700 mmm"]), 2, &["--length", "is \"mm\" meant"]);
    said(with(&["--mass", "120"]), 2, &["--mass", "no unit"]);
    said(with(&["--width=-3 mm"]), 2, &["above zero"]);
    // Missing sizes: the modes are still told.
    said(with(&["--length", "700 mm"]), 0, &["width, thickness, mass not given", "can still be told"]);
    // Ten times too thick: questioned, and no modulus.
    let wrong = with(&["--length", "700 mm", "--width", "110 mm", "--thickness", "25 mm", "--mass", "120 g"]);
    assert!(!wrong.1.contains("E along"), "{}", wrong.1);
    said(wrong, 0, &["too low for any wood", "thickness would be", "no modulus is computed"]);
    // A length that does not fit the modes.
    let odd = with(&["--length", "500 mm", "--width", "110 mm", "--thickness", "2.5 mm", "--mass", "86 g"]);
    assert!(!odd.1.contains("E along the grain"), "a modulus from a wrong length\n{}", odd.1);
    said(
        odd,
        0,
        &["no modulus is given: sound would go along the grain at 22", "Are length, thickness and mass right"],
    );
    // Files.
    fs::write(folder.path().join("bad.toml"), "kind = \"strip\"\nlength = \"700\"\n").expect("it can be written");
    said(with(&["--part", "bad.toml"]), 2, &["bad.toml", "line 2, length", "no unit"]);
    said(with(&["--part", "none.toml"]), 2, &["none.toml", "cannot be read"]);
    said(with(&["--part", "bad.toml", "--length", "1 m"]), 2, &["cannot be used with"]);
    fs::write(folder.path().join("rim.toml"), "kind = \"rim\"\nmass = \"412 g\"\n").expect("it can be written");
    said(with(&["--part", "rim.toml"]), 0, &["a rim has no modulus"]);
}

/// A ring tapped with 0, 4 and 8 g stuck on, in the folders of a bench: modal mass, stiffness, mobility and the power drawn
/// against a limper one.
#[test]
fn stuck_on_masses_give_the_effective_stiffness() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (limp, stiff) = (PLAIN, LAMINATED);
    for (name, ring) in [("a-plain", limp), ("b-laminated", stiff)] {
        for (place, grams) in [0.0, 4.0, 8.0].into_iter().enumerate() {
            let station = if grams == 0.0 { "tail".to_owned() } else { format!("tail+{grams}g") };
            let spec = TakeSpec { modes: ring.sound(1e-3 * grams, 0.1), seed: 5 + place as u64, ..take() };
            write(&folder.path().join("rim").join(name).join(station).join("take-01.wav"), &spec);
        }
    }
    fs::write(
        folder.path().join("rim.toml"),
        "kind = \"rim\"\n[deflection]\nweight = \"500 g\"\nreading = \"0.42 0.43 0.42 mm\"\n",
    )
    .expect("it can be written");
    let (code, json, err) = run(folder.path(), &["measure", "rim", "--part", "rim.toml", "--format", "json"]);
    assert_eq!(code, Some(0), "{err}");
    let document: Document = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    assert_eq!(document.stations.len(), 2, "{json}");
    for (station, ring) in document.stations.iter().zip([limp, stiff]) {
        assert_eq!(station.added_kg, [0.0, 0.004, 0.008]);
        let truths = ring.modes_with_mass(0.0);
        let told = station.modes.iter().filter(|m| m.modal_mass_kg.is_some()).count();
        assert!(told >= 4, "{json}");
        for mode in &station.modes {
            let (Some(mass), Some(stiffness)) = (&mode.modal_mass_kg, &mode.stiffness_n_m) else { continue };
            let (f, truth) = truths
                .iter()
                .min_by(|a, b| (a.0 - mode.frequency_hz.value).abs().total_cmp(&(b.0 - mode.frequency_hz.value).abs()))
                .expect("modes");
            assert!(
                (mass.value / truth - 1.0).abs() < (3.0 * mass.u / mass.value).max(0.01),
                "{f}: {} {truth}",
                mass.value
            );
            let exact = truth * (std::f64::consts::TAU * f).powi(2);
            assert!((stiffness.value / exact - 1.0).abs() < 3.5 * stiffness.u / stiffness.value);
        }
    }
    let ratio = document.stations[1].power_drawn_ratio.as_ref().expect("against the first");
    assert!(ratio.value < 0.6 && ratio.interval_95[1] < 0.7, "{ratio:?}");
    assert!(document.stations[0].power_drawn_ratio.is_none());

    // One weight on one place belongs to one station: with two of them it is not shown.
    assert!(document.stations.iter().all(|s| s.static_stiffness_n_m.is_none()));
    let one = ["measure", "rim/a-plain", "--part", "rim.toml", "--format", "json"];
    let (_, json, _) = run(folder.path(), &one);
    let document: Document = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    // 0.5 kg times standard gravity over 0.4233 mm.
    let weight = document.stations[0].static_stiffness_n_m.as_ref().expect("from the weight");
    assert!((weight.value / 11_582.0 - 1.0).abs() < 1e-3, "{}", weight.value);

    // One mass, however often it is stuck on, gives no M, k, mobility or power: the modes are listed, and what is missing is said.
    let laminated = folder.path().join("rim/b-laminated");
    fs::remove_dir_all(laminated.join("tail+8g")).expect("it is there");
    fs::copy(laminated.join("tail+4g/take-01.wav"), laminated.join("tail+4g/take-02.wav")).expect("copied");
    let (code, json, _) = run(folder.path(), &["measure", "rim", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    let one = &value["stations"][1];
    assert!(
        code == Some(0)
            && one["error"].as_str().is_some_and(|e| e.contains("single added mass") && e.contains("; tap with ")),
        "{one}"
    );
    for figure in ["mean_mobility_m_n_s", "power_drawn_ratio", "band_hz"] {
        assert!(one[figure].is_null(), "{figure}: {one}");
    }
    for mode in one["modes"].as_array().expect("modes") {
        for figure in ["modal_mass_kg", "stiffness_n_m", "peak_mobility_m_n_s"] {
            assert!(mode[figure].is_null(), "{figure}: {mode}");
            assert_eq!(mode["reason"], "one_mass", "{mode}");
        }
    }
    let (_, text, _) = run(folder.path(), &["compare", "rim/a-plain/tail", "rim/b-laminated/tail"]);
    let said = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("no mobility: ") && said.contains("; tap with "), "{text}");
    assert!(!said.contains("power against") && !said.contains("stiffness k"), "{text}");

    // Only masses, no bare take; and a mass too small to tell.
    fs::remove_dir_all(folder.path().join("rim/a-plain/tail")).expect("it is there");
    let (_, text, _) = run(folder.path(), &["measure", "rim/a-plain"]);
    assert!(text.contains("no take without added mass"), "{text}");
}
