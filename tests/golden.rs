//! What the program says, word for word, against texts that are kept. `scripts/bless` writes them anew: read what moved before committing.
//!
//! Texts that come from kept results are compared to ten digits (a machine's last digits are its own); those that come from sound have their digits masked: other
//! tests hold the figures, these hold the words, the lines and the columns.

mod common;

use std::path::Path;

/// What the program says on standard output when run in a folder of the checkout; it must end well.
fn said(folder: &str, arguments: &[&str]) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let (code, out, err) = common::run(&folder, arguments);
    assert_eq!(code, Some(0), "{arguments:?}\n{out}{err}");
    out
}

/// Every run of digits, with its decimal point, becomes `#`, and gaps that padding leaves become two blanks.
fn masked(text: &str) -> String {
    let mut masked = String::new();
    for line in text.lines() {
        let mut out = String::new();
        let mut characters = line.chars().peekable();
        while let Some(c) = characters.next() {
            let point = c == '.' && out.ends_with('#') && characters.peek().is_some_and(char::is_ascii_digit);
            let number = c.is_ascii_digit() || point;
            let wide = c == ' ' && out.ends_with("  ");
            if !(wide || number && out.ends_with('#')) {
                out.push(if number { '#' } else { c });
            }
        }
        masked.push_str(out.trim_end());
        masked.push('\n');
    }
    masked
}

/// Numbers of more than ten significant digits are rounded to ten.
fn rounded(text: &str) -> String {
    let number = |c: char| c.is_ascii_digit() || c == '.';
    let mut out = String::new();
    let mut rest = text;
    while let Some(start) = rest.find(number) {
        let (before, from) = rest.split_at(start);
        let (run, after) = from.split_at(from.find(|c| !number(c)).unwrap_or(from.len()));
        out.push_str(before);
        match run.parse::<f64>() {
            Ok(value) if value > 0.0 && run.trim_matches(['0', '.']).len() > 11 => {
                let places = (9 - value.log10().floor() as i32).max(0) as usize;
                out.push_str(&format!("{value:.places$}"));
            }
            _ => out.push_str(run),
        }
        rest = after;
    }
    out + rest
}

fn settings() -> insta::Settings {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("golden");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings
}

fn holds(name: &str, text: &str) {
    settings().bind(|| insta::assert_snapshot!(name, text));
}

#[test]
fn digits_and_gaps_are_masked() {
    assert_eq!(masked("a  12.5 Hz ±      0.03\n4. b"), "a  # Hz ±  #\n#. b\n");
}

#[test]
fn long_numbers_are_rounded() {
    assert_eq!(rounded("a,0.04677702101948286,-0,12.5,plain.json"), "a,0.04677702102,-0,12.5,plain.json");
}

const BENCH: &str = "tests/fixtures/bench-0.1.0";

/// Two kept results, of a plain and of a laminated side.
#[test]
fn a_comparison_of_kept_results() {
    holds("comparison", &said(BENCH, &["compare", "plain.json", "laminated.json"]));
    let csv = said(BENCH, &["compare", "plain.json", "laminated.json", "--format", "csv"]);
    holds("comparison-csv", &rounded(&csv));
}

/// Plies that are only described: arithmetic alone.
#[test]
fn a_plan_of_described_plies() {
    let plies = ["--outer", "black walnut 1.9 mm", "--inner", "sugar maple 1.4 mm", "--glue", "epoxy 0.1 mm"];
    holds("plan", &said(BENCH, &[&["plan"][..], &plies].concat()));
}

#[test]
fn a_blank_explained() {
    let blank = "recordings/left-blank/flat/corner/take-01.wav";
    holds("blank-explained", &masked(&said("", &["measure", blank, "--explain", "--no-progress"])));
}

#[test]
fn a_side_bare_and_with_masses() {
    let side = ["bent/lower-bout", "bent/lower-bout+2g", "bent/lower-bout+4g"];
    let takes = side.map(|s| format!("recordings/left-side/{s}/take-01.wav"));
    let arguments: Vec<&str> = ["measure"].into_iter().chain(takes.iter().map(String::as_str)).collect();
    holds("side-with-masses", &masked(&said("", &[&arguments[..], &["--no-progress"]].concat())));
}

#[test]
fn two_stages_from_sound() {
    let stages = ["recordings/left-side/bent", "recordings/left-side/laminated"];
    holds("two-stages", &masked(&said("", &["compare", stages[0], stages[1]])));
}
