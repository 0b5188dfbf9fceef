//! A plan in words.

use super::numbers::{power, with_interval};
use super::paragraph::wrap;
use super::rim::rim_text;
use crate::analysis::LaminationPlan;
use crate::loss::strip_power_ratios;
use crate::modes::COVERAGE_95;
use crate::plan::ShopFactor;
use crate::uncertainty::Figure;

/// What should be known before anything is believed.
pub fn doubts(report: &LaminationPlan) -> Vec<String> {
    let mut doubts = Vec::new();
    let mut tables: Vec<&str> = report.series.iter().filter(|s| s.from_table).map(|s| s.inner.as_str()).collect();
    if report.outer_from_table {
        tables.insert(0, &report.outer);
    }
    tables.dedup();
    if !tables.is_empty() {
        doubts.push(format!(
            "{}: table values of the species, and boards differ by a fifth; a tapped blank makes these intervals far narrower",
            tables.join(" and ")
        ));
    }
    let gives = report.series.iter().flat_map(|s| &s.rows).filter(|r| r.forecast.glue_matters);
    if let Some(most) = gives.map(|r| r.forecast.glue_gives).reduce(f64::max) {
        doubts.push(format!(
            "this glue line gives way in shear: up to {:.0} % of the stiffness is lost at 200 Hz, more at higher tones",
            100.0 * most
        ));
    }
    if let (Some((factor, file)), false) = (&report.record, report.series.is_empty()) {
        doubts.push(record_text(factor, file));
    }
    doubts
}

/// "5.9 (4.8 to 7.3)", interval in the logarithm as a ratio has it.
fn times(m: &Figure) -> String {
    let half = COVERAGE_95 * m.relative_u_95();
    let (low, high) = (m.value * (-half).exp(), m.value * half.exp());
    let decimals = (1 - (high - low).max(1e-4).log10().floor() as i32).clamp(0, 4) as usize;
    format!("{:.decimals$} ({low:.decimals$} to {high:.decimals$})", m.value)
}

/// "this shop's record: ..."
fn record_text(factor: &ShopFactor, file: &str) -> String {
    let count = factor.from.len();
    let what = if count == 1 { "one lamination".to_owned() } else { format!("{count} laminations") };
    format!(
        "this shop's record ({file}): {what} foretold and measured ({}). The next one is expected to be {} times as stiff as its \
         plies say, and stiffness, power and tones hold that factor already, the rim's too",
        factor.from.join("; "),
        times(&factor.next)
    )
}

/// The sources that move a figure most, with their shares of the variance (%).
pub fn sensitivity(m: &Figure) -> Vec<(String, f64)> {
    let total: f64 = m.parts().map(|(_, p)| p * p).sum();
    let mut all: Vec<(String, f64)> =
        m.parts().map(|(s, p)| (s.to_string(), 100.0 * p * p / total.max(1e-300))).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all.retain(|(_, share)| *share >= 1.0);
    all.truncate(5);
    all
}

/// Tones that a maker follows while sanding: the lowest.
const MOST_TONES: usize = 8;

/// For people.
pub fn plan_text(report: &LaminationPlan) -> String {
    let mut out = String::new();
    let thickness = |m: &Figure| format!("{:.2}", 1e3 * m.value);
    wrap(&mut out, "", &format!("Outer ply: {}, {} mm.", report.outer, thickness(&report.outer_thickness)));
    doubts(report).iter().for_each(|d| wrap(&mut out, "  ", &format!("! {d}")));
    for series in &report.series {
        let glue = report.glue.map_or("no glue line".to_owned(), |(name, film)| format!("{name}, {} mm", 1e3 * film));
        let grain =
            if series.grain_deg == 0.0 { String::new() } else { format!(", grain at {} degrees", series.grain_deg) };
        out.push('\n');
        wrap(
            &mut out,
            "",
            &format!("Inner ply: {}{grain}; {glue}. Times the outer ply alone, 95 % intervals:", series.inner),
        );
        out.push_str(&format!(
            "\n  {:>8} {:>21} {:>19} {:>21} {:>20}\n",
            "mm", "stiffness", "mass", "power, given push", "tap tones"
        ));
        for row in &series.rows {
            let f = &row.forecast;
            out.push_str(&format!(
                "  {:>8} {:>21} {:>19} {:>21} {:>20}\n",
                thickness(&row.thickness),
                times(&f.stiffness_ratio),
                times(&f.mass_ratio),
                power(&f.power_ratio),
                times(&f.tone_ratio)
            ));
        }
        if let Some(last) = series.rows.last() {
            let strip = strip_power_ratios(&last.forecast.power_ratio, None);
            wrap(
                &mut out,
                "  ",
                &format!(
                    "Power at {} mm, times the outer ply alone: from a top whose edge gives 0.3 to 3 times as readily as that ply {}, from \
                     a given push {}, from a given movement {}. Which of them holds hangs on the top.",
                    thickness(&last.thickness),
                    power(&strip.matched_top),
                    power(&strip.given_force),
                    power(&strip.given_speed)
                ),
            );
            let loss = &last.forecast.loss;
            let told = format!(
                "Loss factor at {} mm: {}. ",
                thickness(&last.thickness),
                with_interval(loss.value, loss.half_95())
            );
            let moved: Vec<String> = sensitivity(&last.forecast.stiffness_ratio)
                .iter()
                .map(|(s, share)| format!("{s} ({share:.0} %)"))
                .collect();
            wrap(&mut out, "  ", &format!("{told}What moves the stiffness most: {}.", moved.join(", ")));
        }
        for target in &series.targets {
            match &target.found {
                Ok(t) => wrap(
                    &mut out,
                    "  ",
                    &format!(
                        "{}: {} of {:.2} mm; {} times the stiffness, {} times the mass, power from a given push {}",
                        target.wish,
                        target.ply,
                        1e3 * t.thickness_m,
                        times(&t.forecast.stiffness_ratio),
                        times(&t.forecast.mass_ratio),
                        power(&t.forecast.power_ratio)
                    ),
                ),
                Err(why) => wrap(&mut out, "  ", &format!("! {}: {why}", target.wish)),
            }
        }
    }
    if let Some((to, tones)) = &report.sanded {
        let told: Vec<String> = tones
            .iter()
            .take(MOST_TONES)
            .map(|(now, then)| format!("{now:.1} to {}", with_interval(then.value, then.half_95())))
            .collect();
        out.push('\n');
        wrap(
            &mut out,
            "",
            &format!(
                "Sanded evenly to {:.2} mm the tones go from, to (Hz): {}{}.",
                1e3 * to,
                told.join("; "),
                if tones.len() > told.len() { "; and so on" } else { "" }
            ),
        );
    }
    if let Some(rim) = &report.rim {
        rim_text(rim, &mut out);
    }
    out.push('\n');
    report.cautions.iter().for_each(|c| wrap(&mut out, "", &format!("Mind: {c}.")));
    if !report.series.is_empty() {
        out.push_str("\nPower: pushed across the side at mid-depth, in the tables as an endless strip");
        out.push_str(if report.rim.is_some() {
            ", of the rim by its\nstations' mobility from 80 to 1000 Hz, the band's ends faded.\n"
        } else {
            ".\n"
        });
        out.push_str("A top pushes its edge mostly up and down: that direction is not in these figures.\n");
    }
    out.push_str("Nothing here says how a guitar will sound.\n");
    out
}
