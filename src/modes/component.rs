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

    /// The pole to the power of `samples`.
    pub(super) fn growth(&self, samples: f64) -> Complex64 {
        Complex64::from_polar((-self.decay * samples).exp(), self.turn * samples)
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
    /// Of a component's own pole.
    pub(super) fn new(component: &Component, length: usize) -> Self {
        Self { pole: component.pole(), pole_to_length: component.growth(length as f64), length: length as f64 }
    }

    /// Of the conjugate pole, which makes a real sound of it.
    pub(super) fn mirror(self) -> Self {
        Self { pole: self.pole.conj(), pole_to_length: self.pole_to_length.conj(), ..self }
    }

    /// `back` is exp(-i omega) and `back_to_length` its power L.
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

/// The transform of a real decay Re(c z^n) over n = 0..length, at many frequencies and for many taps: what it shares among
/// the taps is computed once.
///
/// The two poles z and z* together: ((a - b w) - w^L (a' - b' w)) / ((1 - z w)(1 - z* w)), w = exp(-i omega), a = Re c,
/// b = Re(c z*), and the same with c z^L for the end.
#[derive(Debug)]
pub(super) struct RealDecay {
    /// Decay and turn per sample.
    rates: Complex64,
    pole: Complex64,
    /// 1 / ((1 - z w)(1 - z* w)) at each frequency.
    inverse: Vec<Complex64>,
}

/// Beyond this an end is nothing to the sound's beginning, in double precision.
const ENDED: f64 = 1e-15;
/// A steady line is taken to decay so much per sample, so that its own frequency is no special case; in a million samples it
/// loses a ten-thousandth.
const NEARLY_STEADY: f64 = 1e-10;

impl RealDecay {
    /// `backs` are exp(-i omega) of the frequencies.
    pub(super) fn new(component: &Component, backs: &[Complex64]) -> Self {
        let rates = Complex64::new(-component.decay.max(NEARLY_STEADY), component.turn);
        let pole = rates.exp();
        let one = Complex64::new(1.0, 0.0);
        let inverse = backs
            .iter()
            .map(|back| {
                let both = (one - pole * back) * (one - pole.conj() * back);
                both.conj() / both.norm_sqr()
            })
            .collect();
        Self { rates, pole, inverse }
    }

    /// Calls `put` with the value at each frequency: `amplitude` is c, `length` L, `backs_to_length` are w^L.
    #[inline]
    pub(super) fn values(
        &self,
        amplitude: Complex64,
        length: usize,
        backs: &[Complex64],
        backs_to_length: &[Complex64],
        mut put: impl FnMut(usize, Complex64),
    ) {
        let sides = |c: Complex64| (c.re, (c * self.pole.conj()).re);
        let to_length = (self.rates * length as f64).exp();
        let (a, b) = sides(amplitude);
        if to_length.norm_sqr() < ENDED * ENDED {
            for (k, (inverse, back)) in self.inverse.iter().zip(backs).enumerate() {
                put(k, Complex64::new(a - b * back.re, -b * back.im) * inverse);
            }
            return;
        }
        let (end_a, end_b) = sides(amplitude * to_length);
        for (k, ((inverse, back), far)) in self.inverse.iter().zip(backs).zip(backs_to_length).enumerate() {
            let begin = Complex64::new(a - b * back.re, -b * back.im);
            let end = Complex64::new(end_a - end_b * back.re, -end_b * back.im);
            put(k, (begin - far * end) * inverse);
        }
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
            let component = Component { decay, turn, steady: false, home: 0.0, amplitudes: Vec::new() };
            let kernel = Kernel::new(&component, length);
            let got = kernel.value_and_slope(back, back.powi(length as i32));
            assert!((got.0 - value).norm() < 1e-9 * value.norm().max(1.0));
            assert!((got.1 - slope).norm() < 1e-8 * slope.norm().max(1.0));
            let amplitude = Complex64::new(0.6, -1.1);
            let real: Complex64 = (0..length).map(|n| (amplitude * pole.powi(n as i32)).re * back.powi(n as i32)).sum();
            let far = Complex64::from_polar(1.0, -omega * length as f64);
            let decay = RealDecay::new(&component, &[back]);
            let mut all = Vec::new();
            decay.values(amplitude, length, &[back], &[far], |_, got| all.push(got));
            let [got] = all[..] else { panic!("one bin: {all:?}") };
            assert!((got - real).norm() < 1e-7 * real.norm().max(1.0), "{got} {real}");
        }
    }
}
