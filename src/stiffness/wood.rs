//! What wood can be: the ranges that are searched and what is known of the ratios before a blank is tapped.

use std::ops::{Range, RangeInclusive};

/// Speed of sound along the grain, sqrt(E_L/rho), that is searched (m/s): from soft to the stiffest straight-grained wood,
/// with a margin.
pub(super) const SPEED_M_S: RangeInclusive<f64> = 2200.0..=7500.0;
/// What sound along the grain does in most woods (m/s), by the moduli and densities of the Wood Handbook with a margin.
pub(super) const ORDINARY_SPEED_M_S: Range<f64> = 3000.0..6500.0;
/// Ratios to E_L, median and standard deviation of the logarithm: E across (48 values of E_R/E_L and E_T/E_L) and G (47 of
/// G_LR/E_L and G_LT/E_L) of the species in the Wood Handbook's Table 5-1 (FPL-GTR-190, read in a public transcription).
pub(super) const ACROSS: (f64, f64) = (0.075, 0.50);
pub(super) const SHEAR: (f64, f64) = (0.074, 0.37);
/// What is searched of them: all species of that table but balsa cut flat (0.015), with room on either side (basswood cut flat has 0.027,
/// cherry on the quarter 0.197): at an end of the range a fit finds nothing or the wrong modes.
pub(super) const ACROSS_RANGE: RangeInclusive<f64> = 0.017..=0.3;
pub(super) const SHEAR_RANGE: RangeInclusive<f64> = 0.03..=0.22;
/// nu_LR and nu_LT of its Table 5-2: mean and standard deviation of 48 values.
pub(super) const POISSON: (f64, f64) = (0.40, 0.083);
/// A fit beyond this is none: three and a half deviations.
pub(super) const POISSON_RANGE: RangeInclusive<f64> = 0.1..=0.7;
