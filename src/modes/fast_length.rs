//! Lengths at which a fast Fourier transform is fast.

/// The smallest even number with no prime factor above 5 that is not below `least`.
pub(super) fn fast_length(least: usize) -> usize {
    let mut best = least.next_power_of_two().max(2);
    let mut five = 1;
    while five < best {
        let mut three = five;
        while three < best {
            let mut two = three * 2;
            while two < least {
                two *= 2;
            }
            best = best.min(two);
            three *= 3;
        }
        five *= 5;
    }
    best
}
