//! A tone of a part, as the inversion takes it in.

/// A numbering is believed with so many tones that fit, so many of them bending along.
pub(super) const LEAST_NAMED: usize = 6;
pub(super) const LEAST_BENDING: usize = 2;

/// A measured mode: undamped frequency and its standard uncertainty (Hz).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    pub frequency_hz: f64,
    pub frequency_hz_u: f64,
}

impl Tone {
    pub(super) fn relative_u(&self) -> f64 {
        self.frequency_hz_u / self.frequency_hz
    }
}
