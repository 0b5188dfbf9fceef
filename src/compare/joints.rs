//! Whether two stages differ in what is joined to the sides: then the order of their modes says nothing.

use super::stage::Stage;
use crate::part::RimBuild;

/// Blocks whose thickness differs by less than this (m) are the same: a rule with millimetres.
const SAME_BLOCK_M: f64 = 0.5e-3;

/// Whether blocks, linings or braces differ between two stages: as both are described; where one is not, as its name says, and a
/// rim that is described with some is taken to differ from one that is not described.
pub(super) fn joints_differ(a: &Stage, b: &Stage) -> bool {
    match (&a.build, &b.build) {
        (Some(x), Some(y)) => !same_joints(x, y),
        (Some(described), None) => described.joined() || !named(&b.name).is_empty(),
        (None, Some(described)) => described.joined() || !named(&a.name).is_empty(),
        (None, None) => named(&a.name) != named(&b.name),
    }
}

fn same_joints(a: &RimBuild, b: &RimBuild) -> bool {
    let blocks = match (a.block_m, b.block_m) {
        (Some(x), Some(y)) => (x - y).abs() < SAME_BLOCK_M,
        (x, y) => x.is_none() && y.is_none(),
    };
    let braces = |build: &RimBuild| {
        let text = build.braces.as_deref().unwrap_or_default().to_lowercase();
        let mut places: Vec<String> = text.split(',').map(|p| p.trim().to_owned()).collect();
        places.retain(|p| !p.is_empty() && p != "none");
        places.sort_unstable();
        places
    };
    blocks && a.linings == b.linings && braces(a) == braces(b)
}

/// The joints that a stage's name speaks of. The neck block and the tail block are where one taps.
fn named(name: &str) -> Vec<&'static str> {
    let name = name.to_lowercase();
    let words: Vec<&str> = name.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let mut found = Vec::new();
    for (place, word) in words.iter().enumerate() {
        let of_place = place > 0 && *word == "block" && ["neck", "tail", "end", "head"].contains(&words[place - 1]);
        let joint =
            [("brac", "braces"), ("lining", "linings"), ("lined", "linings"), ("kerf", "linings"), ("block", "blocks")];
        found.extend(joint.iter().filter(|(begins, _)| word.starts_with(begins) && !of_place).map(|(_, what)| *what));
    }
    found.sort_unstable();
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::LiningKind;

    fn rim(blocks: Option<f64>, linings: LiningKind, braces: Option<&str>) -> Option<RimBuild> {
        let braces = braces.map(str::to_owned);
        Some(RimBuild { outline: "parlour".into(), depth_m: 0.1, block_m: blocks, linings, braces })
    }

    fn differ(a: (&str, Option<RimBuild>), b: (&str, Option<RimBuild>)) -> bool {
        let stage = |(name, build): (&str, Option<RimBuild>)| Stage { name: name.into(), build, ..Stage::default() };
        let (a, b) = (stage(a), stage(b));
        assert_eq!(joints_differ(&a, &b), joints_differ(&b, &a));
        joints_differ(&a, &b)
    }

    #[test]
    fn descriptions_go_before_names() {
        let bare = || rim(None, LiningKind::None, None);
        assert!(!differ(("plain", bare()), ("braced", bare())));
        for other in [
            rim(Some(0.018), LiningKind::None, None),
            rim(None, LiningKind::Kerfed, None),
            rim(None, LiningKind::None, Some("waist")),
        ] {
            assert!(differ(("a", bare()), ("b", other.clone())), "{other:?}");
            assert!(!differ(("plain", other.clone()), ("braced", other.clone())), "{other:?}");
            // Nothing is said of the other one.
            assert!(differ(("a", None), ("b", other)));
        }
        assert!(differ(
            ("a", rim(Some(0.018), LiningKind::None, None)),
            ("b", rim(Some(0.025), LiningKind::None, None))
        ));
        let braces = |places| rim(None, LiningKind::None, Some(places));
        assert!(
            !differ(("a", braces("waist, tail")), ("b", braces("Tail,waist")))
                && !differ(("a", bare()), ("b", braces("none")))
        );
    }

    #[test]
    fn names_speak_where_nothing_is_described() {
        let by_name = |a, b| differ((a, None), (b, None));
        for other in ["braced/tail", "with-braces", "rim_kerfed", "lining", "Blocks glued.json", "plain with bracing"] {
            assert!(by_name("plain", other), "{other}");
        }
        for (a, b) in [
            ("plain", "laminated"),
            ("braced/waist", "braced-again/waist"),
            ("neck block", "waist"),
            ("tail-block", "x"),
        ] {
            assert!(!by_name(a, b), "{a} {b}");
        }
        assert!(by_name("plain/neck block", "braced/neck block"));
        assert!(differ(("plain", rim(None, LiningKind::None, None)), ("braced", None)));
    }
}
