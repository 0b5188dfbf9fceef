//! `compare` as people meet it: stages of a simulated rim, and what is said of wrong input.

use std::fs;

use ringwright::simulate::Ring;
use tempfile::TempDir;

mod common;

use common::{LAMINATED, PLAIN, run, write_ring};

/// Plain, the same again, and seven times as stiff at twice the mass; 207 g and 413 g.
fn bench() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let laminated = Ring { damping_ratio: 0.010, ..LAMINATED };
    for (name, ring, mass) in [("plain", PLAIN, 206.7), ("again", PLAIN, 206.7), ("laminated", laminated, 413.4)] {
        for take in 1..=2 {
            let seed = take + name.len() as u64 * 10;
            write_ring(&folder.path().join(format!("rim/{name}/waist/take-0{take}.wav")), &ring, seed);
        }
        let text = format!("kind = \"rim\"\nmass = \"{mass} g\"\n");
        fs::write(folder.path().join(format!("rim/{name}/waist/part.toml")), text).expect("it can be written");
    }
    folder
}

#[test]
fn answers_in_a_sentence_and_in_all_forms() {
    let folder = bench();
    let stages = ["compare", "rim/plain/waist", "rim/laminated/waist", "rim/again/waist"];
    let (code, text, err) = run(folder.path(), &[&stages[..], &["--page", "page.png"]].concat());
    assert_eq!(code, Some(0), "{text}{err}");
    assert!(text.starts_with("laminated/waist against plain/waist: "), "{text}");
    assert!(text.contains("times as stiff") && text.contains("times the mass"), "{text}");
    let again = text.split("again/waist against").nth(1).expect("the second comparison");
    assert!(again.contains("no clear difference") || again.contains("no difference that matters"), "{text}");
    assert!(!text.contains("nan") && !text.contains("inf "), "{text}");
    let png = fs::read(folder.path().join("page.png")).expect("the page is there");
    assert!(png.starts_with(b"\x89PNG"));
    let (_, json, _) = run(folder.path(), &[&stages[..], &["--format", "json"]].concat());
    let value: serde_json::Value = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    let rows = value["comparisons"][0]["whole"].as_array().expect("rows");
    // EI 7 times: f^2 m goes with EI for one shape.
    let stiffness = rows.iter().find(|r| r["code"] == "stiffness_by_mass").expect("stiffness");
    let (low, high) = (stiffness["ratio_95"][0].as_f64(), stiffness["ratio_95"][1].as_f64());
    assert!(low.is_some_and(|l| l < 7.0) && high.is_some_and(|h| h > 7.0), "{stiffness}");
    let same = value["comparisons"][1]["whole"].as_array().expect("rows");
    assert!(!same.is_empty() && same.iter().all(|r| r["verdict"] == "not_told_apart"), "{json}");
    let (_, csv, _) = run(folder.path(), &[&stages[..], &["--format", "csv"]].concat());
    assert!(csv.lines().count() > 10 && csv.starts_with("baseline,other,pair,code"), "{csv}");
}

#[test]
fn wrong_input_is_named() {
    let folder = bench();
    let said = |arguments: &[&str], wanted: i32, words: &[&str]| {
        let (code, out, err) = run(folder.path(), arguments);
        let all = format!("{out} {err}").split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(code, Some(wanted), "{all}");
        words.iter().for_each(|w| assert!(all.contains(w), "{w:?} is not said\n{all}"));
        assert!(!all.contains("panicked"), "{all}");
    };
    said(&["compare", "rim/plain/waist"], 2, &["OTHER"]);
    said(&["compare", "rim/none", "rim/plain/waist"], 2, &["none", "nothing in it could be measured"]);
    said(&["compare", "rim/plain/waist", "rim/plain/waist"], 2, &["is the baseline itself"]);
    said(&["compare", "rim/plain/waist", "rim/again/waist", "--pair", "3"], 2, &["write it like 3=2"]);
    said(&["compare", "rim", "rim/plain/waist"], 2, &["holds several stations"]);
    fs::write(folder.path().join("saved.json"), "{}").expect("it can be written");
    said(&["compare", "rim/plain/waist", "saved.json"], 2, &["saved.json", "is no report"]);
    // A saved report of measure is a stage.
    let (_, json, _) = run(folder.path(), &["measure", "rim/plain/waist", "--format", "json"]);
    fs::write(folder.path().join("saved.json"), json).expect("it can be written");
    said(&["compare", "saved.json", "rim/laminated/waist"], 0, &["loss, mean over the pairs", "holds no mass"]);
    // One broken recording among good ones.
    fs::write(folder.path().join("rim/plain/waist/take-03.wav"), b"no sound").expect("it can be written");
    said(&["compare", "rim/plain/waist", "rim/laminated/waist"], 1, &["take-03.wav", "times as stiff"]);
    // An existing picture is not replaced without being asked.
    fs::write(folder.path().join("page.png"), b"mine").expect("it can be written");
    said(&["compare", "rim/plain/waist", "rim/again/waist", "--page", "page.png"], 2, &["exists already", "--force"]);
    assert_eq!(fs::read(folder.path().join("page.png")).expect("it is there"), b"mine");
}

/// Three earlier rims that differ a little, a new one like them, and one that is far stiffer.
#[test]
fn a_new_rim_is_set_against_earlier_ones() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let rims = [("rim-1", 1.0), ("rim-2", 1.04), ("rim-3", 0.97), ("rim-4", 1.02), ("odd", 1.5)];
    for (place, (name, factor)) in rims.into_iter().enumerate() {
        let ring = Ring { bending_stiffness_n_m2: factor * PLAIN.bending_stiffness_n_m2, ..PLAIN };
        write_ring(&folder.path().join(name).join("take-01.wav"), &ring, place as u64 + 1);
    }
    let earlier = ["--earlier", "rim-1", "--earlier", "rim-2", "--earlier", "rim-3"];
    let (code, text, err) = run(folder.path(), &[&["compare", "rim-4"][..], &earlier].concat());
    assert_eq!(code, Some(0), "{text}{err}");
    assert!(text.contains("rim-4 is as usual") && text.contains("3 earlier parts are few"), "{text}");
    let (_, text, _) = run(folder.path(), &[&["compare", "odd"][..], &earlier].concat());
    assert!(text.contains("odd is not as usual") && text.contains("above all that is usual here"), "{text}");
    let (_, json, _) = run(folder.path(), &[&["compare", "odd", "--format", "json"][..], &earlier].concat());
    let value: serde_json::Value = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
    assert_eq!(value["charts"][0]["earlier"].as_array().map(Vec::len), Some(3));
    let (code, _, err) = run(folder.path(), &["compare", "odd", "--earlier", "rim-1"]);
    assert!(code == Some(2) && err.contains("at least two"), "{err}");
}

/// The same recording, 3 % more on the scale, air of 30 and of 70 %: water, as far as anybody can tell. Without the air it is said that
/// moisture is not known; with both stages of one day nothing is said and nothing withheld.
#[test]
fn damp_air_is_no_stiffness() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["dry", "damp"] {
        for take in 1..=2 {
            write_ring(&folder.path().join(format!("{name}/take-0{take}.wav")), &PLAIN, take);
        }
    }
    let compared = |air: [&str; 2]| -> serde_json::Value {
        for ((name, mass), air) in [("dry", 206.7), ("damp", 212.9)].into_iter().zip(air) {
            let text = format!("kind = \"rim\"\nmass = \"{mass} g\"\n{air}\n[uncertainty]\nmass = \"0.1 g\"\n");
            fs::write(folder.path().join(format!("{name}/part.toml")), text).expect("it can be written");
        }
        let (_, json, _) = run(folder.path(), &["compare", "dry", "damp", "--format", "json"]);
        let value: serde_json::Value = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}\n{json}"));
        value["comparisons"][0].clone()
    };
    let verdict = |comparison: &serde_json::Value, code: &str| {
        let rows = comparison["whole"].as_array().expect("rows").iter();
        rows.filter(|r| r["code"] == code).map(|r| r["verdict"].as_str().expect("a code").to_owned()).next()
    };
    let state = |comparison: &serde_json::Value| comparison["moisture"]["state"].as_str().expect("a code").to_owned();
    let air = |humidity: u32| format!("temperature = \"21 C\"\nhumidity = \"{humidity} %\"");
    let known = compared([&air(30), &air(70)]);
    assert_eq!(state(&known), "brought");
    for code in ["stiffness_by_mass", "mass"] {
        assert_eq!(verdict(&known, code).as_deref(), Some("not_told_apart"), "{known:#}");
    }
    let unknown = compared(["", ""]);
    assert_eq!((state(&unknown), verdict(&unknown, "mass")), ("not_known".into(), Some("larger".into())));
    assert!(unknown["notes"].to_string().contains("moisture is not known in dry and damp"), "{unknown:#}");
    let one_day = compared(["date = \"2026-03-02\""; 2]);
    assert_eq!((state(&one_day), verdict(&one_day, "mass")), ("one_session".into(), Some("larger".into())));
    assert!(!one_day["notes"].to_string().contains("moisture"), "{one_day:#}");
    let weeks = compared(["date = \"2026-03-02\"", "date = \"2026-03-20\""]);
    assert_eq!(state(&weeks), "other_days");
    let (_, _, err) = {
        fs::write(folder.path().join("dry/part.toml"), "kind = \"rim\"\ndate = \"2.3.2026\"\n")
            .expect("it can be written");
        run(folder.path(), &["compare", "dry", "damp"])
    };
    assert!(err.contains("line 2, date: \"2.3.2026\" is no date; write it like"), "{err}");
}
