//! A planned rim in words.

use super::numbers::{power, with_interval};
use super::paragraph::wrap;
use crate::analysis::RimPlan;
use crate::loss::PowerRatios;
use crate::plan::{Patch, RimStage};
use crate::uncertainty::Figure;

/// What is to be known of all of it.
const MODEL: &str = "the rim's wall is a thin shell, free in the air, no plates glued on. Beside solid bodies its tones are off by 2 to \
                     3 %: 3 % is allowed (5 % where joints are, whose wood and sizes are assumed), and for power 15 % by judgement \
                     and what it does to move the tones by that (standard uncertainties). It has not been set against real rims yet";

const HELD: &str = "the plates are taken to hold both edges of the sides like hinges, and the sides bow between them; power is at \
                    mid-depth. Real plates give, and real linings grip: 15 % of tones, 30 % of power (standard uncertainties) are \
                    allowed for that by judgement, and for power what it does to move the tones by that: it has not been set \
                    against real guitars yet";

/// One of the readings of power.
type Reading = fn(&PowerRatios) -> &Figure;

pub fn model(report: &RimPlan) -> &'static str {
    if report.held { HELD } else { MODEL }
}

pub fn cell(m: &Figure, factor: f64) -> String {
    with_interval(factor * m.value, factor * m.half_95())
}

/// For people.
pub(super) fn rim_text(report: &RimPlan, out: &mut String) {
    out.push('\n');
    wrap(
        out,
        "",
        &format!("The rim, {}, {:.0} mm around, sides and {}:", report.outline, 1e3 * report.around_m, report.inner),
    );
    wrap(out, "  ", &format!("! {}", model(report)));
    out.push_str(&format!("\n  {:<30}", ""));
    report.stages.iter().for_each(|s| out.push_str(&format!(" {:>20}", s.name)));
    out.push('\n');
    let mut row = |what: &str, cells: Vec<String>| {
        out.push_str(&format!("  {what:<30}"));
        cells.iter().for_each(|c| out.push_str(&format!(" {c:>20}")));
        out.push('\n');
    };
    row("mass, g", report.stages.iter().map(|s| cell(&s.mass, 1e3)).collect());
    for tone in 0..report.stages.iter().map(|s| s.in_plane_hz.len()).min().unwrap_or(0) {
        let what = format!("tone {} {}, Hz", tone + 1, if report.held { "of the sides" } else { "in its plane" });
        row(&what, report.stages.iter().map(|s| cell(&s.in_plane_hz[tone], 1.0)).collect());
    }
    for tone in 0..report.stages.iter().map(|s| s.out_of_plane_hz.len()).min().unwrap_or(0).min(2) {
        let what = format!("tone {} out of it, Hz", tone + 1);
        row(&what, report.stages.iter().map(|s| cell(&s.out_of_plane_hz[tone], 1.0)).collect());
    }
    let squeeze = |s: &RimStage| s.squeeze_n_m.as_ref().map_or("—".to_owned(), |m| cell(m, 1e-3));
    if !report.held {
        row("waist pressed together, N/mm", report.stages.iter().map(squeeze).collect());
    }
    for (place, (station, _)) in report.stations.iter().enumerate() {
        let readings: [(&str, Reading); 3] = [
            ("from the top", |p| &p.matched_top),
            ("from a given push", |p| &p.given_force),
            ("from a given movement", |p| &p.given_speed),
        ];
        for (number, (reading, of)) in readings.into_iter().enumerate() {
            let cell = |s: &RimStage| if s.name == "plain" { "—".to_owned() } else { power(of(&s.power[place])) };
            let what = if number == 0 { format!("{station}: power {reading}") } else { format!("  {reading}") };
            row(&what, report.stages.iter().map(cell).collect());
        }
    }
    if let Some(told) = best_patches(report) {
        out.push('\n');
        wrap(out, "  ", &told);
    }
}

/// Places nearer to each other than this (m) are one.
const APART_M: f64 = 0.08;

/// Where a further patch helps most, in a sentence.
fn best_patches(report: &RimPlan) -> Option<String> {
    let (station, _) = report.stations.first()?;
    let mut order: Vec<&Patch> = report.patches.iter().collect();
    order.sort_by(|a, b| a.power.total_cmp(&b.power));
    let mut best: Vec<&Patch> = Vec::new();
    for patch in order.into_iter().filter(|p| p.power < 0.95) {
        if best.len() < 2 && best.iter().all(|b| (b.share - patch.share).abs() * report.around_m > APART_M) {
            best.push(patch);
        }
    }
    let grams = report.patches.first().map(|p| 1e3 * p.mass_kg)?;
    let what = format!("A patch of 40 mm of a further inner ply on both sides ({grams:.0} g together)");
    if best.is_empty() {
        return Some(format!("{what} lowers the power from a given push at the {station} nowhere by more than 5 %."));
    }
    let told: Vec<String> = best
        .iter()
        .map(|p| {
            let less = 100.0 * (1.0 - p.power);
            format!(
                "{:.0} mm from the tail (some {less:.0} %, {:.1} % a gram)",
                1e3 * p.share * report.around_m,
                less / grams
            )
        })
        .collect();
    Some(format!(
        "{what} lowers the power from a given push at the {station} most near {}. A hint only: it hangs on where single tones fall, and the place may be \
         off by several centimetres.",
        told.join(" and ")
    ))
}
