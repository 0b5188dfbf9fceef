//! When stages were tapped, as far as files and what the maker wrote tell.

use crate::part::Day;

/// One session at the bench is no longer than this, from the first take to the last (s): half a day.
const SESSION_S: f64 = 12.0 * 3600.0;

/// When a stage was tapped.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tapped {
    /// The day that the maker wrote down.
    pub day: Option<Day>,
    /// Of each take that lies in a file: when that was last written (s since 1970), and how long the recording is (s).
    pub files: Vec<(f64, f64)>,
}

/// Whether two stages were tapped in one session; `None` where nothing tells.
///
/// Days that were written down count first, if both were. Files count by when they were written, unless two of them were written within
/// less time than the later one lasts: such were copied, and tell nothing of the tapping.
pub fn same_session(a: &Tapped, b: &Tapped) -> Option<bool> {
    if let (Some(x), Some(y)) = (a.day, b.day) {
        return Some(x == y);
    }
    if a.day.is_some() != b.day.is_some() || a.files.is_empty() || b.files.is_empty() {
        return None;
    }
    let mut all: Vec<(f64, f64)> = a.files.iter().chain(&b.files).copied().collect();
    all.sort_by(|x, y| x.0.total_cmp(&y.0));
    let copied = all.windows(2).any(|w| w[1].0 - w[0].0 < w[1].1);
    let span = all.last()?.0 - all.first()?.0;
    (!copied && span.is_finite()).then_some(span <= SESSION_S)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: f64 = 3600.0;

    fn files(written_h: &[f64]) -> Tapped {
        Tapped { day: None, files: written_h.iter().map(|h| (1.7e9 + h * HOUR, 20.0)).collect() }
    }

    #[test]
    fn an_afternoon_is_one_session_and_two_weeks_are_not() {
        let day = |n: i64| Tapped { day: Some(Day(n)), ..files(&[0.0]) };
        assert_eq!(same_session(&files(&[0.0, 0.1]), &files(&[3.0, 3.1])), Some(true));
        assert_eq!(same_session(&files(&[0.0, 0.1]), &files(&[336.0])), Some(false));
        // What the maker wrote counts more than what files say.
        assert_eq!(same_session(&day(5), &day(5)), Some(true));
        assert_eq!(same_session(&day(5), &day(6)), Some(false));
        assert_eq!(same_session(&day(5), &files(&[1.0])), None);
    }

    /// Three seconds between takes of twenty: copied, on whatever day.
    #[test]
    fn copied_files_tell_nothing() {
        let quick = 3.0 / HOUR;
        assert_eq!(same_session(&files(&[0.0, quick]), &files(&[2.0])), None);
        assert_eq!(same_session(&files(&[0.0]), &files(&[quick])), None);
        assert_eq!(same_session(&files(&[]), &files(&[0.0])), None);
    }
}
