//! What a take says of the part: the recording's own figures, and what holding the part anew would change.

use crate::modes::Mode;
use crate::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_DOF, HUNG_AGAIN_FREQUENCY};
use crate::uncertainty::{Cause, Figure};

/// A mode's frequency (Hz) as the part's own: `Mode::frequency` is that of the part as it was held for one recording.
pub fn frequency_of_part(mode: &Mode) -> Figure {
    let held = HUNG_AGAIN_FREQUENCY * mode.frequency.value;
    mode.frequency.clone().plus_uncertainty_with_dof(held, Cause::HeldAnewFrequency, HUNG_AGAIN_DOF)
}

/// A mode's damping ratio (no unit) as the part's own.
pub fn damping_ratio_of_part(mode: &Mode) -> Figure {
    let held = HUNG_AGAIN_DAMPING * mode.damping_ratio.value;
    mode.damping_ratio.clone().plus_uncertainty_with_dof(held, Cause::HeldAnewDamping, HUNG_AGAIN_DOF)
}

/// Ring time (s) as the part's own.
pub fn ring_time_of_part(mode: &Mode) -> Figure {
    Mode { damping_ratio: damping_ratio_of_part(mode), ..mode.clone() }.ring_time_s()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::modes::Envelope;

    fn mode(frequency_u_hz: f64) -> Mode {
        Mode {
            frequency: Figure::new(200.0, frequency_u_hz, Cause::Noise),
            damping_ratio: Figure::new(0.01, 0.0004, Cause::Noise),
            level_db: 0.0,
            level_full_scale_db: -20.0,
            taps_used: 5,
            decay_seen_db: 40.0,
            reasons: vec![],
            envelope: Envelope::default(),
            per_tap: vec![],
        }
    }

    /// 3 % of damping beside 4 % is 5 %, and so it is of the ring time; a recording that reads a frequency to a millionth still leaves
    /// what holding anew changes.
    #[test]
    fn holding_anew_adds_to_what_the_recording_leaves_open() {
        let clear = mode(2e-4);
        assert!((frequency_of_part(&clear).relative_u() / HUNG_AGAIN_FREQUENCY - 1.0).abs() < 1e-4);
        let unsure = mode(200.0 * HUNG_AGAIN_FREQUENCY);
        assert!((frequency_of_part(&unsure).relative_u() / HUNG_AGAIN_FREQUENCY - 2f64.sqrt()).abs() < 1e-9);
        let expected = 0.04f64.hypot(HUNG_AGAIN_DAMPING);
        assert!((damping_ratio_of_part(&clear).relative_u() - expected).abs() < 1e-12);
        assert!((ring_time_of_part(&clear).relative_u() - expected).abs() < 1e-9);
    }
}
