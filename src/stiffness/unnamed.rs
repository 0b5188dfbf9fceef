//! Loud tones that an assignment has no mode for.

use super::tone::Tone;

/// So many of them speak against the assignment. One may be a stand, a string or a mode of the air.
const SPEAK_AGAINST: usize = 2;

/// The tones (Hz) without a number that are louder than the median of those with one, if they are too many; none without levels.
pub(super) fn loud_unnamed(tones: &[Tone], levels_db: &[f64], numbers: &[Option<(usize, usize)>]) -> Vec<f64> {
    let heard = || tones.iter().zip(levels_db).zip(numbers).map(|((tone, level), number)| (tone, *level, number));
    let mut named: Vec<f64> = heard().filter(|(.., number)| number.is_some()).map(|(_, level, _)| level).collect();
    named.sort_by(f64::total_cmp);
    let Some(median) = named.get(named.len() / 2) else { return Vec::new() };
    let loud: Vec<f64> = heard()
        .filter(|(_, level, number)| number.is_none() && level > median)
        .map(|(tone, ..)| tone.frequency_hz)
        .collect();
    if loud.len() < SPEAK_AGAINST { Vec::new() } else { loud }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_tones_above_the_median_speak_against() {
        let tones: Vec<Tone> =
            (1..=6).map(|i| Tone { frequency_hz: 100.0 * f64::from(i), frequency_hz_u: 0.01 }).collect();
        let named = |numbered: [bool; 6]| numbered.map(|n| n.then_some((2, 0)));
        let numbers = named([true, false, true, true, true, false]);
        // The median of those named is -10 dB or -12 dB, of four the upper.
        assert_eq!(loud_unnamed(&tones, &[-5.0, -3.0, -20.0, -10.0, -12.0, -8.0], &numbers), [200.0, 600.0]);
        assert!(loud_unnamed(&tones, &[-5.0, -3.0, -20.0, -10.0, -12.0, -11.0], &numbers).is_empty());
        assert!(loud_unnamed(&tones, &[], &numbers).is_empty());
        assert!(loud_unnamed(&tones, &[0.0; 6], &named([false; 6])).is_empty());
    }
}
