//! The power that a planned rim takes at a place, times the plain one's: by its model's modes, what they do not know drawn.

use super::forecast::Forecast;
use super::rim_sections::RimWish;
use crate::loss::{Mobility, PowerRatios, StationMode, TopEdge, power_ratios};
use crate::rim::{Rim, RimMode};
use crate::uncertainty::{Cause, Contribution, Figure, Scope, Source};

/// Of what the model does not know of a tone, so much moves all tones of a stage together and so much each by itself (squares add to 1;
/// judgement).
const TOGETHER: f64 = 0.8;
const APART: f64 = 0.6;
/// A mode that moves a place less than this share of the one that moves it most (in squares) is left out.
const STILL: f64 = 1e-6;

/// A stage of the rim as its model has it.
pub(super) struct ModelStage<'a> {
    pub(super) name: &'static str,
    pub(super) rim: &'a Rim,
    pub(super) modes: &'a [RimMode],
    pub(super) loss: Figure,
}

impl ModelStage<'_> {
    /// The mobility across the side at a place (a share of the way around); `tones`: how well the model knows them (relative).
    fn mobility(&self, share: f64, tones: f64, band_hz: (f64, f64)) -> Option<Mobility> {
        let node = self.rim.node_at(share);
        let squares: Vec<f64> = self.modes.iter().map(|m| self.rim.outward_shape(m, node).powi(2)).collect();
        let most = squares.iter().copied().fold(0.0, f64::max);
        let own = |scope: Option<Scope>| {
            let stage = Source::from(Cause::RimModel).within(Scope::Stage(self.name.into()));
            scope.map_or(stage.clone(), |scope| stage.within(scope))
        };
        let mode = |(index, (mode, square)): (usize, (&RimMode, &f64))| {
            let part = |share: f64| Contribution { size: share * tones * mode.frequency_hz, dof: f64::INFINITY };
            let parts = [(own(None), part(TOGETHER)), (own(Some(Scope::Mode(index))), part(APART))];
            StationMode {
                frequency: Figure::with_contributions(mode.frequency_hz, parts),
                damping_ratio: self.loss.times(0.5),
                modal_mass: Figure::exact(1.0 / square),
            }
        };
        let moving = self.modes.iter().zip(&squares).enumerate().filter(|(_, (_, square))| **square > STILL * most);
        // On its middle line a rim does not turn under a push across.
        let turns = [0.0, 0.5, 1.0].iter().all(|middle| (share - middle).abs() > 1e-6);
        let mobility = Mobility::new(moving.map(mode).collect())?;
        Some(mobility.of_part(Some(self.rim.mass_kg()), turns).in_band(band_hz))
    }
}

/// At each station; `tones` and `power`: what the model leaves out (relative standard uncertainties), `worth`: what the plies do not know
/// enters as of an endless strip of them. A sentence names a station where nothing moves.
pub(super) fn rim_power(
    plain: &ModelStage<'_>,
    stage: &ModelStage<'_>,
    wish: &RimWish,
    (tones, power): (f64, f64),
    worth: &Forecast,
) -> Result<Vec<PowerRatios>, String> {
    let of = |(name, share): &(String, f64)| {
        let at = |stage: &ModelStage<'_>| stage.mobility(*share, tones, wish.band_hz);
        let (before, after) = at(plain).zip(at(stage)).ok_or_else(|| format!("the rim does not move at {name}"))?;
        let ratios = power_ratios(&before, &after, &TopEdge::Unknown)
            .ok_or_else(|| format!("{:.0} to {:.0} Hz is no band", wish.band_hz.0, wish.band_hz.1))?;
        let strip = &worth.power_ratio;
        let plied = |own: &Figure, sign: f64| {
            let parts = strip.contributions().map(|(source, part)| {
                (source.clone(), Contribution { size: sign * part.size / strip.value * own.value, ..part })
            });
            let own_parts = own.contributions().map(|(source, part)| (source.clone(), part));
            let all: Vec<(Source, Contribution)> = own_parts.chain(parts).collect();
            Figure::with_contributions(own.value, all).plus_uncertainty(power * own.value, Cause::RimModel)
        };
        Ok(PowerRatios {
            // Between the other two, so no more of the plies' doubt than in either.
            matched_top: plied(&ratios.matched_top, 1.0),
            given_force: plied(&ratios.given_force, 1.0),
            given_speed: plied(&ratios.given_speed, -1.0),
            band_hz: ratios.band_hz,
        })
    };
    wish.stations.iter().map(of).collect()
}
