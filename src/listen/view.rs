//! What there is to be shown of a session: for a screen, or line by line.

use super::forecast::Forecast;
use super::room::RoomReport;
use crate::modes::{Mode, Spectrum};

/// What the maker is to do, or what just happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Phase {
    /// The room is listened to; seconds that remain.
    Room {
        left_s: f64,
    },
    /// The room was not quiet; it is listened to again.
    RoomAgain,
    TapNow,
    /// A strike rings.
    Ringing,
    /// One like a tap, alone so far: it counts when another rings alike.
    Heard,
    /// Its number in the step, once it has died away.
    GotIt {
        number: usize,
    },
    Again {
        code: &'static str,
        sentence: String,
    },
    /// Between two steps: what to do, and the seconds until listening goes on.
    Change {
        what: String,
        left_s: f64,
    },
    /// The step has taps enough, and they cannot be kept yet: nothing more is listened for.
    Held,
    Done,
}

/// A session as it stands.
#[derive(Debug, Clone, Default)]
pub struct View {
    pub phase: Option<Phase>,
    /// What is tapped ("waist + 5 g"), its place among the steps (from 1), and how many there are.
    pub step: String,
    pub step_number: usize,
    pub steps: usize,
    /// Good taps of this step that are kept, and how many are wanted.
    pub good: usize,
    pub wanted: usize,
    /// Taps that wait for one that rings alike.
    pub waiting: usize,
    /// Or how narrow the damping's interval is to be (half width, share), and how narrow that of the strong modes is now.
    pub until: Option<f64>,
    pub precision: Option<f64>,
    /// Level of the last twentieth of a second and the highest of the last seconds (dB of full scale).
    pub level_db: f64,
    pub peak_db: f64,
    pub clipped: bool,
    pub room: Option<RoomReport>,
    /// What to expect in this room.
    pub forecast: Vec<Forecast>,
    /// The last tap: lowest and highest sample of equal stretches, and the mean spectrum of the take.
    pub waveform: Vec<(f32, f32)>,
    pub spectrum: Spectrum,
    pub modes: Vec<Mode>,
    /// What was heard and was no tap, last one.
    pub stir: Option<String>,
    pub stirs: usize,
    pub rejected: usize,
    /// Seconds from the end of the last ring-down to its verdict, in the time of the sound.
    pub verdict_after_s: Option<f64>,
    /// The longest such time of the session.
    pub slowest_verdict_s: Option<f64>,
    pub lost_frames: u64,
    /// Why the take is not on disk as it stands, if it is not.
    pub not_kept: Option<String>,
    /// What else went wrong.
    pub trouble: Option<String>,
    /// Seconds since the session began.
    pub elapsed_s: f64,
}
