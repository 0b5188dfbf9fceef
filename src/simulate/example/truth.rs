//! What is true of the demonstration's parts, for comparing with what the program makes of their sounds.

use super::solids::SolidMode;
use super::stages::{BAND_HZ, ExampleStage, example_stages};
use super::takes::{blank_modes, example_takes, phone_take, spot_modes};
use super::woods::example_blanks;
use crate::plan::RIM_BAND_HZ;
use crate::simulate::take::TrueMode;
use crate::stiffness::Constants;

/// A mode, in the mean over holdings, and how strongly a tap makes it sound (full scale = 1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModeTruth {
    pub frequency_hz: f64,
    pub damping_ratio: f64,
    pub amplitude: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct BlankTruth {
    pub part: &'static str,
    pub length_m: f64,
    pub width_m: f64,
    pub thickness_m: f64,
    pub mass_kg: f64,
    pub constants: Constants,
    pub modes: Vec<ModeTruth>,
}

impl ModeTruth {
    fn of(mode: &TrueMode) -> Self {
        Self { frequency_hz: mode.frequency_hz, damping_ratio: mode.damping_ratio, amplitude: mode.amplitude }
    }
}

/// A spot of a bent side or a rim in one of its stages.
#[derive(Debug, Clone, PartialEq)]
pub struct StageTruth {
    pub part: &'static str,
    pub stage: &'static str,
    pub station: &'static str,
    pub mass_kg: f64,
    pub modes: Vec<ModeTruth>,
    /// Of each mode at the spot: modal mass by all its motion in the plane (kg), and its movement across the side per unit modal
    /// mass (1/sqrt kg).
    pub modal_mass_kg: Vec<f64>,
    pub shape_across: Vec<f64>,
}

/// What one take holds: the part as it was held this time, with what was stuck on.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeTruth {
    pub name: String,
    pub added_g: f64,
    /// Factors of all frequencies and damping ratios from holding the part this time.
    pub held: (f64, f64),
    pub modes: Vec<ModeTruth>,
}

/// A stage over the part's first, at a spot.
#[derive(Debug, Clone, PartialEq)]
pub struct RatioTruth {
    pub part: &'static str,
    pub before: &'static str,
    pub after: &'static str,
    pub station: &'static str,
    pub mass: f64,
    /// f squared times mass, and loss, in the geometric mean over the modes: where only plies were added, so that the modes kept
    /// their order.
    pub stiffness: Option<f64>,
    pub loss: Option<f64>,
    /// Mean real part of the mobility across the side from 80 to 1000 Hz.
    pub power: f64,
}

/// Modes by number are one and the same while they move by one factor, give or take this share.
const SAME_ORDER: f64 = 0.03;

#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    pub blanks: Vec<BlankTruth>,
    pub stages: Vec<StageTruth>,
    pub ratios: Vec<RatioTruth>,
    pub takes: Vec<TakeTruth>,
}

pub fn example_truth() -> Truth {
    let stages = example_stages();
    let blanks = example_blanks().map(|example| {
        let size = example.blank.size;
        let modes = blank_modes(&example).into_iter();
        BlankTruth {
            part: example.part,
            length_m: size.length_m,
            width_m: size.width_m,
            thickness_m: size.thickness_m,
            mass_kg: size.mass_kg,
            constants: example.blank.constants,
            modes: modes.map(|(mode, damping_ratio)| ModeTruth { damping_ratio, ..ModeTruth::of(&mode) }).collect(),
        }
    });
    let phone = phone_take();
    let takes = example_takes().into_iter().chain([phone]).map(|take| TakeTruth {
        modes: take.spec.modes.iter().map(ModeTruth::of).collect(),
        name: take.name,
        added_g: take.added_g,
        held: take.held,
    });
    Truth {
        blanks: blanks.into(),
        stages: stages.iter().flat_map(|s| s.stations.iter().map(|(name, _)| spot(s, name))).collect(),
        ratios: stages.iter().flat_map(|s| ratios(&stages, s)).collect(),
        takes: takes.collect(),
    }
}

fn spot(stage: &ExampleStage, station: &'static str) -> StageTruth {
    let modes = stage.modes(station, 0.0);
    let all_motion = |m: &SolidMode| m.outwards.powi(2) + m.along.powi(2);
    StageTruth {
        part: stage.part,
        stage: stage.stage,
        station,
        mass_kg: stage.solid.mass_kg,
        modal_mass_kg: modes.iter().map(|(m, _)| 1.0 / all_motion(m)).collect(),
        shape_across: modes.iter().map(|(m, _)| m.outwards).collect(),
        modes: spot_modes(stage, station, 0.0).iter().map(|(mode, _)| ModeTruth::of(mode)).collect(),
    }
}

/// A stage over the part's first at each spot that both have.
fn ratios(all: &[ExampleStage], stage: &ExampleStage) -> Vec<RatioTruth> {
    let first = all.iter().find(|s| s.part == stage.part).filter(|first| first.stage != stage.stage);
    let Some(first) = first else { return Vec::new() };
    let of = |(station, _): &(&'static str, &'static [f64])| {
        let (before, after) = (spot(first, station), spot(stage, station));
        let alike = stage.stage == "laminated";
        // By number, of those that the takes of both stages can hold.
        let (of_first, of_stage) = (first.all_modes(station, 0.0), stage.all_modes(station, 0.0));
        let heard = |m: &(SolidMode, f64)| (BAND_HZ.0..BAND_HZ.1).contains(&m.0.frequency_hz);
        let mean = |of: &dyn Fn(&(SolidMode, f64)) -> f64| {
            let both = of_first.iter().zip(&of_stage).filter(|(a, b)| heard(a) && heard(b));
            // As far as they keep their order: a wall that bows across its depth has others among them, higher up.
            let moved = |(a, b): &(&(SolidMode, f64), &(SolidMode, f64))| b.0.frequency_hz / a.0.frequency_hz;
            let first = both.clone().next().map_or(1.0, |pair| moved(&pair));
            let both = both.take_while(|pair| (moved(pair) / first - 1.0).abs() < SAME_ORDER);
            let logs: Vec<f64> = both.map(|(a, b)| (of(b) / of(a)).ln()).collect();
            (logs.iter().sum::<f64>() / logs.len() as f64).exp()
        };
        let mass = after.mass_kg / before.mass_kg;
        RatioTruth {
            part: stage.part,
            before: first.stage,
            after: stage.stage,
            station,
            mass,
            stiffness: alike.then(|| mass * mean(&|m| m.0.frequency_hz).powi(2)),
            loss: alike.then(|| mean(&|m| m.1)),
            power: after.mean_mobility(RIM_BAND_HZ) / before.mean_mobility(RIM_BAND_HZ),
        }
    };
    stage.stations.iter().map(of).collect()
}

impl StageTruth {
    /// Mean real part of the mobility across the side over a band (m/(N s)), each mode with its own loss factor.
    pub fn mean_mobility(&self, band_hz: (f64, f64)) -> f64 {
        const STEPS: usize = 20_000;
        let tau = std::f64::consts::TAU;
        let real = |hz: f64| -> f64 {
            let omega = tau * hz;
            let of = |(mode, shape): (&ModeTruth, &f64)| {
                let own = (tau * mode.frequency_hz).powi(2);
                let lost = own * 2.0 * mode.damping_ratio;
                omega * lost * shape * shape / ((own - omega * omega).powi(2) + lost * lost)
            };
            self.modes.iter().zip(&self.shape_across).map(of).sum()
        };
        let at = |i: usize| band_hz.0 + (band_hz.1 - band_hz.0) * (i as f64 + 0.5) / STEPS as f64;
        (0..STEPS).map(|i| real(at(i))).sum::<f64>() / STEPS as f64
    }
}
