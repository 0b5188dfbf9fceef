//! Files that an earlier version wrote open for ever; files that a later one will write are read, what is new in them passed over.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use ringwright::report::{Document, schema};
use serde_json::Value;

/// What the program says, all of it and on standard output alone; it must end well.
fn said(folder: &Path, arguments: &[&str]) -> (String, String) {
    let (code, out, err) = common::run(folder, arguments);
    let all = format!("{arguments:?}\n{out}{err}");
    assert_eq!(code, Some(0), "{all}");
    (all, out)
}

fn bench_0_1_0() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/bench-0.1.0")
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder can be made");
    for entry in fs::read_dir(from).expect("it is there").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).expect("it can be copied");
        }
    }
}

/// A bench of version 0.1.0 with its reports, kept results and record of forecasts: the diary is written anew over it, its saved
/// reports are compared, and the record counts in the next plan.
#[test]
fn a_bench_of_0_1_0_opens() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    copy(&bench_0_1_0(), &folder.path().join("shop"));
    let side = "shop/recordings/left-side";
    let (all, out) = said(folder.path(), &["compare", "shop/plain.json", "shop/laminated.json"]);
    assert!(out.contains("laminated") && out.contains("loss, mean over the pairs"), "{all}");
    // The record is found by a ply that lies in the bench; that a bent side is no blank is said after it was read.
    let (_, out, err) =
        common::run(folder.path(), &["plan", "--outer", "walnut 1.9 mm", "--inner", &format!("{side}/plain/waist")]);
    assert!(err.contains("thickness") && !err.contains("cannot be understood"), "{out}{err}");
    let (all, out) = said(folder.path(), &["diary", "shop", "--no-progress"]);
    assert!(out.contains("stage against stage"), "{all}");
    let record = fs::read_to_string(folder.path().join("shop/reports/forecasts.csv")).expect("a record");
    assert!(
        record.starts_with("part,stage,station,foretold,foretold_relative_u,measured,measured_relative_u\n"),
        "{record}"
    );
    // What an older program kept is not taken for this one's, and goes.
    let kept = fs::read_dir(folder.path().join("shop/reports/kept")).expect("kept results").flatten().count();
    assert_eq!(kept, 4);
}

/// Every object of a document gets a field that nobody knows.
fn grown(value: &Value) -> Value {
    match value {
        Value::Object(fields) => {
            let mut fields: serde_json::Map<String, Value> =
                fields.iter().map(|(name, inner)| (name.clone(), grown(inner))).collect();
            fields.insert("a_field_of_tomorrow".into(), serde_json::json!({"any": ["thing", 1]}));
            Value::Object(fields)
        }
        Value::Array(all) => Value::Array(all.iter().map(grown).collect()),
        other => other.clone(),
    }
}

fn objects(value: &Value) -> usize {
    match value {
        Value::Object(fields) => 1 + fields.values().map(objects).sum::<usize>(),
        Value::Array(all) => all.iter().map(objects).sum(),
        _ => 0,
    }
}

#[test]
fn fields_may_be_added_everywhere() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let side = bench_0_1_0().join("recordings/left-side");
    let (plain, loaded) = (side.join("plain/waist"), side.join("plain/waist+5g"));
    let heavier = side.join("plain/waist+10g");
    let paths = [&plain, &loaded, &heavier].map(|p| p.to_str().expect("a path"));
    let sizes = ["--length", "760 mm", "--width", "112 mm", "--thickness", "1.9 mm", "--mass", "100 g"];
    let (_, json) = said(folder.path(), &[&["measure", "--format", "json"][..], &paths, &sizes].concat());
    let today: Value = serde_json::from_str(&json).expect("JSON");
    assert!(objects(&today) > 50, "modes, taps, budgets, a part, stations: {}", objects(&today));
    let tomorrow = grown(&today);
    let read: Document = serde_json::from_value(tomorrow.clone()).unwrap_or_else(|e| panic!("{e}"));
    let again: Value = serde_json::from_str(&read.to_json()).expect("JSON");
    assert_eq!(again, today, "what is known is read as it was");
    // The program itself reads it too.
    fs::write(folder.path().join("tomorrow.json"), tomorrow.to_string()).expect("it can be written");
    fs::write(folder.path().join("today.json"), today.to_string()).expect("it can be written");
    said(folder.path(), &["compare", "today.json", "tomorrow.json"]);
}

/// What 0.1.0 wrote is read without a loss of what it held.
#[test]
fn documents_of_0_1_0_are_read() {
    for name in ["plain.json", "laminated.json", "reports/modes.json"] {
        let text = fs::read_to_string(bench_0_1_0().join(name)).expect(name);
        let old: Value = serde_json::from_str(&text).expect("JSON");
        let read: Document = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        let new: Value = serde_json::from_str(&read.to_json()).expect("JSON");
        holds(&old, &new, name);
    }
}

/// Every field of the old document stands in the new one as it was.
fn holds(old: &Value, new: &Value, place: &str) {
    match (old, new) {
        (Value::Object(fields), Value::Object(now)) => {
            for (name, value) in fields {
                let now = now.get(name).unwrap_or_else(|| panic!("{place}.{name} is gone"));
                holds(value, now, &format!("{place}.{name}"));
            }
        }
        (Value::Array(all), Value::Array(now)) => {
            assert_eq!(all.len(), now.len(), "{place}");
            all.iter().zip(now).enumerate().for_each(|(i, (a, b))| holds(a, b, &format!("{place}[{i}]")));
        }
        _ => assert_eq!(old, new, "{place}"),
    }
}

/// No object of the schema refuses what it does not know.
#[test]
fn the_schema_lets_documents_grow() {
    let schema: Value = serde_json::from_str(&schema()).expect("JSON");
    fn walk(value: &Value, place: &str) {
        match value {
            Value::Object(fields) => {
                assert_ne!(fields.get("additionalProperties"), Some(&Value::Bool(false)), "{place}");
                fields.iter().for_each(|(name, inner)| walk(inner, &format!("{place}/{name}")));
            }
            Value::Array(all) => all.iter().for_each(|inner| walk(inner, place)),
            _ => {}
        }
    }
    walk(&schema, "");
}
