//! The mobility of a station from what the stuck-on masses told of its modes.

use super::mobility::{Mobility, StationMode};
use crate::part::{HUNG_AGAIN_DAMPING, HUNG_AGAIN_DOF};
use crate::stiffness::StationResult;
use crate::uncertainty::{Cause, Contribution, Figure, Scope, Source};

/// The mobility at a station named `at`, its modes in the order of `results`. A mode whose modal mass is not told takes the
/// median of the others', give or take all of it, so that what may be missing is in the uncertainty. `None` if no modal mass
/// is told.
///
/// The masses that were stuck on are taken to be the same pieces at every station; all else is read anew at each, and a take
/// holds all modes of its station anew together.
pub fn station_mobility(results: &[StationResult], at: &str) -> Option<Mobility> {
    let mut masses: Vec<f64> =
        results.iter().filter_map(|r| r.effective.as_ref().ok()).map(|e| e.modal_mass.value).collect();
    masses.sort_by(f64::total_cmp);
    let median = *masses.get(masses.len() / 2)?;
    let modes = results
        .iter()
        .enumerate()
        .map(|(index, result)| {
            let (spot, mode) = (Scope::Spot(at.into()), Scope::Mode(index));
            let own = |s: &Source| match s.cause {
                Cause::AddedMass(_) => s.clone(),
                Cause::HeldAnewFrequency | Cause::HeldAnewDamping => s.within(spot.clone()),
                _ => s.within(mode.clone()).within(spot.clone()),
            };
            let tone = &result.tone;
            let (frequency, modal_mass) = match &result.effective {
                Ok(effective) => (effective.frequency.renamed(own), effective.modal_mass.renamed(own)),
                Err(_) => {
                    (result.frequency().renamed(own), Figure::new(median, median, own(&Cause::ModalMassUnknown.into())))
                }
            };
            let read = Contribution { size: tone.damping_ratio_u, dof: f64::INFINITY };
            let held = Contribution { size: HUNG_AGAIN_DAMPING * tone.damping_ratio, dof: HUNG_AGAIN_DOF };
            let damping_parts = [(own(&Cause::Damping.into()), read), (own(&Cause::HeldAnewDamping.into()), held)];
            let damping_ratio = Figure::with_contributions(tone.damping_ratio, damping_parts);
            StationMode { frequency, damping_ratio, modal_mass }
        })
        .collect();
    Mobility::new(modes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::loss::{TopEdge, power_ratios};
    use crate::stiffness::{EffectiveMass, NoModalMass, StationTone};

    fn result(hz: f64, kg: Option<f64>) -> StationResult {
        let tone = StationTone {
            frequency_hz: hz,
            frequency_hz_u: 1e-3,
            damping_ratio: 0.01,
            damping_ratio_u: 1e-4,
            level_db: 0.0,
        };
        let effective = kg.ok_or(NoModalMass::Lost).map(|kg| EffectiveMass {
            frequency: Figure::new(hz, 1e-3, Cause::Frequency),
            modal_mass: Figure::new(kg, 0.01 * kg, Cause::FrequencyShift),
            stiffness: Figure::exact(0.0),
            points: Vec::new(),
            notes: Vec::new(),
        });
        StationResult { tone, effective, at_least_kg: None }
    }

    /// What the pieces that were stuck on weigh falls out of the ratio of two stations; what was read at each does not.
    #[test]
    fn the_same_pieces_fall_out_of_a_ratio() {
        let station = |cause: &Cause, at: &str| {
            let mut one = result(200.0, Some(0.1));
            one.effective.as_mut().expect("a mass").modal_mass = Figure::new(0.1, 5e-3, cause.clone());
            station_mobility(&[one], at).expect("a mass")
        };
        let u = |cause: &Cause| {
            let ratios = power_ratios(&station(cause, "a"), &station(cause, "b"), &TopEdge::Unknown);
            ratios.expect("the same band").given_force.relative_u()
        };
        // Damping read to 1 % and held anew by 3 % moves a mode's mean by little: the faded ends cut off its skirts, which go with it.
        assert!(u(&Cause::AddedMass("5 g".into())) < 0.01, "{}", u(&Cause::AddedMass("5 g".into())));
        // A quantile of 300 draws is known to 7 %.
        assert!((u(&Cause::FrequencyShift) / 0.05 / 2f64.sqrt() - 1.0).abs() < 0.2, "{}", u(&Cause::FrequencyShift));
    }

    /// Three modes of 100 g: with the middle one's mass lost, the mean mobility's interval still holds that of all three.
    #[test]
    fn a_lost_mass_widens_the_mobility() {
        let whole = station_mobility(&[150.0, 250.0, 400.0].map(|f| result(f, Some(0.1))), "a").expect("masses");
        let lost = [result(150.0, Some(0.1)), result(250.0, None), result(400.0, Some(0.1))];
        let gap = station_mobility(&lost, "b").expect("masses");
        assert_eq!(gap.modes.len(), 3);
        let (truth, told) = (whole.mean_real(whole.band_hz), gap.mean_real(gap.band_hz));
        assert!((told.value - truth.value).abs() < told.u() && told.u() > 0.2 * told.value, "{told:?}");
        assert!(station_mobility(&[result(150.0, None)], "c").is_none());
    }
}
