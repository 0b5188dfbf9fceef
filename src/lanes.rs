//! Sums of products in several lanes at once, which the compiler turns into vector instructions: a plain sum may not be
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
}
