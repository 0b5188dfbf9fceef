//! A lamination forecast: stiffness, mass, loss and power drawn against the plain side, each with its uncertainty.

use super::laminate::{Laminate, Layer, glue_line, laminate};
use super::woods::Material;
use crate::uncertainty::{Cause, Figure};

/// A ply that is to be: its material, thickness (m) and grain angle (rad).
#[derive(Debug, Clone, PartialEq)]
pub struct Ply {
    pub material: Material,
    pub thickness: Figure,
    pub angle_rad: f64,
}

/// What holds two plies together. Shear modulus of the cured film (Pa), density (kg/m3), loss factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glue {
    pub name: &'static str,
    pub shear_pa: f64,
    pub density_kg_m3: f64,
    pub loss: f64,
    /// What to mind, in words.
    pub caution: &'static str,
}

/// Usual glues; all values from memory, of the order that handbooks of adhesives print.
pub const GLUES: &[Glue] = &[
    Glue {
        name: "epoxy",
        shear_pa: 1.1e9,
        density_kg_m3: 1150.0,
        loss: 0.05,
        caution: "uncured epoxy and its hardener sensitise the skin for life: gloves, fresh air, and what the product's safety \
                  data sheet says; the dust of half-cured epoxy too",
    },
    Glue {
        name: "hide glue",
        shear_pa: 1.2e9,
        density_kg_m3: 1270.0,
        loss: 0.03,
        caution: "it brings water into thin wood, which may cup until it has dried",
    },
    Glue {
        name: "wood glue",
        shear_pa: 0.3e9,
        density_kg_m3: 1150.0,
        loss: 0.10,
        caution: "it brings water into thin wood and creeps under lasting load or warmth",
    },
    Glue {
        name: "contact cement",
        shear_pa: 2e6,
        density_kg_m3: 1000.0,
        loss: 0.5,
        caution: "its solvent burns and numbs: no flame, fresh air, and what the product's safety data sheet says",
    },
];

/// The spread of a film's thickness and of a cured glue's shear modulus.
const SPREAD_FILM: f64 = 0.5;
const SPREAD_SHEAR: f64 = 0.4;
/// Frequency (Hz) at which the glue line's giving way is judged: in the range where a top drives its rim.
const JUDGED_HZ: f64 = 200.0;
const GLUE_ROUNDS: usize = 12;
/// Giving way by less than this share does not matter.
const MATTERS: f64 = 0.01;

pub fn find_glue(name: &str) -> Result<&'static Glue, String> {
    let wanted = name.trim().to_lowercase();
    GLUES.iter().find(|g| g.name == wanted).ok_or_else(|| {
        format!("no glue called {name:?}; there are: {}", GLUES.iter().map(|g| g.name).collect::<Vec<_>>().join(", "))
    })
}

/// What a lamination will be worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Bending stiffness along, per width (N m), and times the plain side's.
    pub stiffness: Figure,
    pub stiffness_ratio: Figure,
    /// Mass per area (kg/m2), and times the plain side's.
    pub mass_per_area: Figure,
    pub mass_ratio: Figure,
    /// Power drawn from an edge of given force, times the plain side's: as endless strips.
    pub power_ratio: Figure,
    /// Tap tones of the same outline, times the plain side's.
    pub tone_ratio: Figure,
    /// Loss factor of bending along.
    pub loss: Figure,
    /// Share of its stiffness that the laminate loses because the glue gives way in shear (at 200 Hz).
    pub glue_gives: f64,
    /// Whether that matters.
    pub glue_matters: bool,
}

const NUMBERS: usize = 9;

fn inputs(ply: &Ply) -> [&Figure; NUMBERS] {
    let m = &ply.material;
    [&ply.thickness, &m.along, &m.across, &m.shear, &m.poisson, &m.density, &m.loss[0], &m.loss[1], &m.loss[2]]
}

fn layer(x: &[f64], angle_rad: f64) -> Layer {
    Layer {
        thickness_m: x[0],
        along_pa: x[1],
        across_pa: x[2],
        shear_pa: x[3],
        poisson: x[4],
        density_kg_m3: x[5],
        angle_rad,
        loss: [x[6], x[7], x[8]],
    }
}

/// A film of glue as a layer: even in all directions, Poisson's ratio 0.35.
fn film(glue: &Glue, thickness_m: f64, shear_pa: f64) -> Layer {
    let stretch = 2.0 * 1.35 * shear_pa;
    Layer {
        thickness_m,
        along_pa: stretch,
        across_pa: stretch,
        shear_pa,
        poisson: 0.35,
        density_kg_m3: glue.density_kg_m3,
        angle_rad: 0.0,
        loss: [glue.loss; 3],
    }
}

/// Plies with films of glue between them, as layers: the first outermost.
pub(super) fn layers_of(plies: &[Ply], glue: Option<(&Glue, f64)>) -> Vec<Layer> {
    let mut all = Vec::new();
    for ply in plies {
        if let (Some((glue, thickness)), false) = (glue, all.is_empty()) {
            all.push(film(glue, thickness, glue.shear_pa));
        }
        all.push(layer(&inputs(ply).map(|m| m.value), ply.angle_rad));
    }
    all
}

/// The plies glued together: stiffness along, mass per area, loss, and what the glue gives.
struct Glued {
    stiffness: f64,
    mass: f64,
    loss: f64,
    gives: f64,
}

fn glued(layers: &[Layer], glue: Option<(&Glue, f64, f64)>) -> Option<Glued> {
    let Some((glue, thickness_m, shear_pa)) = glue.filter(|_| layers.len() > 1) else {
        let Laminate { strip_along, mass_per_area, loss_along, .. } = laminate(layers)?;
        return Some(Glued { stiffness: strip_along, mass: mass_per_area, loss: loss_along, gives: 0.0 });
    };
    let mut all = vec![layers[0]];
    for next in &layers[1..] {
        all.extend([film(glue, thickness_m, shear_pa), *next]);
    }
    let whole = laminate(&all)?;
    // Each line by itself, everything on either side of it taken as one ply; the largest loss of stiffness counts, and the
    // losses add. Exact for two plies.
    let (mut share, mut loss) = (1.0f64, whole.loss_along);
    // The wave is shorter the more the glue gives, and the glue gives more to shorter waves: a few rounds settle it.
    for _ in 0..GLUE_ROUNDS {
        let stiffness = share * whole.strip_along;
        let wave_number = (whole.mass_per_area * (std::f64::consts::TAU * JUDGED_HZ).powi(2) / stiffness).powf(0.25);
        (share, loss) = (1.0, whole.loss_along);
        for line in 1..layers.len() {
            let (below, above) = (laminate(&all[..2 * line - 1])?, laminate(&all[2 * line..])?);
            let thick = |layers: &[Layer]| layers.iter().map(|l| l.thickness_m).sum::<f64>();
            let (h1, h3) = (thick(&all[..2 * line - 1]), thick(&all[2 * line..]));
            let stretch = [below.a[(0, 0)], above.a[(0, 0)]];
            let own = below.strip_along + above.strip_along;
            let (left, added) =
                glue_line(stretch, own, 0.5 * (h1 + h3) + thickness_m, (thickness_m, shear_pa, glue.loss), wave_number);
            share = share.min(left);
            loss += added;
        }
    }
    Some(Glued { stiffness: share * whole.strip_along, mass: whole.mass_per_area, loss, gives: 1.0 - share })
}

/// What `plies` (outermost first), glued with a film of `glue` of some thickness (m), will be worth against `plain` alone.
///
/// # Errors
/// A sentence, if a ply has no thickness or no possible moduli.
pub fn forecast(plain: &Ply, plies: &[Ply], glue: Option<(&Glue, f64)>) -> Result<Forecast, String> {
    let film = glue.map(|(glue, thickness)| {
        let of = |value: f64, spread: f64, cause: Cause| Figure::new(value, spread * value, cause);
        (glue, of(thickness, SPREAD_FILM, Cause::GlueFilm), of(glue.shear_pa, SPREAD_SHEAR, Cause::GlueShear))
    });
    let mut given: Vec<&Figure> = inputs(plain).to_vec();
    plies.iter().for_each(|ply| given.extend(inputs(ply)));
    if let Some((_, thickness, shear)) = &film {
        given.extend([thickness, shear]);
    }
    let both = |x: &[f64]| -> Option<(Glued, Glued)> {
        let alone = glued(&[layer(x, plain.angle_rad)], None)?;
        let of = |(place, ply): (usize, &Ply)| layer(&x[NUMBERS * (place + 1)..], ply.angle_rad);
        let layers: Vec<Layer> = plies.iter().enumerate().map(of).collect();
        let line = film.as_ref().map(|(glue, ..)| (*glue, x[x.len() - 2], x[x.len() - 1]));
        Some((alone, glued(&layers, line)?))
    };
    let at: Vec<f64> = given.iter().map(|m| m.value).collect();
    let Some((_, now)) = both(&at) else {
        return Err("a ply has no thickness, or moduli that no wood can have".to_owned());
    };
    let told = |pick: &dyn Fn(&Glued, &Glued) -> f64| {
        Figure::combine(&given, |x| both(x).map_or(f64::NAN, |(alone, glued)| pick(&alone, &glued)))
    };
    Ok(Forecast {
        stiffness: told(&|_, g| g.stiffness),
        stiffness_ratio: told(&|a, g| g.stiffness / a.stiffness),
        mass_per_area: told(&|_, g| g.mass),
        mass_ratio: told(&|a, g| g.mass / a.mass),
        // Re Y of an endless strip: 1/(4 m' c_B), c_B = (EI w^2/m')^(1/4).
        power_ratio: told(&|a, g| (a.stiffness / g.stiffness).powf(0.25) * (a.mass / g.mass).powf(0.75)),
        tone_ratio: told(&|a, g| (g.stiffness / a.stiffness / (g.mass / a.mass)).sqrt()),
        loss: told(&|_, g| g.loss),
        glue_gives: now.gives,
        glue_matters: now.gives > MATTERS,
    })
}

#[cfg(test)]
mod tests {
    use super::super::woods::find_wood;
    use super::*;

    fn ply(wood: &str, mm: f64, board: &str) -> Ply {
        let material = find_wood(wood).unwrap_or_else(|e| panic!("{e}")).material(board);
        Ply { material, thickness: Figure::new(1e-3 * mm, 5e-5, format!("thickness of {board}")), angle_rad: 0.0 }
    }

    /// The same wood doubled without a glue line is eight times as stiff, twice the mass, and what is common to both cancels.
    #[test]
    fn twice_the_board_is_eight_times_as_stiff() {
        let one = ply("walnut", 2.0, "board");
        let got = forecast(&one, &[one.clone(), one.clone()], None).unwrap_or_else(|e| panic!("{e}"));
        assert!((got.stiffness_ratio.value - 8.0).abs() < 1e-9, "{:?}", got.stiffness_ratio);
        // Differences over a tenth of an uncertainty of 22 % cancel to some 1e-4.
        assert!(got.stiffness_ratio.relative_u() < 1e-3 && got.mass_ratio.relative_u() < 1e-3);
        assert!((got.mass_ratio.value - 2.0).abs() < 1e-12);
        assert!((got.tone_ratio.value - 2.0).abs() < 1e-9);
        assert!((got.power_ratio.value - 2f64.powf(-1.5)).abs() < 1e-9);
        // E of the species' spread of 22 % and three of thickness's 2.5 %.
        assert!((got.stiffness.relative_u() - 0.22f64.hypot(0.075)).abs() < 0.02, "{}", got.stiffness.relative_u());
    }

    #[test]
    fn a_soft_glue_line_is_told() {
        let (outer, inner) = (ply("walnut", 1.9, "a"), ply("maple", 1.4, "b"));
        let with = |name: &str| {
            let glue = find_glue(name).unwrap_or_else(|e| panic!("{e}"));
            forecast(&outer, &[outer.clone(), inner.clone()], Some((glue, 1e-4))).unwrap_or_else(|e| panic!("{e}"))
        };
        let (epoxy, soft) = (with("epoxy"), with("contact cement"));
        assert!(!epoxy.glue_matters && epoxy.glue_gives < 1e-3);
        assert!(
            soft.glue_matters
                && soft.stiffness.value < 0.95 * epoxy.stiffness.value
                && soft.loss.value > epoxy.loss.value
        );
        assert!(find_glue("spit").is_err_and(|e| e.contains("epoxy, hide glue")));
    }
}
