//! The command line program; everything it does is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(ringwright::commands::run())
}
