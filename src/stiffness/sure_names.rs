//! Which tones are surely the modes that an assignment calls them: two modes side by side may be meant the other way round.

use super::blank_modes::BlankModes;
use super::numbering::Numbering;
use super::tone::Tone;

/// A name is sure if any other for the same tone is less likely by this factor (natural logarithm of 19: 95 % against it).
const SURE: f64 = 2.944;

/// The numbers of those tones that no other mode nearby would explain about as well, alone or in exchange with that mode's own tone.
pub(super) fn sure_numbers(best: &Numbering, blank: &BlankModes, tones: &[Tone]) -> Vec<Option<(usize, usize)>> {
    let mode_of: Vec<Option<usize>> =
        best.places.iter().map(|place| blank.modes.iter().position(|m| Some(m.place) == *place)).collect();
    // Half of what a pair adds to the misfit.
    let misfit = |tone: usize, mode: usize| {
        let sigma = tones[tone].relative_u().hypot(best.deviation);
        0.5 * ((tones[tone].frequency_hz / blank.hz[mode]).ln() / sigma).powi(2)
    };
    let sure = |tone: usize, own: usize| {
        (0..blank.modes.len()).filter(|other| *other != own).all(|other| {
            let moved = misfit(tone, other) - misfit(tone, own);
            let owner = mode_of.iter().position(|mode| *mode == Some(other));
            moved + owner.map_or(0.0, |owner| misfit(owner, own) - misfit(owner, other)) >= SURE
        })
    };
    let numbers = best.numbers.iter().zip(&mode_of).enumerate();
    numbers.map(|(tone, (number, mode))| number.filter(|_| mode.is_none_or(|own| sure(tone, own)))).collect()
}

#[cfg(test)]
mod tests {
    use super::super::numbering::refine;
    use super::super::plate::{Constants, Size};
    use super::*;

    /// Modes 3 % apart keep their names; two tones drawn together to a thousandth lose them where the wood deviates by half a percent.
    #[test]
    fn modes_side_by_side_have_no_sure_name() {
        let size = Size { length_m: 0.8, width_m: 0.12, thickness_m: 2.25e-3, mass_kg: 0.133 };
        let constants = Constants { along_pa: 12e9, across_pa: 1.1e9, shear_pa: 0.9e9, poisson: 0.4 };
        let blank = BlankModes::new(&size, &constants, 500.0);
        let tones: Vec<Tone> = blank
            .hz
            .iter()
            .filter(|hz| (40.0..400.0).contains(*hz))
            .map(|hz| Tone { frequency_hz: *hz, frequency_hz_u: 1e-5 * hz })
            .collect();
        let mut best = refine(&size, &tones, constants, None).expect("it fits");
        assert!(best.numbers.iter().all(Option::is_some));
        for deviation in [5e-4, 5e-3] {
            best.deviation = deviation;
            let sure = sure_numbers(&best, &blank, &tones);
            let near = |a: usize, b: usize| (tones[a].frequency_hz / tones[b].frequency_hz).ln().abs();
            for (i, number) in sure.iter().enumerate() {
                // Exact tones: the exchange costs the square of the distance over the deviation's.
                let nearest = (0..tones.len()).filter(|j| *j != i).map(|j| near(i, j)).fold(f64::INFINITY, f64::min);
                let clear = nearest / deviation;
                assert!(number.is_some() || clear < 2.5, "{i}: {clear}");
                assert!(number.is_none() || clear > 1.6, "{i}: {clear}");
            }
        }
    }
}
