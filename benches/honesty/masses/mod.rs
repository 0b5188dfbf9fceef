//! Stuck-on masses: modal mass and stiffness at spots of free bars and of frames, from structures with a point mass solved here.
//!
//! Shops differ in how well their takes repeat: what holding anew does is drawn for each log-normally (factor 1.5) about what the program
//! expects, or is a good shop's 0.03 %. The maker sticks on one mass first, then the two that the program advises.

mod structure;

use ringwright::loss::{compliance, station_mobility};
use ringwright::part::HUNG_AGAIN_FREQUENCY;
use ringwright::stiffness::{MassAdvice, SpotMotion, StationMasses, StationTake, StationTone, station_masses};
use ringwright::uncertainty::{COVERAGE_95, Cause, Figure};

use crate::dice::Dice;
use crate::row::Row;
use structure::{AtSpot, Frame, Truth, bar};

/// What is heard: from and up to (Hz), and down to so many decibels below the strongest.
const BAND_HZ: (f64, f64) = (60.0, 900.0);
const HEARD_DB: f64 = 32.0;
/// Standard uncertainty of a mass that was stuck on (kg): a pocket scale.
const SCALE_KG: f64 = 5e-5;

#[derive(Clone, Copy)]
enum Kind {
    /// A free bar: its end or another place.
    Bar,
    /// A strip so short that its first bending is heard, at its end.
    Short,
    /// A rim's middle line, which cannot slide in the modes that a tap across excites.
    Tail,
    /// Elsewhere on a rim: it slides as it moves to and fro.
    Bout,
}

/// A part of this kind, and a spot on it.
fn draw(kind: Kind, dice: &mut Dice) -> AtSpot {
    match kind {
        Kind::Bar => {
            let (length, thick) = (dice.uniform(0.6, 0.9), dice.uniform(1.8e-3, 4e-3));
            let (density, young) = (dice.uniform(450.0, 800.0), dice.uniform(8e9, 15e9));
            let kg = length * 0.1 * thick * density;
            let place = if dice.uniform(0.0, 1.0) < 0.4 { 1.0 } else { dice.uniform(0.5, 1.0) };
            bar(length, kg, young * 0.1 * thick.powi(3) / 12.0, place)
        }
        Kind::Short => {
            let (length, thick) = (dice.uniform(0.22, 0.38), dice.uniform(1.8e-3, 4e-3));
            let (density, young) = (dice.uniform(450.0, 800.0), dice.uniform(8e9, 15e9));
            bar(length, length * 0.05 * thick * density, young * 0.05 * thick.powi(3) / 12.0, 1.0)
        }
        Kind::Tail => {
            let frame = Frame::draw(dice);
            frame.at(if dice.uniform(0.0, 1.0) < 0.5 { 0 } else { frame.nodes() / 2 })
        }
        Kind::Bout => {
            let frame = Frame::draw(dice);
            let place = dice.uniform(1.0, frame.nodes() as f64 / 2.0);
            frame.at(place as usize)
        }
    }
}

/// The takes of a spot with these masses, each held anew with a shift of all its tones.
fn takes(spot: &AtSpot, masses_kg: &[f64], held: f64, dice: &mut Dice) -> Vec<StationTake> {
    // How loud each mode is beside its motion, the same in every take.
    let loud: Vec<f64> = (0..spot.squares.len()).map(|_| 4.0 * dice.normal()).collect();
    masses_kg
        .iter()
        .map(|labelled| {
            let kg = if *labelled > 0.0 { labelled + SCALE_KG * dice.normal() } else { 0.0 };
            let all = spot.loaded(kg);
            let level = |i: usize| 10.0 * (all[i].inverse_kg + 1e-9).log10() + loud[i];
            let audible = |i: &usize| (BAND_HZ.0..BAND_HZ.1).contains(&all[*i].hz);
            let loudest = (0..all.len()).filter(audible).map(level).fold(f64::NEG_INFINITY, f64::max);
            let hold = 1.0 + held * dice.normal();
            let tones = (0..all.len()).filter(audible).filter(|i| level(*i) > loudest - HEARD_DB).map(|i| {
                let relative = 2e-5 * 10f64.powf((loudest - level(i)) / 40.0);
                StationTone {
                    frequency_hz: all[i].hz * hold * (1.0 + relative * dice.normal()),
                    frequency_hz_u: relative * all[i].hz,
                    damping_ratio: 0.008,
                    damping_ratio_u: 8e-5,
                    level_db: level(i) - loudest,
                }
            });
            let tones = tones.collect();
            let added = if *labelled > 0.0 {
                Figure::new(*labelled, SCALE_KG, Cause::AddedMass(format!("{labelled}").into()))
            } else {
                Figure::exact(0.0)
            };
            StationTake { added, tones }
        })
        .collect()
}

#[derive(Default)]
struct Count {
    spots: usize,
    /// Modes given a mass, within its interval, off by more than 2.5 of its halves.
    given: usize,
    held: usize,
    far: usize,
    /// Spots whose strongest mode that has a mass has it, and so k, within 25 % and with an interval no wider.
    strongest_near: usize,
    /// Lower limits, and those that hold: of the mass of all motion; of that of the motion across.
    limits: usize,
    limits_hold: usize,
    limits_across_hold: usize,
    /// Spots whose lowest mode has its mass, those of them whose compliance is held, missed by 2.5 halves; and its half-widths.
    gives: usize,
    gives_held: usize,
    gives_far: usize,
    gives_halves: Vec<f64>,
    /// Of spots, those where something is contradicted, and those where it is said that no mass gives it.
    contradicted: usize,
    none_would: usize,
}

impl Count {
    fn add(&mut self, spot: &AtSpot, found: &StationMasses) {
        let truths = spot.truths();
        self.spots += 1;
        self.contradicted += usize::from(found.modes.iter().any(|m| {
            m.effective.as_ref().is_err_and(|why| ["no_one_motion", "follows_no_mass"].contains(&why.code()))
        }));
        let mut strongest: Option<(f64, bool)> = None;
        for result in &found.modes {
            let off_hz = |mode: &Truth| (mode.hz - result.tone.frequency_hz).abs();
            let truth = truths.iter().min_by(|a, b| off_hz(a).total_cmp(&off_hz(b))).expect("modes");
            if let Some(limit) = result.at_least_kg {
                self.limits += 1;
                self.limits_hold += usize::from(limit <= truth.kg);
                self.limits_across_hold += usize::from(limit <= truth.kg_across);
            }
            let Ok(given) = &result.effective else { continue };
            let (off, half) = ((given.modal_mass.value - truth.kg).abs(), given.modal_mass.half_95());
            self.given += 1;
            self.held += usize::from(off <= half);
            self.far += usize::from(off > 2.5 * half);
            if strongest.is_none_or(|(level, _)| result.tone.level_db > level) {
                let near = off < 0.25 * truth.kg && half < 0.25 * given.modal_mass.value;
                strongest = Some((result.tone.level_db, near));
            }
        }
        self.strongest_near += usize::from(strongest.is_some_and(|(_, near)| near));
        // Where a spot may slide nothing two-sided is said of the motion across.
        if spot.on_middle_line {
            self.compliance(spot, found, &truths);
        }
    }

    /// How far the spot gives, where its lowest mode was heard and has its mass.
    fn compliance(&mut self, spot: &AtSpot, found: &StationMasses, truths: &[Truth]) {
        let lowest = truths.iter().map(|t| t.hz).fold(f64::INFINITY, f64::min);
        let heard = found.modes.first().filter(|m| (m.tone.frequency_hz / lowest - 1.0).abs() < 0.02);
        if heard.is_none_or(|m| m.effective.is_err()) {
            return;
        }
        let Some(mobility) = station_mobility(&found.modes, "spot") else { return };
        let given = compliance(&mobility);
        let truth: f64 = (0..spot.squares.len())
            .filter(|i| spot.squares[*i] > 100.0)
            .map(|i| spot.across[i].powi(2) / spot.squares[i])
            .sum();
        let (off, half) = ((given.value / truth).ln().abs(), COVERAGE_95 * given.relative_u_95());
        self.gives += 1;
        self.gives_held += usize::from(off <= half);
        self.gives_far += usize::from(off > 2.5 * half);
        self.gives_halves.push(half);
    }

    fn rows(&self, name: &str, drawn: bool) -> Vec<Row> {
        let held = format!("{name}: modal mass held");
        let mut rows = vec![
            // A good shop's intervals hold more often: a few takes do not show that it is one.
            if drawn {
                Row::coverage(held, self.held, self.given)
            } else {
                Row::at_least(held, self.held, self.given, 0.93)
            },
            Row::at_most(format!("{name}: missed by 2.5 half-widths"), self.far, self.given, 1e-3),
            Row::at_least(format!("{name}: lower limits of all motion hold"), self.limits_hold, self.limits, 0.93),
            Row::at_least(format!("{name}: lower limits across hold"), self.limits_across_hold, self.limits, 0.93),
            Row::at_most(format!("{name}: spots with a contradiction"), self.contradicted, self.spots, 0.05),
        ];
        if self.gives > 0 {
            let mut halves = self.gives_halves.clone();
            halves.sort_by(f64::total_cmp);
            let measured =
                format!("{} (half-width {:.0} % in the middle)", self.gives, 100.0 * halves[halves.len() / 2]);
            rows.push(Row {
                figure: format!("{name}: spots that tell how far they give"),
                wanted: "—".into(),
                measured,
                met: true,
            });
            let held = format!("{name}: how far it gives, held");
            rows.push(if drawn {
                Row::coverage(held, self.gives_held, self.gives)
            } else {
                Row::at_least(held, self.gives_held, self.gives, 0.93)
            });
            let far = format!("{name}: how far it gives, missed by 2.5 half-widths");
            rows.push(Row::at_most(far, self.gives_far, self.gives, 1e-3));
        }
        rows.push(Row::at_least(
            format!("{name}: k of the strongest mode within 25 %"),
            self.strongest_near,
            self.spots,
            0.8,
        ));
        rows
    }
}

fn cell(kind: Kind, name: &str, parts: usize, held_of: impl Fn(&mut Dice) -> f64, drawn: bool) -> Vec<Row> {
    let mut dice = Dice::new(2200 + kind as u64);
    let [mut one, mut two, mut advised] = [Count::default(), Count::default(), Count::default()];
    for _ in 0..parts {
        let spot = draw(kind, &mut dice);
        let held = held_of(&mut dice);
        // Half of the makers have weighed the part.
        let part_kg = (dice.uniform(0.0, 1.0) < 0.5).then_some(spot.kg);
        let motion = SpotMotion { may_slide: matches!(kind, Kind::Bout), part_kg };
        let first = takes(&spot, &[0.0, 4e-3], held, &mut dice);
        let Ok(found) = station_masses(&first, &motion) else { continue };
        one.add(&spot, &found);
        let fixed = takes(&spot, &[0.0, 2.5e-3, 5e-3], held, &mut dice);
        if let Ok(found) = station_masses(&fixed, &motion) {
            two.add(&spot, &found);
        }
        match found.advice {
            Some(MassAdvice::Two([heavy, light])) => {
                let again = takes(&spot, &[0.0, light, heavy], held, &mut dice);
                if let Ok(found) = station_masses(&again, &motion) {
                    advised.add(&spot, &found);
                }
            }
            _ => one.none_would += 1,
        }
    }
    let mut rows = one.rows(&format!("{name}, 4 g"), drawn);
    // With one mass there is nothing two-sided.
    rows = rows.split_off(2);
    rows.pop();
    // On a strip that weighs next to nothing it is often true.
    if !matches!(kind, Kind::Short) {
        rows.push(Row::at_most(format!("{name}, 4 g: said that no mass gives it"), one.none_would, one.spots, 0.2));
    }
    let mut fixed = two.rows(&format!("{name}, 2.5 and 5 g"), drawn);
    fixed.pop();
    rows.extend(fixed);
    rows.extend(advised.rows(&format!("{name}, advised masses"), drawn));
    rows
}

pub fn measure(parts: usize) -> Vec<Row> {
    structure::check();
    let mut rows = Vec::new();
    for (kind, name) in [
        (Kind::Bar, "bar"),
        (Kind::Short, "short strip"),
        (Kind::Tail, "tail and neck of a rim"),
        (Kind::Bout, "elsewhere on a rim"),
    ] {
        let drawn = |dice: &mut Dice| HUNG_AGAIN_FREQUENCY * (1.5f64.ln() * dice.normal()).exp();
        rows.extend(cell(kind, &format!("{name}, held anew 0.1 %, drawn"), parts, drawn, true));
        rows.extend(cell(kind, &format!("{name}, held anew 0.03 %"), parts, |_| 3e-4, false));
    }
    rows
}
