//! What was told with an interval, and whether it holds the truth.

use serde_json::Value;

use super::truths::{Mode, meant};

#[derive(Default)]
pub struct Ledger {
    checked: usize,
    missed: Vec<(f64, String)>,
}

fn interval(value: &Value) -> (f64, f64) {
    let bound = |i: usize| value[i].as_f64().unwrap_or_else(|| panic!("no interval: {value}"));
    (bound(0), bound(1))
}

/// How far a truth lies from the middle of an interval, in half-widths.
fn off(interval_95: &Value, truth: f64) -> f64 {
    let (low, high) = interval(interval_95);
    (truth - 0.5 * (low + high)) / (0.5 * (high - low))
}

/// A miss by more half-widths than this is not chance.
const FAR: f64 = 2.5;

impl Ledger {
    /// An interval, and what it is to hold.
    pub fn figure(&mut self, what: &str, interval_95: &Value, truth: f64) {
        self.either(what, interval_95, &[truth]);
    }

    /// An interval, and what it may hold: two modes so close that either may be meant.
    pub fn either(&mut self, what: &str, interval_95: &Value, truths: &[f64]) {
        self.checked += 1;
        let nearest = truths.iter().min_by(|a, b| off(interval_95, **a).abs().total_cmp(&off(interval_95, **b).abs()));
        let truth = *nearest.unwrap_or_else(|| panic!("no truth for {what}"));
        let (off, (low, high)) = (off(interval_95, truth), interval(interval_95));
        if !(low..=high).contains(&truth) {
            self.missed.push((off, format!("{what}: {low:.6} to {high:.6}, true {truth:.6} ({off:.2} half-widths)")));
        }
    }

    /// The line of a printed text that begins so: "mass   1.93 (1.88 to 1.99)", rounded as it is printed. Not printed, not held.
    pub fn printed(&mut self, what: &str, text: &str, begins: &str, truth: f64) {
        let line = text.lines().map(str::trim).find(|l| l.starts_with(begins) && l.contains(" to "));
        let Some(bounds) = line.and_then(|l| l.split_once('(')?.1.split_once(')')) else { return };
        let bound = |text: &str| {
            let half_digit = 0.5 * 10f64.powi(-(text.split_once('.').map_or(0, |(_, digits)| digits.len()) as i32));
            (text.parse::<f64>().unwrap_or_else(|e| panic!("{e}: {line:?}")), half_digit)
        };
        let (low, high) = bounds.0.split_once(" to ").expect("an interval");
        let (low, high) = (bound(low), bound(high));
        self.figure(&format!("{what}, printed"), &serde_json::json!([low.0 - low.1, high.0 + high.1]), truth);
    }

    /// A figure with its interval that may be left out.
    pub fn given(&mut self, what: &str, figure: &Value, truths: &[f64]) {
        if !figure.is_null() {
            self.either(what, &figure["interval_95"], truths);
        }
    }

    /// Frequency and damping of a mode: `fields` have their intervals.
    pub fn mode(&mut self, what: &str, mode: &Value, modes: &[Mode], fields: [&str; 2]) {
        let hz = mode["frequency_hz"].as_f64().expect("a number");
        let truths = |of: fn(&Mode) -> f64| meant(hz, modes).into_iter().map(|i| of(&modes[i])).collect::<Vec<f64>>();
        self.either(&format!("{what}, frequency"), &mode[fields[0]], &truths(|m| m.frequency_hz));
        self.either(&format!("{what}, damping"), &mode[fields[1]], &truths(|m| m.damping_ratio));
    }

    /// Frequency and damping of the pairs of a comparison that are sure.
    pub fn pairs(&mut self, comparison: &Value, before: &[Mode], after: &[Mode], what: &dyn Fn(&str) -> String) {
        for pair in comparison["pairs"].as_array().expect("pairs") {
            let rows = pair["rows"].as_array().expect("rows");
            let Some((a, b)) = ends(rows, before, after) else { continue };
            let ratios = |of: fn(&Mode) -> f64| -> Vec<f64> {
                a.iter().flat_map(|a| b.iter().map(move |b| of(b) / of(a))).collect()
            };
            for row in rows {
                let code = row["code"].as_str().expect("a code");
                let truths = match code {
                    "frequency_hz" => ratios(|m| m.frequency_hz),
                    "damping_ratio" => ratios(|m| m.damping_ratio),
                    // What follows from these two and from mass is held as a whole.
                    _ => continue,
                };
                self.either(&what(&format!("{}, {code}", pair["name"])), &row["ratio_95"], &truths);
            }
        }
    }

    /// Nothing contradicts the truth.
    pub fn all_hold(&self, least: usize) {
        eprintln!("{} of {} intervals miss", self.missed.len(), self.checked);
        assert!(self.checked >= least, "{} intervals only", self.checked);
        assert!(self.missed.is_empty(), "{} of {}:\n{}", self.missed.len(), self.checked, self.lines());
    }

    /// Of many intervals one in twenty may miss (not more than the 2.5 % level allows if they were independent), and one in a
    /// thousand, or `far` whose cause is known, by far.
    pub fn as_often_as_promised(&self, least: usize, far: usize) {
        eprintln!("{} of {} intervals miss:\n{}", self.missed.len(), self.checked, self.lines());
        assert!(self.checked >= least, "{} intervals only", self.checked);
        let n = self.checked as f64;
        let most = 0.05 * n + 1.96 * (0.05 * 0.95 * n).sqrt();
        assert!((self.missed.len() as f64) < most, "{} of {}", self.missed.len(), self.checked);
        let by_far = self.missed.iter().filter(|(off, _)| off.abs() > FAR).count();
        assert!(by_far <= far.max(self.checked / 1000), "{by_far} of {} by far", self.checked);
    }

    fn lines(&self) -> String {
        self.missed.iter().map(|(_, line)| line.as_str()).collect::<Vec<_>>().join("\n")
    }
}

/// The true modes that a pair's frequencies may be of; `None` if it is unsure: it has its frequencies only.
fn ends(rows: &[Value], before: &[Mode], after: &[Mode]) -> Option<(Vec<Mode>, Vec<Mode>)> {
    let hz = rows.iter().find(|r| r["code"] == "frequency_hz").filter(|_| rows.len() > 1)?;
    let of = |field: &str, modes: &[Mode]| -> Vec<Mode> {
        meant(hz[field].as_f64().expect("Hz"), modes).into_iter().map(|i| modes[i]).collect()
    };
    Some((of("baseline", before), of("other", after)))
}

/// Geometric mean over a comparison's sure pairs of their true ratios in loss or in frequency; of two modes too close to be told
/// apart the louder one's.
pub fn mean_over_pairs(comparison: &Value, before: &[Mode], after: &[Mode], code: &str) -> f64 {
    let loudest =
        |modes: Vec<Mode>| modes.into_iter().max_by(|a, b| a.amplitude.total_cmp(&b.amplitude)).expect("a mode");
    let pairs = comparison["pairs"].as_array().expect("pairs").iter();
    let ends: Vec<(Mode, Mode)> = pairs
        .filter_map(|pair| self::ends(pair["rows"].as_array().expect("rows"), before, after))
        .map(|(a, b)| (loudest(a), loudest(b)))
        .collect();
    let of = |m: &Mode| if code == "loss" { m.damping_ratio } else { m.frequency_hz };
    (ends.iter().map(|(a, b)| (of(b) / of(a)).ln()).sum::<f64>() / ends.len() as f64).exp()
}
