//! The demonstration's truth as `truth.toml`.

use std::fmt::Write;

use super::truth::{ModeTruth, RatioTruth, Truth};

const HEAD: &str = "\
# Everything here is simulated: this is what is true of the demonstration's parts, for comparing with what the program makes of
# their sounds. The program does not read it. SI units; frequencies are undamped natural ones; f and zeta of a part are the mean
# over holdings, those of a take are as it was held then; amplitudes are of a tap, full scale = 1. Moisture is left out: the wood is the same in all stages.
";

fn list(values: impl Iterator<Item = f64>) -> String {
    let values: Vec<String> = values.map(number).collect();
    format!("[{}]", values.join(", "))
}

/// Eight digits; always with a point or an exponent, as TOML's numbers are told apart.
fn number(value: f64) -> String {
    format!("{value:.7e}")
}

fn modes(modes: &[ModeTruth]) -> String {
    format!(
        "frequency_hz = {}\ndamping_ratio = {}\namplitude = {}\n",
        list(modes.iter().map(|m| m.frequency_hz)),
        list(modes.iter().map(|m| m.damping_ratio)),
        list(modes.iter().map(|m| m.amplitude))
    )
}

/// The text of `truth.toml`.
pub fn truth_text(truth: &Truth) -> String {
    let mut text = HEAD.to_owned();
    // Writing to a string cannot fail.
    let mut put = |line: String| {
        let _ = writeln!(text, "{line}");
    };
    for blank in &truth.blanks {
        let c = blank.constants;
        // EI of the strip: E b t^3/12.
        let bending = c.along_pa * blank.width_m * blank.thickness_m.powi(3) / 12.0;
        put(format!("\n[[blank]]\npart = \"{}\"\nstage = \"flat\"", blank.part));
        for (name, value) in [
            ("length_m", blank.length_m),
            ("width_m", blank.width_m),
            ("thickness_m", blank.thickness_m),
            ("mass_kg", blank.mass_kg),
            ("modulus_along_pa", c.along_pa),
            ("modulus_across_pa", c.across_pa),
            ("shear_modulus_pa", c.shear_pa),
            ("bending_stiffness_n_m2", bending),
        ] {
            put(format!("{name} = {}", number(value)));
        }
        put(modes(&blank.modes));
    }
    for spot in &truth.stages {
        put(format!(
            "\n[[spot]]\npart = \"{}\"\nstage = \"{}\"\nstation = \"{}\"",
            spot.part, spot.stage, spot.station
        ));
        put(format!("mass_kg = {}\n{}", number(spot.mass_kg), modes(&spot.modes)));
        put(format!("modal_mass_kg = {}    # by all motion in the plane", list(spot.modal_mass_kg.iter().copied())));
        put(format!(
            "shape_across = {}    # movement across the side, 1/sqrt(kg)",
            list(spot.shape_across.iter().copied())
        ));
    }
    truth.ratios.iter().for_each(|ratio| put(self::ratio(ratio)));
    for take in &truth.takes {
        put(format!("\n[[take]]\nname = \"{}\"\nadded_g = {}", take.name, number(take.added_g)));
        put(format!("held_frequency = {}\nheld_damping = {}", number(take.held.0), number(take.held.1)));
        put(modes(&take.modes));
    }
    text
}

fn ratio(ratio: &RatioTruth) -> String {
    let RatioTruth { part, before, after, station, .. } = ratio;
    let mut text = format!(
        "\n[[ratio]]\npart = \"{part}\"\nbefore = \"{before}\"\nafter = \"{after}\"\nstation = \"{station}\"\nmass = {}\n",
        number(ratio.mass)
    );
    for (name, value) in [("stiffness", ratio.stiffness), ("loss", ratio.loss), ("power", Some(ratio.power))] {
        text += &value.map_or_else(String::new, |v| format!("{name} = {}\n", number(v)));
    }
    text
}
