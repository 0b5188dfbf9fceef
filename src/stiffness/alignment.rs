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

/// The most likely order-preserving alignment of two ascending lists.
///
/// Frequencies are natural logarithms, deviations their standard deviations. `expected` must cover the measured range. A tone
/// that is not the part's may lie anywhere in the range; an expected mode that is not heard costs little.
pub(super) fn align(measured: &[f64], deviation: &[f64], expected: &[f64]) -> Alignment {
    let (n, m) = (measured.len(), expected.len());
    let missing = (1.0 - HEARD).ln();
    let range = measured[n - 1] - measured[0] + 0.1;
    let extra = (EXTRA * m as f64 / range).ln();
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
            if i < n && k < m && (measured[i] - expected[k]).abs() < 5.0 * deviation[i] {
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
}
