//! A day as a maker writes it down.

/// Days since the first of January 1970.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day(pub i64);

/// Years that a reading may be of: outside them a digit is wrong.
const YEARS: std::ops::RangeInclusive<i64> = 1900..=2200;

impl Day {
    /// "2026-03-14": year, month and day (ISO 8601).
    ///
    /// # Errors
    /// A sentence that says how to write it.
    pub fn parse(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no date; write it like \"2026-03-14\" (year, month, day)");
        let numbers: Vec<i64> = text
            .trim()
            .split('-')
            .map(|n| n.parse().ok().filter(|_| n.bytes().all(|b| b.is_ascii_digit())).ok_or_else(wrong))
            .collect::<Result<_, _>>()?;
        let [year, month, day] = numbers[..] else { return Err(wrong()) };
        if !YEARS.contains(&year) || !(1..=12).contains(&month) || !(1..=days_of(year, month)).contains(&day) {
            return Err(wrong());
        }
        let months: i64 = (1..month).map(|m| days_of(year, m)).sum();
        let leap_days = |year: i64| year / 4 - year / 100 + year / 400;
        Ok(Self(365 * (year - 1970) + leap_days(year - 1) - leap_days(1969) + months + day - 1))
    }
}

/// Days of a month (Gregorian calendar).
fn days_of(year: i64, month: i64) -> i64 {
    match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By `date -u -d DAY +%s` over 86400.
    #[test]
    fn days_are_those_of_the_calendar() {
        for (text, days) in
            [("1970-01-01", 0), ("1969-12-31", -1), ("2000-02-29", 11016), ("2000-03-01", 11017), ("2026-03-14", 20526)]
        {
            assert_eq!(Day::parse(text), Ok(Day(days)), "{text}");
        }
        for text in ["2026-02-29", "2026-13-01", "14.3.2026", "2026-3", "", "26-03-14", "2026-03-+4"] {
            assert!(Day::parse(text).is_err_and(|e| e.contains("2026-03-14")), "{text}");
        }
    }
}
