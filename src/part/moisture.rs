//! Moisture of wood in the air of a room, and what it does to the modulus.

use crate::uncertainty::{Cause, Figure};

/// Equilibrium moisture content (fraction of the dry mass) in air of a temperature (C) and relative humidity (fraction).
///
/// Wood Handbook FPL-GTR-282 (2021), Eq. 4-5 (Hailwood-Horrobin), read in a public transcription. A newer equation in the
/// same chapter (4-6) differs by up to half a percent of moisture. `None` outside 0 to 60 C and 5 to 95 %.
pub fn equilibrium_moisture(temperature_c: f64, humidity: f64) -> Option<f64> {
    if !(0.0..=60.0).contains(&temperature_c) || !(0.05 - 1e-9..=0.95 + 1e-9).contains(&humidity) {
        return None;
    }
    let t = temperature_c;
    let w = 349.0 + 1.29 * t + 0.0135 * t * t;
    let k = 0.805 + 0.000736 * t - 0.00000273 * t * t;
    let k1 = 6.27 - 0.00938 * t - 0.000303 * t * t;
    let k2 = 1.91 + 0.0407 * t - 0.000293 * t * t;
    let kh = k * humidity;
    let bound = (k1 * kh + 2.0 * k1 * k2 * kh * kh) / (1.0 + k1 * kh + k1 * k2 * kh * kh);
    Some(18.0 / w * (kh / (1.0 - kh) + bound))
}

/// Two official equations (4-5 and 4-6 of the Wood Handbook) differ by up to half a percent of moisture.
const EQUATIONS_DIFFER: f64 = 0.003;

/// Equilibrium moisture content (fraction) in air that was read, with the doubt of thermometer, hygrometer and equation.
pub fn moisture_in_air(temperature: &Figure, humidity: &Figure) -> Option<Figure> {
    equilibrium_moisture(temperature.value, humidity.value)?;
    // At the edge of the range the slope is taken on its inner side.
    let at = |t: f64, h: f64| equilibrium_moisture(t.clamp(0.0, 60.0), h.clamp(0.05, 0.95)).unwrap_or(f64::NAN);
    let read = Figure::combine(&[temperature, humidity], |x| at(x[0], x[1]));
    Some(read.plus_uncertainty(EQUATIONS_DIFFER, Cause::MoistureEquation))
}

/// Factor that brings a modulus at some moisture (fraction) to 12 % moisture.
///
/// Wood Handbook Eq. 5-3, P = P12 (P12/Pg)^((12 - M)/(Mp - 12)), with Mp 25 % and `dry_over_green` = P12/Pg. An average
/// relation: single boards differ.
pub fn modulus_at_12_percent(moisture: f64, dry_over_green: f64) -> f64 {
    dry_over_green.powf(-(12.0 - 100.0 * moisture) / (25.0 - 12.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wood Handbook Table 4-2 at 21.1 C (70 F): 6.2, 9.2, 12.0, 16.0 % at 30, 50, 65, 80 % (from memory, agrees with the
    /// equation after rounding); by the equation to four digits 6.170, 9.243, 11.958, 15.990 (project reference).
    #[test]
    fn agrees_with_the_wood_handbooks_table() {
        for (humidity, table, exact) in
            [(0.3, 6.2, 6.170), (0.5, 9.2, 9.243), (0.65, 12.0, 11.958), (0.8, 16.0, 15.990)]
        {
            let percent = 100.0 * equilibrium_moisture(21.1, humidity).expect("inside the range");
            assert!((percent - table).abs() < 0.051, "{humidity}: {percent}");
            assert!((percent - exact).abs() < 0.002, "{humidity}: {percent}");
        }
        assert_eq!(equilibrium_moisture(21.0, 1.2), None);
    }

    /// Sugar maple, E 12.6 GPa at 12 % and 10.7 GPa green: 13.2499 GPa at 8 % (project reference, Eq. 5-3).
    #[test]
    fn modulus_follows_moisture() {
        let factor = modulus_at_12_percent(0.08, 12.6 / 10.7);
        assert!((13.2499 * factor - 12.6).abs() < 1e-3);
        assert!((modulus_at_12_percent(0.12, 1.2) - 1.0).abs() < 1e-12);
    }
}
