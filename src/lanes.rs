//! Sums of products and extremes in several lanes at once, which the compiler turns into vector instructions: a plain sum may not be
//! reordered by it.

use std::iter::Sum;
use std::ops::{AddAssign, Mul};

/// Sum of products.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    in_lanes::<f64, 8>(a, b)
}

/// The same in single precision, for stretches of some thousand samples.
pub(crate) fn dot_single(a: &[f32], b: &[f32]) -> f32 {
    in_lanes::<f32, 16>(a, b)
}

/// The largest magnitude; 0 of nothing.
pub(crate) fn highest(samples: &[f32]) -> f32 {
    const LANES: usize = 8;
    let larger = |most: f32, s: f32| if s.abs() > most { s.abs() } else { most };
    let mut lanes = [0.0f32; LANES];
    let chunks = samples.chunks_exact(LANES);
    let rest = chunks.remainder().iter().fold(0.0, |most, s| larger(most, *s));
    for chunk in chunks {
        for (lane, s) in lanes.iter_mut().zip(chunk) {
            *lane = larger(*lane, *s);
        }
    }
    lanes.into_iter().fold(rest, larger)
}

/// The smallest step between neighbours that differ; infinity if none do.
pub(crate) fn least_step(samples: &[f32]) -> f32 {
    const LANES: usize = 8;
    let smaller = |least: f32, a: f32, b: f32| {
        let step = if a == b { f32::INFINITY } else { (a - b).abs() };
        if step < least { step } else { least }
    };
    let mut lanes = [f32::INFINITY; LANES];
    let later = samples.get(1..).unwrap_or_default();
    let (now, later) = (samples[..later.len()].chunks_exact(LANES), later.chunks_exact(LANES));
    let rest = now.remainder().iter().zip(later.remainder());
    let rest = rest.fold(f32::INFINITY, |least, (a, b)| smaller(least, *a, *b));
    for (now, later) in now.zip(later) {
        for ((lane, a), b) in lanes.iter_mut().zip(now).zip(later) {
            *lane = smaller(*lane, *a, *b);
        }
    }
    lanes.into_iter().fold(rest, f32::min)
}

#[inline]
fn in_lanes<T, const LANES: usize>(a: &[T], b: &[T]) -> T
where
    T: Copy + Default + AddAssign + Mul<Output = T> + Sum,
{
    let mut lanes = [T::default(); LANES];
    let (wide_a, wide_b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let mut rest: T = wide_a.remainder().iter().zip(wide_b.remainder()).map(|(x, y)| *x * *y).sum();
    for (x, y) in wide_a.zip(wide_b) {
        for ((lane, x), y) in lanes.iter_mut().zip(x).zip(y) {
            *lane += *x * *y;
        }
    }
    rest += lanes.into_iter().sum();
    rest
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_element_counts_once() {
        for length in [0usize, 1, 7, 8, 9, 16, 17, 100] {
            let a: Vec<f64> = (0..length).map(|n| n as f64).collect();
            let single: Vec<f32> = a.iter().map(|v| *v as f32).collect();
            let expected: f64 = a.iter().map(|v| v * v).sum();
            assert_eq!(super::dot(&a, &a), expected);
            assert_eq!(f64::from(super::dot_single(&single, &single)), expected);
        }
    }

    #[test]
    fn extremes_are_those_of_each_element() {
        let samples: Vec<f32> = (0..45).map(|n| ((n * n) as f32 * 0.37).sin()).collect();
        for length in [0, 1, 2, 8, 9, 17, 45] {
            let samples = &samples[..length];
            assert_eq!(super::highest(samples), samples.iter().fold(0.0, |most: f32, s| most.max(s.abs())));
            let least = samples.windows(2).map(|w| (w[0] - w[1]).abs()).fold(f32::INFINITY, f32::min);
            assert_eq!(super::least_step(samples), least);
        }
        assert_eq!(super::highest(&[f32::NAN, -0.5]), 0.5);
        assert_eq!(super::least_step(&[0.25, 0.25, 0.5, 0.5]), 0.25);
    }
}
