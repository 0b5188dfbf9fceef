//! Compares a stage with the baseline.

use super::comparison::{Comparison, Row};
use super::joints::joints_differ;
use super::mean::{common_ratio, mean_ratio};
use super::moisture::MoistureChange;
use super::pairing::{Pair, pair_modes};
use super::power::{power_notes, power_rows, stage_power};
use super::same_mode::{SAME_MODE, StageMode};
use super::stage::{Stage, paired};
use super::verdict::Ratio;
use crate::loss::{Mobility, StationMode, TopEdge, energy_lost_per_cycle};
use crate::stiffness::stage_ratio;
use crate::uncertainty::Figure;

/// The mode of a station's mobility that a mode of its takes is.
fn station_mode<'a>(mobility: &'a Mobility, mode: &StageMode) -> Option<&'a StationMode> {
    let off = |m: &&StationMode| (m.frequency.value / mode.frequency.value - 1.0).abs();
    mobility.modes.iter().filter(|m| off(m) < SAME_MODE).min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// What one stage's mean mobility in a band may lack (share): modes of the other stage whose partner should lie within the
/// first one's band, by the factor that the paired modes moved by, and was not heard there.
fn may_lack(own: &Mobility, other: &Mobility, alone: &[&StageMode], factor: f64, band: (f64, f64)) -> f64 {
    let inside = |f: f64| (own.band_hz.0..=own.band_hz.1).contains(&f);
    let lacking = alone.iter().filter(|m| inside(m.frequency.value * factor));
    let added: f64 = lacking.filter_map(|m| station_mode(other, m)).map(|m| m.mean_real(band)).sum();
    added / other.mean_real(band).value
}

/// Ratio of the effective stiffnesses of a mode at the station, where both stages were tapped with masses stuck on.
fn effective_ratio(baseline: &Stage, other: &Stage, a: &StageMode, b: &StageMode) -> Option<Figure> {
    let x = station_mode(baseline.mobility.as_ref()?, a)?;
    let y = station_mode(other.mobility.as_ref()?, b)?;
    Some(stage_ratio((&x.frequency, &x.modal_mass), (&y.frequency, &y.modal_mass)))
}

/// Compares a stage with the baseline; `by_hand` are pairs of modes (numbers from 1) that are set.
///
/// Ratios are as at the moisture of the baseline; a row's figures are as they were measured.
pub fn compare(baseline: &Stage, measured: &Stage, by_hand: &[(usize, usize)]) -> Comparison {
    compare_under_top(baseline, measured, by_hand, &TopEdge::Unknown)
}

/// The same where it is known how readily the top's edge gives.
pub fn compare_under_top(baseline: &Stage, measured: &Stage, by_hand: &[(usize, usize)], top: &TopEdge) -> Comparison {
    let moisture = MoistureChange::between(baseline, measured);
    let other = &moisture.bring(measured);
    let mut result = Comparison { baseline: baseline.name.clone(), other: other.name.clone(), ..Comparison::default() };
    let pairing = pair_modes(&paired(&baseline.modes), &paired(&measured.modes), by_hand);
    let pairs: Vec<Pair> = pairing.pairs;
    let joints_differ = joints_differ(baseline, other);
    // Set by hand, or by the numbers of a blank's modes.
    let set = |i: usize, j: usize| {
        by_hand.contains(&(i + 1, j + 1)) || {
            let name = &baseline.modes[i].name;
            name.is_some() && *name == other.modes[j].name
        }
    };
    let sure = |i: usize, j: usize| set(i, j) || !joints_differ && pairing.rival.is_none();
    if joints_differ && pairs.iter().filter_map(|p| p.0.zip(p.1)).any(|(i, j)| !set(i, j)) {
        result.undecided = true;
        result.notes.push(
            "blocks, linings or braces differ between the two stages, and then modes need not keep their order: which mode is which \
             is unsure, so no stiffness and no loss is derived from the pairs below. Mass, and power drawn where masses were stuck \
             on in both stages, need no pairs. Pairs that are set by hand count"
                .into(),
        );
    } else if let Some(rival) = &pairing.rival {
        let told = |pairs: &[Pair]| -> String {
            let both = pairs.iter().filter_map(|p| p.0.zip(p.1)).take(3);
            both.map(|(i, j)| format!("{}={}", i + 1, j + 1)).collect::<Vec<_>>().join(" ")
        };
        result.undecided = true;
        result.notes.push(format!(
            "the modes can be paired in two ways ({} ... or {} ...), and nothing tells which: the stiffness and the loss from \
             pairs are left out, and the pairs below are the likelier way only. Pairs that are set by hand count",
            told(&pairs),
            told(rival)
        ));
    }
    let known = baseline.known.weaker(other.known);
    let single: Vec<&str> = [baseline, other].iter().filter(|s| s.takes == 1).map(|s| s.name.as_str()).collect();
    if !single.is_empty() {
        result.notes.push(format!(
            "one take only of {}: how well the part comes back when held anew is {} ({:.2} % of frequency, {:.1} % of damping), \
             not measured there",
            single.join(" and of "),
            if known.is_assumed() { "assumed" } else { "taken from other takes" },
            100.0 * known.sizes().0,
            100.0 * known.sizes().1
        ));
    }
    let takes = baseline.takes.min(other.takes).max(1);
    let mass_ratio = baseline.mass.as_ref().zip(other.mass.as_ref());
    let mut stiffer: Vec<Figure> = Vec::new();
    for pair in &pairs {
        match pair {
            (Some(i), Some(j)) => {
                let (a, b, raw) = (&baseline.modes[*i], &other.modes[*j], &measured.modes[*j]);
                let mut rows = Vec::new();
                let mut add = |code, what: &str, x: &Figure, (y, raw): (&Figure, &Figure), shown| {
                    if let Some(ratio) = Ratio::knowing(x, y, takes, &known) {
                        rows.push(Row {
                            code,
                            what: what.to_owned(),
                            baseline: x.clone(),
                            other: raw.clone(),
                            shown,
                            ratio,
                            pairs: 1,
                        });
                    }
                };
                add("frequency_hz", "frequency", &a.frequency, (&b.frequency, &raw.frequency), ("Hz", 1.0));
                if !sure(*i, *j) {
                    result.pairs.push((format!("mode {} with {} ?", i + 1, j + 1), rows));
                    continue;
                }
                add("damping_ratio", "damping", &a.damping_ratio, (&b.damping_ratio, &raw.damping_ratio), ("%", 100.0));
                let ring = |m: &StageMode| {
                    Figure::combine(&[&m.damping_ratio, &m.frequency], |x| {
                        1000f64.ln() / (x[0] * std::f64::consts::TAU * x[1])
                    })
                };
                add("ring_time_s", "ring time", &ring(a), (&ring(b), &ring(raw)), ("s", 1.0));
                let lost = |m: &StageMode| m.damping_ratio.map(energy_lost_per_cycle);
                add("energy_lost_per_cycle", "lost per cycle", &lost(a), (&lost(b), &lost(raw)), ("%", 100.0));
                if let Some((m1, m2)) = mass_ratio {
                    // k ~ f^2 m for one shape.
                    let k = |f: &Figure, m: &Figure| Figure::combine(&[f, m], |x| x[0] * x[0] * x[1]);
                    let (x, y) = (k(&a.frequency, m1), k(&b.frequency, m2));
                    let raw = k(&raw.frequency, measured.mass.as_ref().unwrap_or(m2));
                    add("stiffness_by_mass", "stiffness, f²m", &x, (&y, &raw), ("Hz² kg", 1.0));
                    stiffer.push(stage_ratio((&a.frequency, m1), (&b.frequency, m2)));
                }
                let name = match (&a.name, &b.name) {
                    (Some(n), Some(m)) if n == m => n.clone(),
                    _ => format!("mode {} with {}", i + 1, j + 1),
                };
                result.pairs.push((name, rows));
            }
            (Some(i), None) => result.unpaired.0.push(baseline.modes[*i].frequency.value),
            (None, Some(j)) => result.unpaired.1.push(measured.modes[*j].frequency.value),
            (None, None) => {}
        }
    }
    if result.pairs.is_empty() {
        result
            .notes
            .push("no mode of one stage could be paired with one of the other; pairs can be set by hand".into());
    }
    let mut add = |code, what: &str, pairs: usize, x: &Figure, (y, raw): (&Figure, &Figure), shown| {
        if let Some(ratio) = Ratio::knowing(x, y, takes, &known) {
            let (baseline, other) = (x.clone(), raw.clone());
            result.whole.push(Row { code, what: what.to_owned(), baseline, other, shown, ratio, pairs });
        }
    };
    let one = Figure::exact(1.0);
    let mut assumes_shape = false;
    let mut notes: Vec<String> = Vec::new();
    let sure_pairs: Vec<(usize, usize)> =
        pairs.iter().filter_map(|p| p.0.zip(p.1)).filter(|(i, j)| sure(*i, *j)).collect();
    let both = |f: &dyn Fn(&Stage) -> Option<Figure>| Some((f(baseline)?, (f(other)?, f(measured)?)));
    // Modes without a partner (0: of the baseline, 1: of the other), and the factor that the paired ones moved by.
    let alone = |side: usize| -> Vec<&StageMode> {
        let of = |p: &Pair| if side == 0 { p.0.filter(|_| p.1.is_none()) } else { p.1.filter(|_| p.0.is_none()) };
        let modes = if side == 0 { &baseline.modes } else { &other.modes };
        pairs.iter().filter_map(of).map(|i| &modes[i]).collect()
    };
    let logs: Vec<f64> = pairs
        .iter()
        .filter_map(|p| Some((other.modes[p.1?].frequency.value / baseline.modes[p.0?].frequency.value).ln()))
        .collect();
    let moved = (logs.iter().sum::<f64>() / logs.len().max(1) as f64).exp();
    if let Some((x, (y, raw))) = both(&|s| s.bending_stiffness.clone()) {
        add("bending_stiffness", "bending stiffness EI", 0, &x, (&y, &raw), ("N m²", 1.0));
    } else if !stiffer.is_empty() {
        let what = "stiffness, from f² times mass";
        let ratio = common_ratio(&stiffer);
        add("stiffness_by_mass", what, stiffer.len(), &one, (&ratio, &ratio), ("", 1.0));
        assumes_shape = true;
    }
    let effective: Vec<Figure> = sure_pairs
        .iter()
        .filter_map(|(i, j)| effective_ratio(baseline, other, &baseline.modes[*i], &other.modes[*j]))
        .collect();
    if !effective.is_empty() {
        let what = "stiffness k at the station";
        let ratio = mean_ratio(&effective);
        add("effective_stiffness", what, effective.len(), &one, (&ratio, &ratio), ("", 1.0));
    }
    // Needs no pairs: what the spot gives is the sum over its modes, whichever they are.
    if let Some((x, (y, raw))) = both(&|s| s.compliance.as_ref().map(|c| c.to_power(-1.0, 1.0))) {
        add("spot_stiffness", "stiffness of the spot under a push", 0, &x, (&y, &raw), ("N/mm", 1e-3));
    }
    if let Some((x, (y, raw))) = both(&|s| s.mass.clone()) {
        add("mass", "mass", 0, &x, (&y, &raw), ("g", 1e3));
    }
    if let Some((x, (y, raw))) =
        both(&|s| Some(Figure::combine(&[s.bending_stiffness.as_ref()?, s.mass_per_length.as_ref()?], |v| v[0] / v[1])))
    {
        add("stiffness_per_mass", "stiffness per mass", 0, &x, (&y, &raw), ("N m³/kg", 1.0));
    }
    let lacks = |a: &Mobility, b: &Mobility, band| {
        may_lack(a, b, &alone(1), 1.0 / moved, band).hypot(may_lack(b, a, &alone(0), moved, band))
    };
    let power = stage_power(baseline, other, top, lacks);
    if let Some(power) = &power {
        for (code, what, ratio) in power_rows(power) {
            add(code, what, 0, &one, (ratio, ratio), ("", 1.0));
        }
        notes.extend(power_notes(power, top));
    }
    // One figure for the loss and one for the pitch: the means of the logarithms over all pairs.
    if sure_pairs.len() > 1 {
        let ratios = |of: fn(&StageMode) -> &Figure| -> Vec<Figure> {
            let ratio = |(i, j): &(usize, usize)| of(&other.modes[*j]).over(of(&baseline.modes[*i]));
            sure_pairs.iter().map(ratio).collect()
        };
        let (damping, frequency) = (ratios(|m| &m.damping_ratio), ratios(|m| &m.frequency));
        let (loss, pitch) = (mean_ratio(&damping), mean_ratio(&frequency));
        add("loss", "loss, mean over the pairs", damping.len(), &one, (&loss, &loss), ("", 1.0));
        add("pitch", "pitch, mean over the pairs", frequency.len(), &one, (&pitch, &pitch), ("", 1.0));
    }
    if assumes_shape {
        result.notes.push(
            "stiffness from f² times mass assumes that the modes kept their shapes and that the weight was added evenly".into(),
        );
    }
    result.power_band_hz = power.and_then(|p| p.band_hz);
    result.notes.extend(notes);
    result.notes.extend(moisture.note(&baseline.name, &other.name));
    result.notes.extend(baseline.notes.iter().chain(&other.notes).cloned());
    result.moisture = moisture;
    result
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::{LiningKind, RimBuild};

    const PLAIN_HZ: [f64; 5] = [62.0, 118.0, 191.0, 280.0, 386.0];

    /// A stage that was tapped with masses stuck on, and weighed; 1.2 times the frequencies if `stiff`.
    fn stage(name: &str, build: Option<RimBuild>, stiff: bool) -> Stage {
        let hz = |f: &f64| if stiff { 1.2 * f } else { *f };
        let mode = |f: &f64| StageMode {
            frequency: Figure::new(hz(f), 1e-3, "f"),
            damping_ratio: Figure::new(if stiff { 0.02 } else { 0.01 }, 1e-4, "z"),
            level_db: -f / 50.0,
            name: None,
            taps: 5,
        };
        let station = |f: &f64| StationMode {
            frequency: Figure::new(hz(f), 1e-3, format!("f {f} {name}")),
            damping_ratio: Figure::new(0.01, 1e-4, format!("z {f} {name}")),
            modal_mass: Figure::new(0.1, 2e-3, format!("m {f} {name}")),
        };
        Stage {
            name: name.into(),
            modes: super::super::merge_takes(name, &[PLAIN_HZ.iter().map(mode).collect()]),
            mass: Some(Figure::new(if stiff { 0.5 } else { 0.2 }, 1e-3, name)),
            mobility: Mobility::new(PLAIN_HZ.iter().map(station).collect()),
            takes: 1,
            build,
            ..Stage::default()
        }
    }

    fn rim(linings: LiningKind) -> Option<RimBuild> {
        Some(RimBuild { outline: "parlour".into(), depth_m: 0.1, block_m: None, linings, braces: None })
    }

    /// What is derived from pairs, of the whole part and of each pair.
    fn derived(comparison: &Comparison) -> (Vec<&'static str>, usize) {
        let codes = comparison
            .whole
            .iter()
            .map(|r| r.code)
            .filter(|c| !c.starts_with("power") && !["mass", "pitch"].contains(c));
        (codes.collect(), comparison.pairs.iter().filter(|(_, rows)| rows.len() > 1).count())
    }

    #[test]
    fn other_joints_leave_nothing_to_derive_from_pairs() {
        let bare = || rim(LiningKind::None);
        let all = vec!["stiffness_by_mass", "effective_stiffness", "loss"];
        let laminated = compare(&stage("plain", bare(), false), &stage("laminated", bare(), true), &[]);
        assert_eq!((derived(&laminated), laminated.undecided), ((all.clone(), 5), false));
        for (a, b) in [
            (stage("one", bare(), false), stage("other", rim(LiningKind::Kerfed), true)),
            (stage("plain", None, false), stage("braced", None, true)),
        ] {
            let unsure = compare(&a, &b, &[]);
            assert_eq!((derived(&unsure), unsure.undecided), ((Vec::new(), 0), true));
            assert!(unsure.notes[0].contains("blocks, linings or braces differ"), "{:?}", unsure.notes);
            assert_eq!(
                unsure.whole.iter().map(|r| r.code).collect::<Vec<_>>(),
                ["mass", "power_matched_top", "power_drawn", "power_given_speed"]
            );
            assert_eq!(unsure.pairs.len(), 5);
            // Set by hand a pair counts, and no other does.
            let by_hand = compare(&a, &b, &[(1, 1), (2, 2)]);
            assert_eq!((derived(&by_hand), by_hand.undecided), ((all.clone(), 2), true));
            let every: Vec<(usize, usize)> = (1..=5).map(|n| (n, n)).collect();
            let decided = compare(&a, &b, &every);
            assert_eq!((derived(&decided), decided.undecided), ((all.clone(), 5), false));
        }
    }

    /// A blank's numbered modes are who they are, whatever the stages are called.
    #[test]
    fn numbered_modes_stay_paired() {
        let numbered = |name: &str, stiff| {
            let mut stage = stage(name, None, stiff);
            stage.modes.iter_mut().enumerate().for_each(|(i, m)| m.name = Some(format!("bending {}", i + 2)));
            stage
        };
        let result = compare(&numbered("plain", false), &numbered("braced", true), &[]);
        assert_eq!((derived(&result).1, result.undecided), (5, false));
    }
}
