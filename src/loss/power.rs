//! The power that goes into a part where a top's edge pushes it, one stage against another, for three kinds of edge.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
use realfft::num_complex::Complex64;

use super::compliance::compliance_above;
use super::mobility::Mobility;
use super::soft_band::soft_steps;
use crate::uncertainty::{COVERAGE_95, Cause, Contribution, Draws, Figure};

/// How readily the edge of a top gives.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum TopEdge {
    /// Not known: from 0.3 to 3 times the plain side's mean mobility, evenly in the logarithm.
    #[default]
    Unknown,
    /// Its mobility (m/(N s)), real, as a wide plate's edge has it.
    Given(Figure),
}

/// Where a top's edge lies beside the plain side, if nobody measured it: between these times its mean mobility (judgement).
pub const TOP_EDGE_RANGE: (f64, f64) = (0.3, 3.0);

/// The power that goes into one part, times that into another: in the mean over a band with faded ends.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerRatios {
    /// From a top whose edge gives so readily: Re Y/|Y + Y_top|^2.
    pub matched_top: Figure,
    /// From an edge that pushes with a given force, however the part gives: Re Y.
    pub given_force: Figure,
    /// From an edge that moves with a given speed, however the part resists: Re Y/|Y|^2.
    pub given_speed: Figure,
    /// `None`: at all frequencies alike.
    pub band_hz: Option<(f64, f64)>,
}

impl PowerRatios {
    /// Of a part against itself.
    pub fn same() -> Self {
        let one = || Figure::exact(1.0);
        Self { matched_top: one(), given_force: one(), given_speed: one(), band_hz: None }
    }
}

const DRAWS: usize = 300;
const SEED: u64 = 0x7269_6d73;
/// 1/m of the rigid motion: a blank that is tapped off its middle turns too, by up to seven times as much at its corner.
const TURNS: (f64, f64) = (1.0, 7.0);
/// A part that was not weighed: so many times the middle modal mass (bars 2 to 4, rings nearly 2).
const UNWEIGHED: (f64, f64) = (1.5, 5.0);
/// What lies above the band adds to the compliance, give or take this factor.
const ABOVE: (f64, f64) = (0.3, 2.0);

/// Ratios of the power that goes into `other` and `baseline`, over the band that both cover. `None` if they share none.
///
/// A source that moves with v0 alone and has the mobility Y_top puts |v0|^2 Re Y/|Y + Y_top|^2/2 into a part of mobility Y (Cremer and
/// Heckl, Structure-borne sound, on the coupling of source and receiver; from memory); a given force is the limit of a source far more
/// mobile than the part, a given speed that of one far less mobile. Everything that is uncertain is drawn 300 times: the modes, the
/// rigid motion and the modes above, how the top's edge gives.
pub fn power_ratios(baseline: &Mobility, other: &Mobility, top: &TopEdge) -> Option<PowerRatios> {
    let band = (baseline.band_hz.0.max(other.band_hz.0), baseline.band_hz.1.min(other.band_hz.1));
    if band.1 <= band.0 * 1.02 {
        return None;
    }
    let modes = || baseline.modes.iter().chain(&other.modes);
    let width = modes().map(|m| 2.0 * m.damping_ratio.value).fold(0.05, f64::min);
    let steps = soft_steps(band, width);
    let mut inputs: Vec<&Figure> = modes().flat_map(|m| [&m.frequency, &m.damping_ratio, &m.modal_mass]).collect();
    if let TopEdge::Given(edge) = top {
        inputs.push(edge);
    }
    let split = 3 * baseline.modes.len();
    let plain = Drawn::nominal(baseline).mean_real(&steps);
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    let mut draws = Draws::new(&inputs, SEED);
    let mut draw = || {
        let x = draws.next_draw();
        let edge = match top {
            TopEdge::Unknown => plain * between(&mut chance, TOP_EDGE_RANGE),
            TopEdge::Given(_) => x[x.len() - 1],
        };
        // What is not known of the rigid motion and of the modes above is much the same in both stages.
        let (turns, above) = (between(&mut chance, TURNS), between(&mut chance, ABOVE));
        let unweighed = between(&mut chance, UNWEIGHED);
        let drawn = |of: &Mobility, x: &[f64]| Drawn::new(of, x, (turns, above, unweighed));
        (drawn(baseline, &x[..split]), drawn(other, &x[split..split + 3 * other.modes.len()]), edge)
    };
    let all: Vec<(Drawn, Drawn, f64)> = (0..DRAWS).map(|_| draw()).collect();
    let logs_of = |(before, after, edge): &(Drawn, Drawn, f64)| -> [f64; 3] {
        let (before, after) = (before.powers(&steps, *edge), after.powers(&steps, *edge));
        std::array::from_fn(|which| (after[which] / before[which]).ln())
    };
    let logs: Vec<[f64; 3]> = all.par_iter().map(logs_of).collect();
    // By first order, to know what moves it and what both stages share; as wide as the draws are.
    let force = Figure::combine(&[&baseline.soft_mean_real(&steps), &other.soft_mean_real(&steps)], |x| x[1] / x[0]);
    let [matched, given, speed] = [0, 1, 2].map(|which| spread(logs.iter().map(|l| l[which]).collect()));
    Some(PowerRatios {
        matched_top: widened(&force, matched, Cause::TopEdge),
        given_force: widened(&force, given, Cause::ModesOutsideBand),
        given_speed: widened(&force.map(|x| 1.0 / x), speed, Cause::ModesOutsideBand),
        band_hz: Some(band),
    })
}

/// The same of an endless strip, whose mobility over the plain one's is `ratio` at every frequency: Y goes with (1 - j).
///
/// `top`: the edge's mobility (real) over the absolute value of the plain strip's, if it is known.
pub fn strip_power_ratios(ratio: &Figure, top: Option<&Figure>) -> PowerRatios {
    let matched = |ratio: f64, top: f64| {
        let edge = top * 2f64.sqrt();
        let at = |y: f64| y / ((y + edge).powi(2) + y * y);
        at(ratio) / at(1.0)
    };
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    let inputs: Vec<&Figure> = [ratio].into_iter().chain(top).collect();
    let mut draws = Draws::new(&inputs, SEED);
    let mut draw = || {
        let x = draws.next_draw();
        let edge = x.get(1).copied().unwrap_or_else(|| between(&mut chance, TOP_EDGE_RANGE));
        matched(x[0], edge).ln()
    };
    let logs = (0..DRAWS).map(|_| draw()).collect();
    PowerRatios {
        matched_top: widened(ratio, spread(logs), Cause::TopEdge),
        given_force: ratio.clone(),
        given_speed: ratio.to_power(-1.0, 1.0),
        band_hz: None,
    }
}

/// Evenly in the logarithm between two numbers.
fn between(chance: &mut ChaCha8Rng, (low, high): (f64, f64)) -> f64 {
    let uniform = ((chance.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
    low * (high / low).powf(uniform)
}

/// Where the middle 95 % of draws lie: their middle, and half of their width.
fn spread(mut draws: Vec<f64>) -> (f64, f64) {
    draws.sort_by(f64::total_cmp);
    let at = |share: f64| draws[((share * draws.len() as f64) as usize).min(draws.len() - 1)];
    let (low, high) = (at(0.025), at(0.975));
    (0.5 * (low + high), 0.5 * (high - low))
}

/// A figure of this logarithm and half-width of it: the first-order one's parts, made to fit, and what is missing from one cause.
fn widened(first_order: &Figure, (log, half): (f64, f64), missing: Cause) -> Figure {
    let value = log.exp();
    let own = first_order.times(value / first_order.value);
    let wanted = half / COVERAGE_95;
    let has = own.relative_u_95();
    if has > wanted {
        // Straight lines overstate it: all parts shrink alike.
        let parts = own.contributions().map(|(source, part)| {
            let size = part.size * wanted / has;
            (source.clone(), Contribution { size, ..part })
        });
        return Figure::with_contributions(value, parts);
    }
    let lacking = (wanted * wanted - has * has).max(0.0).sqrt();
    own.plus_uncertainty(lacking * value, missing)
}

/// One draw of a part's mobility.
struct Drawn {
    /// Angular frequency (rad/s), twice the damping ratio, 1/M (1/kg) of each mode.
    modes: Vec<(f64, f64, f64)>,
    /// 1/kg of the rigid motion, m/N of the modes above.
    rigid: f64,
    above: f64,
}

impl Drawn {
    fn nominal(of: &Mobility) -> Self {
        let x: Vec<f64> =
            of.modes.iter().flat_map(|m| [m.frequency.value, m.damping_ratio.value, m.modal_mass.value]).collect();
        Self::new(of, &x, (1.0, 1.0, 2.0))
    }

    fn new(of: &Mobility, x: &[f64], (turns, above, unweighed): (f64, f64, f64)) -> Self {
        let modes: Vec<(f64, f64, f64)> = x.chunks_exact(3).map(|m| (TAU * m[0], 2.0 * m[1], 1.0 / m[2])).collect();
        let mut masses: Vec<f64> = of.modes.iter().map(|m| m.modal_mass.value).collect();
        masses.sort_by(f64::total_cmp);
        let weighed = of.part_kg.unwrap_or(unweighed * masses[masses.len() / 2]);
        Self { modes, rigid: if of.turns { turns } else { 1.0 } / weighed, above: above * compliance_above(of) }
    }

    fn at(&self, frequency_hz: f64) -> Complex64 {
        let omega = TAU * frequency_hz;
        let mut sum = Complex64::new(0.0, omega * self.above - self.rigid / omega);
        for (natural, twice, inverse) in &self.modes {
            let below = Complex64::new(natural * natural - omega * omega, twice * natural * omega);
            sum += Complex64::new(0.0, omega * inverse) / below;
        }
        sum
    }

    fn mean_real(&self, steps: &[(f64, f64)]) -> f64 {
        steps.iter().map(|(hz, share)| share * self.at(*hz).re).sum()
    }

    /// Means of Re Y/|Y + Y_top|^2, Re Y and Re Y/|Y|^2.
    fn powers(&self, steps: &[(f64, f64)], top: f64) -> [f64; 3] {
        let mut sums = [0.0; 3];
        for (hz, share) in steps {
            let y = self.at(*hz);
            let of = [y.re / (y + top).norm_sqr(), y.re, y.re / y.norm_sqr()];
            sums.iter_mut().zip(of).for_each(|(sum, of)| *sum += share * of);
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::super::mobility::StationMode;
    use super::*;

    fn station(modes: &[(f64, f64, f64)]) -> Mobility {
        let mode = |(hz, damping, kg): &(f64, f64, f64)| StationMode {
            frequency: Figure::exact(*hz),
            damping_ratio: Figure::new(*damping, 0.01 * damping, format!("damping {hz} {kg}")),
            modal_mass: Figure::exact(*kg),
        };
        Mobility::new(modes.iter().map(mode).collect()).expect("modes").of_part(Some(0.3), false)
    }

    const PLAIN: [(f64, f64, f64); 4] =
        [(90.0, 0.008, 0.1), (180.0, 0.01, 0.1), (310.0, 0.01, 0.1), (480.0, 0.012, 0.1)];

    /// Twice the mass everywhere: half the mobility, so half the power of a given force and twice that of a given speed.
    #[test]
    fn force_and_speed_go_opposite_ways() {
        let heavy = PLAIN.map(|(hz, damping, kg)| (hz, damping, 2.0 * kg));
        let heavy = station(&heavy).of_part(Some(0.6), false);
        let got = power_ratios(&station(&PLAIN), &heavy, &TopEdge::Unknown).expect("a band");
        assert!((got.given_force.value - 0.5).abs() < 0.01, "{:?}", got.given_force);
        assert!((got.given_speed.value - 2.0).abs() < 0.04, "{:?}", got.given_speed);
        assert!((0.5..2.0).contains(&got.matched_top.value), "{:?}", got.matched_top);
        let [low, high] = got.matched_top.interval_95_of_ratio();
        assert!(low > 0.4 && high > got.matched_top.value && high < 2.5, "{low} {high}");
    }

    /// A very mobile top pushes with a given force, a very stiff one moves at a given speed.
    #[test]
    fn a_given_top_leads_from_one_limit_to_the_other() {
        let other = PLAIN.map(|(hz, damping, kg)| (1.3 * hz, 1.2 * damping, 1.5 * kg));
        let (plain, other) = (station(&PLAIN), station(&other));
        let of = |edge: f64| power_ratios(&plain, &other, &TopEdge::Given(Figure::exact(edge))).expect("a band");
        let (soft, stiff) = (of(1e4), of(1e-7));
        assert!((soft.matched_top.value / soft.given_force.value - 1.0).abs() < 1e-3, "{soft:?}");
        assert!((stiff.matched_top.value / stiff.given_speed.value - 1.0).abs() < 1e-3, "{stiff:?}");
    }

    /// A tone that wanders over the sharp end of a band would make half of the mean come and go.
    #[test]
    fn no_band_ends_at_a_tone() {
        let moved = |by: f64| {
            let mut modes = PLAIN;
            modes[3].0 *= by;
            let other = station(&modes);
            power_ratios(&station(&PLAIN), &other, &TopEdge::Unknown).expect("a band").given_force.value
        };
        let (a, b) = (moved(1.0), moved(1.01));
        assert!((a / b - 1.0).abs() < 0.05, "{a} {b}");
    }

    /// By hand: r 0.34, edge as mobile as the plain strip (a 1): at(y) = y/((y + sqrt 2)^2 + y^2), at(0.34)/at(1) = 0.7321.
    #[test]
    fn a_strips_three_readings() {
        let strip = strip_power_ratios(&Figure::exact(0.34), None);
        assert!((strip.given_speed.value - 2.941).abs() < 1e-3);
        let at = |y: f64| y / ((y + std::f64::consts::SQRT_2).powi(2) + y * y);
        assert!((at(0.34) / at(1.0) - 0.729).abs() < 0.005, "{}", at(0.34) / at(1.0));
        let [low, high] = strip.matched_top.interval_95_of_ratio();
        assert!(low < 0.729 && high > 0.729 && low > 0.34 && high < 2.941, "{low} {high}");
    }
}
