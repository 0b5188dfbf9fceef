//! Which mode of the bare part is which tone of the takes with a mass on.

use super::take::{HELD_APART, StationTake, StationTone, mass_places};

/// A mode of the bare part, and its place among the tones of each take.
#[derive(Debug, Clone)]
pub(super) struct FollowedMode {
    pub tone: StationTone,
    /// By take, in the takes' order.
    pub places: Vec<Option<usize>>,
}

/// A mass lowers a mode by at most this much (ln f).
const MOST_SHIFT: f64 = 0.13;
/// A heavier mass shifts in proportion, or less by this share: what a mass of an eighth of the modal mass does at a free bar's end.
const BENT: f64 = 0.35;
/// Modes weaker than this (dB re the strongest) are not followed.
const WEAKEST_DB: f64 = -35.0;

/// Follows the modes of the first take, which has nothing stuck on, through all of them. The takes are sorted by their masses.
///
/// A mass lowers every mode but carries none past its neighbour, so that the order stays; tones come and go at the threshold of hearing.
/// The assignment is the one in order that pairs the most, prefers the shift that the lighter mass predicts, and like loudness.
pub(super) fn follow(takes: &[&StationTake]) -> Vec<FollowedMode> {
    let (masses, _) = mass_places(takes);
    let bare = takes[0];
    let loudest = bare.tones.iter().map(|t| t.level_db).fold(f64::NEG_INFINITY, f64::max);
    let heard = bare.tones.iter().filter(|t| t.level_db > loudest + WEAKEST_DB);
    let mut modes: Vec<FollowedMode> = heard.map(|t| FollowedMode { tone: *t, places: Vec::new() }).collect();
    modes.sort_by(|a, b| a.tone.frequency_hz.total_cmp(&b.tone.frequency_hz));
    // By mode: the latest take in which it was found, and its shift there (ln f).
    let mut last: Vec<Option<(usize, f64)>> = vec![None; modes.len()];
    for (index, take) in takes.iter().enumerate() {
        let expected = |last: &Option<(usize, f64)>| match (masses[index], last) {
            (0, _) => Some((0.0, 0.0)),
            (_, Some((before, shift))) if masses[*before] > 0 => {
                let in_proportion = shift.max(0.0) * take.added.value / takes[*before].added.value;
                let bent = if masses[*before] == masses[index] { 0.0 } else { BENT * in_proportion };
                Some((in_proportion - 0.5 * bent, 0.5 * bent))
            }
            _ => None,
        };
        let mut order: Vec<usize> = (0..take.tones.len()).collect();
        order.sort_by(|a, b| take.tones[*a].frequency_hz.total_cmp(&take.tones[*b].frequency_hz));
        let score = |mode: usize, tone: usize| {
            let (from, to) = (&modes[mode].tone, &take.tones[order[tone]]);
            let shift = (from.frequency_hz / to.frequency_hz).ln();
            let read = 4.0 * (from.frequency_hz_u / from.frequency_hz).hypot(to.frequency_hz_u / to.frequency_hz);
            let held = HELD_APART.hypot(read);
            let most = MOST_SHIFT + held;
            let unlike = match expected(&last[mode]) {
                Some((at, 0.0)) if (shift - at).abs() > held => return None,
                _ if shift < -held || shift > most.max(2.0 * last[mode].map_or(0.0, |l| l.1)) => return None,
                // Labels are wrong at times: a shift that the lighter mass does not predict is unlikely, not impossible.
                Some((at, give)) => (shift - at).abs() / ((shift - at).abs() + give + held),
                None => 0.5 * shift.max(0.0) / most,
            };
            let louder = (from.level_db - to.level_db).abs().min(20.0) / 20.0;
            Some(1.0 - 0.8 * unlike - 0.3 * louder)
        };
        let found = in_order(modes.len(), order.len(), score);
        for (mode, place) in found.into_iter().enumerate() {
            if let Some(tone) = place {
                let shift = (modes[mode].tone.frequency_hz / take.tones[order[tone]].frequency_hz).ln();
                last[mode] = Some((index, shift));
            }
            modes[mode].places.push(place.map(|tone| order[tone]));
        }
    }
    modes
}

/// The assignment of `rows` to `columns`, each used once and both in their order, with the largest sum of scores; a row that nothing
/// suits stays alone. Dynamic programming, as for the alignment of two sequences.
fn in_order(rows: usize, columns: usize, score: impl Fn(usize, usize) -> Option<f64>) -> Vec<Option<usize>> {
    let scores: Vec<Vec<Option<f64>>> = (0..rows).map(|r| (0..columns).map(|c| score(r, c)).collect()).collect();
    let mut best = vec![vec![0.0f64; columns + 1]; rows + 1];
    for r in (0..rows).rev() {
        for c in (0..columns).rev() {
            let paired = scores[r][c].map_or(f64::NEG_INFINITY, |s| s + best[r + 1][c + 1]);
            best[r][c] = paired.max(best[r + 1][c]).max(best[r][c + 1]);
        }
    }
    let mut found = vec![None; rows];
    let (mut r, mut c) = (0, 0);
    while r < rows && c < columns {
        if scores[r][c].is_some_and(|s| s + best[r + 1][c + 1] >= best[r][c]) {
            found[r] = Some(c);
            (r, c) = (r + 1, c + 1);
        } else if best[r + 1][c] >= best[r][c + 1] {
            r += 1;
        } else {
            c += 1;
        }
    }
    found
}
