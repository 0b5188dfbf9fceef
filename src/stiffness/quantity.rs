//! What is told about a part, each with its uncertainty and one plain sentence.

use super::blank::BlankResult;
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

/// Dry over green modulus, average of the species in the Wood Handbook's Table 5-3 (maple, walnut, birch, ash: 1.15 to 1.25;
/// from memory).
const DRY_OVER_GREEN: f64 = 1.2;

/// What a flat blank's frequencies and sizes tell.
pub fn blank_quantities(part: &PartDescription, sizes: &Sizes, blank: &BlankResult) -> Vec<Quantity> {
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

#[cfg(test)]
mod tests {
    use super::*;

    /// 12 GPa and 600 kg/m3 by hand; relative uncertainties add as their powers say, and a shared thickness is one and the same.
    #[test]
    fn quantities_of_a_blank_by_hand() {
        let sizes = Sizes {
            length: Measured::new(0.8, 0.0, "length"),
            width: Measured::new(0.125, 0.0, "width"),
            thickness: Measured::new(2e-3, 2e-5, "thickness"),
            mass: Measured::new(0.12, 0.0, "mass"),
        };
        // E goes with 1/thickness^3 at given mass and frequencies: 1 % thicker, 3 % less.
        let along = Measured::with_parts(12e9, [("thickness".into(), -0.03 * 12e9)]);
        let blank = BlankResult { along: Some(along), ..Default::default() };
        // Air of 70 F and 40 %: wood takes on 7.7 % (Wood Handbook, Table 4-2, from memory).
        let part = PartDescription {
            temperature: Some(Measured::new(21.1, 0.0, "temperature")),
            humidity: Some(Measured::new(0.40, 0.0, "humidity")),
            ..Default::default()
        };
        let all = blank_quantities(&part, &sizes, &blank);
        // Value, and change in percent for 1 % more thickness: density falls by 1, E by 3.
        for (code, value, change) in [
            ("density_kg_m3", 600.0, -1.0),
            ("specific_stiffness_m2_s2", 2e7, -2.0),
            ("sound_speed_m_s", 4472.136, -1.0),
            ("characteristic_impedance_kg_m2_s", 2.683_282e6, -2.0),
            ("radiation_ratio_m4_kg_s", 7.453_56, 0.0),
        ] {
            let told = &all.iter().find(|q| q.code == code).expect(code).measured;
            assert!((told.value / value - 1.0).abs() < 1e-6, "{code}: {}", told.value);
            let (_, part) = told.parts().find(|(s, _)| &***s == "thickness").expect(code);
            assert!((100.0 * part / told.value - change).abs() < 1e-3, "{code}: {}", 100.0 * part / told.value);
        }
        let moisture = &all.iter().find(|q| q.code == "moisture_content").expect("moisture").measured;
        assert!((moisture.value - 0.077).abs() < 2e-3, "{}", moisture.value);
        let brought = &all.iter().find(|q| q.code == "modulus_along_at_12_percent_pa").expect("brought").measured;
        // Its equation 5-3, 25 % where drying begins to tell: E falls by 1.2^((12 - 7.7)/13) on the way to 12 %.
        assert!((brought.value / 12e9 * 1.2f64.powf(4.3 / 13.0) - 1.0).abs() < 5e-3, "{}", brought.value);
        let none = blank_quantities(&PartDescription::default(), &sizes, &BlankResult::default());
        assert_eq!(none.iter().map(|q| q.code).collect::<Vec<_>>(), ["density_kg_m3"]);
    }
}
