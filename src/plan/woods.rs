//! Published woods, for plies that nobody has tapped yet.
//!
//! Source: Wood Handbook (FPL-GTR-282), Tables 5-1 and 5-2 (ratios) and 5-3a (bending modulus and specific gravity at 12 %
//! moisture), read in public transcriptions; rows for birch, mahogany and red cedar converted from Agriculture Handbook 72.
//! Green moduli: maple, cherry, ash, poplar and birch from the same transcriptions; walnut, both oaks and cedar from memory.
//! A board differs from its species: a tapped blank always knows better.

use crate::uncertainty::{Cause, Figure, Scope, Source};

/// A wood that the table knows; its grain radial across the width (cut on the quarter).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wood {
    pub name: &'static str,
    /// Bending modulus as printed (GPa), specific gravity (oven-dry mass over volume at 12 %).
    bending_gpa: f64,
    gravity: f64,
    /// E_R/E_L, G_LR/E_L, nu_LR.
    across: f64,
    shear: f64,
    poisson: f64,
    /// Bending modulus green (GPa), and the moisture at which drying begins to tell (%), for its Eq. 5-3.
    green_gpa: f64,
    tells_from_percent: f64,
}

const fn wood(name: &'static str, bending_gpa: f64, gravity: f64, ratios: [f64; 3], green: (f64, f64)) -> Wood {
    let [across, shear, poisson] = ratios;
    Wood { name, bending_gpa, gravity, across, shear, poisson, green_gpa: green.0, tells_from_percent: green.1 }
}

// A Poisson's ratio of 0.318 has nothing to do with 1/pi.
#[allow(clippy::approx_constant)]
pub const WOODS: &[Wood] = &[
    wood("black walnut", 11.6, 0.55, [0.106, 0.085, 0.495], (9.8, 25.0)),
    wood("sugar maple", 12.6, 0.63, [0.132, 0.111, 0.424], (10.7, 25.0)),
    wood("yellow birch", 13.9, 0.62, [0.078, 0.074, 0.426], (10.34, 27.0)),
    wood("black cherry", 10.3, 0.50, [0.197, 0.147, 0.392], (9.0, 25.0)),
    wood("white ash", 12.0, 0.60, [0.125, 0.109, 0.371], (9.9, 24.0)),
    wood("yellow-poplar", 10.9, 0.42, [0.092, 0.075, 0.318], (8.4, 25.0)),
    wood("red oak", 12.5, 0.63, [0.154, 0.089, 0.350], (9.3, 25.0)),
    wood("white oak", 12.3, 0.68, [0.163, 0.086, 0.369], (8.6, 25.0)),
    wood("western red cedar", 7.65, 0.32, [0.081, 0.087, 0.378], (6.5, 25.0)),
];

/// The Handbook's bending modulus holds some shear deflection; E along the grain is a tenth higher (there).
const WITHOUT_SHEAR: f64 = 1.10;
/// Moisture at which the table holds.
const MOISTURE: f64 = 0.12;
/// Coefficients of variation between boards: E 22 %, gravity 10 % (from memory of the same handbook); the ratios by judgement.
const SPREAD_E: f64 = 0.22;
const SPREAD_DENSITY: f64 = 0.10;
const SPREAD_RATIO: f64 = 0.25;
/// Loss factors along, across and in shear: of the order published for hardwoods, from memory, hence the spread.
const LOSS: [f64; 3] = [0.010, 0.022, 0.018];
const SPREAD_LOSS: f64 = 0.4;

/// What a ply is made of. Moduli in Pa, density in kg/m3, loss factors along, across and in shear.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    pub name: String,
    pub along: Figure,
    pub across: Figure,
    pub shear: Figure,
    pub poisson: Figure,
    pub density: Figure,
    pub loss: [Figure; 3],
    /// Whether it is a species' table value, not this shop's board.
    pub from_table: bool,
}

/// The wood of a name; a part of the name does if it is the only one ("maple").
pub fn find_wood(name: &str) -> Result<&'static Wood, String> {
    let wanted = name.trim().to_lowercase();
    let fits: Vec<&Wood> = WOODS.iter().filter(|w| !wanted.is_empty() && w.name.contains(&wanted)).collect();
    match fits[..] {
        [one] => Ok(one),
        [] => {
            let all: Vec<&str> = WOODS.iter().map(|w| w.name).collect();
            Err(format!(
                "no wood called {name:?} in the table. It has: {}. For any other, tap a blank of it and name its folder",
                all.join(", ")
            ))
        }
        _ => Err(format!(
            "{name:?} may be {}: write the full name",
            fits.iter().map(|w| w.name).collect::<Vec<_>>().join(" or ")
        )),
    }
}

impl Wood {
    /// Share by which the modulus along the grain falls for a unit of moisture content (a fraction, so 1.3 is 1.3 % for each percent).
    ///
    /// Wood Handbook Eq. 5-3, P = P12 (P12/Pg)^((12 - M)/(Mp - 12)), of which this is the logarithm's slope.
    pub fn modulus_lost_with_moisture(&self) -> f64 {
        100.0 * (self.bending_gpa / self.green_gpa).ln() / (self.tells_from_percent - 100.0 * MOISTURE)
    }

    /// As a material, every board's spread in its uncertainty. Two plies of one `board` share it.
    pub fn material(&self, board: &str) -> Material {
        let scope = || Scope::Board(board.into());
        let of = |value: f64, spread: f64, cause: Cause| {
            Figure::new(value, spread * value, Source::from(cause).within(scope()))
        };
        let along = of(1e9 * self.bending_gpa * WITHOUT_SHEAR, SPREAD_E, Cause::ModulusAlong);
        let ratio = |r: f64, cause: Cause| Figure::combine(&[&along, &of(r, SPREAD_RATIO, cause)], |x| x[0] * x[1]);
        Material {
            name: self.name.to_owned(),
            across: ratio(self.across, Cause::AcrossOverAlong),
            shear: ratio(self.shear, Cause::ShearOverAlong),
            poisson: of(self.poisson, SPREAD_RATIO, Cause::PoissonsRatio),
            density: of(1000.0 * self.gravity * (1.0 + MOISTURE), SPREAD_DENSITY, Cause::Density),
            loss: [
                of(LOSS[0], SPREAD_LOSS, Cause::LossAlong),
                of(LOSS[1], SPREAD_LOSS, Cause::LossAcross),
                of(LOSS[2], SPREAD_LOSS, Cause::LossInShear),
            ],
            from_table: true,
            along,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn woods_are_found_by_name() {
        assert_eq!(find_wood("Sugar Maple").map(|w| w.name), Ok("sugar maple"));
        assert_eq!(find_wood("walnut").map(|w| w.name), Ok("black walnut"));
        assert!(find_wood("oak").is_err_and(|e| e.contains("red oak or white oak")));
        assert!(find_wood("unobtainium").is_err_and(|e| e.contains("tap a blank")));
        let maple = find_wood("maple").map(|w| w.material("inner")).unwrap_or_else(|e| panic!("{e}"));
        assert!((maple.along.value - 13.86e9).abs() < 1e6 && (maple.along.relative_u() - 0.22).abs() < 1e-9);
        assert!((maple.density.value - 705.6).abs() < 0.1);
        // Sugar maple: E falls by 1.26 % for each percent of moisture (by hand: 100 ln(12.6/10.7)/13 = 1.2573).
        let lost = find_wood("maple").map(Wood::modulus_lost_with_moisture);
        assert!(lost.is_ok_and(|l| (l - 1.2573).abs() < 1e-4));
    }
}
