//! The search for modes: strongest peak first, fitted, taken away, and so on until only noise is left.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::band::Band;
use super::component::Component;
use super::density::NoiseDensity;
use super::rings::Ring;
use super::spectra::{FIRST_BIN, LENGTHS, Scale};
use super::steady_line::SteadyLine;

/// The chance that noise alone passes as a peak anywhere in a take.
const FALSE_ALARM: f64 = 1e-8;
/// A peak stands so many times over the median of its neighbourhood as well.
const OVER_NEIGHBOURS: f32 = 6.0;
const NEIGHBOURHOOD: usize = 24;
/// Bins on each side of a mode that carry its information: ten half-widths, or five bins.
const REACH_HALF_WIDTHS: f64 = 10.0;
const REACH_BINS: f64 = 5.0;
/// ... but no more than so many: only thuds are wider, in a transform that suits them.
const MOST_BINS: f64 = 120.0;
/// A component is taken away from the searched spectra up to so many half-widths, or bins, on each side.
const AWAY_HALF_WIDTHS: f64 = 40.0;
const AWAY_BINS: f64 = 50.0;
/// A decay is over for the transform after so many time constants.
const TIME_CONSTANTS: f64 = 4.5;
/// Bins that are passed over together where none is high enough.
const CHUNK: usize = 64;
const MOST_COMPONENTS: usize = 60;
const MOST_ROUNDS: usize = 400;
/// Smooth terms in each tap and band of a crowded take: they stand for the skirts of modes that are not seen.
const SMOOTH_TERMS: usize = 2;
/// Each sweep of fits over all components makes a mode's part in another's error some ten times smaller.
const SWEEPS: usize = 2;
/// Most components fitted together.
pub(super) const MOST_TOGETHER: usize = 9;

/// The state of the search.
pub(super) struct Search<'a> {
    pub scales: Vec<Scale>,
    pub rings: &'a [Ring],
    pub density: &'a NoiseDensity,
    pub rate_hz: f64,
    /// Whether `density` is the room's, read in the quiet before the taps, or a guess from the taps themselves.
    pub noise_known: bool,
    /// Whether so many modes were found that weaker ones hide between them.
    pub crowded: bool,
    pub components: Vec<Component>,
    /// How many components were known when each was last fitted.
    known_at: Vec<usize>,
    /// Searched frequencies (Hz).
    pub range_hz: (f64, f64),
}

impl<'a> Search<'a> {
    pub(super) fn new(
        scales: Vec<Scale>,
        rings: &'a [Ring],
        density: &'a NoiseDensity,
        rate_hz: f64,
        range_hz: (f64, f64),
        noise_known: bool,
    ) -> Self {
        Self {
            scales,
            rings,
            density,
            rate_hz,
            noise_known,
            crowded: false,
            components: Vec::new(),
            known_at: Vec::new(),
            range_hz,
        }
    }

    /// Takes the steady lines of the room away first. Their frequencies are known from the quiet; here only their
    /// amplitudes are read, and a mode at the same frequency will stand out of what is left.
    pub(super) fn remove_lines(&mut self, lines: &[SteadyLine]) {
        for line in lines {
            let turn = line.frequency_hz * std::f64::consts::TAU / self.rate_hz;
            let start = Component { decay: 0.0, turn, steady: true, home: turn, amplitudes: Vec::new() };
            let band = self.band(&[&start], 0, 0, &self.all());
            if let Some(component) = band.fit(&[start], 0).and_then(|f| f.components.into_iter().next()) {
                self.add(component);
            }
        }
    }

    fn all(&self) -> Vec<&Component> {
        self.components.iter().collect()
    }

    /// The transform that suits some components together.
    pub(super) fn scale_of(&self, components: &[Component]) -> usize {
        if components.iter().any(|c| c.steady) {
            return 0;
        }
        self.scale_for(components.iter().map(|c| c.decay).fold(f64::INFINITY, f64::min))
    }

    /// The shortest transform in which a decay is complete.
    fn scale_for(&self, slowest_decay: f64) -> usize {
        self.scale_lasting(slowest_decay, TIME_CONSTANTS)
    }

    /// The shortest transform that lasts so many time constants of a decay.
    pub(super) fn scale_lasting(&self, decay: f64, constants: f64) -> usize {
        (0..LENGTHS).rev().find(|i| self.scales[*i].transform as f64 * decay >= constants).unwrap_or(0)
    }

    /// The bins that carry the information on some components.
    pub(super) fn bins(&self, components: &[&Component], scale: usize) -> Vec<usize> {
        let scale = &self.scales[scale];
        let bin_hz = scale.bin_hz(self.rate_hz);
        let mut bins: Vec<usize> = components
            .iter()
            .flat_map(|c| {
                let reach =
                    (REACH_HALF_WIDTHS * c.half_width_hz(self.rate_hz)).clamp(REACH_BINS * bin_hz, MOST_BINS * bin_hz);
                scale.bins_around(c.frequency_hz(self.rate_hz), reach, self.rate_hz)
            })
            .collect();
        bins.sort_unstable();
        bins.dedup();
        bins
    }

    /// The data for fitting some components, others taken away.
    pub(super) fn band(&self, components: &[&Component], scale: usize, start: isize, fixed: &[&Component]) -> Band {
        self.band_of(self.bins(components, scale), scale, start, fixed)
    }

    /// The same on given bins.
    pub(super) fn band_of(&self, bins: Vec<usize>, scale: usize, start: isize, fixed: &[&Component]) -> Band {
        Band::new(&self.scales[scale], self.rings, bins, fixed, start, self.density, self.rate_hz)
            .with_smooth_terms(if self.crowded { SMOOTH_TERMS } else { 0 })
    }

    fn apply(&mut self, component: &Component, sign: f64) {
        let reaches: Vec<f64> = self.scales.iter().map(|scale| self.reach_away_hz(component, scale)).collect();
        for (scale, reach) in self.scales.iter_mut().zip(reaches) {
            scale.apply(component, sign, reach, self.rate_hz);
        }
    }

    /// How far (Hz) on each side a component is taken away.
    pub(super) fn reach_away_hz(&self, component: &Component, scale: &Scale) -> f64 {
        (AWAY_HALF_WIDTHS * component.half_width_hz(self.rate_hz)).max(AWAY_BINS * scale.bin_hz(self.rate_hz))
    }

    fn add(&mut self, component: Component) {
        self.apply(&component, -1.0);
        self.components.push(component);
        self.known_at.push(self.components.len());
    }

    fn replace(&mut self, index: usize, component: Component) {
        self.known_at[index] = self.components.len();
        let old = std::mem::replace(&mut self.components[index], component.clone());
        self.apply(&old, 1.0);
        self.apply(&component, -1.0);
    }

    /// Searches until no peak stands out any more.
    pub(super) fn run(&mut self) {
        let threshold = self.threshold();
        for _ in 0..MOST_ROUNDS {
            if self.components.len() >= MOST_COMPONENTS {
                break;
            }
            let Some((scale, bin)) = self.highest(threshold) else { break };
            // A peak beside a component that was fitted before its neighbours were known may be that fit's error only.
            if self.refresh_near(scale, bin) {
                continue;
            }
            if !self.stands_out(scale, bin, threshold) || !self.try_peak(scale, bin) {
                // Not to be looked at again in this transform.
                let power = &mut self.scales[scale].power;
                let end = (bin + 3).min(power.len());
                power[bin.saturating_sub(2)..end].fill(0.0);
            }
        }
    }

    /// Fits again the components around a peak that have not seen the latest finds; true if there were any.
    fn refresh_near(&mut self, scale: usize, bin: usize) -> bool {
        let bin_hz = self.scales[scale].bin_hz(self.rate_hz);
        let frequency = bin as f64 * bin_hz;
        let stale = (0..self.components.len()).find(|i| {
            let component = &self.components[*i];
            let reach = 8.0 * component.half_width_hz(self.rate_hz) + 6.0 * bin_hz;
            self.known_at[*i] < self.components.len()
                && (component.frequency_hz(self.rate_hz) - frequency).abs() < reach
        });
        let Some(index) = stale else { return false };
        self.refresh(index);
        true
    }

    /// Fits a component again, its neighbours with it.
    fn refresh(&mut self, index: usize) {
        let mut members = self.neighbours(&self.components[index], index);
        members.truncate(MOST_TOGETHER - 1);
        members.push(index);
        let own: Vec<Component> = members.iter().map(|i| self.components[*i].clone()).collect();
        let others: Vec<&Component> =
            (0..self.components.len()).filter(|i| !members.contains(i)).map(|i| &self.components[i]).collect();
        let scale = self.scale_of(&own);
        let fit = self.band(&own.iter().collect::<Vec<_>>(), scale, 0, &others).fit(&own, 6);
        self.known_at[index] = self.components.len();
        if let Some(fit) = fit {
            for (place, index) in members.iter().enumerate() {
                self.replace(*index, fit.components[place].clone());
            }
        }
    }

    /// Fits all components again, so often that what the first fits of strong modes got wrong in each other, since their
    /// skirts reach far, is gone.
    pub(super) fn settle(&mut self) {
        for _ in 0..SWEEPS {
            (0..self.components.len()).for_each(|index| self.refresh(index));
        }
    }

    /// Gain in chi-squared that noise alone does not reach.
    pub(super) fn chance(&self) -> f64 {
        let parameters = 2.0 + 2.0 * self.rings.len() as f64;
        ChiSquared::new(parameters).map_or(80.0, |c| c.inverse_cdf(1.0 - FALSE_ALARM))
    }

    /// Power over the noise that noise alone does not reach.
    pub(super) fn threshold(&self) -> f32 {
        let freedom = 2.0 * self.rings.len() as f64;
        let quantile = ChiSquared::new(freedom).map_or(40.0, |c| c.inverse_cdf(1.0 - FALSE_ALARM)) / freedom;
        let doubt = if self.density.freedom > 0.0 { 1.0 + 3.0 * (2.0 / self.density.freedom).sqrt() } else { 3.0 };
        (quantile * doubt) as f32
    }

    fn highest(&self, threshold: f32) -> Option<(usize, usize)> {
        let mut best = None;
        let mut best_power = threshold;
        for (i, scale) in self.scales.iter().enumerate() {
            let bin_hz = scale.bin_hz(self.rate_hz);
            let first = ((self.range_hz.0 / bin_hz) as usize).max(FIRST_BIN);
            let last = ((self.range_hz.1 / bin_hz) as usize).min(scale.power.len() - 2);
            for (n, chunk) in scale.power[first.min(last)..last].chunks(CHUNK).enumerate() {
                if chunk.iter().fold(0.0f32, |most, p| if *p > most { *p } else { most }) <= best_power {
                    continue;
                }
                for (k, power) in chunk.iter().enumerate() {
                    if *power > best_power {
                        best_power = *power;
                        best = Some((i, first + n * CHUNK + k));
                    }
                }
            }
        }
        best
    }

    /// Whether a peak stands over its own neighbourhood, not only over the room's noise.
    fn stands_out(&self, scale: usize, bin: usize, threshold: f32) -> bool {
        let power = &self.scales[scale].power;
        let from = bin.saturating_sub(NEIGHBOURHOOD).max(1);
        let to = (bin + NEIGHBOURHOOD + 1).min(power.len());
        let mut near: Vec<f32> =
            (from..to).filter(|k| k.abs_diff(bin) > 2).map(|k| power[k]).filter(|p| *p > 0.0).collect();
        if near.len() < 6 {
            return true;
        }
        let middle = near.len() / 2;
        let median = *near.select_nth_unstable_by(middle, f32::total_cmp).1;
        power[bin] > OVER_NEIGHBOURS.min(threshold) * median
    }

    /// Fits the peak; true if it was taken in as a component.
    fn try_peak(&mut self, scale: usize, bin: usize) -> bool {
        let Some(candidate) = self.first_fit(scale, bin) else { return false };
        let mut near = self.neighbours(&candidate, usize::MAX);
        near.truncate(MOST_TOGETHER - 1);
        let mut together: Vec<Component> = near.iter().map(|i| self.components[*i].clone()).collect();
        together.push(candidate);
        let others: Vec<&Component> =
            (0..self.components.len()).filter(|i| !near.contains(i)).map(|i| &self.components[i]).collect();
        let scale = self.scale_of(&together);
        let band = self.band(&together.iter().collect::<Vec<_>>(), scale, 0, &others);
        let without = if near.is_empty() {
            None
        } else {
            match band.fit(&together[..near.len()], 8) {
                Some(fit) => Some(fit),
                None => return false,
            }
        };
        let Some(with) = band.fit(&together, 10) else { return false };
        let gain = match &without {
            Some(without) => without.chi2 - with.chi2,
            None => with.components.last().map_or(0.0, |c| band.gain(c)),
        };
        if !self.is_real(&with, with.components.len() - 1, gain) {
            return false;
        }
        // A newcomer may take over an old one's part and leave it a single tap's oddity.
        let noise = (with.chi2 / with.freedom.max(1.0)).max(1.0);
        if !with.components.iter().all(|c| c.steady || self.comes_back(c, noise)) {
            return false;
        }
        for (place, index) in near.iter().enumerate() {
            self.replace(*index, with.components[place].clone());
        }
        if let Some(new) = with.components.last() {
            self.add(new.clone());
        }
        true
    }

    /// A first pole for a peak: frequency by interpolation, decay by trial, then a short fit.
    fn first_fit(&self, scale_index: usize, bin: usize) -> Option<Component> {
        let scale = &self.scales[scale_index];
        let at = |k: usize| f64::from(scale.power[k].max(1e-12)).ln();
        let (a, b, c) = (at(bin - 1), at(bin), at(bin + 1));
        let curve = a - 2.0 * b + c;
        let shift = if curve < 0.0 { (0.5 * (a - c) / curve).clamp(-0.5, 0.5) } else { 0.0 };
        let turn = (bin as f64 + shift) * std::f64::consts::TAU / scale.transform as f64;
        let longest = scale.lengths.iter().copied().max().unwrap_or(1) as f64;
        let seed = |constants: f64| Component {
            decay: constants / longest,
            turn,
            steady: false,
            home: 0.0,
            amplitudes: Vec::new(),
        };
        let band = self.band(&[&seed(3.0)], scale_index, 0, &self.all());
        let best = [0.4, 1.5, 5.0, 15.0]
            .map(|constants| (band.gain(&seed(constants)), constants))
            .into_iter()
            .max_by(|x, y| x.0.total_cmp(&y.0))?;
        // A fit seldom doubles the gain of the best guess: what is hopeless is left at that.
        if 2.0 * best.0 < self.chance() {
            return None;
        }
        let mut component = seed(best.1);
        for _ in 0..2 {
            let scale = self.scale_for(component.decay);
            let band = self.band(&[&component], scale, 0, &self.all());
            component = band.fit(std::slice::from_ref(&component), 4)?.components.pop()?;
        }
        Some(component)
    }

    /// Components whose bands touch a component's, nearest first.
    pub(super) fn neighbours(&self, of: &Component, except: usize) -> Vec<usize> {
        let frequency = of.frequency_hz(self.rate_hz);
        let mut near: Vec<(f64, usize)> = self
            .components
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != except)
            .map(|(i, c)| ((c.frequency_hz(self.rate_hz) - frequency).abs(), i, c))
            .filter(|(distance, _, c)| *distance < self.touching_hz(of, c))
            .map(|(distance, i, _)| (distance, i))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.into_iter().map(|(_, i)| i).collect()
    }

    /// Whether two components are to be fitted together.
    pub(super) fn touch(&self, a: &Component, b: &Component) -> bool {
        (a.frequency_hz(self.rate_hz) - b.frequency_hz(self.rate_hz)).abs() < self.touching_hz(a, b)
    }

    /// Distance (Hz) below which two components are fitted together.
    fn touching_hz(&self, a: &Component, b: &Component) -> f64 {
        3.0 * (a.half_width_hz(self.rate_hz) + b.half_width_hz(self.rate_hz))
            + 2.0 * self.scales[0].bin_hz(self.rate_hz)
    }
}
