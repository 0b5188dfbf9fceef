//! Drive-point mobility at a station, and the power that a vibrating edge would put into it.

use std::f64::consts::TAU;

use realfft::num_complex::Complex64;

use crate::uncertainty::Figure;

/// A mode as a station feels it.
#[derive(Debug, Clone, PartialEq)]
pub struct StationMode {
    /// Undamped natural frequency (Hz), damping ratio, modal mass referred to the station (kg).
    pub frequency: Figure,
    pub damping_ratio: Figure,
    pub modal_mass: Figure,
}

impl StationMode {
    /// The largest real part of the mobility that this mode alone makes, 1/(2 zeta w M) (m/(N s)).
    pub fn peak(&self) -> Figure {
        Figure::combine(&[&self.damping_ratio, &self.frequency, &self.modal_mass], |x| {
            1.0 / (2.0 * x[0] * TAU * x[1] * x[2])
        })
    }

    /// Mean over a band (Hz) of what this mode alone adds to the real part (m/(N s)).
    pub fn mean_real(&self, band_hz: (f64, f64)) -> f64 {
        mean_of_one(self.frequency.value, self.damping_ratio.value, self.modal_mass.value, band_hz)
    }
}

/// Mobility at a station, built from the modes that were measured there.
#[derive(Debug, Clone, PartialEq)]
pub struct Mobility {
    pub modes: Vec<StationMode>,
    /// The band that the modes cover (Hz): from a quarter octave below the lowest to as much above the highest.
    pub band_hz: (f64, f64),
    /// Mass of the whole part (kg), where it was weighed, and whether it may turn as a rigid body under a push at the spot.
    pub part_kg: Option<f64>,
    pub turns: bool,
}

impl Mobility {
    /// `None` without a mode.
    pub fn new(modes: Vec<StationMode>) -> Option<Self> {
        let frequencies = modes.iter().map(|m| m.frequency.value);
        let (low, high) = frequencies.fold((f64::INFINITY, 0.0f64), |(l, h), f| (l.min(f), h.max(f)));
        // A quarter octave to either side: beyond it other modes rule.
        let reach = 2f64.powf(0.25);
        (!modes.is_empty()).then_some(Self { modes, band_hz: (low / reach, high * reach), part_kg: None, turns: true })
    }

    /// The same for a part of some mass (kg), which turns under a push there or does not.
    pub fn of_part(self, part_kg: Option<f64>, turns: bool) -> Self {
        Self { part_kg, turns, ..self }
    }

    /// The same where its power is asked for over another band (Hz).
    pub fn in_band(self, band_hz: (f64, f64)) -> Self {
        Self { band_hz, ..self }
    }

    /// Velocity per force (m/(N s)) at a frequency (Hz): sum of j w/(M (w_n^2 - w^2 + 2 j zeta w_n w)).
    ///
    /// Modal superposition for viscous damping, ISO 7626-1:2011.
    pub fn at(&self, frequency_hz: f64) -> Complex64 {
        self.modes
            .iter()
            .map(|m| term(m.frequency.value, m.damping_ratio.value, m.modal_mass.value, frequency_hz))
            .sum()
    }

    /// Mean of Re Y over a band (m/(N s)), equal weight to equal steps in Hz, with its uncertainty.
    ///
    /// Exact for each mode: the real part's integral over w is an arctangent.
    pub fn mean_real(&self, band_hz: (f64, f64)) -> Figure {
        let mut inputs: Vec<&Figure> = Vec::new();
        for mode in &self.modes {
            inputs.extend([&mode.frequency, &mode.damping_ratio, &mode.modal_mass]);
        }
        Figure::combine(&inputs, |x| x.chunks_exact(3).map(|m| mean_of_one(m[0], m[1], m[2], band_hz)).sum())
    }

    /// Mean of Re Y over frequencies (Hz) with their shares.
    pub(super) fn soft_mean_real(&self, steps: &[(f64, f64)]) -> Figure {
        let parts = self.modes.iter().map(|m| {
            Figure::combine(&[&m.frequency, &m.damping_ratio, &m.modal_mass], |x| {
                steps.iter().map(|(hz, share)| share * term(x[0], x[1], x[2], *hz).re).sum()
            })
        });
        let parts: Vec<Figure> = parts.collect();
        Figure::combine(&parts.iter().collect::<Vec<_>>(), |x| x.iter().sum())
    }
}

fn term(frequency_hz: f64, damping: f64, mass: f64, at_hz: f64) -> Complex64 {
    let (natural, omega) = (TAU * frequency_hz, TAU * at_hz);
    Complex64::new(0.0, omega)
        / (mass * Complex64::new(natural * natural - omega * omega, 2.0 * damping * natural * omega))
}

/// Mean over w1..w2 of Re Y of one mode: [atan((w^2 - wd^2 ...))] written with the two poles of the response.
fn mean_of_one(frequency_hz: f64, damping: f64, mass: f64, band_hz: (f64, f64)) -> f64 {
    // Y(w) = (1/M) s/((s - p)(s - p*)), s = j w, p = wn(-zeta + j sqrt(1 - zeta^2)): partial fractions r/(s - p) + r*/(s - p*).
    let natural = TAU * frequency_hz;
    let pole = Complex64::new(-damping, (1.0 - damping * damping).max(0.0).sqrt()) * natural;
    let residue = pole / (pole - pole.conj()) / mass;
    let integral = |w: f64| {
        let s = Complex64::new(0.0, w);
        // Integral of r/(jw - p) dw = -j r ln(jw - p); w > 0 and Re p < 0 keep the logarithm off its cut.
        let part = |r: Complex64, p: Complex64| Complex64::new(0.0, -1.0) * r * (s - p).ln();
        (part(residue, pole) + part(residue.conj(), pole.conj())).re
    };
    let (low, high) = (TAU * band_hz.0, TAU * band_hz.1);
    (integral(high) - integral(low)) / (high - low)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(f: f64, zeta: f64, mass: f64) -> StationMode {
        StationMode {
            frequency: Figure::exact(f),
            damping_ratio: Figure::new(zeta, 0.01 * zeta, "damping"),
            modal_mass: Figure::exact(mass),
        }
    }

    /// ISO 7626-1:2011 (read in a transcription): m 2 kg, k 8000 N/m, c 5 N s/m give 1/c = 0.2 m/(N s) at 10.0658 Hz.
    #[test]
    fn one_mode_at_resonance_is_the_damper_alone() {
        let natural = (8000.0f64 / 2.0).sqrt();
        let mobility = Mobility::new(vec![mode(natural / TAU, 5.0 / (2.0 * natural * 2.0), 2.0)]).expect("a mode");
        let y = mobility.at(10.0658);
        assert!((y.re - 0.2).abs() < 1e-6 && y.im.abs() < 1e-4, "{y}");
        assert!((mobility.modes[0].peak().value - 0.2).abs() < 1e-9);
        assert!((mobility.modes[0].peak().relative_u() - 0.01).abs() < 1e-6);
    }

    /// The mean in closed form against the sum over ten thousand frequencies.
    #[test]
    fn mean_agrees_with_a_sum() {
        let mobility = Mobility::new(vec![mode(180.0, 0.01, 0.05), mode(260.0, 0.02, 0.04), mode(300.0, 0.008, 0.09)])
            .expect("modes");
        let band = (150.0, 330.0);
        let n = 20_000;
        let step = (band.1 - band.0) / f64::from(n);
        let sum: f64 = (0..n).map(|i| mobility.at(band.0 + (f64::from(i) + 0.5) * step).re).sum::<f64>() / f64::from(n);
        let mean = mobility.mean_real(band).value;
        assert!((mean / sum - 1.0).abs() < 1e-6, "{mean} {sum}");
        let one_by_one: f64 = mobility.modes.iter().map(|m| m.mean_real(band)).sum();
        assert!((one_by_one / mean - 1.0).abs() < 1e-12, "{one_by_one} {mean}");
    }
}
