//! Commands: arguments in, rooms called in order, report out. No mathematics here.
//!
//! Exit codes: 0 done; 1 done, but some inputs could not be measured (each is listed, a missing file too); 2 wrong usage, or
//! the report could not be saved; 3 `listen` lost its microphone or could not keep a take.

mod assess;
mod bench_takes;
mod compare;
mod demo;
#[cfg(feature = "record")]
mod devices;
#[cfg(not(feature = "record"))]
#[path = "devices_missing.rs"]
mod devices;
mod diary;
mod diary_parts;
mod forecast_record;
mod foretell;
mod inputs;
mod listen;
mod listen_desk;
mod listen_end;
mod listen_keeper;
mod listen_plan;
mod manual;
mod measure;
mod named_plies;
mod plan;
mod ply_material;
mod rim_outline;
mod schema;
#[cfg(feature = "record")]
mod settings;
mod simulate;
mod stage;
mod take;
mod verify;

use clap::{Parser, Subcommand};

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
            // Help and version are answers, not errors; a closed pipe is no reason to complain.
            let _ = error.print();
            return if error.use_stderr() { 2 } else { 0 };
        }
    };
    let outcome = match arguments.command {
        Command::Measure(arguments) => measure::run(&arguments),
        Command::Listen(arguments) => listen::run(&arguments),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Plan(arguments) => plan::run(&arguments),
        Command::Diary(arguments) => diary::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Simulate(arguments) => simulate::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Devices(arguments) => devices::run(&arguments),
        Command::Schema(arguments) => schema::run(&arguments),
        Command::Completions(arguments) => manual::completions(&arguments),
        Command::Manual(arguments) => manual::manual(&arguments),
    };
    match outcome {
        Ok(Outcome::Done) => 0,
        Ok(Outcome::Partly) => 1,
        Ok(Outcome::Lost) => 3,
        Err(error) => {
            tell(&format!("ringwright: {error:#}"));
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
static OUTLIVES_ITS_READER: std::sync::atomic::AtomicBool = std::sync::atomic::AtomicBool::new(false);

/// Writes to standard output; a reader that has gone away ends the program quietly.
fn print(text: &str) {
    use std::io::Write;
    let outlives = OUTLIVES_ITS_READER.load(std::sync::atomic::Ordering::Relaxed);
    if std::io::stdout().write_all(text.as_bytes()).is_err() && !outlives {
        std::process::exit(0);
    }
}

/// A line on standard error.
fn tell(text: &str) {
    use std::io::Write;
    // There is nobody left to tell if this fails.
    let _ = writeln!(std::io::stderr(), "{text}");
}
