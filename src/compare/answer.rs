//! The answer to a comparison in one plain sentence.

use super::comparison::Comparison;
use super::verdict::{Ratio, Verdict};

impl Comparison {
    /// The answer in one sentence.
    pub fn answer(&self) -> String {
        if self.alike { self.likeness() } else { self.change() }
    }

    fn change(&self) -> String {
        let row = |code: &str| self.whole.iter().find(|r| r.code == code);
        let mut said: Vec<String> = Vec::new();
        if let Some(r) = row("bending_stiffness").or(row("stiffness_by_mass")).or(row("effective_stiffness")) {
            said.push(match r.ratio.verdict {
                Verdict::NotToldApart { .. } => {
                    format!("its stiffness is not told apart ({:.2} to {:.2} times)", r.ratio.low, r.ratio.high)
                }
                _ => format!(
                    "{} times as stiff ({} to {})",
                    brief(r.ratio.value),
                    brief(r.ratio.low),
                    brief(r.ratio.high)
                ),
            });
        }
        if let Some(r) = row("mass") {
            said.push(format!("{} times the mass", brief(r.ratio.value)));
        }
        if let Some(r) = row("power_drawn") {
            let width = 100.0 * (r.ratio.high - r.ratio.low);
            let decimals = usize::from(width < 2.0);
            let percent = |v: f64| 100.0 * (1.0 - v);
            said.push(match r.ratio.verdict {
                Verdict::Smaller => format!(
                    "takes {:.decimals$} % ({:.decimals$} to {:.decimals$} %) less power from an edge of given force",
                    percent(r.ratio.value),
                    percent(r.ratio.high),
                    percent(r.ratio.low)
                ),
                Verdict::Larger => format!(
                    "takes {:.decimals$} % ({:.decimals$} to {:.decimals$} %) more power from an edge of given force",
                    -percent(r.ratio.value),
                    -percent(r.ratio.low),
                    -percent(r.ratio.high)
                ),
                Verdict::NotToldApart { .. } => "the power it takes from the edge is not told apart".into(),
            });
        }
        if said.is_empty()
            && let Some(r) = row("loss")
        {
            said.push(format!(
                "its modes lose {} times as much ({} to {})",
                brief(r.ratio.value),
                brief(r.ratio.low),
                brief(r.ratio.high)
            ));
        }
        if said.is_empty() {
            return format!("{} against {}: nothing can be told", self.other, self.baseline);
        }
        format!("{} against {}: {}", self.other, self.baseline, said.join(", "))
    }

    /// How far two parts that should be alike may lie apart.
    fn likeness(&self) -> String {
        let row = |codes: &[&str]| codes.iter().find_map(|code| self.whole.iter().find(|r| r.code == *code));
        let figures = [
            ("stiffness", row(&["bending_stiffness", "stiffness_by_mass", "effective_stiffness"])),
            ("mass", row(&["mass"])),
            ("loss", row(&["loss"])),
            ("power drawn", row(&["power_drawn"])),
        ];
        let said: Vec<String> =
            figures.iter().filter_map(|(what, row)| Some(apart(what, &row.as_ref()?.ratio))).collect();
        if said.is_empty() {
            return format!("{} beside {}: nothing can be told", self.other, self.baseline);
        }
        format!("{} beside {}: {}", self.other, self.baseline, said.join(", "))
    }
}

/// "mass alike within 3 %", or "stiffness 8 % more (5 to 11 %)".
fn apart(what: &str, ratio: &Ratio) -> String {
    let percent = |r: f64| 100.0 * (r - 1.0);
    let width = 100.0 * (ratio.high - ratio.low);
    let digits = usize::from(width < 2.0);
    match ratio.verdict {
        Verdict::NotToldApart { .. } => {
            // The interval's farther end: they differ by no more than that.
            let most = percent(ratio.high).max(-percent(ratio.low));
            // Rounded up: it is a bound.
            let steps = 10f64.powi(digits as i32);
            format!("{what} alike within {:.digits$} %", (most * steps - 1e-6).ceil() / steps)
        }
        Verdict::Larger => format!(
            "{what} {:.digits$} % more ({:.digits$} to {:.digits$} %)",
            percent(ratio.value),
            percent(ratio.low),
            percent(ratio.high)
        ),
        Verdict::Smaller => format!(
            "{what} {:.digits$} % less ({:.digits$} to {:.digits$} %)",
            -percent(ratio.value),
            -percent(ratio.high),
            -percent(ratio.low)
        ),
    }
}

/// Two or three digits.
fn brief(value: f64) -> String {
    if value >= 10.0 { format!("{value:.1}") } else { format!("{value:.2}") }
}

#[cfg(test)]
mod tests {
    use super::super::comparison::Row;
    use super::*;
    use crate::uncertainty::Figure;

    /// A comparison with these ratios, each known to a share of itself.
    fn compared(rows: &[(&'static str, f64)], share: f64, alike: bool) -> Comparison {
        let one = Figure::exact(1.0);
        let row = |(code, ratio): &(&'static str, f64)| Row {
            code,
            what: (*code).into(),
            baseline: one.clone(),
            other: one.clone(),
            shown: ("", 1.0),
            ratio: Ratio::new(&one, &Figure::new(*ratio, share * ratio, "reading"), 5).expect("positive"),
        };
        let whole = rows.iter().map(row).collect();
        Comparison { baseline: "plain".into(), other: "laminated".into(), whole, alike, ..Comparison::default() }
    }

    /// Intervals are value exp(+- 1.96 x 0.02).
    #[test]
    fn each_figure_has_its_own_words() {
        let rows = [("mass", 2.0), ("bending_stiffness", 7.0), ("power_drawn", 0.4), ("loss", 1.5)];
        assert_eq!(
            compared(&rows, 0.02, false).answer(),
            "laminated against plain: 7.00 times as stiff (6.73 to 7.28), 2.00 times the mass, takes 60 % (58 to 62 %) less power from \
             an edge of given force"
        );
        assert_eq!(
            compared(&rows, 0.02, true).answer(),
            "laminated beside plain: stiffness 600 % more (573 to 628 %), mass 100 % more (92 to 108 %), loss 50 % more (44 to 56 %), \
             power drawn 60 % less (58 to 62 %)"
        );
        // Narrower intervals are told with a decimal.
        let narrow = |code, alike| compared(&[(code, 1.3)], 0.002, alike).answer();
        assert!(
            narrow("power_drawn", false).contains("takes 30.0 % (29.5 to 30.5 %) more power"),
            "{}",
            narrow("power_drawn", false)
        );
        assert!(narrow("mass", true).ends_with("mass 30.0 % more (29.5 to 30.5 %)"), "{}", narrow("mass", true));
        assert!(narrow("loss", false).ends_with("its modes lose 1.30 times as much (1.29 to 1.31)"));
        for alike in [false, true] {
            assert!(compared(&[], 0.02, alike).answer().ends_with("plain: nothing can be told"));
        }
    }

    #[test]
    fn two_sides_are_alike_within_what_the_interval_allows() {
        let ratio = |value: f64, u: f64| {
            Ratio::new(&Figure::exact(1.0), &Figure::new(value, u, "reading"), 5).expect("positive")
        };
        // ln 1.01 +- 1.96 x 0.01: 0.9904 to 1.0300.
        assert_eq!(apart("mass", &ratio(1.01, 0.0101)), "mass alike within 3 %");
        assert_eq!(apart("mass", &ratio(0.99, 0.0099)), "mass alike within 3 %");
        assert_eq!(apart("stiffness", &ratio(1.10, 0.011)), "stiffness 10 % more (8 to 12 %)");
        assert_eq!(apart("stiffness", &ratio(0.90, 0.009)), "stiffness 10 % less (8 to 12 %)");
    }
}
