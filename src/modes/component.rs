//! One decaying (or steady) sinusoid and its discrete Fourier transform over a finite stretch.

use realfft::num_complex::Complex64;

/// A damped sinusoid c exp(s n), n counted in samples, s = -decay + i turn.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Component {
    /// Decay rate per sample (alpha / rate).
    pub decay: f64,
    /// Damped angular frequency per sample (rad).
    pub turn: f64,
    /// A steady line keeps decay 0: it was there before the tap.
    pub steady: bool,
    /// Where a steady line was heard in the quiet (rad per sample); it does not wander far from there.
    pub home: f64,
    /// Complex amplitude in each tap at the tap's origin.
    pub amplitudes: Vec<Complex64>,
}

impl Component {
    pub(super) fn pole(&self) -> Complex64 {
        Complex64::new(-self.decay, self.turn).exp()
    }

    pub(super) fn frequency_hz(&self, rate_hz: f64) -> f64 {
        self.turn * rate_hz / std::f64::consts::TAU
    }

    /// Half of the half-power bandwidth (Hz): alpha / 2 pi.
    pub(super) fn half_width_hz(&self, rate_hz: f64) -> f64 {
        self.decay * rate_hz / std::f64::consts::TAU
    }
}

/// The transform of z^n over n = 0..length at angular frequency `omega`, and its derivative by s = ln z.
///
/// Sum q^n = (1 - q^L)/(1 - q) and sum n q^n, with q = z exp(-i omega).
#[derive(Debug, Clone, Copy)]
pub(super) struct Kernel {
    pole: Complex64,
    pole_to_length: Complex64,
    length: f64,
}

impl Kernel {
    pub(super) fn new(pole: Complex64, length: usize) -> Self {
        let log = pole.ln();
        Self { pole, pole_to_length: (log * length as f64).exp(), length: length as f64 }
    }

    /// `back` is exp(-i omega) and `back_to_length` its power L.
    #[inline]
    pub(super) fn value(&self, back: Complex64, back_to_length: Complex64) -> Complex64 {
        let gap = Complex64::new(1.0, 0.0) - self.pole * back;
        let norm = gap.norm_sqr();
        if norm < 1e-24 {
            return Complex64::new(self.length, 0.0);
        }
        (Complex64::new(1.0, 0.0) - self.pole_to_length * back_to_length) * gap.conj() / norm
    }

    #[inline]
    pub(super) fn value_and_slope(&self, back: Complex64, back_to_length: Complex64) -> (Complex64, Complex64) {
        let q = self.pole * back;
        let gap = Complex64::new(1.0, 0.0) - q;
        let norm = gap.norm_sqr();
        if norm < 1e-24 {
            let l = self.length;
            return (Complex64::new(l, 0.0), Complex64::new(l * (l - 1.0) / 2.0, 0.0));
        }
        let inverse = gap.conj() / norm;
        let last = self.pole_to_length * back_to_length;
        let value = (Complex64::new(1.0, 0.0) - last) * inverse;
        (value, (q * value - last * self.length) * inverse)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_forms_equal_the_sums() {
        for (decay, turn, length, omega) in [(0.01, 0.3, 200, 0.31), (0.0, 1.0, 64, 1.0), (1e-4, 0.02, 1000, 0.05)] {
            let pole = Complex64::new(-decay, turn).exp();
            let back = Complex64::new(0.0, -omega).exp();
            let (mut value, mut slope) = (Complex64::new(0.0, 0.0), Complex64::new(0.0, 0.0));
            for n in 0..length {
                let term = (Complex64::new(-decay, turn - omega) * n as f64).exp();
                value += term;
                slope += term * n as f64;
            }
            let kernel = Kernel::new(pole, length);
            let got = kernel.value_and_slope(back, back.powi(length as i32));
            assert!((got.0 - value).norm() < 1e-9 * value.norm().max(1.0));
            assert!((got.1 - slope).norm() < 1e-8 * slope.norm().max(1.0));
            assert!((kernel.value(back, back.powi(length as i32)) - value).norm() < 1e-9 * value.norm().max(1.0));
        }
    }
}
