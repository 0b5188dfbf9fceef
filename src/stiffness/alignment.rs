//! Measured frequencies set against a plate's: which is which, with some missing and some extra.

/// A measured frequency against its expected one, both in the order of frequency.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Alignment {
    /// For each measured frequency the place of the expected one, if any.
    pub matches: Vec<Option<usize>>,
    /// Logarithm of the likelihood.
    pub score: f64,
}

/// How likely a mode of the part is heard; how many heard tones belong to something else, per mode of the part.
const HEARD: f64 = 0.6;
const EXTRA: f64 = 0.05;

/// Costs that hold for a whole alignment: a mode that is not heard, a tone that is not the part's (logarithms of likelihoods).
fn costs(measured: &[f64], expected: &[f64]) -> (f64, f64) {
    let range = measured[measured.len() - 1] - measured[0] + 0.1;
    ((1.0 - HEARD).ln(), (EXTRA * expected.len() as f64 / range).ln())
}

/// Pairs farther apart than so many deviations are none.
const REACH: f64 = 5.0;

/// The score of [`align`] alone, several times as fast: a scan asks for it a hundred thousand times.
pub(super) fn align_score(measured: &[f64], deviation: &[f64], expected: &[f64]) -> f64 {
    let m = expected.len();
    let (missing, extra) = costs(measured, expected);
    // Best scores up to each place, less what is missing and what is extra: then a mode or a tone without its like costs nothing more,
    // and the row never falls.
    let mut row = vec![0.0f64; m + 1];
    let (mut first, mut after) = (0, 0);
    for (&tone, &deviation) in measured.iter().zip(deviation) {
        let reach = REACH * deviation;
        while after < m && expected[after] < tone + reach {
            after += 1;
        }
        while first > 0 && expected[first - 1] > tone - reach {
            first -= 1;
        }
        while first < after && expected[first] <= tone - reach {
            first += 1;
        }
        let likely = HEARD.ln() - (deviation * std::f64::consts::TAU.sqrt()).ln() - missing - extra;
        // From above, so that no pair builds upon another of the same tone.
        for k in (first..after).rev() {
            let off = tone - expected[k];
            if off.abs() >= reach {
                continue;
            }
            let score = row[k] + likely - 0.5 * (off / deviation).powi(2);
            row[k + 1..].iter_mut().take_while(|r| **r < score).for_each(|r| *r = score);
        }
    }
    row[m] + m as f64 * missing + measured.len() as f64 * extra
}

/// The most likely order-preserving alignment of two ascending lists.
///
/// Frequencies are natural logarithms, deviations their standard deviations. `expected` must cover the measured range. A tone
/// that is not the part's may lie anywhere in the range; an expected mode that is not heard costs little.
pub(super) fn align(measured: &[f64], deviation: &[f64], expected: &[f64]) -> Alignment {
    let (n, m) = (measured.len(), expected.len());
    let (missing, extra) = costs(measured, expected);
    let matched = |i: usize, k: usize| {
        let z = (measured[i] - expected[k]) / deviation[i];
        HEARD.ln() - 0.5 * z * z - (deviation[i] * std::f64::consts::TAU.sqrt()).ln()
    };
    // best[i][k]: best score with the first i measured and k expected ones dealt with.
    let width = m + 1;
    let mut best = vec![f64::NEG_INFINITY; (n + 1) * width];
    best[0] = 0.0;
    for i in 0..=n {
        for k in 0..=m {
            let here = best[i * width + k];
            if here == f64::NEG_INFINITY {
                continue;
            }
            let mut step = |at: usize, score: f64| best[at] = best[at].max(score);
            if k < m {
                step(i * width + k + 1, here + missing);
            }
            if i < n {
                step((i + 1) * width + k, here + extra);
            }
            if i < n && k < m && (measured[i] - expected[k]).abs() < REACH * deviation[i] {
                step((i + 1) * width + k + 1, here + matched(i, k));
            }
        }
    }
    let mut matches = vec![None; n];
    let (mut i, mut k) = (n, m);
    while i > 0 || k > 0 {
        let here = best[i * width + k];
        let close = |score: f64| (score - here).abs() < 1e-9 * (1.0 + here.abs());
        if i > 0 && k > 0 && close(best[(i - 1) * width + k - 1] + matched(i - 1, k - 1)) {
            (i, k) = (i - 1, k - 1);
            matches[i] = Some(k);
        } else if k > 0 && close(best[i * width + k - 1] + missing) {
            k -= 1;
        } else if i > 0 {
            i -= 1;
        } else {
            k -= 1;
        }
    }
    Alignment { matches, score: best[n * width + m] }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn skips_what_is_missing_and_what_is_extra() {
        let expected = [100.0, 150.0, 230.0, 310.0, 420.0].map(f64::ln);
        let measured = [100.1, 190.0, 229.8, 420.3].map(f64::ln);
        let alignment = align(&measured, &[0.005; 4], &expected);
        assert_eq!(alignment.matches, [Some(0), None, Some(2), Some(4)]);
    }

    /// Lists that agree more or less, of several lengths.
    #[test]
    fn the_score_alone_is_the_same() {
        for case in 0..200u32 {
            let turn = |n: u32, by: f64| f64::from(n) + by * f64::from((case * 37 + n * 101) % 17) / 17.0;
            let measured: Vec<f64> = (0..3 + case % 9).map(|n| 5.0 + 0.2 * turn(n, 0.9)).collect();
            let expected: Vec<f64> = (0..2 + case % 13).map(|n| 4.9 + 0.19 * turn(n, 0.8)).collect();
            let deviation: Vec<f64> =
                (0..measured.len()).map(|n| 0.005 + 0.02 * ((n as u32 + case) % 5) as f64).collect();
            let whole = align(&measured, &deviation, &expected).score;
            let score = align_score(&measured, &deviation, &expected);
            assert!((score - whole).abs() < 1e-9 * (1.0 + whole.abs()), "{case}: {score} {whole}");
        }
    }

    /// A tone and a mode close by: the probability to be heard and the normal density of their distance. Far apart: a mode that
    /// is not heard, and a tone that may lie anywhere in the range.
    #[test]
    fn scores_are_logarithms_of_likelihoods() {
        let density = 0.6 * (-0.125f64).exp() / (0.01 * std::f64::consts::TAU.sqrt());
        let near = align(&[5.0], &[0.01], &[5.005]);
        assert!((near.score - density.ln()).abs() < 1e-12, "{}", near.score);
        let far = align(&[5.0], &[0.01], &[6.0]);
        assert!((far.score - (0.4 * 0.05 / 0.1f64).ln()).abs() < 1e-12, "{}", far.score);
        let two = align(&[5.0, 5.4], &[0.01; 2], &[5.005, 6.0]);
        assert!((two.score - (density * 0.4 * 0.05 * 2.0 / 0.5).ln()).abs() < 1e-12, "{}", two.score);
    }
}
