//! What a reference set holds, in words.

use super::paragraph::wrap;
use crate::analysis::{BarCheck, NoBarCheck, ReferenceSet};

/// Counts of each part, what the bars say, and what is missing.
pub fn reference_text(set: &ReferenceSet, bars: &[(String, Result<BarCheck, NoBarCheck>)]) -> String {
    let name = set.counts.iter().map(|c| c.part.chars().count()).max().unwrap_or(0).max(4);
    let mut out =
        format!("{:<name$}  {:>5}  {:>10}  {:>10}  {:>9}\n", "part", "takes", "hung again", "other hand", "with mass");
    for c in &set.counts {
        out.push_str(&format!(
            "{:<name$}  {:>5}  {:>10}  {:>10}  {:>9}\n",
            c.part, c.takes, c.hung_again, c.other_hand, c.with_mass
        ));
    }
    for (part, check) in bars {
        out.push('\n');
        match check {
            Ok(bar) => {
                let [low, high] = bar.ratio.interval_95_of_ratio();
                let said = if bar.agrees() {
                    "as it should be"
                } else {
                    "it should be 1.000: check the bar's sizes, its mass, and which metal it is"
                };
                let known = format!("{:.1} ± {:.1} GPa known", 1e-9 * bar.known.value, 1e-9 * bar.known.half_95());
                wrap(
                    &mut out,
                    "",
                    &format!(
                        "{part}: {:.1} ± {:.1} GPa by {} tones, {known}: {:.3} times ({low:.3} to {high:.3}), {said}.",
                        1e-9 * bar.measured.value,
                        1e-9 * bar.measured.half_95(),
                        bar.tones.len(),
                        bar.ratio.value
                    ),
                );
            }
            Err(why) => wrap(&mut out, "", &format!("{part}: its modulus is not checked: {why}.")),
        }
    }
    out.push('\n');
    if set.lacks.is_empty() {
        out.push_str("Nothing is missing.\n");
    } else {
        out.push_str("Missing:\n");
        set.lacks.iter().for_each(|lack| wrap(&mut out, "  ", &format!("{}.", lack.sentence())));
    }
    out
}
