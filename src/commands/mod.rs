//! Commands: arguments in, rooms called in order, report out. No mathematics here.
//!
//! Exit codes: 0 done; 1 done, but some inputs could not be measured (each is listed, a missing file too); 2 wrong usage, or
//! the report could not be saved; 3 `listen` lost its microphone or could not keep a take.

mod bench_takes;
mod compare;
mod demo;
#[cfg(feature = "record")]
mod devices;
#[cfg(not(feature = "record"))]
#[path = "devices_missing.rs"]
mod devices;
mod diary;
mod diary_desk;
mod diary_parts;
mod forecast_record;
mod inputs;
mod listen;
mod listen_end;
mod listen_plan;
mod manual;
mod measure;
mod named_plies;
mod pack;
mod part_arguments;
mod plan;
mod rim_outline;
mod schema;
#[cfg(feature = "record")]
mod settings;
mod simulate;
mod take;
mod verify;

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Parser, Subcommand};

use crate::report::{shown, shown_json};

/// A tap in front of a microphone into numbers: vibration modes, damping and their uncertainty.
#[derive(Debug, Parser)]
#[command(name = "ringwright", version, about, max_term_width = 100)]
#[command(after_help = "Exit codes: 0 done; 1 done, but some inputs could not be measured (each is listed); \
2 wrong usage, or the report could not be saved.")]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Measure the modes in recordings of taps
    Measure(measure::Arguments),
    /// Listen to taps at the bench, hands free, and keep the good ones
    Listen(listen::Arguments),
    /// Compare stages of a part with a baseline
    Compare(compare::Arguments),
    /// Foretell what a lamination will be worth before the glue is mixed
    Plan(plan::Arguments),
    /// Measure a whole bench folder and write its diary
    Diary(diary::Arguments),
    /// Check a reference set of real parts, and pack it into one file to share
    Pack(pack::Arguments),
    /// Make an example folder of simulated takes and measure it
    Demo(demo::Arguments),
    /// Simulate a take of taps with known modes
    Simulate(simulate::Arguments),
    /// Check on this machine that the numbers hold
    Verify(verify::Arguments),
    /// List the microphones, and choose one
    Devices(devices::Arguments),
    /// Print the JSON Schema of a report
    Schema(schema::Arguments),
    /// Print a script that lets a shell complete commands and options
    Completions(manual::Completions),
    /// Write manual pages
    Manual(manual::Manual),
}

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Done,
    /// Some inputs could not be measured.
    Partly,
    /// The microphone was lost, or a take could not be kept.
    Lost,
}

/// Runs the program on the process's arguments and gives its exit code.
pub fn run() -> u8 {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        // What the decoding library trips over is told as an error of the file.
        if !crate::sound::decoding() {
            usual(panic);
        }
    }));
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // A name that a shell put there may hold anything; what was said in colours of ours may keep them.
            if error.use_stderr() && std::env::args_os().any(|a| shown(&a.to_string_lossy()) != a.to_string_lossy()) {
                tell(error.render().to_string().trim_end());
                return 2;
            }
            // Help and version are answers, not errors.
            let said = error.print().and_then(|()| std::io::stdout().flush());
            return if error.use_stderr() || !written(said) { 2 } else { 0 };
        }
    };
    let outcome = match arguments.command {
        Command::Measure(arguments) => measure::run(&arguments),
        Command::Listen(arguments) => listen::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Diary(arguments) => diary::run(&arguments),
        Command::Pack(arguments) => pack::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Simulate(arguments) => simulate::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Devices(arguments) => devices::run(&arguments),
        Command::Schema(arguments) => schema::run(&arguments),
        Command::Completions(arguments) => manual::completions(&arguments),
        Command::Manual(arguments) => manual::manual(&arguments),
    };
    match outcome {
        Ok(Outcome::Done | Outcome::Partly) if UNWRITTEN.load(Ordering::Relaxed) => 2,
        Ok(Outcome::Done) => 0,
        Ok(Outcome::Partly) => 1,
        Ok(Outcome::Lost) => 3,
        Err(error) => {
            let exists = |cause: &(dyn std::error::Error + 'static)| {
                matches!(cause.downcast_ref(), Some(crate::files::SaveError::Exists(_)))
            };
            let hint = if error.chain().any(exists) { ", or add --force to replace it" } else { "" };
            tell(&format!("ringwright: {error:#}{hint}"));
            2
        }
    }
}

/// Runs something without the lines that the system's sound library writes to the terminal by itself.
#[cfg(feature = "record")]
fn quietly<T>(work: impl FnOnce() -> T) -> T {
    #[cfg(target_os = "linux")]
    let _silence = alsa::Output::local_error_handler();
    work()
}

/// Whether the program goes on when nobody takes in what it says: a session at the bench has takes to keep.
static OUTLIVES_ITS_READER: AtomicBool = AtomicBool::new(false);

/// Whether something could not be written to standard output: the program goes on, as results may go elsewhere too, and says so in
/// its exit code.
static UNWRITTEN: AtomicBool = AtomicBool::new(false);

/// Writes text to standard output, with nothing in it that a terminal would obey; a reader that has gone away ends the program quietly.
fn print(text: &str) {
    print_raw(&shown(text));
}

/// Writes a report of some form: what programs read keeps its meaning, and what a person reads on a terminal is harmless.
fn print_as(format: measure::Format, text: &str) {
    match format {
        measure::Format::Text => print(text),
        measure::Format::Json => print_raw(&shown_json(text)),
        measure::Format::Csv if std::io::stdout().is_terminal() => print(text),
        measure::Format::Csv => print_raw(text),
    }
}

fn print_raw(text: &str) {
    let mut out = std::io::stdout();
    written(out.write_all(text.as_bytes()).and_then(|()| out.flush()));
}

/// Whether standard output took what it was given; says so once if it did not.
fn written(result: std::io::Result<()>) -> bool {
    let Err(error) = result else { return true };
    if OUTLIVES_ITS_READER.load(Ordering::Relaxed) {
        return false;
    }
    if error.kind() == std::io::ErrorKind::BrokenPipe {
        std::process::exit(0);
    }
    if !UNWRITTEN.swap(true, Ordering::Relaxed) {
        tell(&format!("ringwright: the report cannot be written to standard output: {error}. Check the free space"));
    }
    false
}

/// A line on standard error, with nothing in it that a terminal would obey.
fn tell(text: &str) {
    // There is nobody left to tell if this fails.
    let _ = writeln!(std::io::stderr(), "{}", shown(text));
}
