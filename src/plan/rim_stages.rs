//! The rim that a plan leads to: plain, laminated, and with blocks and linings.

use super::forecast::{Glue, Ply, forecast, layers_of};
use rayon::prelude::*;

use super::rim_power::{ModelStage, rim_power};
use super::rim_sections::{RimWish, as_the_shop_makes_it, joined, leaf, made, side_section, total};
use crate::loss::{PowerRatios, soft_weight};
use crate::rim::{Leaf, Plane, Rim, RimMode, RimPiece, Section};
use crate::uncertainty::{Cause, Figure};

/// A stage of the rim as the model has it. Intervals: of the plies, and of the model itself.
#[derive(Debug, Clone)]
pub struct RimStage {
    pub name: &'static str,
    pub mass: Figure,
    /// The lowest tones of the sides in the rim's plane, free or bowing between held edges, and of the free rim out of its plane (Hz).
    pub in_plane_hz: Vec<Figure>,
    pub out_of_plane_hz: Vec<Figure>,
    /// Force that presses the waist together, over how far it gives (N/m).
    pub squeeze_n_m: Option<Figure>,
    /// For each station: the power that it takes there, times the plain rim's.
    pub power: Vec<PowerRatios>,
    /// For the picture: the rim, its modes sideways, its loss factor.
    pub rim: Rim,
    pub modes: Vec<RimMode>,
    pub loss_factor: f64,
}

/// What a further piece of the inner ply over a short stretch does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Middle of the stretch, as a share of the way around.
    pub share: f64,
    pub mass_kg: f64,
    /// Power drawn at the first station, times that without the patch.
    pub power: f64,
}

const MODES: usize = 30;
/// Tones that are told.
const TOLD: usize = 4;
/// Steps in the band over which the mobility is averaged.
const STEPS: usize = 4000;
/// What the shell leaves out (relative, standard uncertainty of a tone): measured. Against 20 rims as solid bodies in finite elements, with
/// plies, linings, blocks and braces of known sizes, their hidden moduli unknown, the root mean square is 1.8 % in the plane and 2.6 % out of it
/// (`tests/outside/rims_built.rs`); rounded up, as real rims have not been set against it.
pub const MODEL_TONES: f64 = 0.03;
/// The same of joints whose sizes and wood are assumed (by judgement).
const ASSUMED_TONES: f64 = 0.04;
const MODEL_POWER: f64 = 0.15;
/// The same with held edges, which are neither hinged nor still (by judgement).
const HELD_TONES: f64 = 0.15;
const HELD_POWER: f64 = 0.3;
/// Mass of blocks and linings, whose sizes and wood are assumed (relative, standard uncertainty).
const ASSUMED_MASS: f64 = 0.18;
/// What joints add to the loss factor (by judgement).
const JOINTS: f64 = 0.005;
const PATCH_LENGTH_M: f64 = 40e-3;
const PATCHES: usize = 20;

/// The rim plain, laminated, and joined with blocks and linings; `factor`: what the shop's laminations were worth, times what their
/// plies alone foretold.
///
/// # Errors
/// A sentence if a section has no stiffness.
pub fn rim_stages(
    plain: &Ply,
    plies: &[Ply],
    glue: Option<(&Glue, f64)>,
    wish: &RimWish,
    factor: Option<&Figure>,
) -> Result<Vec<RimStage>, String> {
    let unsound = || "the rim's sections have no stiffness; look at the plies' thicknesses and moduli".to_owned();
    let alone = forecast(plain, std::slice::from_ref(plain), None)?;
    let glued = forecast(plain, plies, glue)?;
    let glued = factor.map_or(glued.clone(), |factor| glued.with_factor(factor));
    if glued.glue_matters {
        return Err(format!(
            "this glue line gives way in shear, by {:.0} % of the stiffness at 200 Hz and another share at every other tone; the rim's \
             model knows only joints that hold",
            100.0 * glued.glue_gives
        ));
    }
    let side = |plies: &[Ply], glue| side_section(&layers_of(plies, glue), wish.depth_m).ok_or_else(unsound);
    let (thin, thick) = (side(std::slice::from_ref(plain), None)?, side(plies, glue)?);
    let thick = as_the_shop_makes_it(&thick, factor.map_or(1.0, |f| f.value));
    let closed = |(section, pieces): (Section, Vec<RimPiece>)| made(wish, &section, &pieces);
    let (own_tones, model_power) = if wish.held { (HELD_TONES, HELD_POWER) } else { (MODEL_TONES, MODEL_POWER) };
    let cases = [
        ("plain", closed((thin, Vec::new())), &alone, alone.loss.value),
        ("laminated", closed((thick, Vec::new())), &glued, glued.loss.value),
        ("joined", closed(joined(&thick, total(&layers_of(plies, glue)), wish)), &glued, glued.loss.value + JOINTS),
    ];
    let mut stages: Vec<RimStage> = Vec::new();
    for (name, rim, worth, loss_factor) in cases {
        let joints = name == "joined" && !wish.held;
        let model_tones = if joints { own_tones.hypot(ASSUMED_TONES) } else { own_tones };
        let modes = rim.modes(rim.sideways(), MODES).ok_or_else(unsound)?;
        let out = if wish.held { Vec::new() } else { rim.modes(Plane::Out, TOLD).ok_or_else(unsound)? };
        let loss = worth.loss.times(loss_factor / worth.loss.value);
        let own = ModelStage { name, rim: &rim, modes: &modes, loss };
        let power = match stages.first() {
            None => vec![PowerRatios::same(); wish.stations.len()],
            Some(plain) => {
                let loss = alone.loss.clone();
                let plain = ModelStage { name: plain.name, rim: &plain.rim, modes: &plain.modes, loss };
                rim_power(&plain, &own, wish, (model_tones, model_power), worth)?
            }
        };
        // Tones go with the root of stiffness over mass; what the plies do not know of those the tones do not know either.
        let tone = Figure::combine(&[&worth.stiffness, &worth.mass_per_area], |x| (x[0] / x[1]).sqrt());
        let told = |hz: f64| tone.map(|t| hz * t / tone.value).plus_uncertainty(model_tones * hz, Cause::RimModel);
        let share = |m: &Figure, value: f64, model: f64| {
            m.map(|v| value * v / m.value).plus_uncertainty(model * value, Cause::RimModel)
        };
        let added = stages.get(1).map_or(0.0, |s| (rim.mass_kg() - s.rim.mass_kg()).max(0.0));
        // Edges that are held are not pressed together by hand.
        let waist = wish.outline.station("waist").filter(|_| !wish.held);
        let waist = waist.map(|s| (rim.node_at(s), rim.node_at(1.0 - s)));
        let gives = waist.and_then(|(a, b)| rim.squeeze(a, b, 1.0));
        stages.push(RimStage {
            name,
            mass: share(&worth.mass_per_area, rim.mass_kg() - added, 0.02)
                .plus_uncertainty(ASSUMED_MASS * added, Cause::BlocksAndLinings)
                .map(|kg| kg + added),
            in_plane_hz: modes.iter().take(TOLD).map(|m| told(m.frequency_hz)).collect(),
            out_of_plane_hz: out.iter().map(|m| told(m.frequency_hz)).collect(),
            squeeze_n_m: gives.map(|g| share(&worth.stiffness, 1.0 / g, 2.0 * model_tones)),
            power,
            rim,
            modes,
            loss_factor,
        });
    }
    Ok(stages)
}

/// Mean real part of the mobility across the side at a place, over the band with its ends faded.
fn mean_mobility(rim: &Rim, modes: &[RimMode], wish: &RimWish, share: f64, loss_factor: f64) -> f64 {
    let node = rim.node_at(share);
    let (low, high) = wish.band_hz;
    let at = |i: usize| low + (high - low) * (i as f64 + 0.5) / STEPS as f64;
    let weighted = |hz: f64| {
        let weight = soft_weight(wish.band_hz, hz);
        (weight * rim.mobility(modes, node, loss_factor, hz).re, weight)
    };
    let (sum, weights) = (0..STEPS).map(|i| weighted(at(i))).fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
    sum / weights
}

/// A further inner ply over a short stretch of the joined rim, here and there along the right half: what it does at the first
/// station. `loss_factor`: of the joined rim; `factor` as for the stages. `None` without a ply or a station, or if it cannot be
/// worked out.
pub fn rim_patches(
    plies: &[Ply],
    glue: Option<(&Glue, f64)>,
    loss_factor: f64,
    wish: &RimWish,
    factor: Option<&Figure>,
) -> Option<Vec<Patch>> {
    let by_shop = |side: Section| as_the_shop_makes_it(&side, factor.map_or(1.0, |f| f.value));
    let inner = plies.last()?;
    let side = &by_shop(side_section(&layers_of(plies, glue), wish.depth_m)?);
    let extra: Vec<Leaf> = layers_of(std::slice::from_ref(inner), None).iter().map(leaf).collect();
    let thicker = {
        // Glued on, it stands away from the middle: the stiffness of the whole, not the sum.
        let all: Vec<Ply> = plies.iter().chain([inner]).cloned().collect();
        by_shop(side_section(&layers_of(&all, glue), wish.depth_m)?)
    };
    let thickness_m = total(&layers_of(plies, glue));
    let (lined, joints) = joined(side, thickness_m, wish);
    let more = {
        // Between the linings, if there are any.
        let between = extra.iter().fold(lined.wall?, |wall, leaf| wall.with_middle_inside(leaf));
        Section { sheet: thicker.sheet, ..lined.with_wall(&between) }
    };
    let power = |pieces: &[RimPiece]| -> Option<f64> {
        let rim = made(wish, &lined, pieces);
        let modes = rim.modes(rim.sideways(), MODES)?;
        Some(mean_mobility(&rim, &modes, wish, wish.stations.first()?.1, loss_factor))
    };
    let before = power(&joints)?;
    let half = 0.5 * PATCH_LENGTH_M / wish.outline.length_m();
    let patch = |i: usize| {
        let share = 0.04 + 0.42 * (i as f64 + 0.5) / PATCHES as f64;
        // On both sides, as a rim is built.
        let both = [share, 1.0 - share].map(|s| RimPiece { from: s - half, to: s + half, section: more });
        let pieces: Vec<RimPiece> = both.into_iter().chain(joints.iter().copied()).collect();
        Some(Patch {
            share,
            mass_kg: 2.0 * PATCH_LENGTH_M * (more.mass_per_length_kg_m - lined.mass_per_length_kg_m),
            power: power(&pieces)? / before,
        })
    };
    (0..PATCHES).into_par_iter().map(patch).collect()
}

#[cfg(test)]
mod tests {
    use super::super::rim_sections::{RIM_BAND_HZ, SIDE_BRACE};
    use super::super::woods::find_wood;
    use super::*;
    use crate::part::LiningKind;
    use crate::rim::Outline;

    #[test]
    fn a_laminated_rim_draws_less_and_rings_higher() {
        let ply = |wood: &str, mm: f64, board: &str| Ply {
            material: find_wood(wood).unwrap_or_else(|e| panic!("{e}")).material(board),
            thickness: Figure::new(1e-3 * mm, 5e-5, board),
            angle_rad: 0.0,
        };
        let plain = ply("walnut", 1.9, "outer");
        let outline = Outline::named("parlour").unwrap_or_else(|e| panic!("{e}"));
        let wish = RimWish {
            stations: vec![("lower bout".into(), outline.station("lower bout").expect("a station"))],
            outline,
            depth_m: 0.095,
            block_m: Some(0.02),
            linings: LiningKind::Kerfed,
            held: false,
            braces: Vec::new(),
            brace: SIDE_BRACE,
            band_hz: RIM_BAND_HZ,
        };
        let plies = [plain.clone(), ply("maple", 1.4, "inner")];
        let stages = rim_stages(&plain, &plies, None, &wish, None).unwrap_or_else(|e| panic!("{e}"));
        let [bare, laminated, joined] = &stages[..] else { panic!("three stages") };
        // Without blocks the tones go with the root of stiffness over mass, exactly.
        let glued = forecast(&plies[0], &plies, None).unwrap_or_else(|e| panic!("{e}"));
        let ratio = laminated.in_plane_hz[0].value / bare.in_plane_hz[0].value;
        // To what a shell hinders its bending across.
        assert!((ratio / glued.tone_ratio.value - 1.0).abs() < 6e-3, "{ratio} {:?}", glued.tone_ratio);
        // An endless strip has no modes that fall into the band or out of it: the two agree roughly.
        assert!(
            (laminated.power[0].given_force.value / glued.power_ratio.value - 1.0).abs() < 0.3,
            "{:?}",
            laminated.power
        );
        // Blocks and linings add mass; at one station they may move a mode into the band or out of it.
        assert!(
            joined.mass.value > 1.1 * laminated.mass.value && joined.power[0].given_force.value < 0.6,
            "{:?}",
            joined.power
        );
        let (soft, stiff) = (bare.squeeze_n_m.as_ref(), laminated.squeeze_n_m.as_ref());
        let squeezed = soft.zip(stiff).map(|(a, b)| b.value / a.value).expect("a waist");
        assert!((squeezed / glued.stiffness_ratio.value - 1.0).abs() < 0.01, "{squeezed}");
        let patches = rim_patches(&plies, None, joined.loss_factor, &wish, None);
        assert_eq!(patches.map(|p| p.len()), Some(PATCHES));
        // A shop whose laminations come out a tenth stiffer: tones rise by its root.
        let stiffer = Figure::new(1.1, 0.02, "record");
        let shop = rim_stages(&plain, &plies, None, &wish, Some(&stiffer)).unwrap_or_else(|e| panic!("{e}"));
        let rises = shop[1].in_plane_hz[0].value / laminated.in_plane_hz[0].value;
        assert!((rises / 1.1f64.sqrt() - 1.0).abs() < 6e-3 && shop[0].in_plane_hz == bare.in_plane_hz, "{rises}");
        // With held edges the sides ring far higher; a brace at the station lowers what is drawn there, and weighs.
        let held = RimWish { held: true, ..wish.clone() };
        let braced = RimWish { braces: vec![wish.stations[0].1, 1.0 - wish.stations[0].1], ..held.clone() };
        let of = |wish: &RimWish| rim_stages(&plain, &plies, None, wish, None).unwrap_or_else(|e| panic!("{e}"));
        let (held, braced) = (of(&held), of(&braced));
        assert!(held[0].in_plane_hz[0].value > 2.0 * bare.in_plane_hz[0].value && held[0].squeeze_n_m.is_none());
        assert!(braced[2].power[0].given_force.value < held[2].power[0].given_force.value);
        // Between the linings of 14 mm.
        let long_m = wish.depth_m - 2.0 * 14e-3;
        let bars = 2.0 * SIDE_BRACE.density_kg_m3 * SIDE_BRACE.width_m * SIDE_BRACE.height_m * long_m;
        // Elements end where a brace does, and the polygon is another one by less than 0.03 % of its length.
        let added = braced[2].mass.value - held[2].mass.value;
        assert!((added - bars).abs() < 3e-4 * held[2].mass.value, "{added} {bars}");
    }
}
