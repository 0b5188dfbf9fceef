//! A session at the bench in words: what the room is like, and a line for whatever happens.

use crate::analysis::{damping_ratio_of_part, frequency_of_part};
use crate::listen::{Forecast, Phase, RoomReport, View};
use crate::modes::Mode;
use crate::report::text::numbers::{minus, significant, with_interval};

/// The room, and what to expect in it.
pub fn room_text(room: &RoomReport, taps: usize, forecast: &[Forecast]) -> Vec<String> {
    let mut out = Vec::new();
    if room.gated {
        out.push(
            "the microphone gives exact silence between sounds: a noise gate or noise suppression is at work. Switch it \
             off (see docs/listening.md), or every damping will be wrong"
                .to_owned(),
        );
    }
    if !room.level_db.is_finite() {
        return out;
    }
    let db = |x: f64| minus(&format!("{x:.0}"));
    let down_to = room.hears_down_to_db();
    let how = match down_to {
        d if d < -60.0 => "quiet",
        d if d < -40.0 => "quiet enough for good taps",
        _ => "loud: tap hard and close to the microphone, or quieten the room",
    };
    let heard = format!("heard down to {} dB (a mode at 200 Hz whose decay shows for 20 dB)", db(down_to));
    out.push(format!("room: {} dB of full scale, {how}; {heard}", db(room.level_db)));
    if !room.lines.is_empty() {
        let all: Vec<String> =
            room.lines.iter().take(6).map(|(f, level)| format!("{f:.1} Hz at {} dB", db(*level))).collect();
        let more = if room.lines.len() > 6 { format!(" and {} weaker", room.lines.len() - 6) } else { String::new() };
        out.push(format!("steady lines, which are left out: {}{more}", all.join(", ")));
    }
    if room.disturbed {
        out.push("the room did not become quiet: what follows is judged by its quietest moments".to_owned());
    }
    if let Some(first) = forecast.first() {
        let all: Vec<String> = forecast
            .iter()
            .map(|f| {
                let (hz, share) = (significant(f.frequency_hz_95, 2), significant(100.0 * f.damping_95, 2));
                format!("at {:.0} Hz ± {hz} Hz and ± {share} % of the damping", f.frequency_hz)
            })
            .collect();
        out.push(format!(
            "expect from {taps} taps that put {} dB into a mode of {:.0} % damping, at best: {}",
            db(first.level_db),
            100.0 * first.damping_ratio,
            all.join("; ")
        ));
    }
    out
}

/// "187.32 ± 0.02 Hz, damping 0.612 ± 0.004 %".
pub(super) fn mode_text(mode: &Mode) -> (String, String) {
    let (frequency, damping) = (frequency_of_part(mode), damping_ratio_of_part(mode).times(100.0));
    (with_interval(frequency.value, frequency.half_95()), with_interval(damping.value, damping.half_95()))
}

/// The words that must be readable from two metres, and the sentence below them.
pub(super) fn call(view: &View) -> (String, String) {
    let count = counted(view);
    if let (Some(trouble), Some(Phase::TapNow | Phase::GotIt { .. } | Phase::Held)) = (&view.not_kept, &view.phase) {
        return ("NOT KEPT".into(), trouble.clone());
    }
    match &view.phase {
        None => (String::new(), String::new()),
        Some(Phase::Room { left_s }) => {
            ("QUIET".into(), format!("listening to the room for {:.0} s: no tap yet, please", left_s.ceil()))
        }
        Some(Phase::RoomAgain) => ("QUIET".into(), "something sounded: listening to the room once more".into()),
        Some(Phase::TapNow) => ("TAP NOW".into(), count),
        Some(Phase::Ringing) => ("...".into(), "let it ring".into()),
        Some(Phase::Heard) => ("ONCE MORE".into(), HEARD.into()),
        Some(Phase::GotIt { number }) => {
            let of = if view.until.is_some() { String::new() } else { format!("/{}", view.wanted) };
            (format!("GOT {number}{of}"), "keep still until the bell".into())
        }
        Some(Phase::Again { sentence, .. }) => ("AGAIN".into(), sentence.clone()),
        Some(Phase::Change { what, left_s }) => {
            (format!("NEXT {:.0}", left_s.ceil()), format!("{what}; listening goes on in {:.0} s", left_s.ceil()))
        }
        Some(Phase::Held) => ("WAIT".into(), "the take is being kept".into()),
        Some(Phase::Done) => ("DONE".into(), "all stations done".into()),
    }
}

const HEARD: &str = "one like a tap was heard: it counts when the next rings alike";

/// "3 of 5 good taps", or "7 good taps, damping to 2.4 % (2 % is wanted)".
fn counted(view: &View) -> String {
    let Some(until) = view.until else { return format!("{} of {} good taps", view.good, view.wanted) };
    let percent = |share: f64| significant(100.0 * share, 2);
    let now = view.precision.map_or(String::new(), |p| format!(", damping to {} %", percent(p)));
    format!("{} good taps{now} ({} % is wanted)", view.good, percent(until))
}

/// Turns a session into lines, one for each thing that happens.
#[derive(Debug, Default)]
pub struct LiveLines {
    last: String,
    stirs: usize,
    good: usize,
    lost: u64,
    room_told: bool,
    not_kept: Option<String>,
    trouble: Option<String>,
}

impl LiveLines {
    /// What has happened since the last look.
    pub fn news(&mut self, view: &View) -> Vec<String> {
        let mut out = Vec::new();
        let listening = matches!(view.phase, Some(Phase::Room { .. } | Phase::RoomAgain));
        self.room_told &= !listening;
        if let (false, false, Some(room)) = (listening, self.room_told, &view.room) {
            self.room_told = true;
            out.extend(room_text(room, view.wanted, &view.forecast));
        }
        if view.stirs > self.stirs {
            let count = view.stirs - self.stirs;
            let times = if count > 1 { format!(" ({count} times)") } else { String::new() };
            out.push(format!("not counted{times}: {}", view.stir.as_deref().unwrap_or("a sound")));
        }
        if view.good > self.good && view.good > 0 {
            let strongest: Vec<String> = strongest(&view.modes, 2)
                .map(|m| {
                    let (f, z) = mode_text(m);
                    format!("{f} Hz, damping {z} %")
                })
                .collect();
            let found = if strongest.is_empty() { String::new() } else { format!("; {}", strongest.join("; ")) };
            out.push(format!("got it: {}{found}", counted(view)));
        }
        if view.lost_frames > self.lost {
            out.push(format!("{} samples were lost: the computer was too busy", view.lost_frames - self.lost));
        }
        if view.not_kept != self.not_kept {
            match &view.not_kept {
                Some(why) => out.push(format!("trouble: NOT KEPT yet: {why}")),
                None => out.push("kept again: all that was held is on disk".to_owned()),
            }
        }
        if view.trouble != self.trouble {
            out.extend(view.trouble.iter().map(|why| format!("trouble: {why}")));
        }
        let event = match &view.phase {
            Some(Phase::Room { .. }) => format!("{}: quiet, please: listening to the room", view.step),
            Some(Phase::RoomAgain) => "something sounded; listening to the room once more".to_owned(),
            Some(Phase::Heard) => HEARD.to_owned(),
            // No more taps are asked for while those that were given are not safe.
            Some(Phase::TapNow | Phase::Held) if view.not_kept.is_some() => self.last.clone(),
            Some(Phase::TapNow) => format!("tap now ({})", counted(view)),
            Some(Phase::Again { code, sentence }) => format!("again: {sentence} [{code}]"),
            Some(Phase::Change { what, .. }) => format!("next: {what}"),
            // The count says it when it has died away.
            _ => self.last.clone(),
        };
        if event != self.last {
            out.push(event.clone());
            self.last = event;
        }
        (self.stirs, self.good, self.lost) = (view.stirs, view.good, view.lost_frames);
        self.not_kept.clone_from(&view.not_kept);
        self.trouble.clone_from(&view.trouble);
        out
    }
}

fn strongest(modes: &[Mode], count: usize) -> impl Iterator<Item = &Mode> {
    let mut all: Vec<&Mode> = modes.iter().collect();
    all.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
    all.into_iter().take(count)
}
