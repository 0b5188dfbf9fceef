//! What a session is to reach, what it wants done, and what came of it.

use std::sync::Arc;

use super::judge::Verdict;
use super::room::RoomReport;
use crate::modes::Estimate;

/// When a step is done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Goal {
    /// Good taps.
    pub taps: usize,
    /// Stop earlier or go on longer until the interval of the strong modes' damping is so narrow (half width, share).
    pub until: Option<f64>,
    /// With `until`: at most so many taps.
    pub most_taps: usize,
}

/// One station, bare or with a mass stuck on.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// "waist", "waist + 5 g".
    pub name: String,
    /// What is to be done before it ("stick 5 g on at waist"); nothing before the first.
    pub change: String,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    pub rate_hz: u32,
    pub channels: usize,
    pub goal: Goal,
    pub steps: Vec<Step>,
    /// Seconds between two steps.
    pub change_s: f64,
    /// A bell rings after a tap: what is heard then is not listened to.
    pub bell: bool,
}

/// What the session wants done.
#[derive(Debug, Clone)]
pub enum Order {
    /// Look at some seconds of the room; answered with `Room`.
    Room {
        sound: Vec<f32>,
    },
    /// Judge the strike at this frame of the sound; answered with `Judged`.
    Judge {
        id: u64,
        sound: Vec<f32>,
        strike: usize,
    },
    /// The take of a step has grown (or lost a tap that spoiled it): keep it, answered with `Kept`, and then estimate its
    /// modes, answered with `Estimated`.
    Grown {
        growth: u64,
        step: usize,
        taps: usize,
        sound: Arc<Vec<f32>>,
    },
    /// Estimate the modes that a step's take would have with these taps, and keep nothing; answered with `Estimated`.
    Weigh {
        growth: u64,
        step: usize,
        taps: usize,
        sound: Arc<Vec<f32>>,
    },
    Sound(Tone),
}

/// Tells by ear how it went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    Accepted,
    Rejected,
    StepDone,
}

/// What came of an order.
pub enum Answer {
    Room(Result<RoomReport, String>),
    Judged {
        id: u64,
        verdict: Result<Verdict, String>,
    },
    Estimated {
        growth: u64,
        step: usize,
        taps: usize,
        estimate: Result<Box<Estimate>, String>,
    },
    /// The take with so many taps is on disk; or why it is not, and what to do.
    Kept {
        taps: usize,
        trouble: Option<String>,
    },
}
