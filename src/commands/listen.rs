//! `ringwright listen`: hands-free tapping at the bench.

use std::collections::VecDeque;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use clap::Args;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};

use super::listen_end::conclude;
use super::listen_plan::{Named, agenda, bench_of};
use super::{OUTLIVES_ITS_READER, Outcome, print, tell};
use crate::files::{Outlet, clear_forgotten, save};
use crate::listen::{Ended, Goal, Keeper, REST, SessionLoop, Settings, Tone};
use crate::report::{LiveLines, Look, draw_session, guide_png};
use crate::rim::Outline;
use crate::sound::Capture;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright listen my-shop                                    asks what is tapped
  ringwright listen my-shop --part rim --stage braced --station waist --station \"lower bout\"
  ringwright listen my-shop --part rim --stage plain --station tail --added \"2 g\" --added \"4 g\"
  ringwright listen --part left-side --stage plain --station middle --until 2%
  ringwright listen --play old-session.wav --part trial --stage plain --station waist

Hold the part where it stands still (0.22 of the length from either end of a free strip), or hang
it there on thin cord. Microphone a hand's width away, not touching the bench. Tap with a fingertip, a
cork on a stick or a small hard-rubber mallet, at the station, and let it bounce off at once. Stay
quiet until the bell. Stuck-on masses: two different ones, to begin with 2 and 4 g (what they tell says
which this station wants), pressed on with wax or putty so that they do not buzz. More in docs/listening.md.

The keyboard is not needed. Enter goes on at once where the program waits; q or Ctrl-C ends.
Takes are kept in recordings/PART/STAGE/STATION/take-NN.wav, anew with every good tap. Where there is no
room, the taps are held and tried again until there is; f keeps them in the rescue folder instead.
Exit codes: 0 done; 1 ended early, what was accepted is kept; 2 wrong usage, or nothing can be heard;
3 the microphone was lost or a take could not be kept where it belongs (what was kept before is unharmed).")]
pub struct Arguments {
    /// The bench folder
    #[arg(value_name = "FOLDER", default_value = ".")]
    folder: PathBuf,
    /// Part that is tapped, as bench.toml names it
    #[arg(long)]
    part: Option<String>,
    /// Stage that it is in, such as "plain" or "laminated"
    #[arg(long)]
    stage: Option<String>,
    /// Where it is tapped; may be repeated: one after the other
    #[arg(long = "station", value_name = "STATION")]
    stations: Vec<String>,
    /// Mass to stick on at each station after the bare taps, such as "5 g"; may be repeated
    #[arg(long = "added", value_name = "MASS", allow_hyphen_values = true)]
    masses: Vec<String>,
    /// Good taps for each station and mass
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=200))]
    taps: u32,
    /// Takes of each station, the part lifted off and hung again before each: two show how well they repeat [default: 2; with --play 1]
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=20))]
    takes: Option<u32>,
    /// Go on until the damping of the strong modes is known within this (half of the 95 % interval), such as 2%
    #[arg(long, value_name = "SHARE", value_parser = percent)]
    until: Option<f64>,
    /// With --until: at most so many taps
    #[arg(long, value_name = "TAPS", default_value_t = 20, value_parser = clap::value_parser!(u32).range(2..=500))]
    most: u32,
    /// Seconds to stick on a mass or to go to the next station
    #[arg(long, value_name = "SECONDS", default_value_t = 15.0, value_parser = seconds)]
    change: f64,
    /// Microphone, by a part of its name or its id (see `devices`)
    #[arg(long, value_name = "NAME", conflicts_with = "play")]
    microphone: Option<String>,
    /// Samples per second, if the microphone is not to choose
    #[arg(long, value_name = "HZ", conflicts_with = "play", value_parser = clap::value_parser!(u32).range(8_000..=192_000))]
    rate: Option<u32>,
    /// Listen to a sound file as if it came through the microphone
    #[arg(long, value_name = "FILE")]
    play: Option<PathBuf>,
    /// With --play: so many times as fast as it was recorded
    #[arg(long, value_name = "TIMES", default_value_t = 1.0, requires = "play", value_parser = times)]
    speed: f64,
    /// Record a part or a stage that bench.toml does not know yet
    #[arg(long)]
    new: bool,
    /// No bell
    #[arg(long)]
    silent: bool,
    /// Line by line instead of a screen: for screen readers, logs and plain terminals
    #[arg(long)]
    plain: bool,
    /// Say at the end how long the verdicts took
    #[arg(long)]
    verbose: bool,
    /// Draw how to hold, tap and listen (PNG), and do nothing else
    #[arg(long, value_name = "FILE")]
    guide: Option<PathBuf>,
    /// Where takes go that cannot be kept in the bench folder [default: ringwright-rescued in the home folder]
    #[arg(long, value_name = "FOLDER")]
    rescue: Option<PathBuf>,
    /// Make no comparison with the part's first stage at the end
    #[arg(long)]
    no_comparison: bool,
}

fn percent(text: &str) -> Result<f64, String> {
    let wrong = || format!("{text:?}: write it like 2%");
    let number: f64 = text.trim().strip_suffix('%').ok_or_else(wrong)?.trim().parse().map_err(|_| wrong())?;
    if number > 0.0 && number <= 100.0 { Ok(number / 100.0) } else { Err(wrong()) }
}

fn seconds(text: &str) -> Result<f64, String> {
    let number: f64 = text.parse().map_err(|_| format!("{text:?} is no number of seconds"))?;
    if (0.0..=3600.0).contains(&number) { Ok(number) } else { Err("0 to 3600 seconds are allowed".into()) }
}

fn times(text: &str) -> Result<f64, String> {
    let number: f64 = text.parse().map_err(|_| format!("{text:?} is no number"))?;
    if (0.1..=1000.0).contains(&number) { Ok(number) } else { Err("0.1 to 1000 times are allowed".into()) }
}

/// Time between two pictures of the screen.
const PICTURE: Duration = Duration::from_millis(80);
/// Pauses between the strokes of a bell: one stroke for accepted, two for rejected, three for a finished station.
const STROKES: Duration = Duration::from_millis(160);

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    if arguments.until.is_some() && arguments.most < arguments.taps {
        bail!("--most {}: is less than --taps {}", arguments.most, arguments.taps);
    }
    if let Some(file) = &arguments.guide {
        let outline = Outline::named("parlour").context("the guide's rim")?;
        let png = guide_png(&outline).map_err(|e| anyhow::anyhow!(e)).context("the guide cannot be drawn")?;
        if file.exists() {
            bail!("{}: exists already. Choose another name", file.display());
        }
        save(file, &png, false)?;
        print(&format!("the guide is in {}\n", file.display()));
        return Ok(Outcome::Done);
    }
    let bench = bench_of(&arguments.folder)?;
    let named = Named {
        part: arguments.part.as_deref(),
        stage: arguments.stage.as_deref(),
        stations: &arguments.stations,
        masses: &arguments.masses,
        // What is in a file cannot be hung again.
        takes: arguments.takes.unwrap_or(if arguments.play.is_some() { 1 } else { 2 }) as usize,
        new: arguments.new,
    };
    let agenda = agenda(&arguments.folder, bench.as_ref(), &named)?;
    can_keep(&arguments.folder, &agenda.folders)?;
    let capture = open(arguments)?;
    OUTLIVES_ITS_READER.store(true, Ordering::Relaxed);
    let stop = Arc::new(AtomicBool::new(false));
    let stopper = stop.clone();
    ctrlc::set_handler(move || stopper.store(true, Ordering::Relaxed)).context("the end signal cannot be watched")?;
    let out = std::io::stdout();
    let dumb = std::env::var("TERM").is_ok_and(|t| t == "dumb");
    let plain = arguments.plain || dumb || !out.is_terminal();
    let bell = !arguments.silent && out.is_terminal();
    let settings = Settings {
        rate_hz: capture.rate_hz(),
        channels: capture.channels(),
        goal: Goal { taps: arguments.taps as usize, until: arguments.until, most_taps: arguments.most as usize },
        steps: agenda.steps.clone(),
        change_s: arguments.change,
        bell,
    };
    let heading = format!("{} {}", agenda.part, agenda.stage);
    let heard = format!(
        "listening to {}: {} Hz, {}",
        capture.name(),
        capture.rate_hz(),
        if capture.channels() == 1 { "1 channel".to_owned() } else { format!("{} channels", capture.channels()) }
    );
    let keeper = Keeper::new(agenda.folders.clone(), rescue_folder(arguments), settings.channels, settings.rate_hz);
    let mut terminal = Terminal {
        session: SessionLoop::new(settings, keeper, capture),
        stop,
        strokes: VecDeque::new(),
        bell,
        heading,
    };
    let ended = if plain {
        print(&format!("{heard}\n"));
        terminal.in_lines()
    } else {
        terminal.on_screen()
    }?;
    let lost = terminal.session.lost_frames();
    if lost > 0 {
        tell(&format!("{lost} samples were lost on their way: the computer was too busy"));
    }
    let view = terminal.session.view();
    if let (true, Some(slowest_s)) = (arguments.verbose, view.slowest_verdict_s) {
        tell(&format!("every verdict came within {:.0} ms of the end of its ring-down", 1e3 * slowest_s));
    }
    if view.waiting > 0 && view.good == 0 {
        tell("what was heard once and not confirmed by a second tap that rings alike is not kept");
    }
    let takes = terminal.session.close(&ended);
    conclude(&arguments.folder, bench.as_ref(), &agenda, &takes, &ended, !arguments.no_comparison)
}

/// Whether takes can be kept at all, before anybody taps.
fn can_keep(bench: &Path, folders: &[PathBuf]) -> anyhow::Result<()> {
    let outlet = Outlet::of_bench(bench);
    for folder in folders {
        let made = outlet.make_folder(folder).map_err(anyhow::Error::from);
        made.and_then(|()| Ok(tempfile::tempfile_in(folder)?)).with_context(|| {
            format!("{}: takes cannot be kept there. Check its permissions and the free space", folder.display())
        })?;
        clear_forgotten(folder);
    }
    Ok(())
}

/// Another place than the bench: most likely another disk, and one that is the maker's own.
fn rescue_folder(arguments: &Arguments) -> PathBuf {
    let usual = || etcetera::home_dir().unwrap_or_else(|_| std::env::temp_dir()).join("ringwright-rescued");
    arguments.rescue.clone().unwrap_or_else(usual)
}

fn open(arguments: &Arguments) -> anyhow::Result<Capture> {
    if let Some(file) = &arguments.play {
        return Capture::of_file(file, arguments.speed)
            .with_context(|| format!("{}: cannot be played", file.display()));
    }
    microphone(arguments)
}

#[cfg(feature = "record")]
fn microphone(arguments: &Arguments) -> anyhow::Result<Capture> {
    let remembered = super::settings::Settings::read()?.microphone;
    let wanted = arguments.microphone.as_deref().or(remembered.as_deref());
    super::quietly(|| crate::sound::listen_to(wanted, arguments.rate)).map_err(|error| {
        let from_memory = arguments.microphone.is_none() && remembered.is_some();
        let hint = if from_memory { " (the one that `devices --use` remembered)" } else { "" };
        anyhow::anyhow!("{error}{hint}. `ringwright devices` lists what there is")
    })
}

#[cfg(not(feature = "record"))]
fn microphone(_: &Arguments) -> anyhow::Result<Capture> {
    bail!("this program was built without the microphone (feature `record`); --play listens to a file")
}

/// What the keyboard can say.
enum Key {
    End,
    GoOn,
    Elsewhere,
}

/// Keys as they are struck. Read on a thread of its own: of a terminal that is gone the reading never ends, and nobody waits for it.
fn keyboard() -> Receiver<Key> {
    let (told, keys) = channel();
    std::thread::spawn(move || {
        while let Ok(event) = event::read() {
            let Event::Key(key) = event else { continue };
            let interrupt = key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
            let what = match key.code {
                _ if key.kind != KeyEventKind::Press => continue,
                _ if interrupt => Key::End,
                KeyCode::Char('q') | KeyCode::Esc => Key::End,
                KeyCode::Enter | KeyCode::Char(' ') => Key::GoOn,
                KeyCode::Char('f') => Key::Elsewhere,
                _ => continue,
            };
            if told.send(what).is_err() {
                return;
            }
        }
    });
    keys
}

/// Lines as they are typed, where there is no screen.
fn typed_lines() -> Receiver<Key> {
    let (told, keys) = channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lines() {
            let what = match line.as_deref().map(str::trim) {
                Ok("") => Key::GoOn,
                Ok("f" | "F") => Key::Elsewhere,
                Ok("q") => Key::End,
                Ok(_) => continue,
                Err(_) => return,
            };
            if told.send(what).is_err() {
                return;
            }
        }
    });
    keys
}

/// What the terminal needs of a running session.
struct Terminal {
    session: SessionLoop,
    stop: Arc<AtomicBool>,
    strokes: VecDeque<Instant>,
    bell: bool,
    heading: String,
}

impl Terminal {
    /// One look at everything; says why it ends, if it does.
    fn turn(&mut self) -> Option<Ended> {
        let ended = self.session.turn();
        self.ring();
        ended.or(self.stop.load(Ordering::Relaxed).then_some(Ended::Stopped))
    }

    /// Rings the bell for what the session wants told by ear, and strikes what is due.
    fn ring(&mut self) {
        for tone in self.session.take_tones().into_iter().filter(|_| self.bell) {
            let strokes = match tone {
                Tone::Accepted => 1,
                Tone::Rejected => 2,
                Tone::StepDone => 3,
            };
            let from = Instant::now().max(self.strokes.back().copied().unwrap_or_else(Instant::now));
            self.strokes.extend((0..strokes).map(|i| from + i * STROKES));
        }
        let now = Instant::now();
        while self.strokes.front().is_some_and(|s| *s <= now) {
            self.strokes.pop_front();
            let mut out = std::io::stdout();
            // A terminal that has gone away rings no bell.
            let _ = out.write_all(b"\x07").and_then(|()| out.flush());
        }
    }

    /// Does what the keyboard says; says whether that is the end.
    fn obey(&mut self, key: &Key) -> bool {
        match key {
            Key::End => return true,
            Key::GoOn => self.session.go_on(),
            Key::Elsewhere => self.session.keep_elsewhere(),
        }
        false
    }

    fn in_lines(&mut self) -> anyhow::Result<Ended> {
        let mut lines = LiveLines::default();
        let mut say = |session: &SessionLoop| {
            for line in lines.news(session.view()) {
                print(&format!("{:7.1} s  {line}\n", session.view().elapsed_s));
            }
        };
        // Read only once something is asked: a program in the background that reads is stopped by its terminal.
        let mut typed: Option<Receiver<Key>> = None;
        let ended = loop {
            let ended = self.turn();
            say(&self.session);
            if let Some(ended) = ended {
                break ended;
            }
            if typed.is_none() && self.session.view().not_kept.is_some() {
                typed = Some(typed_lines());
            }
            if let Some(key) = typed.as_ref().and_then(|t| t.try_recv().ok())
                && self.obey(&key)
            {
                break Ended::Stopped;
            }
            std::thread::sleep(REST);
        };
        self.session.finish(&ended);
        say(&self.session);
        Ok(ended)
    }

    fn on_screen(&mut self) -> anyhow::Result<Ended> {
        let look = Look { colour: std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty()) };
        let mut terminal = ratatui::try_init().context("the screen cannot be set up; --plain needs none")?;
        let result = self.until_ended(&mut terminal, look);
        // A terminal that is gone needs nothing put back.
        let _ = ratatui::try_restore();
        // Without a screen there is no going on, but there is still something to keep.
        let ended = result.unwrap_or_else(|why| Ended::ScreenLost(format!("{why:#}")));
        self.session.finish(&ended);
        Ok(ended)
    }

    fn until_ended(&mut self, terminal: &mut ratatui::DefaultTerminal, look: Look) -> anyhow::Result<Ended> {
        let keys = keyboard();
        let mut drawn = Instant::now() - PICTURE;
        loop {
            if let Some(ended) = self.turn() {
                return Ok(ended);
            }
            if drawn.elapsed() >= PICTURE {
                drawn = Instant::now();
                let (view, heading) = (self.session.view(), &self.heading);
                terminal
                    .draw(|frame| draw_session(frame, view, heading, look))
                    .context("the screen cannot be drawn")?;
            }
            match keys.try_recv() {
                Ok(key) if self.obey(&key) => return Ok(Ended::Stopped),
                Ok(_) => {}
                Err(_) => std::thread::sleep(REST),
            }
        }
    }
}
