//! `ringwright pack`: a reference set of real parts, checked and packed into one file to share.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;

use super::take::measure_alone;
use super::{Outcome, print, tell};
use crate::analysis::{BarCheck, NoBarCheck, Options, ReferenceSet, check_bar, reference_set};
use crate::bench::{Bench, Contents, Found, contents, find, write_archive};
use crate::files::{MOST_WRITTEN_BYTES, Outlet, read_text};
use crate::modes::Estimator;
use crate::report::{manifest_json, reference_text};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  ringwright pack my-shop                          say what is missing, write nothing
  ringwright pack my-shop --into my-shop.tar       pack it, if nothing is missing
  ringwright pack my-shop --into my-shop.tar --even-if-incomplete

What a reference set is and how to make one: docs/reference-set.md. The archive (tar) holds bench.toml,
the recordings as they are, and manifest.json with the size and SHA-256 of each. Read bench.toml
before you share it: your shop's name and your notes are in it. No link is followed.
Exit codes: 0 complete (and packed, if that was asked for); 1 something is missing, left out or not
as it should be (packed only with --even-if-incomplete); 2 wrong usage, or nothing could be packed.")]
pub struct Arguments {
    /// The bench folder
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Pack it into this file
    #[arg(long, value_name = "FILE")]
    into: Option<PathBuf>,
    /// Pack it with what is missing listed in it
    #[arg(long, requires = "into")]
    even_if_incomplete: bool,
    /// Replace a file that exists already
    #[arg(long, requires = "into")]
    force: bool,
}

/// A bar's part and what its tones say.
type Bar = (String, Result<BarCheck, NoBarCheck>);

pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    let folder = &arguments.folder;
    let contents = contents(folder);
    let (bench, found) = read_bench(folder, &contents)?;
    let outlet = Outlet::beside(contents.members.iter().map(|m| &m.path));
    outlet.check_all(&arguments.into, arguments.force)?;
    let set = reference_set(&bench, &found);
    let bars: Vec<Bar> = set.bars.iter().filter_map(|place| bar(&bench, &found, *place)).collect();
    print(&reference_text(&set, &bars));
    for (path, why) in &contents.left_out {
        tell(&format!("{}: {}; it is left out", path.display(), why.sentence()));
    }
    found.problems.iter().for_each(|problem| tell(problem));
    let fine = bars.iter().all(|(_, check)| check.as_ref().is_ok_and(BarCheck::agrees));
    let complete = set.lacks.is_empty() && fine && contents.left_out.is_empty() && found.problems.is_empty();
    if let Some(into) = &arguments.into {
        if complete || arguments.even_if_incomplete {
            pack(&outlet, into, arguments.force, &contents, &set, bars)?;
        } else {
            tell("nothing is packed, as something is missing; --even-if-incomplete packs it as it is");
        }
    }
    Ok(if complete { Outcome::Done } else { Outcome::Partly })
}

fn read_bench(folder: &Path, contents: &Contents) -> anyhow::Result<(Bench, Found)> {
    let file = contents.members.iter().find(|m| m.name == "bench.toml");
    let Some(file) = file else {
        let link = contents.left_out.iter().find(|(path, _)| path.ends_with("bench.toml"));
        let why = link.map_or("there is none. `ringwright diary --new FOLDER` makes one", |(_, why)| why.sentence());
        bail!("{}: {why}", folder.join("bench.toml").display());
    };
    let text = read_text(&file.path, MOST_WRITTEN_BYTES)
        .with_context(|| format!("{}: cannot be read", file.path.display()))?;
    let bench = Bench::from_toml(&text).map_err(|e| anyhow!("{}: {e}", folder.display()))?;
    let files: Vec<PathBuf> =
        contents.members.iter().filter(|m| m.name != "bench.toml").map(|m| m.path.clone()).collect();
    let found = find(&bench, &folder.join("recordings"), &files);
    Ok((bench, found))
}

/// A bar's tones, from its bare takes, against its known modulus; `None` where it was not tapped.
fn bar(bench: &Bench, found: &Found, place: usize) -> Option<Bar> {
    let part = &bench.parts[place];
    let described = part.stages.iter().map(|(_, s)| s).find(|s| s.known_modulus.is_some())?;
    let bare = found.stations.iter().filter(|s| s.part == place).flat_map(|s| &s.takes);
    let mut estimator = Estimator::default();
    let measured = bare.filter(|(_, station)| station.added.value == 0.0).filter_map(|(file, _)| {
        let take = measure_alone(&Ok(file.clone()), &Options::default(), &mut estimator).take;
        take.problem.is_none().then(|| take.plain_modes().map(|m| m.frequency.clone()).collect())
    });
    let takes: Vec<Vec<_>> = measured.collect();
    (!takes.is_empty()).then(|| (part.name.clone(), check_bar(described, &takes)))
}

fn pack(
    outlet: &Outlet,
    into: &Path,
    replace: bool,
    contents: &Contents,
    set: &ReferenceSet,
    bars: Vec<Bar>,
) -> anyhow::Result<()> {
    let bars: Vec<(String, BarCheck)> =
        bars.into_iter().filter_map(|(part, check)| Some((part, check.ok()?))).collect();
    let mut count = 0;
    outlet
        .save_with(into, replace, |file| {
            write_archive(file, &contents.members, |packed| {
                count = packed.len();
                manifest_json(set, &bars, packed)
            })
        })
        .context("nothing was packed")?;
    print(&format!("\n{count} files are in {}.\n", into.display()));
    Ok(())
}
