//! Which taps ring alike. One tap may be any sound of the room; two with a tone in common are taps on the same part.

use crate::modes::Mode;

/// The clean tones of one tap: frequency and standard uncertainty (Hz), and how strongly they sound at the strike together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tones {
    at_hz: Vec<(f64, f64)>,
    level_db: Option<f64>,
}

/// Tones of two taps are the same within this share: a part held anew in the hand moves by less (common practice, no source).
const SAME: f64 = 0.01;

impl Tones {
    pub fn of<'a>(modes: impl IntoIterator<Item = &'a Mode>) -> Self {
        let modes: Vec<&Mode> = modes.into_iter().collect();
        let power: f64 = modes.iter().map(|m| 10f64.powf(m.level_full_scale_db / 10.0)).sum();
        Self {
            at_hz: modes.iter().map(|m| (m.frequency.value, m.frequency.u_95())).collect(),
            level_db: (power > 0.0).then(|| 10.0 * power.log10()),
        }
    }

    /// Tones at given frequencies, each with its standard uncertainty (Hz); their level is not known.
    pub fn at(tones: &[(f64, f64)]) -> Self {
        Self { at_hz: tones.to_vec(), level_db: None }
    }

    /// Level of all of them together at the strike (dB of full scale).
    pub fn level_db(&self) -> Option<f64> {
        self.level_db
    }

    /// Whether they have a tone in common.
    pub fn share(&self, other: &Self) -> bool {
        let same = |a: &(f64, f64), b: &(f64, f64)| (a.0 - b.0).abs() <= SAME * a.0 + 3.0 * a.1.hypot(b.1);
        self.at_hz.iter().any(|a| other.at_hz.iter().any(|b| same(a, b)))
    }
}

/// The largest company of taps that hang together by tones in common, as places in the list; of equal ones that which was
/// complete first. Empty if none has `least` members.
pub fn company(taps: &[&Tones], least: usize) -> Vec<usize> {
    let mut best: Vec<usize> = Vec::new();
    let mut free: Vec<usize> = (0..taps.len()).collect();
    while let Some(first) = free.first().copied() {
        free.remove(0);
        let mut members = vec![first];
        let mut next = 0;
        while next < members.len() {
            let asked = taps[members[next]];
            let (alike, others) = free.iter().partition::<Vec<usize>, _>(|i| taps[**i].share(asked));
            members.extend(alike);
            free = others;
            next += 1;
        }
        members.sort_unstable();
        // Of two equally large ones that stays whose last member came first.
        let earlier = members.len() == best.len() && members.last() < best.last();
        if members.len() > best.len() || earlier {
            best = members;
        }
    }
    if best.len() < least { Vec::new() } else { best }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tones(frequencies: &[f64]) -> Tones {
        Tones::at(&frequencies.iter().map(|f| (*f, 0.05)).collect::<Vec<_>>())
    }

    #[test]
    fn a_lone_tap_is_no_company_of_two() {
        let (a, b) = (tones(&[112.0, 287.0]), tones(&[150.0]));
        assert!(company(&[&a], 2).is_empty());
        assert!(company(&[&a, &b], 2).is_empty());
        assert_eq!(company(&[&a], 1), [0]);
    }

    #[test]
    fn taps_hang_together_by_any_tone() {
        let (a, b, c) = (tones(&[112.0, 287.0]), tones(&[287.4, 655.0]), tones(&[654.0]));
        let noise = tones(&[431.0]);
        assert_eq!(company(&[&a, &noise, &b], 2), [0, 2]);
        assert_eq!(company(&[&a, &noise, &b, &c], 2), [0, 2, 3]);
    }

    #[test]
    fn of_two_companies_the_larger_counts_and_the_earlier_of_equal_ones() {
        let (a, b) = (tones(&[112.0]), tones(&[431.0]));
        assert_eq!(company(&[&a, &a, &b, &b], 2), [0, 1]);
        assert_eq!(company(&[&a, &b, &b, &a], 2), [1, 2]);
        assert_eq!(company(&[&a, &a, &b, &b, &b], 2), [2, 3, 4]);
    }
}
