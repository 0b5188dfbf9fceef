//! Whether the lowest mode that moves a spot is among those whose modal masses are known: most of what a spot gives is its.

use super::spot_motion::spot_name;
use crate::compare::StageMode;
use crate::part::{Kind, PartDescription, RimBuild};
use crate::plan::{Material, Ply, RIM_BAND_HZ, RimWish, find_wood, rim_of};
use crate::rim::{Outline, Plane};
use crate::stiffness::{StationResult, mode_name};
use crate::uncertainty::{Cause, Figure};

/// What a wood from the table and the rim's model leave open of a tone (relative, standard uncertainty): boards differ by a tenth and
/// more in the root of stiffness over mass (judgement).
const TONES: f64 = 0.15;
/// What it is where the wood is not in the table.
const TONES_OF_SOME_WOOD: f64 = 0.22;
/// A mode that is a smaller part of what the spot gives is not looked for.
const LEAST_SHARE: f64 = 0.02;
/// Modes of the model that are looked at, the lowest: those above give next to nothing.
const MODES: usize = 12;
/// So sure must it be that no mode lies below the lowest one heard.
const SURE: f64 = 0.95;

const UNHEARD: &str = "its lowest mode was not heard";

/// `Ok` if the lowest mode is among those heard, its modal mass known. `bare`: the modes of the takes without a mass at a place.
///
/// # Errors
/// Why it is not, or why nobody knows, in words.
pub(super) fn lowest_is_known(
    place: &str,
    bare: &[&StageMode],
    results: &[StationResult],
    part: Option<&PartDescription>,
) -> Result<(), String> {
    let Some(lowest) = results.first() else { return Err(UNHEARD.into()) };
    let hz = lowest.tone.frequency_hz;
    let kind = part.map_or(Kind::Strip, |p| p.kind);
    match (kind, part) {
        (_, None) => return Err("the part is not described, so nothing says whether its lowest mode was heard".into()),
        (Kind::Strip, _) => bending_one(bare, hz)?,
        (Kind::Side, _) => return Err("nothing says whether a bent side's lowest mode was heard".into()),
        (Kind::Rim, Some(part)) => lowest_of_rim(place, hz, part)?,
    }
    match lowest.effective {
        Ok(_) => Ok(()),
        Err(_) => Err(format!("the modal mass of its lowest mode ({hz:.0} Hz) is not known")),
    }
}

/// The lowest mode heard of a flat blank must be its first bending, by number.
fn bending_one(bare: &[&StageMode], hz: f64) -> Result<(), String> {
    let first = mode_name(2, 0);
    if bare.iter().all(|m| m.name.is_none()) {
        return Err("its modes are not numbered, so nothing says whether the lowest was heard".into());
    }
    let same = |f: f64| (f / hz - 1.0).abs() < 0.01;
    let found = bare.iter().any(|m| m.name.as_deref() == Some(&first) && same(m.frequency.value));
    found.then_some(()).ok_or_else(|| UNHEARD.into())
}

/// The lowest mode heard of a rim must be the one that its model puts there: no other lies so near that it could be it.
fn lowest_of_rim(place: &str, hz: f64, part: &PartDescription) -> Result<(), String> {
    let Some(build) = &part.rim else {
        return Err(
            "the rim's outline and depth are not described, so nothing says whether its lowest mode was heard".into()
        );
    };
    let (tones, spread) = expected(part, build, &spot_name(place))?;
    let likely = |tone: &f64| (-0.5 * ((hz / tone).ln() / spread).powi(2)).exp();
    let all: f64 = tones.iter().map(likely).sum();
    let first = tones.first().map_or(0.0, likely);
    if all > 0.0 && first >= SURE * all { Ok(()) } else { Err(UNHEARD.into()) }
}

/// Tones (Hz) of a rim that move a spot across, by its model, and how well they are known (relative).
fn expected(part: &PartDescription, build: &RimBuild, spot: &str) -> Result<(Vec<f64>, f64), String> {
    let outline = Outline::named(&build.outline).map_err(|_| {
        format!(
            "the outline {:?} is not one of the program's own, by which alone it knows where a lowest mode lies",
            build.outline
        )
    })?;
    let share = outline.station(spot).ok_or_else(|| {
        format!("{spot:?} is no place on the outline, so nothing says whether its lowest mode was heard")
    })?;
    let (plies, known) = plies(part)?;
    let wish = RimWish::of_build(build, outline, Vec::new(), RIM_BAND_HZ)?;
    let unsound = || "the rim's plies as described have no stiffness".to_owned();
    let rim = rim_of(&plies, None, &wish, build.joined()).ok_or_else(unsound)?;
    let modes = rim.modes(Plane::In, MODES).ok_or_else(unsound)?;
    let node = rim.node_at(share);
    let gives: Vec<(f64, f64)> =
        modes.iter().map(|m| (m.frequency_hz, (rim.outward_shape(m, node) / m.frequency_hz).powi(2))).collect();
    let all: f64 = gives.iter().map(|g| g.1).sum();
    let tones = gives.into_iter().filter(|g| g.1 > LEAST_SHARE * all).map(|g| g.0).collect();
    Ok((tones, if known { TONES } else { TONES_OF_SOME_WOOD }))
}

/// The plies, of woods in the table or, where one is not, of some hardwood; and whether all are in it.
fn plies(part: &PartDescription) -> Result<(Vec<Ply>, bool), String> {
    let some = || find_wood("black walnut").map(|w| w.material("some wood"));
    let mut known = true;
    let mut of = |wood: Option<&str>, thickness: &Figure, angle_rad: f64| -> Result<Ply, String> {
        let material: Material = match wood.map(find_wood) {
            Some(Ok(wood)) => wood.material(wood.name),
            _ => {
                known = false;
                some()?
            }
        };
        Ok(Ply { material, thickness: thickness.of_source(Cause::Thickness), angle_rad })
    };
    let mut all = Vec::new();
    for ply in &part.plies {
        all.push(of(Some(&ply.wood), &ply.thickness, ply.grain_deg.to_radians())?);
    }
    if let (true, Some(thickness)) = (all.is_empty(), &part.thickness) {
        all.push(of(None, thickness, 0.0)?);
    }
    if all.is_empty() {
        return Err("its plies' thickness is not described, so nothing says whether its lowest mode was heard".into());
    }
    Ok((all, known))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::LiningKind;

    const TAIL: &str = "rim/laminated/tail";

    fn rim(build: RimBuild) -> PartDescription {
        let ply = |wood: &str, mm: f64| crate::part::Ply {
            wood: wood.into(),
            thickness: Figure::new(1e-3 * mm, 2e-5, Cause::Thickness),
            grain_deg: 0.0,
        };
        PartDescription {
            kind: Kind::Rim,
            plies: vec![ply("black walnut", 1.9), ply("sugar maple", 1.4)],
            rim: Some(build),
            ..PartDescription::default()
        }
    }

    fn parlour(linings: LiningKind, block_m: Option<f64>) -> RimBuild {
        RimBuild { outline: "parlour".into(), depth_m: 0.095, block_m, linings, braces: None }
    }

    /// At the tail, where only modes alike left and right move: the model's lowest, a tenth off, is the lowest; the next is not.
    #[test]
    fn the_next_mode_is_not_taken_for_the_lowest() {
        for build in [parlour(LiningKind::None, None), parlour(LiningKind::Kerfed, Some(0.02))] {
            let part = rim(build.clone());
            let (tones, _) = expected(&part, &build, "tail").unwrap_or_else(|e| panic!("{e}"));
            assert!(tones.len() > 1 && tones.is_sorted(), "{tones:?}");
            let judged = |hz: f64| lowest_of_rim(TAIL, hz, &part);
            assert_eq!(judged(tones[0]), Ok(()), "{tones:?}");
            assert_eq!(judged(1.1 * tones[0]), Ok(()), "{tones:?}");
            assert_eq!(judged(tones[1]), Err(UNHEARD.to_owned()), "{tones:?}");
            assert_eq!(judged(0.9 * tones[1]), Err(UNHEARD.to_owned()), "{tones:?}");
        }
        let unknown = PartDescription { kind: Kind::Rim, ..PartDescription::default() };
        assert!(lowest_of_rim(TAIL, 80.0, &unknown).is_err_and(|why| why.contains("outline and depth")));
        let foreign = RimBuild { outline: "mould.svg".into(), ..parlour(LiningKind::None, None) };
        assert!(lowest_of_rim(TAIL, 80.0, &rim(foreign)).is_err_and(|why| why.contains("mould.svg")));
    }
}
