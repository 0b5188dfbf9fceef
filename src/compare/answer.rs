//! The answer to a comparison in one plain sentence.

use super::comparison::{Comparison, Row};
use super::verdict::{Ratio, Verdict};

impl Comparison {
    /// The answer in one sentence.
    pub fn answer(&self) -> String {
        if self.alike { self.likeness() } else { self.change() }
    }

    /// The first of these rows that does not rest on a single pair of modes, which nothing checks.
    fn row(&self, codes: &[&str]) -> Option<&Row> {
        let checked = |r: &&Row| r.pairs != 1;
        codes.iter().find_map(|code| self.whole.iter().filter(checked).find(|r| r.code == *code))
    }

    fn change(&self) -> String {
        let row = |code: &str| self.row(&[code]);
        let mut said: Vec<String> = Vec::new();
        if let Some(r) = self.row(&STIFFNESS) {
            said.push(match r.ratio.verdict {
                Verdict::NotToldApart { .. } => {
                    format!("no clear difference in stiffness ({})", bounds(&r.ratio, " times"))
                }
                _ => {
                    let value = brief(r.ratio.value, &r.ratio);
                    format!("{value} times as stiff ({}){}", bounds(&r.ratio, ""), less_than_matters(r))
                }
            });
        } else if let Some(r) = row("pitch") {
            said.push(sounds(&r.ratio));
        }
        if let Some(r) = row("mass") {
            said.push(format!("{} times the mass ({})", brief(r.ratio.value, &r.ratio), bounds(&r.ratio, "")));
        }
        if let Some(power) = self.power() {
            said.push(power);
        }
        if row("power_drawn").is_none()
            && let Some(r) = row("loss")
        {
            let (percent, small) = (Percent::of(&r.ratio), less_than_matters(r));
            said.push(match r.ratio.verdict {
                Verdict::NotToldApart { .. } => {
                    format!("no clear difference in loss ({})", bounds(&r.ratio, " times"))
                }
                Verdict::Larger => format!("its modes lose {} more{small}", percent.bounds()),
                Verdict::Smaller => format!("its modes lose {} less{small}", percent.bounds()),
            });
        }
        if said.is_empty() {
            return format!("{} against {}: nothing can be told", self.other, self.baseline);
        }
        format!("{} against {}: {}", self.other, self.baseline, said.join(", "))
    }

    /// The power that it takes: from the top first, of which it is said how much hangs on the top itself.
    fn power(&self) -> Option<String> {
        let (top, push) = (self.row(&["power_matched_top"]), self.row(&["power_drawn"])?);
        let drawn = |row: &Row| {
            let percent = Percent::of(&row.ratio);
            match row.ratio.verdict {
                Verdict::Smaller => Ok(format!("{} less power", percent.bounds())),
                Verdict::Larger => Ok(format!("{} more power", percent.bounds())),
                Verdict::NotToldApart { .. } => Err(percent),
            }
        };
        Some(match (top.map(drawn), drawn(push)) {
            (Some(Ok(top)), _) => format!("takes {top} from the top"),
            (Some(Err(open)), Ok(push)) => format!(
                "what it takes from the top hangs on the top ({}), from a given push it takes {push}",
                open.less_to_more()
            ),
            (None, Ok(push)) => format!("from a given push it takes {push}"),
            (_, Err(_)) => "no clear difference in the power that it takes".into(),
        })
    }

    /// How far two parts that should be alike may lie apart.
    fn likeness(&self) -> String {
        let figures = [
            ("stiffness", self.row(&STIFFNESS)),
            ("mass", self.row(&["mass"])),
            ("loss", self.row(&["loss"])),
            match self.row(&["power_matched_top"]) {
                Some(top) => ("power from the top", Some(top)),
                None => ("power from a given push", self.row(&["power_drawn"])),
            },
        ];
        let pitch = self.row(&["pitch"]).filter(|_| figures[0].1.is_none()).map(|r| sounds(&r.ratio));
        let apart = figures.iter().filter_map(|(what, row)| Some(apart(what, &row.as_ref()?.ratio)));
        let said: Vec<String> = pitch.into_iter().chain(apart).collect();
        if said.is_empty() {
            return format!("{} beside {}: nothing can be told", self.other, self.baseline);
        }
        format!("{} beside {}: {}", self.other, self.baseline, said.join(", "))
    }
}

/// Rows that stand for the stiffness, the surest first.
const STIFFNESS: [&str; 4] = ["bending_stiffness", "stiffness_by_mass", "spot_stiffness", "effective_stiffness"];

/// What is said of a difference that is known and too small to act on.
fn less_than_matters(row: &Row) -> String {
    match row.matters() {
        Some(false) => format!(", less than matters ({:.0} %)", 100.0 * row.matters_from()),
        _ => String::new(),
    }
}

/// A difference in percent with the bounds of its 95 % interval, the smaller first; all positive where it is known to be one.
struct Percent {
    value: f64,
    low: f64,
    high: f64,
    decimals: usize,
}

impl Percent {
    fn of(ratio: &Ratio) -> Self {
        let percent = |r: f64| 100.0 * (r - 1.0);
        let decimals = decimals(100.0 * (ratio.high - ratio.low));
        let (value, low, high) = (percent(ratio.value), percent(ratio.low), percent(ratio.high));
        match ratio.verdict {
            Verdict::Smaller => Self { value: -value, low: -high, high: -low, decimals },
            _ => Self { value, low, high, decimals },
        }
    }

    /// "8 % (5 to 11 %)".
    fn bounds(&self) -> String {
        let d = self.decimals;
        format!("{:.d$} % ({:.d$} to {:.d$} %)", self.value, self.low, self.high)
    }

    /// "51 % less to 40 % more".
    fn less_to_more(&self) -> String {
        let end = |percent: f64| {
            let way = if percent < 0.0 { "less" } else { "more" };
            format!("{:.*} % {way}", self.decimals, percent.abs())
        };
        format!("{} to {}", end(self.low), end(self.high))
    }

    /// The interval's farther end, rounded up: they differ by no more than that.
    fn most(&self) -> f64 {
        let steps = 10f64.powi(self.decimals as i32);
        (self.high.max(-self.low) * steps - 1e-6).ceil() / steps
    }
}

/// "sounds 2.4 % (42 cents) lower (2.1 to 2.7 %)": a cent is a 1200th of an octave.
fn sounds(ratio: &Ratio) -> String {
    let (percent, d) = (Percent::of(ratio), Percent::of(ratio).decimals);
    let direction = match ratio.verdict {
        Verdict::NotToldApart { .. } => return format!("pitch alike within {:.d$} %", percent.most()),
        Verdict::Larger => "higher",
        Verdict::Smaller => "lower",
    };
    let cents = 1200.0 * ratio.value.log2().abs();
    format!(
        "sounds {:.d$} % ({cents:.0} cents) {direction} ({:.d$} to {:.d$} %)",
        percent.value, percent.low, percent.high
    )
}

/// "mass alike within 3 %", or "stiffness 8 % more (5 to 11 %)".
fn apart(what: &str, ratio: &Ratio) -> String {
    let (percent, d) = (Percent::of(ratio), Percent::of(ratio).decimals);
    let direction = match ratio.verdict {
        Verdict::NotToldApart { .. } => return format!("{what} alike within {:.d$} %", percent.most()),
        Verdict::Larger => "more",
        Verdict::Smaller => "less",
    };
    format!("{what} {:.d$} % {direction} ({:.d$} to {:.d$} %)", percent.value, percent.low, percent.high)
}

/// Decimals by which the ends of an interval so wide lie at least two steps of the last digit apart.
fn decimals(width: f64) -> usize {
    (-(0.5 * width).max(1e-9).log10()).ceil().clamp(0.0, 6.0) as usize
}

/// Two or three digits, or as many as tell the ends of the ratio's interval apart.
fn brief(value: f64, ratio: &Ratio) -> String {
    let least = if ratio.value >= 10.0 { 1 } else { 2 };
    format!("{value:.*}", least.max(decimals(ratio.high - ratio.low)))
}

/// "6.73 to 7.28" and a unit, or where nothing that went in carries an uncertainty, just that.
fn bounds(ratio: &Ratio, unit: &str) -> String {
    if ratio.high <= ratio.low {
        return "as given".into();
    }
    format!("{} to {}{unit}", brief(ratio.low, ratio), brief(ratio.high, ratio))
}

#[cfg(test)]
mod tests {
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
            pairs: 3,
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
            "laminated against plain: 7.00 times as stiff (6.73 to 7.28), 2.00 times the mass (1.92 to 2.08), from a given push it \
             takes 60 % (58 to 62 %) less power"
        );
        assert_eq!(
            compared(&rows, 0.02, true).answer(),
            "laminated beside plain: stiffness 600 % more (573 to 628 %), mass 100 % more (92 to 108 %), loss 50 % more (44 to 56 %), \
             power from a given push 60 % less (58 to 62 %)"
        );
        // Narrower intervals are told with a decimal.
        let narrow = |code, alike| compared(&[(code, 1.3)], 0.002, alike).answer();
        assert!(
            narrow("power_drawn", false).contains("it takes 30.0 % (29.5 to 30.5 %) more power"),
            "{}",
            narrow("power_drawn", false)
        );
        assert!(narrow("mass", true).ends_with("mass 30.0 % more (29.5 to 30.5 %)"), "{}", narrow("mass", true));
        assert!(narrow("loss", false).ends_with("its modes lose 30.0 % (29.5 to 30.5 %) more"));
        for alike in [false, true] {
            assert!(compared(&[], 0.02, alike).answer().ends_with("plain: nothing can be told"));
        }
    }

    /// 0.85 exp(+- 1.96 x 0.15): 0.633 to 1.141; 0.34 exp(+- 1.96 x 0.15): 0.253 to 0.456.
    #[test]
    fn the_top_stands_first_and_what_hangs_on_it_is_said() {
        let said = |top: f64| compared(&[("power_matched_top", top), ("power_drawn", 0.34)], 0.15, false).answer();
        assert_eq!(
            said(0.85),
            "laminated against plain: what it takes from the top hangs on the top (37 % less to 14 % more), from a given push it takes \
             66 % (54 to 75 %) less power"
        );
        assert_eq!(said(0.5), "laminated against plain: takes 50 % (33 to 63 %) less power from the top");
    }

    #[test]
    fn the_sentence_rests_on_no_single_pair() {
        let mut one = compared(&[("stiffness_by_mass", 1.3), ("mass", 1.1)], 0.002, false);
        one.whole[0].pairs = 1;
        assert_eq!(one.answer(), "laminated against plain: 1.100 times the mass (1.096 to 1.104)");
    }

    /// 1200 log2 0.976 = -42.06; bounds 0.976 exp(+-1.96 x 0.0015).
    #[test]
    fn without_sizes_the_pitch_is_given() {
        let pitch = |ratio, u| compared(&[("pitch", ratio)], u, true).answer();
        assert_eq!(pitch(0.976, 0.0015), "laminated beside plain: sounds 2.4 % (42 cents) lower (2.1 to 2.7 %)");
        assert_eq!(pitch(1.001, 0.001), "laminated beside plain: pitch alike within 0.3 %");
        let small = compared(&[("bending_stiffness", 1.01)], 0.002, false).answer();
        assert!(small.ends_with("1.010 times as stiff (1.006 to 1.014), less than matters (2 %)"), "{small}");
    }

    /// Ends lie two steps of the last digit apart, so that no interval reads as a point.
    #[test]
    fn no_interval_reads_as_a_point() {
        let as_stiff = |u: f64| compared(&[("bending_stiffness", 1.0)], u, false).answer();
        assert!(as_stiff(1e-4).ends_with("(0.9998 to 1.0002 times)"), "{}", as_stiff(1e-4));
        assert!(as_stiff(0.0).ends_with("(as given)"), "{}", as_stiff(0.0));
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
