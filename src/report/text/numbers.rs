//! Numbers as a person reads them: rounded to what their uncertainty allows, with a true minus.

use crate::modes::COVERAGE_95;
use crate::uncertainty::Figure;

/// More decimals mean nothing to anybody; a narrower interval is shown as one of the last digit.
const MOST_DECIMALS: i32 = 6;
const MOST_DIGITS: i32 = 8;

/// Decimals that show a half-width with two digits.
fn decimals(half_width: f64) -> usize {
    if !half_width.is_finite() || half_width <= 0.0 {
        return 3;
    }
    let leading = half_width.log10().floor() as i32;
    (1 - leading).clamp(0, MOST_DECIMALS) as usize
}

/// "187.324 ± 0.016": value and half-width of its 95 % interval, both rounded to two digits of the half-width.
pub fn with_interval(value: f64, half_width: f64) -> String {
    if !value.is_finite() {
        return "unknown".into();
    }
    if !half_width.is_finite() {
        return format!("{} (interval unknown)", significant(value, 3));
    }
    // No more than eight digits in all: nobody's wood is known to a part in a hundred million.
    let before = value.abs().max(1.0).log10().floor() as i32 + 1;
    let decimals = decimals(half_width).min((MOST_DIGITS - before).max(0) as usize);
    let half_width = half_width.max(10f64.powi(-(decimals as i32)));
    minus(&format!("{value:.decimals$} ± {half_width:.decimals$}"))
}

/// A value alone, rounded to the digits that a half-width allows.
pub fn rounded(value: f64, half_width: f64) -> String {
    if !value.is_finite() {
        return "unknown".into();
    }
    minus(&format!("{value:.*}", decimals(half_width)))
}

/// The same with at most four significant digits, for what follows from a figure shown in full beside it.
pub(super) fn derived(value: f64, half_width: f64) -> String {
    if !value.is_finite() || value == 0.0 {
        return rounded(value, half_width);
    }
    let most = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    minus(&format!("{value:.*}", decimals(half_width).min(most)))
}

/// So many significant digits.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return minus(&value.to_string());
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    minus(&format!("{value:.decimals$}"))
}

/// A mass (kg) in grams, to a hundredth, without the zeros that nobody wrote.
pub fn grams(kg: f64) -> String {
    let text = format!("{:.2}", 1e3 * kg);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A hyphen in front of a number becomes a minus sign.
pub fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

/// "−61 % (−66 to −55)": less power than the plain one; with a plus sign more.
pub fn power(m: &Figure) -> String {
    let half = COVERAGE_95 * m.relative_u_95();
    let percent = |v: f64| minus(&format!("{:+.0}", 100.0 * (v - 1.0)));
    format!("{} % ({} to {})", percent(m.value), percent(m.value * (-half).exp()), percent(m.value * half.exp()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_to_the_uncertainty() {
        assert_eq!(with_interval(187.3239, 0.0163), "187.324 ± 0.016");
        assert_eq!(with_interval(0.01364577, 8.8e-7), "0.013646 ± 0.000001");
        assert_eq!(with_interval(15234.123456, 1e-6), "15234.123 ± 0.001");
        assert_eq!(with_interval(-12.3, 1.9), "−12.3 ± 1.9");
        assert_eq!(with_interval(15234.7, 120.0), "15235 ± 120");
        assert_eq!(with_interval(1.0, f64::INFINITY), "1.00 (interval unknown)");
        assert_eq!(rounded(0.61234, 0.0081), "0.6123");
        assert_eq!(significant(0.012345, 3), "0.0123");
        assert_eq!((grams(5e-3), grams(7.09e-3), grams(0.1)), ("5".into(), "7.09".into(), "100".into()));
    }
}
