//! In what a flat blank departs from a flat, even rectangle with the grain along its length, as far as it was read.

use toml::Spanned;

use super::reader::{PartError, Reader};
use super::units::{Dimension, parse_readings, parse_with_doubt};
use crate::uncertainty::{Cause, Figure, mean_of_readings};

/// A protractor or a line along the grain (degrees), and a rule under the bow (m): common practice, no source.
const PROTRACTOR_DEG: f64 = 1.0;
const RULE_M: f64 = 1e-3;
/// An angle beyond this is no blank's; a bow is at most so much of the length.
const MOST_DEG: f64 = 45.0;
/// Readings that rise or fall all the way, by more than this, are a wedge rather than scatter (m, and over the mean).
const TREND_M: f64 = 0.08e-3;
const TREND: f64 = 0.03;

/// Readings of what a blank should not have; `None` where nobody looked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Departures {
    /// Angle of the grain to the length (degrees).
    pub grain_deg: Option<Figure>,
    /// How far it rises over its length, its ends on a flat table (m).
    pub bow: Option<Figure>,
    /// Half the difference of thickness from end to end and from edge to edge, over the mean, as the profile was read.
    pub wedge: [f64; 2],
    /// The thickness' readings rise or fall in their order, and no profile was said.
    pub trend: bool,
}

impl Departures {
    /// With the grain's angle and the bow as people write them.
    ///
    /// # Errors
    /// Which of them and what is wrong with it.
    pub fn with(mut self, grain: Option<&str>, bow: Option<&str>) -> Result<Self, String> {
        self.grain_deg = grain.map(of_grain).transpose().map_err(|why| format!("grain: {why}"))?;
        self.bow = bow.map(of_bow).transpose().map_err(|why| format!("bow: {why}"))?;
        Ok(self)
    }
}

type Text = Option<Spanned<String>>;

/// What a table says of grain and bow, of the profile along and across, and whether the readings of the thickness look like a wedge; and the
/// thickness that a profile gives.
pub(super) fn read(
    reader: &Reader,
    [grain, bow]: [&Text; 2],
    [along, across]: [&Text; 2],
    thickness: &Text,
    calliper_m: f64,
) -> Result<(Departures, Option<Figure>), PartError> {
    let one = |name: &str, value: &Text, how: fn(&str) -> Result<Figure, String>| {
        value.as_ref().map(|v| how(v.get_ref()).map_err(|why| reader.wrong(name, v, why))).transpose()
    };
    let shape = |name: &str, value: &Text| {
        let read = |v: &Spanned<String>| profile(v.get_ref(), calliper_m).map_err(|why| reader.wrong(name, v, why));
        value.as_ref().map(read).transpose()
    };
    let (along, across) = (shape("thickness_profile", along)?, shape("thickness_profile_across", across)?);
    let slope = |p: &Option<(Figure, f64)>| p.as_ref().map_or(0.0, |p| p.1);
    let departures = Departures {
        grain_deg: one("grain", grain, of_grain)?,
        bow: one("bow", bow, of_bow)?,
        wedge: [slope(&along), slope(&across)],
        trend: along.is_none() && across.is_none() && thickness.as_ref().is_some_and(|t| trend(t.get_ref())),
    };
    Ok((departures, along.or(across).map(|p| p.0)))
}

/// The angle of the grain as people write it.
fn of_grain(text: &str) -> Result<Figure, String> {
    let (readings, doubt) = parse_with_doubt(text, Dimension::Angle)?;
    if readings.iter().any(|r| r.abs() > MOST_DEG) {
        return Err(format!("{text:?} is no angle of a blank's grain to its length (at most {MOST_DEG:.0} deg)"));
    }
    Ok(mean_of_readings(&readings, doubt.unwrap_or(PROTRACTOR_DEG), Cause::GrainAngle))
}

/// The rise of a bow as people write it.
fn of_bow(text: &str) -> Result<Figure, String> {
    let (readings, doubt) = parse_with_doubt(text, Dimension::Length)?;
    if readings.iter().any(|r| *r < 0.0) {
        return Err(format!("{text:?} must not be below zero"));
    }
    Ok(mean_of_readings(&readings, doubt.unwrap_or(RULE_M), Cause::Bow))
}

/// A profile of the thickness, read at even distances from end to end or from edge to edge: its mean, and half the difference between its
/// ends over the mean (of the straight line through it).
fn profile(text: &str, calliper_m: f64) -> Result<(Figure, f64), String> {
    let readings = parse_readings(text, Dimension::Length)?;
    let n = readings.len();
    if n < 2 {
        return Err(format!("{text:?}: a profile has a reading at each end at least"));
    }
    let place = |i: usize| 2.0 * i as f64 / (n - 1) as f64 - 1.0;
    let mean = readings.iter().sum::<f64>() / n as f64;
    let squares: f64 = (0..n).map(|i| place(i).powi(2)).sum();
    let slope = readings.iter().enumerate().map(|(i, r)| place(i) * r).sum::<f64>() / squares;
    // What lies off the straight line is scatter as in any readings.
    let off: f64 = readings.iter().enumerate().map(|(i, r)| (r - mean - slope * place(i)).powi(2)).sum();
    let (scatter, dof) = match n {
        2 => (0.0, f64::INFINITY),
        _ => ((off / (n - 2) as f64 / n as f64).sqrt(), (n - 2) as f64),
    };
    let u = scatter.hypot(calliper_m);
    let dof = if scatter > 0.0 { dof * (u / scatter).powi(4) } else { f64::INFINITY };
    Ok((Figure::with_dof(mean, u, Cause::Thickness, dof), slope / mean))
}

/// Whether readings in their order look like a wedge.
pub(super) fn trend(text: &str) -> bool {
    let Ok(readings) = parse_readings(text, Dimension::Length) else { return false };
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else { return false };
    let one_way = |sign: f64| readings.windows(2).all(|w| sign * (w[1] - w[0]) > 0.0);
    let change = (last - first).abs();
    readings.len() >= 3 && (one_way(1.0) || one_way(-1.0)) && change > TREND_M && change > TREND * first
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wedge_that_is_said_is_no_scatter() {
        let (mean, slope) = profile("2.0 1.9 1.8 mm", 0.02e-3).expect("a profile");
        assert!(
            (mean.value - 1.9e-3).abs() < 1e-12
                && (slope + 0.1 / 1.9).abs() < 1e-9
                && (mean.u() - 0.02e-3).abs() < 1e-9
        );
        // A hump of 0.1 mm: 0.033, 0.067, 0.033 mm off the line, with one degree of freedom.
        let (mean, slope) = profile("1.9 2.0 1.9 mm", 0.0).expect("a profile");
        assert!(slope.abs() < 1e-9 && (mean.u() - (6.667e-9f64 / 3.0).sqrt()).abs() < 1e-7, "{}", mean.u());
        assert!(profile("1.9 mm", 0.02e-3).is_err());
    }

    #[test]
    fn trends_are_seen_and_scatter_is_not() {
        assert!(trend("2.0 1.9 1.8 mm") && trend("1.80 1.85 1.92 1.97 mm"));
        assert!(!trend("1.88 1.91 1.90 1.92 mm") && !trend("1.88 1.89 1.90 mm") && !trend("1.9 2.0 mm"));
    }

    #[test]
    fn angles_and_bows_as_people_write_them() {
        let angle = of_grain("4 deg +- 1.5").expect("an angle");
        assert!((angle.value - 4.0).abs() < 1e-12 && (angle.u() - 1.5).abs() < 1e-12);
        assert!((of_bow("12 mm").expect("a bow").u() - 1e-3).abs() < 1e-12 && of_bow("0 mm").is_ok());
        assert!(of_bow("-2 mm").is_err() && of_grain("80 deg").is_err());
    }
}
