//! Which mode of one stage is which of another.

/// A mode to pair: its frequency (Hz), level (dB re the strongest) and its name where the modes are numbered.
#[derive(Debug, Clone, PartialEq)]
pub struct Paired<'a> {
    pub frequency_hz: f64,
    pub level_db: f64,
    pub name: Option<&'a str>,
}

/// Places in the two lists; `None`: no partner.
pub type Pair = (Option<usize>, Option<usize>);

/// How the modes of two stages belong together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pairing {
    pub pairs: Vec<Pair>,
    /// Another way that explains them about as well.
    pub rival: Option<Vec<Pair>>,
}

/// A stage raises or lowers all modes of a part by at most this factor.
const MOST_FACTOR: f64 = 4.0;
/// Beside a common factor the modes move by so much (standard deviation of the logarithm).
const OWN_MOVE: f64 = 0.06;
/// A mode without a partner costs as much as a pair that is off by so many standard deviations.
const ALONE: f64 = 2.0;
/// A pairing that costs more than the best by less than this is a rival.
const RIVAL: f64 = 4.0;
/// A pair whose levels differ by this many decibels is as unlikely as one that is off by a standard deviation.
const LEVEL_DB: f64 = 12.0;

/// Pairs the modes of two stages: those named alike; the others in the order of frequency, after the common factor that makes
/// most of them meet. `by_hand`: pairs (numbers from 1) that are set.
pub fn pair_modes(a: &[Paired<'_>], b: &[Paired<'_>], by_hand: &[(usize, usize)]) -> Pairing {
    let mut rival = None;
    let mut pairs: Vec<Pair> = Vec::new();
    let mut taken_a = vec![false; a.len()];
    let mut taken_b = vec![false; b.len()];
    let mut put = |pairs: &mut Vec<Pair>, i: usize, j: usize| {
        if i < a.len() && j < b.len() && !taken_a[i] && !taken_b[j] {
            (taken_a[i], taken_b[j]) = (true, true);
            pairs.push((Some(i), Some(j)));
        }
    };
    for (i, j) in by_hand {
        put(&mut pairs, i.wrapping_sub(1), j.wrapping_sub(1));
    }
    let numbered = |modes: &[Paired<'_>]| modes.iter().filter(|m| m.name.is_some()).count() >= 3;
    if numbered(a) && numbered(b) {
        for (i, mode) in a.iter().enumerate() {
            if let Some(j) = mode.name.and_then(|n| b.iter().position(|m| m.name == Some(n))) {
                put(&mut pairs, i, j);
            }
        }
    } else {
        let (rest_a, rest_b): (Vec<usize>, Vec<usize>) = (
            (0..a.len()).filter(|i| !pairs.iter().any(|p| p.0 == Some(*i))).collect(),
            (0..b.len()).filter(|j| !pairs.iter().any(|p| p.1 == Some(*j))).collect(),
        );
        let fixed: Vec<Both> = pairs.iter().filter_map(|p| p.0.zip(p.1)).collect();
        let (best, second) = in_order(a, b, (&rest_a, &rest_b), &fixed);
        // Set by hand, a pair decides.
        rival = second.filter(|_| by_hand.is_empty()).map(|r| r.into_iter().map(|(i, j)| (Some(i), Some(j))).collect());
        for (i, j) in best {
            put(&mut pairs, i, j);
        }
    }
    pairs.extend((0..a.len()).filter(|i| !taken_a[*i]).map(|i| (Some(i), None)));
    pairs.extend((0..b.len()).filter(|j| !taken_b[*j]).map(|j| (None, Some(j))));
    let at = |p: &Pair| p.0.map_or_else(|| p.1.map_or(0.0, |j| b[j].frequency_hz), |i| a[i].frequency_hz);
    pairs.sort_by(|x, y| at(x).total_cmp(&at(y)));
    Pairing { pairs, rival }
}

/// Places of two modes that belong together.
type Both = (usize, usize);

/// The alignment in the order of frequency under the best common factor, and a rival that explains the modes about as well.
///
/// `fixed`: pairs that are set already; what they moved by counts for the factor, and no pair crosses them.
fn in_order(
    a: &[Paired<'_>],
    b: &[Paired<'_>],
    (rest_a, rest_b): (&[usize], &[usize]),
    fixed: &[Both],
) -> (Vec<Both>, Option<Vec<Both>>) {
    let steps = 200;
    let mut all: Vec<(f64, Vec<Both>)> = Vec::new();
    for step in 0..=steps {
        let shift = MOST_FACTOR.ln() * (2.0 * f64::from(step) / f64::from(steps) - 1.0);
        let off = |i: usize, j: usize| ((b[j].frequency_hz / a[i].frequency_hz).ln() - shift) / OWN_MOVE;
        let cost = |i: usize, j: usize| {
            let crosses = fixed.iter().any(|(k, l)| {
                let (on_a, on_b) = (a[i].frequency_hz < a[*k].frequency_hz, b[j].frequency_hz < b[*l].frequency_hz);
                on_a != on_b
            });
            if crosses {
                f64::INFINITY
            } else {
                off(i, j).powi(2) + ((a[i].level_db - b[j].level_db) / LEVEL_DB).powi(2)
            }
        };
        let found = align(rest_a, rest_b, &cost);
        let set: f64 = fixed.iter().map(|(i, j)| off(*i, *j).powi(2)).sum();
        // Stages differ rather little than much.
        all.push((found.0 + set + 0.5 * shift.abs(), found.1));
    }
    all.sort_by(|x, y| x.0.total_cmp(&y.0));
    let Some((least, best)) = all.first().cloned() else { return (Vec::new(), None) };
    let other = |pairs: &Vec<Both>| 2 * pairs.iter().filter(|p| best.contains(p)).count() < pairs.len().max(1);
    let rival = all.into_iter().find(|(cost, pairs)| *cost < least + RIVAL && pairs.len() > 1 && other(pairs));
    (best, rival.map(|r| r.1))
}

/// Order-preserving alignment of least cost.
fn align(a: &[usize], b: &[usize], cost: &dyn Fn(usize, usize) -> f64) -> (f64, Vec<(usize, usize)>) {
    let alone = ALONE * ALONE / 2.0;
    let width = b.len() + 1;
    let mut table = vec![0.0f64; (a.len() + 1) * width];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            if i == 0 && j == 0 {
                continue;
            }
            let mut least = f64::INFINITY;
            if i > 0 {
                least = least.min(table[(i - 1) * width + j] + alone);
            }
            if j > 0 {
                least = least.min(table[i * width + j - 1] + alone);
            }
            if i > 0 && j > 0 {
                least = least.min(table[(i - 1) * width + j - 1] + cost(a[i - 1], b[j - 1]));
            }
            table[i * width + j] = least;
        }
    }
    let mut pairs = Vec::new();
    let (mut i, mut j) = (a.len(), b.len());
    while i > 0 && j > 0 {
        let here = table[i * width + j];
        if (table[(i - 1) * width + j - 1] + cost(a[i - 1], b[j - 1]) - here).abs() < 1e-9 {
            pairs.push((a[i - 1], b[j - 1]));
            (i, j) = (i - 1, j - 1);
        } else if (table[(i - 1) * width + j] + alone - here).abs() < 1e-9 {
            i -= 1;
        } else {
            j -= 1;
        }
    }
    pairs.reverse();
    (table[a.len() * width + b.len()], pairs)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn modes(frequencies: &[f64]) -> Vec<Paired<'static>> {
        frequencies.iter().map(|f| Paired { frequency_hz: *f, level_db: -f / 50.0, name: None }).collect()
    }

    #[test]
    fn pairs_across_a_common_factor() {
        let a = modes(&[61.6, 118.2, 191.2, 280.4, 386.0, 507.8]);
        // 1.864 times as high, one missing, one more at the end.
        let b = modes(&[114.9, 220.4, 522.8, 719.6, 946.6, 1200.0]);
        let pairs = pair_modes(&a, &b, &[]).pairs;
        let both: Vec<(usize, usize)> = pairs.iter().filter_map(|p| p.0.zip(p.1)).collect();
        assert_eq!(both, [(0, 0), (1, 1), (3, 2), (4, 3), (5, 4)]);
        assert!(pairs.contains(&(Some(2), None)) && pairs.contains(&(None, Some(5))));
    }

    #[test]
    fn names_and_the_hand_go_first() {
        let name = |f: f64, n: &'static str| Paired { frequency_hz: f, level_db: 0.0, name: Some(n) };
        let a = [name(80.0, "bending 3"), name(100.0, "twist 3"), name(140.0, "bending 4")];
        let b = [name(150.0, "twist 3"), name(160.0, "bending 3"), name(300.0, "bending 4")];
        let pairs = pair_modes(&a, &b, &[]).pairs;
        assert_eq!(pairs, [(Some(0), Some(1)), (Some(1), Some(0)), (Some(2), Some(2))]);
        // Names on one side only are of no use.
        let pairs = pair_modes(&a, &modes(&[81.0, 99.0, 141.0]), &[]).pairs;
        assert_eq!(pairs, [0, 1, 2].map(|n| (Some(n), Some(n))));
        let pairs = pair_modes(&modes(&[100.0, 200.0]), &modes(&[100.0, 200.0]), &[(1, 2)]).pairs;
        assert!(pairs.contains(&(Some(0), Some(1))));
    }

    /// Bending modes 6 to 10 of a bar, and modes 5 to 9 of one that is 1.44 times as stiff: slipped by one they fit about as
    /// well, with less of a factor.
    #[test]
    fn a_pairing_that_may_have_slipped_is_told() {
        let bar = |n: i32, factor: f64| factor * 3.0 * f64::from(2 * n + 1).powi(2);
        let a = modes(&[6, 7, 8, 9, 10].map(|n| bar(n, 1.0)));
        let b = modes(&[5, 6, 7, 8, 9].map(|n| bar(n, 1.2)));
        let pairing = pair_modes(&a, &b, &[]);
        assert!(pairing.rival.is_some(), "{pairing:?}");
        // A pair set by hand takes the others along: first with second, so fourth with fifth.
        let set = |pair| pair_modes(&a, &b, &[pair]).pairs;
        assert!(set((1, 2)).contains(&(Some(3), Some(4))), "{:?}", set((1, 2)));
        assert!(set((1, 1)).contains(&(Some(4), Some(4))), "{:?}", set((1, 1)));
        // Set by hand it is decided; and a plain series has no rival.
        assert!(pair_modes(&a, &b, &[(1, 2)]).rival.is_none());
        // So it is where close modes, of which one stage has one more, could slip beside the pair that is set.
        let close = |n: i32| modes(&(0..n).map(|k| 100.0 * 1.05f64.powi(k)).collect::<Vec<_>>());
        assert!(pair_modes(&close(7), &close(8), &[]).rival.is_some());
        assert!(pair_modes(&close(7), &close(8), &[(1, 1)]).rival.is_none());
        assert!(
            pair_modes(&modes(&[60.0, 118.0, 191.0, 280.0]), &modes(&[61.0, 119.0, 190.0, 284.0]), &[]).rival.is_none()
        );
    }
}
