//! How a tap spot may move, by its name and the part that it is on.

use crate::part::{Kind, PartDescription};
use crate::stiffness::SpotMotion;

/// Why a spot that may slide has no mobility and draws no power that could be told.
pub(super) const NO_MOBILITY_ACROSS: &str = "this spot may slide along as it moves to and fro, a stuck-on mass feels \
     both, and a top pushes one way only. On the middle line, at the tail or neck block, a rim cannot slide";

/// What a spot is called: the last of its place's names, in small letters and with spaces.
pub(super) fn spot_name(place: &str) -> String {
    place.rsplit('/').next().unwrap_or_default().trim().to_lowercase().replace(['-', '_'], " ")
}

/// By the spot's place (the last of its names counts) and what is known of the part.
///
/// A flat part tapped on its face cannot slide in its own plane, and a rim not along itself on its middle line: in the modes that a tap
/// across excites there, symmetry forbids it.
pub(super) fn motion_of(place: &str, part: Option<&PartDescription>) -> SpotMotion {
    // An end of a bent side lies on no middle line: nothing there is its own mirror image.
    let of_whole = part.is_none_or(|p| p.kind != Kind::Side);
    let on_middle_line = of_whole && matches!(spot_name(place).as_str(), "tail" | "tail block" | "neck" | "neck block");
    let flat = part.is_some_and(|p| p.kind == Kind::Strip);
    let part_kg = part.and_then(|p| p.mass.as_ref()).map(|m| m.value);
    SpotMotion { may_slide: !(on_middle_line || flat), part_kg }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_kinds_say_what_slides() {
        let slides = |place: &str, part: Option<&PartDescription>| motion_of(place, part).may_slide;
        assert!(slides("rim/plain/waist", None) && slides("tail/plain/lower-bout", None));
        assert!(!slides("rim/plain/tail-block", None) && !slides("Neck", None));
        let of = |kind| PartDescription { kind, ..PartDescription::default() };
        assert!(!slides("waist", Some(&of(Kind::Strip))));
        assert!(slides("waist", Some(&of(Kind::Rim))) && slides("waist", Some(&of(Kind::Side))));
        assert!(slides("tail", Some(&of(Kind::Side))) && !slides("tail", Some(&of(Kind::Rim))));
    }
}
