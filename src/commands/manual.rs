//! `ringwright completions` and `ringwright manual`: what a shell and `man` want of a program.

use std::path::PathBuf;

use anyhow::Context;
use clap::{Args, CommandFactory};
use clap_complete::Shell;

use super::{Outcome, print, print_raw};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright completions bash > ~/.local/share/bash-completion/completions/ringwright
  ringwright completions zsh > ~/.zfunc/_ringwright")]
pub struct Completions {
    /// The shell that is to complete commands and options
    #[arg(value_enum)]
    shell: Shell,
}

pub fn completions(arguments: &Completions) -> anyhow::Result<Outcome> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut super::Arguments::command(), "ringwright", &mut script);
    print_raw(&String::from_utf8_lossy(&script));
    Ok(Outcome::Done)
}

#[derive(Debug, Args)]
#[command(after_help = "Example:
  ringwright manual ~/.local/share/man/man1")]
pub struct Manual {
    /// The folder that the pages are written into; those of an earlier version there are replaced
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

pub fn manual(arguments: &Manual) -> anyhow::Result<Outcome> {
    let folder = &arguments.folder;
    std::fs::create_dir_all(folder)
        .and_then(|()| clap_mangen::generate_to(super::Arguments::command(), folder))
        .with_context(|| format!("{}: the pages cannot be written there", folder.display()))?;
    print(&format!("the pages are in {}\n", folder.display()));
    Ok(Outcome::Done)
}
