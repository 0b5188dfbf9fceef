//! What the program is built of: licences that may be given on, and no crate twice without a reason. Needs no network: cargo knows its
//! own lock file.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// Licences under which crates may come. All let the program be given on with their notices kept; MPL-2.0 asks for changed files
/// only, and nothing is changed.
const ALLOWED: [&str; 11] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "ISC",
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Crates that are there in more than one version, because crates that we use ask for each: procedural macros of the terminal's
/// screen (they run while building only), and the compression of the pictures' library and of the drawing's.
const TWICE: [&str; 6] = ["darling", "darling_core", "darling_macro", "itertools", "miniz_oxide", "syn"];

/// The packages that the program is built of on this machine, each with its licence: what only tests use is not among them.
fn packages() -> BTreeSet<(String, String, String)> {
    let output = Command::new(env!("CARGO"))
        .args(["tree", "--locked", "--offline", "--edges", "normal", "--prefix", "none", "--format", "{p}\t{l}"])
        .args(["--manifest-path", concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")])
        .output()
        .unwrap_or_else(|e| panic!("cargo: {e}"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .filter_map(|line| {
            let (package, licence) = line.trim_end_matches(" (*)").split_once('\t')?;
            let mut words = package.split(' ');
            Some((words.next()?.to_owned(), words.next()?.to_owned(), licence.to_owned()))
        })
        .collect()
}

#[test]
fn what_it_is_built_of_may_be_given_on() {
    let packages = packages();
    assert!(packages.len() > 50, "{} packages", packages.len());
    let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (name, version, licence) in &packages {
        versions.entry(name).or_default().insert(version);
        let expression = spdx::Expression::parse_mode(licence, spdx::ParseMode::LAX);
        let expression = expression.unwrap_or_else(|e| panic!("{name}: {licence:?}: {e}"));
        let allowed = |requirement: &spdx::LicenseReq| {
            let id = requirement.license.id().map(|id| id.name);
            id.is_some_and(|id| ALLOWED.contains(&id))
        };
        assert!(expression.evaluate(allowed), "{name} comes under {licence}");
    }
    let twice: Vec<&str> = versions.iter().filter(|(_, v)| v.len() > 1).map(|(name, _)| *name).collect();
    assert_eq!(twice, TWICE, "crates in more than one version: {versions:?}");
}
