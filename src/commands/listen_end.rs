//! The end of a session at the bench: what was kept, what it says, and the comparison so far.

use std::path::{Path, PathBuf};

use super::compare;
use super::listen_plan::Agenda;
use super::take::measure_alone;
use super::{Outcome, print, tell};
use crate::analysis::{Options, StageTake, spots};
use crate::bench::Bench;
use crate::files::Outlet;
use crate::listen::{Ended, Kept, Takes};
use crate::modes::Estimator;
use crate::part::station_of;
use crate::report::{Detail, Document, to_text};

/// Tells what was kept, measures it, and compares it with the part's first stage.
pub fn conclude(
    folder: &Path,
    bench: Option<&Bench>,
    agenda: &Agenda,
    takes: &Takes,
    ended: &Ended,
    comparison: bool,
) -> anyhow::Result<Outcome> {
    let kept = takes.fullest();
    let all_kept = takes.lost().next().is_none();
    match ended {
        Ended::Done => {}
        Ended::Stopped if all_kept => tell("ended; what was accepted is kept"),
        Ended::Stopped => tell("ended"),
        Ended::SourceOver if all_kept => tell("the recording that was played is over; what was accepted is kept"),
        Ended::SourceOver => tell("the recording that was played is over"),
        Ended::SourceLost(why) if all_kept => {
            tell(&format!("the microphone is lost: {why}. What was accepted is kept"))
        }
        Ended::SourceLost(why) => tell(&format!("the microphone is lost: {why}")),
        Ended::WorkerLost => tell("a part of the program broke down: begin again. What was accepted is kept"),
        Ended::ScreenLost(why) => tell(&format!("the screen is lost: {why}. Begin again, or with --plain")),
    }
    tell_what_is_not_in_place(takes);
    let part = bench.and_then(|b| b.stage(&agenda.part, &agenda.stage));
    let options = Options { part: part.cloned(), ..Options::default() };
    let mut estimator = Estimator::default();
    let mut measured = Vec::new();
    for take in &kept {
        print(&format!("kept {} ({})\n", take.path.display(), taps(take.taps)));
        measured.push(measure_alone(&Ok(take.path.clone()), &options, &mut estimator).take);
    }
    if !measured.is_empty() {
        print(&format!(
            "\n{}",
            to_text(&Document::new(&measured, &[]), Detail { why: "`measure --verbose`", ..Detail::default() })
        ));
    }
    if agenda.folders.iter().any(|f| !agenda.stations.contains(f))
        && let Some(document) = loaded_stations(agenda, &options, &mut estimator)
    {
        print(&to_text(&document, Detail { why: "`measure --verbose`", ..Detail::default() }));
    }
    // Folders that were made for takes that never came.
    let outlet = Outlet::of_bench(folder);
    agenda.folders.iter().for_each(|f| outlet.remove_empty_folder(f));
    if takes.kept.is_empty() {
        tell("no tap was accepted: nothing was kept");
    }
    if bench.is_none_or(|b| b.stage(&agenda.part, &agenda.stage).is_none()) && !kept.is_empty() {
        print(&format!("\n{}", snippet(bench, agenda)));
    }
    if comparison {
        compare_so_far(folder, bench, agenda, &takes.kept);
    }
    let lost = matches!(ended, Ended::SourceLost(_)) || takes.kept.iter().any(|k| k.trouble.is_some());
    Ok(match ended {
        _ if lost => Outcome::Lost,
        Ended::Done => Outcome::Done,
        _ => Outcome::Partly,
    })
}

/// What is on no disk, and what lies in the rescue folder.
fn tell_what_is_not_in_place(takes: &Takes) {
    for take in takes.lost() {
        let trouble = take.trouble.as_deref().unwrap_or_default();
        tell(&format!("NOT KEPT: {trouble}. Of this take its file holds {}", taps(take.taps)));
    }
    for rescued in takes.rescued.iter().filter(|r| r.taps > 0) {
        let Some(place) = takes.kept.iter().find(|k| k.step == rescued.step) else { continue };
        tell(&format!(
            "NOT KEPT where it belongs: the take lies in {} ({}). When there is room, move it to {}: every tap that is there \
             already is in it too",
            rescued.path.display(),
            taps(rescued.taps),
            place.path.display()
        ));
    }
}

fn taps(count: usize) -> String {
    if count == 1 { "1 tap".to_owned() } else { format!("{count} taps") }
}

/// What the masses tell of each station: all its takes, this session's and earlier ones.
fn loaded_stations(agenda: &Agenda, options: &Options, estimator: &mut Estimator) -> Option<Document> {
    let mut places: Vec<&PathBuf> = agenda.stations.iter().filter(|s| s.is_dir()).collect();
    places.dedup();
    let inputs = places.iter().flat_map(|p| compare::named_inputs(p));
    let takes: Vec<StageTake> = inputs
        .filter_map(|input| {
            let station = station_of(input.as_ref().ok()?);
            Some(StageTake::new(&measure_alone(&input, options, estimator).take, station))
        })
        .collect();
    let found = spots(&takes, |_| options.part.as_ref(), None);
    (!found.is_empty()).then(|| Document::new(&[], &found))
}

/// What to write into `bench.toml` so that the part is known.
fn snippet(bench: Option<&Bench>, agenda: &Agenda) -> String {
    let known = bench.is_some_and(|b| b.parts.iter().any(|p| p.name == agenda.part));
    let stage = format!("  [[part.stage]]\n  name = {:?}\n  mass = \"... g\"\n", agenda.stage);
    if known {
        return format!(
            "bench.toml has no stage {:?} of {:?} yet; below the part's others it needs:\n{stage}",
            agenda.stage, agenda.part
        );
    }
    let format = if bench.is_none() { "format = 1\n" } else { "" };
    format!(
        "bench.toml does not know this part yet. With its sizes and mass more can be told (docs/part.md):\n{format}\
         [[part]]\nname = {:?}\nkind = \"strip\"   # or side, or rim\n{stage}",
        agenda.part
    )
}

/// Each tapped station against the same one of the part's first stage.
fn compare_so_far(folder: &Path, bench: Option<&Bench>, agenda: &Agenda, kept: &[Kept]) {
    let Some(first) = baseline(folder, bench, agenda) else { return };
    if first == agenda.stage {
        return;
    }
    let mut done: Vec<&PathBuf> = Vec::new();
    for take in kept.iter().filter(|k| k.taps > 0) {
        let station = &agenda.stations[take.step];
        let Some(name) = station.file_name() else { continue };
        let before = folder.join("recordings").join(&agenda.part).join(&first).join(name);
        if done.contains(&station) || !station.is_dir() {
            continue;
        }
        done.push(station);
        if !before.is_dir() {
            tell(&format!(
                "no comparison at {}: stage {first:?} has no takes there (recordings/{}/{first}/{}/)",
                name.to_string_lossy(),
                agenda.part,
                name.to_string_lossy()
            ));
            continue;
        }
        let page = folder.join("reports").join(format!(
            "{}-{}-{}-against-{}.png",
            agenda.part,
            name.to_string_lossy(),
            agenda.stage,
            first
        ));
        print(&format!("\n{} against {first}, at {}:\n\n", agenda.stage, name.to_string_lossy()));
        let arguments = compare::Arguments::of_two(&before, station, page, folder);
        if let Err(error) = compare::run(&arguments) {
            tell(&format!("no comparison: {error:#}"));
        }
    }
}

/// The part's first stage: by `bench.toml`, else the one whose folder was made first by name.
fn baseline(folder: &Path, bench: Option<&Bench>, agenda: &Agenda) -> Option<String> {
    let described = bench.and_then(|b| b.parts.iter().find(|p| p.name == agenda.part));
    if let Some(part) = described {
        return part.stages.first().map(|(name, _)| name.clone());
    }
    let part = folder.join("recordings").join(&agenda.part);
    part.join("plain").is_dir().then(|| "plain".to_owned())
}
