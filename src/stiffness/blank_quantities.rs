//! What a flat blank's frequencies and sizes make of its wood, each figure with its uncertainty.

use super::blank_result::BlankResult;
use super::quantity::{Quantity, QuantityKind};
use crate::part::{PartDescription, Sizes, modulus_at_12_percent};
use crate::uncertainty::{Cause, Figure};

/// Dry over green modulus, average of the species in the Wood Handbook's Table 5-3 (maple, walnut, birch, ash: 1.15 to 1.25;
/// from memory).
const DRY_OVER_GREEN: f64 = 1.2;

/// What a flat blank's frequencies and sizes tell.
pub fn blank_quantities(part: &PartDescription, sizes: &Sizes, blank: &BlankResult) -> Vec<Quantity> {
    let mut all = Vec::new();
    let mut add = |kind, figure: Figure| all.push(Quantity { kind, figure });
    let density = sizes.density();
    add(QuantityKind::Density, density.clone());
    if let Some(along) = &blank.along_length {
        add(QuantityKind::ModulusAlongLength, along.clone());
    }
    if let Some(along) = &blank.along {
        add(QuantityKind::ModulusAlong, along.clone());
    }
    if let Some(across) = &blank.across {
        add(QuantityKind::ModulusAcross, across.clone());
    }
    if let Some(shear) = &blank.shear {
        add(QuantityKind::ShearModulus, shear.clone());
    }
    if let Some(stiffness) = &blank.bending_stiffness {
        add(QuantityKind::BendingStiffness, stiffness.clone());
    }
    if let Some(stiffness) = &blank.bending_stiffness_per_width {
        add(QuantityKind::BendingStiffnessPerWidth, stiffness.clone());
    }
    if let Some(along) = &blank.along {
        add(QuantityKind::SpecificStiffness, Figure::combine(&[along, &density], |x| x[0] / x[1]));
        add(QuantityKind::SoundSpeed, Figure::combine(&[along, &density], |x| (x[0] / x[1]).sqrt()));
        add(QuantityKind::CharacteristicImpedance, Figure::combine(&[along, &density], |x| (x[0] * x[1]).sqrt()));
        add(QuantityKind::RadiationRatio, Figure::combine(&[along, &density], |x| (x[0] / x[1].powi(3)).sqrt()));
    }
    if let Some(grain) = &blank.grain_deg {
        add(QuantityKind::GrainAngle, grain.clone());
    }
    if let Some(bow) = &blank.bow {
        add(QuantityKind::Bow, bow.clone());
    }
    if let Some(moisture) = part.moisture() {
        add(QuantityKind::MoistureContent, moisture.clone());
        if let Some(along) = &blank.along {
            let brought = Figure::combine(&[along, &moisture], |x| x[0] * modulus_at_12_percent(x[1], DRY_OVER_GREEN));
            let doubt = 0.3 * (brought.value - along.value).abs();
            add(QuantityKind::ModulusAlongAt12Percent, brought.plus_uncertainty(doubt, Cause::MoistureRelation));
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
            length: Figure::new(0.8, 0.0, Cause::Length),
            width: Figure::new(0.125, 0.0, Cause::Width),
            thickness: Figure::new(2e-3, 2e-5, Cause::Thickness),
            mass: Figure::new(0.12, 0.0, Cause::Mass),
        };
        // E goes with 1/thickness^3 at given mass and frequencies: 1 % thicker, 3 % less.
        let along = Figure::with_parts(12e9, [(Cause::Thickness.into(), -0.03 * 12e9)]);
        let blank = BlankResult { along: Some(along), ..Default::default() };
        // Air of 70 F and 40 %: wood takes on 7.7 % (Wood Handbook, Table 4-2, from memory).
        let part = PartDescription {
            temperature: Some(Figure::new(21.1, 0.0, Cause::Temperature)),
            humidity: Some(Figure::new(0.40, 0.0, Cause::Humidity)),
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
            let told = &all.iter().find(|q| q.kind.code() == code).expect(code).figure;
            assert!((told.value / value - 1.0).abs() < 1e-6, "{code}: {}", told.value);
            let (_, part) = told.parts().find(|(s, _)| s.cause == Cause::Thickness).expect(code);
            assert!((100.0 * part / told.value - change).abs() < 1e-3, "{code}: {}", 100.0 * part / told.value);
        }
        let moisture = &all.iter().find(|q| q.kind == QuantityKind::MoistureContent).expect("moisture").figure;
        assert!((moisture.value - 0.077).abs() < 2e-3, "{}", moisture.value);
        let brought = &all.iter().find(|q| q.kind == QuantityKind::ModulusAlongAt12Percent).expect("brought").figure;
        // Its equation 5-3, 25 % where drying begins to tell: E falls by 1.2^((12 - 7.7)/13) on the way to 12 %.
        assert!((brought.value / 12e9 * 1.2f64.powf(4.3 / 13.0) - 1.0).abs() < 5e-3, "{}", brought.value);
        let none = blank_quantities(&PartDescription::default(), &sizes, &BlankResult::default());
        assert_eq!(none.iter().map(|q| q.kind).collect::<Vec<_>>(), [QuantityKind::Density]);
    }
}
