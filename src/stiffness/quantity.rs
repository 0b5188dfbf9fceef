//! What is told about a part, each with its uncertainty and one plain sentence.

use super::blank::BlankResult;
use crate::loss::{edge_of_plate, infinite_beam};
use crate::part::{Measured, PartDescription, Sizes, equilibrium_moisture, modulus_at_12_percent};

/// A named figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// Stable short code.
    pub code: &'static str,
    pub name: &'static str,
    /// Value in SI units.
    pub measured: Measured,
    /// SI unit.
    pub unit: &'static str,
    /// How people write it: unit and the factor from SI.
    pub shown: (&'static str, f64),
    /// What it means, in one plain sentence.
    pub meaning: &'static str,
}

/// Damping of a numbered mode: nodal lines across the width, frequency (Hz), loss factor and its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NumberedLoss {
    pub across_width: usize,
    pub loss_factor: f64,
    pub loss_factor_u: f64,
}

/// Frequency of the reference mobility of a strip (Hz): in the range where a guitar's top drives its rim.
const REFERENCE_HZ: f64 = 200.0;
/// Dry over green modulus, average of the species in the Wood Handbook's Table 5-3 (maple, walnut, birch, ash: 1.15 to 1.25;
/// from memory).
const DRY_OVER_GREEN: f64 = 1.2;

/// Everything that a flat blank's modes and sizes tell.
pub fn blank_quantities(
    part: &PartDescription,
    sizes: &Sizes,
    blank: &BlankResult,
    losses: &[NumberedLoss],
) -> Vec<Quantity> {
    let mut all = Vec::new();
    let mut add = |code, name, measured: Measured, unit, shown, meaning| {
        all.push(Quantity { code, name, measured, unit, shown, meaning });
    };
    let density = sizes.density();
    add(
        "density_kg_m3",
        "density",
        density.clone(),
        "kg/m3",
        ("kg/m3", 1.0),
        "how heavy the wood itself is, from mass and sizes",
    );
    if let Some(along) = &blank.along {
        add(
            "modulus_along_pa",
            "E along the grain",
            along.clone(),
            "Pa",
            ("GPa", 1e-9),
            "how hard the wood is to stretch or bend along the grain, whatever the part's sizes",
        );
    }
    if let Some(across) = &blank.across {
        add(
            "modulus_across_pa",
            "E across the grain",
            across.clone(),
            "Pa",
            ("GPa", 1e-9),
            "the same across the grain, where wood is ten to twenty times softer",
        );
    }
    if let Some(shear) = &blank.shear {
        add("shear_modulus_pa", "shear modulus G", shear.clone(), "Pa", ("GPa", 1e-9), "how hard the wood is to twist");
    }
    if let Some(stiffness) = &blank.bending_stiffness {
        add(
            "bending_stiffness_n_m2",
            "bending stiffness EI",
            stiffness.clone(),
            "N m2",
            ("N m²", 1.0),
            "how hard this very strip is to bend over its length; it hardly depends on the thickness reading",
        );
    }
    if let Some(stiffness) = &blank.bending_stiffness_per_width {
        add(
            "bending_stiffness_per_width_n_m",
            "the same per width, D",
            stiffness.clone(),
            "N m",
            ("N m", 1.0),
            "bending stiffness of a strip one metre wide, to compare sides of different depth",
        );
    }
    if let Some(along) = &blank.along {
        add(
            "specific_stiffness_m2_s2",
            "stiffness for its weight, E/density",
            Measured::combine(&[along, &density], |x| x[0] / x[1]),
            "m2/s2",
            ("MN m/kg", 1e-6),
            "modulus for the weight: a higher one gives a lighter part of the same stiffness",
        );
        add(
            "sound_speed_m_s",
            "speed of sound along the grain",
            Measured::combine(&[along, &density], |x| (x[0] / x[1]).sqrt()),
            "m/s",
            ("m/s", 1.0),
            "how fast a push travels along the grain",
        );
        add(
            "characteristic_impedance_kg_m2_s",
            "characteristic impedance",
            Measured::combine(&[along, &density], |x| (x[0] * x[1]).sqrt()),
            "kg/(m2 s)",
            ("MPa s/m", 1e-6),
            "how much the wood holds still against a vibration that comes to it: speed of sound times density",
        );
        add(
            "radiation_ratio_m4_kg_s",
            "radiation ratio",
            Measured::combine(&[along, &density], |x| (x[0] / x[1].powi(3)).sqrt()),
            "m4/(kg s)",
            ("m⁴/(kg s)", 1.0),
            "speed of sound over density: high in wood that is wanted to sound by itself, of little use for a side",
        );
    }
    if let (Some(stiffness), Some(per_width)) = (&blank.bending_stiffness, &blank.bending_stiffness_per_width) {
        let line = Measured::combine(&[stiffness, &sizes.mass, &sizes.length], |x| {
            infinite_beam(x[0], x[1] / x[2], REFERENCE_HZ).re
        });
        add(
            "strip_mobility_200_hz_m_n_s",
            "mobility of an endless strip, 200 Hz",
            line,
            "m/(N s)",
            ("mm/(N s)", 1e3),
            "how readily an endless strip like this gives at 200 Hz; a rigid wall gives nothing, and a rim should lie far below",
        );
        let area = Measured::combine(&[&sizes.mass, &sizes.length, &sizes.width], |x| x[0] / (x[1] * x[2]));
        // The edge of a plate that bends along with D_x and across with D_y: their geometric mean stands for an isotropic one.
        let across = blank.across.as_ref().zip(blank.along.as_ref());
        if let Some((across, along)) = across {
            let edge = Measured::combine(&[per_width, &area, across, along], |x| {
                edge_of_plate(x[0] * (x[2] / x[3]).sqrt(), x[1])
            });
            let doubt = 0.06 * edge.value;
            add(
                "plate_edge_mobility_m_n_s",
                "mobility of an endless plate's edge",
                edge.plus_uncertainty(doubt, "plate taken as even"),
                "m/(N s)",
                ("mm/(N s)", 1e3),
                "how readily the free edge of an endless plate like this gives, at any frequency",
            );
        }
    }
    for (family, code, name, meaning) in [
        (
            0,
            "loss_factor_along",
            "loss factor, bending along",
            "share of the energy lost in each radian of bending along the grain; what holds the blank adds to it",
        ),
        (1, "loss_factor_twist", "loss factor, twist", "the same for twisting; larger, because shear loses more"),
    ] {
        if let Some(mean) = mean_loss(losses, family) {
            add(code, name, mean, "1", ("", 1.0), meaning);
        }
    }
    if let (Some(temperature), Some(humidity)) = (&part.temperature, &part.humidity)
        && equilibrium_moisture(temperature.value, humidity.value).is_some()
    {
        // At the edge of the range the slope is taken on its inner side.
        let at = |t: f64, h: f64| equilibrium_moisture(t.clamp(0.0, 60.0), h.clamp(0.05, 0.95)).unwrap_or(f64::NAN);
        // Two official equations differ by up to half a percent.
        let moisture = Measured::combine(&[temperature, humidity], |x| at(x[0], x[1]))
            .plus_uncertainty(0.003, "moisture equation");
        add(
            "moisture_content",
            "moisture content in this air",
            moisture.clone(),
            "1",
            ("%", 100.0),
            "what wood takes on when it lies in this air for weeks (Wood Handbook); the blank may not be there yet",
        );
        if let Some(along) = &blank.along {
            let brought =
                Measured::combine(&[along, &moisture], |x| x[0] * modulus_at_12_percent(x[1], DRY_OVER_GREEN));
            let doubt = 0.3 * (brought.value - along.value).abs();
            add(
                "modulus_along_at_12_percent_pa",
                "E along, brought to 12 % moisture",
                brought.plus_uncertainty(doubt, "moisture relation"),
                "Pa",
                ("GPa", 1e-9),
                "for comparing with tables only: an average relation (Wood Handbook) that single boards do not keep to",
            );
        }
    }
    all
}

/// Mean loss factor of a family of modes; the scatter between modes counts, since loss grows with frequency.
fn mean_loss(losses: &[NumberedLoss], family: usize) -> Option<Measured> {
    let own: Vec<&NumberedLoss> = losses.iter().filter(|l| l.across_width == family).collect();
    if own.is_empty() {
        return None;
    }
    let weights: f64 = own.iter().map(|l| l.loss_factor_u.powi(-2)).sum();
    let mean = own.iter().map(|l| l.loss_factor * l.loss_factor_u.powi(-2)).sum::<f64>() / weights;
    let n = own.len() as f64;
    let scatter = if own.len() > 1 {
        (own.iter().map(|l| (l.loss_factor - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
    } else {
        0.0
    };
    Some(Measured::with_parts(mean, [("damping".into(), weights.powf(-0.5)), ("mode to mode".into(), scatter)]))
}
