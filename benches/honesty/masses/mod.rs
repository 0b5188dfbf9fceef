//! Stuck-on masses: modal mass and stiffness at spots of free bars and of frames, from structures with a point mass solved here.

mod structure;

use ringwright::stiffness::{StationResult, StationTake, StationTone, follow_modes};
use ringwright::uncertainty::{Cause, Figure};

use crate::dice::Dice;
use crate::row::Row;
use structure::{AtSpot, Frame, bar};

/// What is heard: from and up to (Hz), and down to so many decibels below the strongest.
const BAND_HZ: (f64, f64) = (60.0, 900.0);
const HEARD_DB: f64 = 32.0;
/// Standard uncertainty of a mass that was stuck on (kg): a pocket scale.
const SCALE_KG: f64 = 5e-5;

#[derive(Clone, Copy, PartialEq, Debug)]
enum Kind {
    Bar,
    Tail,
    Bout,
}

fn draw(kind: Kind, dice: &mut Dice) -> AtSpot {
    match kind {
        Kind::Bar => {
            let (length, thick) = (dice.uniform(0.6, 0.9), dice.uniform(1.8e-3, 4e-3));
            let (density, young) = (dice.uniform(450.0, 800.0), dice.uniform(8e9, 15e9));
            let kg = length * 0.1 * thick * density;
            let place = if dice.uniform(0.0, 1.0) < 0.4 { 1.0 } else { dice.uniform(0.5, 1.0) };
            bar(length, kg, young * 0.1 * thick.powi(3) / 12.0, place)
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
    stations: usize,
    silent: usize,
    heard: usize,
    told: usize,
    held: usize,
    far: usize,
    near: usize,
    narrow: usize,
    best_near: usize,
}

impl Count {
    fn add(&mut self, spot: &AtSpot, results: &[StationResult]) {
        let truths = spot.truths();
        self.stations += 1;
        self.silent += usize::from(results.iter().all(|r| r.effective.is_err()));
        let mut best: Option<(f64, bool)> = None;
        for result in results {
            self.heard += 1;
            let Ok(e) = &result.effective else { continue };
            let f = result.tone.frequency_hz;
            let truth = truths.iter().min_by(|a, b| (a.0 - f).abs().total_cmp(&(b.0 - f).abs())).expect("modes").1;
            let off = (e.modal_mass.value - truth).abs();
            let half = e.modal_mass.half_95();
            self.told += 1;
            self.held += usize::from(off <= half);
            self.far += usize::from(off > 2.5 * half);
            let near = (e.modal_mass.value / truth - 1.0).abs() < 0.25;
            self.near += usize::from(near);
            self.narrow += usize::from(half < 0.25 * e.modal_mass.value);
            if best.is_none_or(|(level, _)| result.tone.level_db > level) {
                best = Some((result.tone.level_db, near && half < 0.25 * e.modal_mass.value));
            }
        }
        self.best_near += usize::from(best.is_some_and(|(_, near)| near));
    }

    fn tell(&self, name: &str) {
        let p = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
        eprintln!(
            "{name}: {} stations, {:.0} % silent; {} heard, {:.0} % told; held {:.1} %, far {:.2} %, k within 25 % {:.1} %, half below 25 % {:.1} %; strongest near {:.1} %",
            self.stations,
            p(self.silent, self.stations),
            self.heard,
            p(self.told, self.heard),
            p(self.held, self.told),
            p(self.far, self.told),
            p(self.near, self.told),
            p(self.narrow, self.told),
            p(self.best_near, self.stations)
        );
    }
}

pub fn measure(parts: usize) -> Vec<Row> {
    structure::check();
    let mut rows = Vec::new();
    for (kind, name) in [(Kind::Bar, "bar"), (Kind::Tail, "tail and neck of a rim"), (Kind::Bout, "elsewhere on a rim")] {
        for (masses, said) in [([0.0, 2.5e-3, 5e-3], "2.5 and 5 g"), ([0.0, 5e-3, 10e-3], "5 and 10 g")] {
            for held in [3e-4, 1e-3] {
                let mut dice = Dice::new(2200 + kind as u64);
                let mut count = Count::default();
                for _ in 0..parts {
                    let spot = draw(kind, &mut dice);
                    let takes = takes(&spot, &masses, held, &mut dice);
                    if let Ok(results) = follow_modes(&takes) {
                        count.add(&spot, &results);
                    }
                }
                let name = format!("{name}, {said}, held anew {:.2} %", 100.0 * held);
                count.tell(&name);
                rows.push(Row::coverage(format!("{name}: modal mass held"), count.held, count.told));
                rows.push(Row::at_most(format!("{name}: missed by 2.5 half-widths"), count.far, count.told, 1e-3));
            }
        }
    }
    rows
}
