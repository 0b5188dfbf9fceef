//! Inverse questions: what thickness reaches a wish.

use super::forecast::{Forecast, Glue, Ply, forecast};
use crate::uncertainty::{Cause, Figure};

/// Thickest ply that is looked at (m): beyond that it is no side.
const THICKEST_M: f64 = 6e-3;
const THINNEST_M: f64 = 2e-4;
/// Uncertainty of a thickness that is still to be made (m): what sanding holds, common practice, no source.
const MADE_TO_M: f64 = 5e-5;

/// A thickness that reaches a wish, and what the lamination is worth then.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    pub thickness_m: f64,
    pub forecast: Forecast,
}

/// A thickness still to be made.
pub fn to_be_made(thickness_m: f64, which: &str) -> Figure {
    Figure::new(thickness_m, MADE_TO_M, Cause::ThicknessAsMade(which.into()))
}

/// The thickness of the inner ply that gives so many times the plain side's stiffness.
///
/// # Errors
/// A sentence with the closest that can be reached.
pub fn thickness_for_stiffness(
    plain: &Ply,
    inner: &Ply,
    glue: Option<(&Glue, f64)>,
    times: f64,
) -> Result<Target, String> {
    let at = |thickness_m: f64| {
        let inner = Ply { thickness: to_be_made(thickness_m, "the inner ply"), ..inner.clone() };
        forecast(plain, &[plain.clone(), inner], glue)
    };
    solve(&at, times, "inner ply")
}

/// The thickness of the outer ply that, over an inner ply, is as stiff as the plain side times `times`.
///
/// # Errors
/// A sentence with the closest that can be reached.
pub fn outer_for_stiffness(plain: &Ply, inner: &Ply, glue: Option<(&Glue, f64)>, times: f64) -> Result<Target, String> {
    let at = |thickness_m: f64| {
        let outer = Ply { thickness: to_be_made(thickness_m, "the outer ply"), ..plain.clone() };
        forecast(plain, &[outer, inner.clone()], glue)
    };
    solve(&at, times, "outer ply")
}

fn solve(at: &dyn Fn(f64) -> Result<Forecast, String>, times: f64, what: &str) -> Result<Target, String> {
    let reach = |t: f64| at(t).map(|f| f.stiffness_ratio.value);
    let (mut low, mut high) = (THINNEST_M, THICKEST_M);
    let (least, most) = (reach(low)?, reach(high)?);
    if !(least..=most).contains(&times) {
        let (end, value) = if times > most { (high, most) } else { (low, least) };
        return Err(format!(
            "no {what} from {} to {} mm makes it {times} times as stiff; closest: {value:.2} times at {} mm",
            1e3 * THINNEST_M,
            1e3 * THICKEST_M,
            1e3 * end
        ));
    }
    // Stiffness grows with thickness: halving finds it.
    while high - low > 1e-8 {
        let middle = 0.5 * (low + high);
        if reach(middle)? < times { low = middle } else { high = middle }
    }
    Ok(Target { thickness_m: high, forecast: at(high)? })
}

#[cfg(test)]
mod tests {
    use super::super::woods::find_wood;
    use super::*;

    #[test]
    fn the_wish_is_met_or_the_closest_told() {
        let material = find_wood("walnut").unwrap_or_else(|e| panic!("{e}")).material("board");
        let plain = Ply { material, thickness: Figure::exact(2e-3), angle_rad: 0.0 };
        // The same wood without glue: (1 + t/2)^3 = 5.
        let got = thickness_for_stiffness(&plain, &plain, None, 5.0).unwrap_or_else(|e| panic!("{e}"));
        assert!((got.thickness_m - 2e-3 * (5f64.cbrt() - 1.0)).abs() < 1e-7, "{}", got.thickness_m);
        let error = thickness_for_stiffness(&plain, &plain, None, 500.0).expect_err("too much");
        assert!(error.contains("closest: 64.00 times at 6 mm"), "{error}");
        // Over an inner ply of 1 mm, an outer one of 1 mm is as stiff as the plain one of 2 mm.
        let inner = Ply { thickness: Figure::exact(1e-3), ..plain.clone() };
        let got = outer_for_stiffness(&plain, &inner, None, 1.0).unwrap_or_else(|e| panic!("{e}"));
        assert!((got.thickness_m - 1e-3).abs() < 1e-7, "{}", got.thickness_m);
    }
}
