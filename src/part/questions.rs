//! What looks wrong with a part's readings.

use std::ops::Range;

use super::description::{Kind, PartDescription};
use crate::uncertainty::Figure;

/// Wood between cork and the heaviest ebony-like woods; outside it a reading is wrong.
const DENSITIES_KG_M3: Range<f64> = 80.0..1400.0;

impl PartDescription {
    /// What looks wrong with the readings, each as a sentence; moduli are not to be computed from such.
    pub fn questions(&self) -> Vec<String> {
        let mut questions = Vec::new();
        let mm = |m: &Figure| format!("{:.2} mm", 1e3 * m.value);
        if let (Some(t), Some(w)) = (&self.thickness, &self.width)
            && t.value >= w.value
        {
            questions.push(format!(
                "thickness {} is not less than width {}: are the two exchanged, or is a unit wrong?",
                mm(t),
                mm(w)
            ));
        }
        if let (Some(w), Some(l)) = (&self.width, &self.length)
            && w.value >= l.value
        {
            questions.push(format!("width {} is not less than length {}: are the two exchanged?", mm(w), mm(l)));
        }
        for (name, size, low, high) in [
            ("length", &self.length, 0.03, 5.0),
            ("width", &self.width, 3e-3, 2.0),
            ("thickness", &self.thickness, 2e-4, 0.05),
        ] {
            let wrong = size.as_ref().filter(|s| !(low..=high).contains(&s.value));
            if let (Some(size), true) = (wrong, questions.is_empty()) {
                questions.push(format!("{name} {} is no size of a guitar's part: is its unit right?", mm(size)));
            }
        }
        if let (Some(t), false) = (&self.thickness, self.plies.is_empty()) {
            let sum: f64 = self.plies.iter().map(|p| p.thickness.value).sum();
            // A glue line adds up to some tenths of a millimetre.
            if sum > t.value + 4.0 * t.u_95() || sum < t.value - 4.0 * t.u_95() - 0.5e-3 {
                questions.push(format!(
                    "the plies together are {:.2} mm, the part is {:.2} mm thick: which reading is wrong?",
                    1e3 * sum,
                    1e3 * t.value
                ));
            }
        }
        if self.kind == Kind::Strip
            && self.known_modulus.is_none()
            && questions.is_empty()
            && let Ok(sizes) = self.sizes()
        {
            let density = sizes.density().value;
            if !DENSITIES_KG_M3.contains(&density) {
                let (name, ordinary) = if density < DENSITIES_KG_M3.start { ("low", 500.0) } else { ("high", 700.0) };
                let factor = density / ordinary;
                questions.push(format!(
                    "sizes and mass give {density:.0} kg/m3, too {name} for any wood. For an ordinary {ordinary:.0} kg/m3 the \
                     thickness would be {:.2} mm, or the width {:.0} mm, or the mass {:.0} g: which reading (or its unit) is \
                     wrong?",
                    1e3 * sizes.thickness.value * factor,
                    1e3 * sizes.width.value * factor,
                    1e3 * sizes.mass.value / factor
                ));
            }
        }
        questions
    }
}
