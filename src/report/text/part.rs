//! The part and its stations in words, for the text report.

use super::numbers::{grams, minus, significant, with_interval};
use super::paragraph::wrap;
use crate::modes::COVERAGE_95;
use crate::report::json::budget_entry::BudgetEntry;
use crate::report::json::part_entry::{FigureEntry, PartEntry, QuantityEntry, StationEntry};

/// "11.62 ± 0.61 GPa".
fn figure(figure: &FigureEntry, factor: f64, unit: &str) -> String {
    format!("{} {unit}", with_interval(figure.value * factor, COVERAGE_95 * figure.u * factor)).trim_end().to_owned()
}

/// What moves a figure most: "thickness: 98 % of the uncertainty".
fn moved(figure: &FigureEntry) -> String {
    match (&figure.moved_most_by, figure.moved_most_share) {
        (Some(by), Some(share)) => format!("{by}: {:.0} %", 100.0 * share),
        _ => String::new(),
    }
}

/// The part below the mode table of a recording; `explain` adds a sentence to each figure.
pub(super) fn part(out: &mut String, part: &PartEntry, explain: bool) {
    out.push('\n');
    let named = part.name.as_ref().map_or(String::new(), |n| format!(", {n}"));
    wrap(out, "  ", &format!("part: {}{named}", part.kind));
    for note in &part.notes {
        wrap(out, "  ", &format!("! {note}"));
    }
    if part.decided == Some(false) {
        for numbering in part.numberings.iter().take(3) {
            let names: Vec<&str> = numbering.names.iter().map(|n| n.as_deref().unwrap_or("?")).collect();
            let text = format!("E {:.2} GPa if the modes are {}", 1e-9 * numbering.modulus_along_pa, names.join(", "));
            wrap(out, "    ", &text);
        }
    }
    if part.quantities.is_empty() {
        return;
    }
    out.push_str(&format!("  {:<36} {:<26} {}\n", "", "", "moved most by (share of u²)"));
    for quantity in &part.quantities {
        line(out, quantity);
        if explain {
            wrap(out, "      ", &format!("{}. {}", quantity.meaning, sensitivity(quantity)));
        }
    }
}

fn line(out: &mut String, quantity: &QuantityEntry) {
    let value = figure(&quantity.figure, quantity.shown_factor, &quantity.shown_unit);
    let text = format!("  {:<36} {value:<26} {}", quantity.name, moved(&quantity.figure));
    out.push_str(text.trim_end());
    out.push('\n');
}

fn sensitivity(quantity: &QuantityEntry) -> String {
    let shares = budget(&quantity.figure.budget);
    if shares.is_empty() { String::new() } else { format!("Its uncertainty comes from {shares}") }
}

/// "thickness 92 %, length 5 %": shares of the variance, down to a hundredth.
pub(super) fn budget(lines: &[BudgetEntry]) -> String {
    let worth_a_word = lines.iter().filter(|line| line.share >= 0.005);
    let said: Vec<String> = worth_a_word.map(|l| format!("{} {:.0} %", l.source, 100.0 * l.share)).collect();
    said.join(", ")
}

/// The stations that were tapped with added masses.
pub(super) fn station(out: &mut String, station: &StationEntry, explain: bool) {
    out.push('\n');
    let masses: Vec<String> =
        station.added_kg.iter().map(|m| if *m == 0.0 { "none".into() } else { format!("{} g", grams(*m)) }).collect();
    wrap(out, "", &format!("station {}: stuck on {}", station.station, masses.join(", ")));
    if let Some(error) = &station.error {
        wrap(out, "  ", &format!("! {error}"));
    }
    if !station.modes.is_empty() {
        out.push_str(&format!(
            "  {:>3} {:>20} {:>20} {:>22} {:>24}\n",
            "no", "frequency, Hz", "modal mass M, g", "stiffness k, kN/m", "peak mobility, mm/(N s)"
        ));
    }
    for (index, mode) in station.modes.iter().enumerate() {
        let cell = |f: &Option<FigureEntry>, least: Option<f64>, factor: f64| match (f, least) {
            (Some(f), _) => with_interval(f.value * factor, COVERAGE_95 * f.u * factor),
            (None, Some(least)) => format!("at least {}", significant(rounded_down(factor * least), 2)),
            (None, None) => "—".into(),
        };
        out.push_str(&format!(
            "  {:>3} {:>20} {:>20} {:>22} {:>24}\n",
            index + 1,
            with_interval(mode.frequency_hz.value, COVERAGE_95 * mode.frequency_hz.u),
            cell(&mode.modal_mass_kg, mode.modal_mass_at_least_kg, 1e3),
            cell(&mode.stiffness_n_m, mode.stiffness_at_least_n_m, 1e-3),
            cell(&mode.peak_mobility_m_n_s, None, 1e3),
        ));
    }
    let mut said: Vec<&String> = Vec::new();
    for (index, mode) in station.modes.iter().enumerate() {
        for note in &mode.notes {
            if !said.contains(&note) {
                wrap(out, "    ", &format!("{}: {note}", index + 1));
                said.push(note);
            }
        }
    }
    for sentence in station.sentences() {
        wrap(out, "  ", &sentence);
    }
    if explain {
        for sentence in [
            "modal mass: how much of the part moves along with the mode at this station.",
            "stiffness: the spring that this mode is at this station, k = (2 pi f)² M.",
            "mobility: speed that the station takes on per newton at that frequency; low means that it holds still and lets \
             the top keep its vibration. The power taken goes with it for a given push; for a given movement of the edge it goes \
             the other way.",
        ] {
            wrap(out, "      ", sentence);
        }
    }
}

/// A limit from below, to two digits: rounding must not raise it.
fn rounded_down(limit: f64) -> f64 {
    let digit = 10f64.powf(limit.abs().max(f64::MIN_POSITIVE).log10().floor() - 1.0);
    digit * (limit / digit + 1e-9).floor()
}

/// A limit from above, to two digits: rounding must not lower it.
fn rounded_up(limit: f64) -> f64 {
    -rounded_down(-limit)
}

impl StationEntry {
    /// What is known of the motion across alone where the spot may slide along.
    fn across(&self) -> String {
        let limits: Vec<String> = self
            .modes
            .iter()
            .enumerate()
            .filter_map(|(index, m)| {
                let (mass, stiffness) = (1e3 * m.modal_mass_at_least_kg?, 1e-3 * m.stiffness_at_least_n_m?);
                let told = |x: f64| significant(rounded_down(x), 2);
                Some(format!("{}: {} g, {} kN/m", index + 1, told(mass), told(stiffness)))
            })
            .collect();
        let all = "M and k count all of the spot's motion, and this one may slide along as it moves to and fro";
        if limits.is_empty() {
            return all.to_owned();
        }
        format!("{all}; across alone they are at least (one-sided 95 %) {}", limits.join("; "))
    }

    /// What the station is worth, in sentences.
    pub fn sentences(&self) -> Vec<String> {
        let mut all = Vec::new();
        if let (Some(band), Some(mean)) = (self.band_hz, &self.mean_mobility_m_n_s) {
            all.push(format!(
                "mean mobility {:.0} to {:.0} Hz (real part): {}",
                band[0],
                band[1],
                figure(mean, 1e3, "mm/(N s)")
            ));
        }
        if let (Some(band), Some(most)) = (self.band_hz, self.mean_mobility_at_most_m_n_s) {
            all.push(format!(
                "mean mobility {:.0} to {:.0} Hz (real part), across alone: at most {} mm/(N s) (one-sided 95 %)",
                band[0],
                band[1],
                significant(rounded_up(1e3 * most), 2)
            ));
        }
        if let (Some(baseline), Some(ratio), Some(band)) =
            (&self.baseline, &self.power_drawn_ratio, self.power_drawn_band_hz)
        {
            let percent = |r: f64| minus(&format!("{:+.1}", 100.0 * (r - 1.0)));
            let db = |r: f64| minus(&format!("{:+.2}", 10.0 * r.max(1e-9).log10()));
            let told = |ratio: &FigureEntry| {
                let [low, high] = ratio.interval_95;
                format!(
                    "{} % ({} to {} %), {} dB ({} to {} dB)",
                    percent(ratio.value),
                    percent(low),
                    percent(high),
                    db(ratio.value),
                    db(low),
                    db(high)
                )
            };
            let mut said = format!("power against {baseline}, pushed across, {:.0} to {:.0} Hz: ", band[0], band[1]);
            if let Some(top) = &self.power_matched_top_ratio {
                said +=
                    &format!("from a top whose edge gives 0.3 to 3 times as readily as {baseline}: {}; ", told(top));
            }
            said += &format!("from a given push: {}", told(ratio));
            if let Some(speed) = &self.power_given_speed_ratio {
                said += &format!("; from a given movement: {}", told(speed));
            }
            all.push(said);
        }
        if let Some(gives) = &self.compliance_m_n {
            all.push(format!(
                "gives {} under a push across here, the part free (its modes' sum; not how far two hands press it together)",
                figure(gives, 1e3, "mm/N")
            ));
        } else if let Some(why) = &self.compliance_unknown {
            all.push(format!("how far it gives under a push across is not known: {why}"));
        }
        if let Some(stiffness) = &self.static_stiffness_n_m {
            all.push(format!(
                "stiffness under a weight: {} (all modes give way together, and the supports too: less than k of one mode)",
                figure(stiffness, 1e-3, "kN/m")
            ));
        }
        if let Some(advice) = &self.advice {
            all.push(format!("to know more here: {advice}"));
        }
        if self.may_slide == Some(true) {
            all.push(self.across());
        }
        all
    }
}
