//! `ringwright devices`: the microphones that there are, and which one to listen to.

use std::fmt::Write;

use anyhow::bail;
use clap::Args;

use super::settings::Settings;
use super::{Outcome, print};
use crate::sound::{Format, Microphone, microphones};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright devices                  what there is; * marks what `listen` will use
  ringwright devices --use USB        remember the one whose name holds \"USB\"
  ringwright devices --forget         use the system's own choice again

Gain control, echo cancelling and noise suppression bend a decay: choose a microphone without them, or
switch them off (docs/listening.md).
Exit codes: 0 done; 1 no microphone can be opened; 2 wrong usage.")]
pub struct Arguments {
    /// Remember a microphone, by a part of its name or its id
    #[arg(long = "use", value_name = "NAME", conflicts_with = "forget")]
    choice: Option<String>,
    /// Forget the choice
    #[arg(long)]
    forget: bool,
}

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let mut settings = Settings::read()?;
    let all = super::quietly(microphones);
    if let Some(choice) = &arguments.choice {
        let low = choice.to_lowercase();
        let fitting: Vec<&Microphone> =
            all.iter().filter(|m| m.id == *choice || m.name.to_lowercase().contains(&low)).collect();
        match &fitting[..] {
            [] => bail!(
                "--use {choice:?}: no microphone's name holds it. There are: {}",
                all.iter().map(|m| m.name.as_str()).collect::<Vec<_>>().join(", ")
            ),
            [one] => settings.microphone = Some(one.id.clone()),
            several => bail!(
                "--use {choice:?} fits several: {}. Give more of the name, or the id in brackets",
                several.iter().map(|m| format!("{} [{}]", m.name, m.id)).collect::<Vec<_>>().join(", ")
            ),
        }
    }
    if arguments.forget {
        settings.microphone = None;
    }
    if arguments.choice.is_some() || arguments.forget {
        let file = settings.keep()?;
        print(&format!("kept in {}\n", file.display()));
    }
    print(&list(&all, settings.microphone.as_deref()));
    let usable = all.iter().any(|m| m.trouble.is_none());
    Ok(if usable { Outcome::Done } else { Outcome::Partly })
}

fn list(all: &[Microphone], chosen: Option<&str>) -> String {
    let mut out = String::new();
    if all.is_empty() {
        out.push_str(
            "no microphone was found. Plug one in, or allow this program to use it in the system's settings\n",
        );
    }
    for microphone in all {
        let used = match chosen {
            Some(id) => microphone.id == id,
            None => microphone.is_default,
        };
        let default = if microphone.is_default { ", the system's choice" } else { "" };
        // Writing to a string cannot fail.
        let _ = writeln!(out, "{} {} [{}]{default}", if used { "*" } else { " " }, microphone.name, microphone.id);
        if let Some(trouble) = &microphone.trouble {
            let _ = writeln!(out, "    cannot be opened now: {trouble}");
        }
        if let Some(what) = microphone.may_process {
            let _ = writeln!(out, "    by its name it may not give the plain sound: {what}");
        }
        for format in microphone.formats.iter().take(4) {
            let _ = writeln!(out, "    {}", words(format));
        }
        if microphone.formats.len() > 4 {
            let _ = writeln!(out, "    and {} other ways", microphone.formats.len() - 4);
        }
    }
    if let Some(id) = chosen.filter(|id| !all.iter().any(|m| m.id == *id)) {
        let _ = writeln!(out, "the remembered microphone [{id}] is not there now");
    }
    out
}

fn words(format: &Format) -> String {
    let rate = match format.rates_hz {
        (low, high) if low == high => format!("{low} Hz"),
        (low, high) => format!("{low} to {high} Hz"),
    };
    let channels = if format.channels == 1 { "1 channel".to_owned() } else { format!("{} channels", format.channels) };
    format!("{rate}, {channels}, {}", format.sample)
}
