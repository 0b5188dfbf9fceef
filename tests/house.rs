//! The house itself: no circle of imports between files, computation that knows nothing of commands, and no flag named in the library.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Every source file below `src`, as its module path (`modes::search`), with its text up to its tests.
fn modules() -> BTreeMap<Vec<String>, String> {
    fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("src can be read").flatten() {
            let path = entry.path();
            if path.is_dir() {
                walk(&path, files);
            } else if path.extension().is_some_and(|e| e == "rs") {
                files.push(path);
            }
        }
    }
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    walk(&source, &mut files);
    files
        .into_iter()
        .filter(|file| !file.ends_with("tests.rs"))
        .map(|file| {
            let inside = file.strip_prefix(&source).expect("below src").with_extension("");
            let mut path: Vec<String> = inside.iter().map(|c| c.to_string_lossy().into_owned()).collect();
            if path.last().is_some_and(|last| ["mod", "lib"].contains(&last.as_str())) {
                path.pop();
            }
            let text = std::fs::read_to_string(&file).expect("it can be read");
            let code = text.split("\n#[cfg(test)]\nmod ").next().unwrap_or_default();
            let lines = code.lines().filter(|l| !l.trim_start().starts_with("//"));
            (path, lines.collect::<Vec<_>>().join("\n"))
        })
        .collect()
}

/// Every path that a text names and that begins with `super` or `crate`, groups in braces taken apart.
fn named_paths(text: &str) -> Vec<Vec<String>> {
    fn read(rest: &[u8], at: &mut usize, prefix: &[String], found: &mut Vec<Vec<String>>) {
        let mut path = prefix.to_vec();
        loop {
            while rest.get(*at).is_some_and(u8::is_ascii_whitespace) {
                *at += 1;
            }
            match rest.get(*at) {
                Some(b'{') => {
                    *at += 1;
                    while rest.get(*at).is_some_and(|c| *c != b'}') {
                        read(rest, at, &path, found);
                        while rest.get(*at).is_some_and(|c| c.is_ascii_whitespace() || *c == b',') {
                            *at += 1;
                        }
                    }
                    *at += 1;
                    return;
                }
                Some(c) if c.is_ascii_alphanumeric() || *c == b'_' => {
                    let start = *at;
                    while rest.get(*at).is_some_and(|c| c.is_ascii_alphanumeric() || *c == b'_') {
                        *at += 1;
                    }
                    path.push(String::from_utf8_lossy(&rest[start..*at]).into_owned());
                }
                _ => *at += 1,
            }
            if rest.get(*at..*at + 2) == Some(b"::") {
                *at += 2;
                continue;
            }
            // "X as Y" names X.
            if rest[*at..].starts_with(b" as ") {
                *at += 4;
                while rest.get(*at).is_some_and(|c| c.is_ascii_alphanumeric() || *c == b'_') {
                    *at += 1;
                }
            }
            found.push(path);
            return;
        }
    }
    let mut found = Vec::new();
    for start in ["super::", "crate::"] {
        let mut from = 0;
        while let Some(place) = text[from..].find(start) {
            let begins = from + place;
            let within =
                text[..begins].chars().next_back().is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':');
            let mut at = begins;
            if within {
                from = begins + start.len();
            } else {
                read(text.as_bytes(), &mut at, &[], &mut found);
                from = at.max(begins + start.len());
            }
        }
    }
    found
}

/// The names that each room hands on: name to the module that it comes from.
fn handed_on(modules: &BTreeMap<Vec<String>, String>) -> BTreeMap<(Vec<String>, String), Vec<String>> {
    let mut names = BTreeMap::new();
    for (room, text) in modules {
        for statement in text.split(';').filter(|s| s.contains("pub use ") || s.contains("pub(crate) use ")) {
            let after = statement.split("use ").nth(1).unwrap_or_default();
            for path in named_paths(&format!("super::{after}")) {
                if let [_, middle @ .., name] = &path[..]
                    && !middle.is_empty()
                {
                    let module: Vec<String> = room.iter().chain(middle).cloned().collect();
                    if modules.contains_key(&module) {
                        names.insert((room.clone(), name.clone()), module);
                    }
                }
            }
        }
    }
    names
}

/// Which module a path in `from` comes to.
fn resolve(
    from: &[String],
    path: &[String],
    modules: &BTreeMap<Vec<String>, String>,
    names: &BTreeMap<(Vec<String>, String), Vec<String>>,
) -> Option<Vec<String>> {
    let mut at: Vec<String> = if path[0] == "crate" { Vec::new() } else { from[..from.len().checked_sub(1)?].to_vec() };
    let mut rest = &path[1..];
    while rest.first().is_some_and(|p| p == "super") {
        at.pop();
        rest = &rest[1..];
    }
    for part in rest {
        let below: Vec<String> = at.iter().cloned().chain([part.clone()]).collect();
        if modules.contains_key(&below) {
            at = below;
        } else if let Some(module) = names.get(&(at.clone(), part.clone())) {
            return (module != from).then(|| module.clone());
        } else {
            break;
        }
    }
    (at != from && !at.is_empty()).then_some(at)
}

type Arrows = BTreeMap<Vec<String>, BTreeSet<Vec<String>>>;

fn arrows() -> Arrows {
    let modules = modules();
    let names = handed_on(&modules);
    let mut arrows: Arrows = BTreeMap::new();
    for (from, text) in &modules {
        // A room's face hands names on; that is no use of them.
        let uses: String = text.split_inclusive(';').filter(|s| !s.contains("pub use ")).collect();
        let to = named_paths(&uses).into_iter().filter_map(|path| resolve(from, &path, &modules, &names));
        arrows.insert(from.clone(), to.collect());
    }
    arrows
}

/// A way from a module back to itself, if there is one.
fn way_back(arrows: &Arrows, start: &[String]) -> Option<Vec<String>> {
    let mut seen = BTreeSet::new();
    let mut ways = vec![vec![start.to_vec()]];
    while let Some(way) = ways.pop() {
        for next in arrows.get(&way[way.len() - 1]).into_iter().flatten() {
            if *next == start {
                return Some(way.iter().map(|m| m.join("::")).collect());
            }
            if seen.insert(next.clone()) {
                ways.push(way.iter().cloned().chain([next.clone()]).collect());
            }
        }
    }
    None
}

#[test]
fn no_file_imports_itself_by_way_of_others() {
    let arrows = arrows();
    // The reading itself works: a few arrows that must be there.
    let has = |from: &str, to: &str| {
        let path = |text: &str| text.split("::").map(str::to_owned).collect::<Vec<_>>();
        arrows.get(&path(from)).is_some_and(|to_all| to_all.contains(&path(to)))
    };
    assert!(has("modes::estimate", "modes::search") && has("modes::estimate", "sound::recording"), "{arrows:?}");
    let circles: BTreeSet<String> = arrows
        .keys()
        .filter_map(|module| {
            let mut way = way_back(&arrows, module)?;
            way.sort();
            Some(way.join(" <-> "))
        })
        .collect();
    assert!(circles.is_empty(), "circles of imports:\n{}", circles.into_iter().collect::<Vec<_>>().join("\n"));
}

#[test]
fn rooms_keep_to_their_floors() {
    // What each room must never import (see DEVELOPERS.md).
    let never = [
        (
            "uncertainty",
            &[
                "sound",
                "modes",
                "part",
                "stiffness",
                "loss",
                "rim",
                "compare",
                "plan",
                "analysis",
                "bench",
                "listen",
                "report",
                "commands",
            ][..],
        ),
        ("sound", &["modes", "part", "stiffness", "compare", "analysis", "report", "commands", "listen"]),
        ("modes", &["part", "stiffness", "compare", "analysis", "report", "commands", "bench", "listen"]),
        ("part", &["sound", "modes", "stiffness", "compare", "analysis", "report", "commands"]),
        ("stiffness", &["sound", "report", "commands", "analysis", "compare"]),
        ("loss", &["sound", "report", "commands", "analysis", "compare"]),
        ("rim", &["sound", "report", "commands", "analysis"]),
        ("compare", &["sound", "report", "commands", "analysis", "bench"]),
        ("plan", &["sound", "report", "commands", "analysis"]),
        ("analysis", &["report", "commands"]),
        ("bench", &["report", "commands", "modes"]),
        ("listen", &["report", "commands"]),
        ("report", &["commands"]),
    ];
    let arrows = arrows();
    let mut broken = Vec::new();
    for (room, others) in never {
        for (from, to) in arrows.iter().filter(|(from, _)| from.first().is_some_and(|f| f == room)) {
            broken.extend(
                to.iter()
                    .filter(|to| others.contains(&to[0].as_str()))
                    .map(|to| format!("{} imports {}", from.join("::"), to.join("::"))),
            );
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

/// A flag is a command's word: the library speaks of what a caller may do.
#[test]
fn the_library_names_no_flag() {
    let mut named = Vec::new();
    for (module, text) in modules() {
        if module.first().is_none_or(|room| ["commands", "main"].contains(&room.as_str())) {
            continue;
        }
        for line in text.lines().filter(|l| !l.trim_start().starts_with("//")) {
            let flag = line.match_indices("--").any(|(at, _)| {
                let before = line[..at].chars().next_back();
                let after = line[at + 2..].chars().next();
                after.is_some_and(|c| c.is_ascii_lowercase()) && before.is_none_or(|c| " \"`(".contains(c))
            });
            if flag {
                named.push(format!("{}: {}", module.join("::"), line.trim()));
            }
        }
    }
    assert!(named.is_empty(), "{}", named.join("\n"));
}
