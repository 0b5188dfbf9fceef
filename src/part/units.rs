//! Sizes as people write them: "1.9 mm", "75 thou", "1/8 in", "412 g", "14.5 oz", "20 C", "46 %".

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    Length,
    Mass,
    Temperature,
    Humidity,
    Modulus,
    /// Degrees of arc.
    Angle,
}

/// A unit: its names, and its value v in SI as v = scale * number + offset.
struct Unit {
    names: &'static [&'static str],
    scale: f64,
    offset: f64,
}

const fn unit(names: &'static [&'static str], scale: f64) -> Unit {
    Unit { names, scale, offset: 0.0 }
}

/// International inch, pound and their parts (1959 agreement): 25.4 mm and 0.45359237 kg exactly.
const LENGTHS: &[Unit] = &[
    unit(&["mm", "millimetre", "millimetres", "millimeter", "millimeters"], 1e-3),
    unit(&["cm", "centimetre", "centimetres", "centimeter", "centimeters"], 1e-2),
    unit(&["m", "metre", "metres", "meter", "meters"], 1.0),
    unit(&["um", "µm", "micron", "microns"], 1e-6),
    unit(&["in", "inch", "inches", "\""], 0.0254),
    unit(&["thou", "mil", "mils"], 25.4e-6),
    unit(&["ft", "foot", "feet"], 0.3048),
];
const MASSES: &[Unit] = &[
    unit(&["g", "gram", "grams", "gramme", "grammes"], 1e-3),
    unit(&["kg", "kilogram", "kilograms"], 1.0),
    unit(&["mg"], 1e-6),
    unit(&["oz", "ounce", "ounces"], 0.028_349_523_125),
    unit(&["lb", "lbs", "pound", "pounds"], 0.453_592_37),
];
const TEMPERATURES: &[Unit] = &[
    unit(&["C", "°C", "celsius"], 1.0),
    Unit { names: &["F", "°F", "fahrenheit"], scale: 5.0 / 9.0, offset: -32.0 * 5.0 / 9.0 },
    Unit { names: &["K", "kelvin"], scale: 1.0, offset: -273.15 },
];
const MODULI: &[Unit] =
    &[unit(&["GPa"], 1e9), unit(&["MPa", "N/mm2", "N/mm²"], 1e6), unit(&["Mpsi", "million psi"], 6.894_757_293_168e9)];
const ANGLES: &[Unit] = &[unit(&["deg", "°", "degree", "degrees"], 1.0)];
const HUMIDITIES: &[Unit] = &[unit(&["%", "percent", "%RH", "% RH"], 0.01)];

impl Dimension {
    fn units(self) -> &'static [Unit] {
        match self {
            Self::Length => LENGTHS,
            Self::Mass => MASSES,
            Self::Temperature => TEMPERATURES,
            Self::Humidity => HUMIDITIES,
            Self::Modulus => MODULI,
            Self::Angle => ANGLES,
        }
    }

    /// An example to show in messages.
    fn example(self) -> &'static str {
        match self {
            Self::Length => "\"1.9 mm\", \"75 thou\" or \"1/8 in\"",
            Self::Mass => "\"100 g\" or \"3.5 oz\"",
            Self::Temperature => "\"20 C\" or \"70 F\"",
            Self::Humidity => "\"46 %\"",
            Self::Modulus => "\"200 GPa\"",
            Self::Angle => "\"4 deg\" or \"4 deg +- 1\"",
        }
    }
}

/// One or several readings of a quantity: "1.9 mm" or "1.88 1.91 1.90 mm". Values in SI (temperature in degrees Celsius,
/// humidity as a fraction).
///
/// # Errors
/// A sentence that says what is wrong and how to write it.
pub fn parse_readings(text: &str, dimension: Dimension) -> Result<Vec<f64>, String> {
    let readings = parse_any(text, dimension)?;
    let positive = !matches!(dimension, Dimension::Temperature | Dimension::Angle);
    if positive && readings.iter().any(|r| *r <= 0.0) {
        return Err(format!("{:?} must be above zero", text.trim()));
    }
    Ok(readings)
}

/// Readings with the uncertainty that may stand behind them: "4 deg +- 1" or "4 deg ± 1 deg". They may be zero or below it.
///
/// # Errors
/// A sentence that says what is wrong and how to write it.
pub fn parse_with_doubt(text: &str, dimension: Dimension) -> Result<(Vec<f64>, Option<f64>), String> {
    let Some((value, doubt)) = text.split_once("+-").or_else(|| text.split_once('±')) else {
        return Ok((parse_any(text, dimension)?, None));
    };
    let digits = |c: char| c.is_ascii_digit() || " .,+-−/;\t".contains(c);
    let unit = value.trim().trim_start_matches(digits);
    let doubt = if doubt.trim().chars().all(digits) { format!("{} {unit}", doubt.trim()) } else { doubt.to_owned() };
    Ok((parse_any(value, dimension)?, Some(parse_uncertainty(&doubt, dimension)?)))
}

/// Readings of any sign.
fn parse_any(text: &str, dimension: Dimension) -> Result<Vec<f64>, String> {
    let text = text.trim();
    // The unit begins at the first letter or sign that no number has.
    let starts = |c: char| !(c.is_ascii_digit() || c.is_whitespace() || ".,+-/;−".contains(c));
    let at = text.find(starts).unwrap_or(text.len());
    let (numbers, unit_text) = (text[..at].trim(), text[at..].trim());
    if numbers.is_empty() {
        return Err(format!("{text:?} has no number; write it like {}", dimension.example()));
    }
    if unit_text.is_empty() {
        return Err(format!("{text:?} has no unit; write it like {}", dimension.example()));
    }
    let found = find(dimension, unit_text)?;
    let mut readings: Vec<f64> = Vec::new();
    let mut whole = None;
    for word in numbers.split([' ', '\t', ';']).map(|w| w.trim_end_matches(',')).filter(|w| !w.is_empty()) {
        // "1 1/8 in": a whole number followed by a fraction is one reading.
        if word.contains('/') {
            let fraction = number(word, text)?;
            let before: Option<f64> = whole.take();
            if before.is_some() {
                readings.pop();
            }
            readings.push(before.unwrap_or(0.0) + fraction);
            continue;
        }
        let value = number(word, text)?;
        whole = word.chars().all(|c| c.is_ascii_digit()).then_some(value);
        readings.push(value);
    }
    let readings: Vec<f64> = readings.iter().map(|r| found.scale * r + found.offset).collect();
    if readings.is_empty() {
        return Err(format!("{text:?} has no number; write it like {}", dimension.example()));
    }
    if readings.iter().any(|r| !r.is_finite()) {
        return Err(format!("{text:?} is no size"));
    }
    Ok(readings)
}

/// The readings' unit as a difference: what one step of it is in SI (for uncertainties).
pub fn parse_uncertainty(text: &str, dimension: Dimension) -> Result<f64, String> {
    let readings = parse_readings(text, dimension)?;
    let unit_text = text.trim().trim_start_matches(|c: char| c.is_ascii_digit() || " .,+-/;".contains(c)).trim();
    let offset = find(dimension, unit_text)?.offset;
    match readings[..] {
        [one] if one - offset >= 0.0 => Ok(one - offset),
        [_] => Err(format!("{text:?}: an uncertainty is not below zero")),
        _ => Err(format!("{text:?}: one value is wanted here")),
    }
}

fn number(word: &str, whole: &str) -> Result<f64, String> {
    let bad = || format!("{word:?} in {whole:?} is not a number");
    // A comma between digits is a decimal comma; two of them could be anything.
    let word = if word.matches(',').count() == 1 && !word.contains('.') { word.replace(',', ".") } else { word.into() };
    let plain = |w: &str| w.replace('−', "-").parse::<f64>().ok().filter(|v| v.is_finite()).ok_or_else(bad);
    match word.split_once('/') {
        Some((above, below)) => {
            let (above, below) = (plain(above)?, plain(below)?);
            if below == 0.0 { Err(bad()) } else { Ok(above / below) }
        }
        None => plain(&word),
    }
}

fn find(dimension: Dimension, name: &str) -> Result<&'static Unit, String> {
    let units = dimension.units();
    if let Some(unit) = units.iter().find(|u| u.names.contains(&name)) {
        return Ok(unit);
    }
    // Upper and lower case where that is no other unit.
    if let Some(unit) = units.iter().find(|u| u.names.iter().any(|n| n.eq_ignore_ascii_case(name))) {
        return Ok(unit);
    }
    let nearest = units
        .iter()
        .flat_map(|u| u.names)
        .map(|n| (edits(&name.to_lowercase(), &n.to_lowercase()), *n))
        .min()
        .filter(|(d, n)| *d <= 1 + n.chars().count() / 4 && *d < n.chars().count());
    let known: Vec<&str> = units.iter().map(|u| u.names[0]).collect();
    Err(match nearest {
        Some((_, near)) => format!("unit {name:?} is not known; is {near:?} meant? Known: {}", known.join(", ")),
        None => format!("unit {name:?} is not known here. Known: {}", known.join(", ")),
    })
}

/// Letters to change, add or drop (Levenshtein).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let next = (diagonal + usize::from(x != *y)).min(row[j] + 1).min(row[j + 1] + 1);
            diagonal = row[j + 1];
            row[j + 1] = next;
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str, dimension: Dimension) -> f64 {
        parse_readings(text, dimension).unwrap_or_else(|e| panic!("{e}"))[0]
    }

    /// 75 thousandths of an inch are 1.905 mm (25.4 mm to the inch exactly).
    #[test]
    fn reads_what_people_write() {
        let close = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-12, "{a} {b}");
        close(one("1.9 mm", Dimension::Length), 1.9e-3);
        close(one("75 thou", Dimension::Length), 1.905e-3);
        close(one("0.075 in", Dimension::Length), 1.905e-3);
        close(one("1/8 in", Dimension::Length), 3.175e-3);
        close(one("29 7/8 in", Dimension::Length), 0.758_825);
        close(one("1,9mm", Dimension::Length), 1.9e-3);
        close(one("412 g", Dimension::Mass), 0.412);
        close(one("14.5 oz", Dimension::Mass), 0.411_068_085_312_5);
        close(one("200 GPa", Dimension::Modulus), 200e9);
        // A pound-force (0.45359237 kg times 9.80665 m/s2) over a square inch is 6894.757293 Pa.
        close(one("10 Mpsi", Dimension::Modulus) / 1e10, 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254 * 1e3));
        close(one("46 %", Dimension::Humidity), 0.46);
        close(one("70 F", Dimension::Temperature), 38.0 * 5.0 / 9.0);
        assert_eq!(parse_readings("1.88 1.91 1.90 mm", Dimension::Length).map(|r| r.len()), Ok(3));
        close(parse_uncertainty("2 F", Dimension::Temperature).unwrap_or(0.0), 10.0 / 9.0);
    }

    #[test]
    fn reads_angles_with_their_doubt() {
        assert_eq!(parse_with_doubt("4 deg +- 1", Dimension::Angle), Ok((vec![4.0], Some(1.0))));
        assert_eq!(parse_with_doubt("-3° ± 0.5°", Dimension::Angle), Ok((vec![-3.0], Some(0.5))));
        assert_eq!(parse_with_doubt("0 mm", Dimension::Length), Ok((vec![0.0], None)));
        assert!(parse_with_doubt("4 +- 1", Dimension::Angle).is_err());
    }

    #[test]
    fn says_what_is_wrong() {
        let error = |t: &str, d| parse_readings(t, d).expect_err("it is wrong");
        assert!(error("1.9", Dimension::Length).contains("no unit"));
        assert!(error("1.9 mmm", Dimension::Length).contains("is \"mm\" meant"));
        assert!(error("412 gramms", Dimension::Mass).contains("is \"gram"));
        assert!(error("0 mm", Dimension::Length).contains("above zero"));
        assert!(error("-3 mm", Dimension::Length).contains("above zero"));
        assert!(error("mm", Dimension::Length).contains("no number"));
        assert!(error("1/0 in", Dimension::Length).contains("not a number"));
        assert!(error("3 kg", Dimension::Length).contains("not known"));
    }
}
