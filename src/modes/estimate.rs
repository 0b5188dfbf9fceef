//! The whole way from a recording with its taps to modes.

use realfft::RealFftPlanner;
use rustfft::FftPlanner;

use super::bend::{Bend, bend};
use super::clusters::refine;
use super::component::Component;
use super::density::NoiseDensity;
use super::envelope::{EnvelopeInput, extract, filter_width_hz};
use super::estimate_note::EstimateNote;
use super::evidence;
use super::group::Group;
use super::left_out::LeftOutReason;
use super::mode::{Mode, ModeReason};
use super::odd_tap::odd_taps;
use super::rings::{CONTACT_S, LONG_CONTACT_S, Stretch, TRUSTED_DB, read_rings, trusted_s};
use super::room_noise::{Room, RoomNoise, read_room, room_noise};
use super::search::Search;
use super::spectra::transform;
use super::spectrum::Spectrum;
use crate::sound::{NoiseSource, Recording, SoundError, Tap, TapReason, TapSearch};

/// Which frequencies to search, and what is wanted besides the modes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimateOptions {
    /// Lowest and highest frequency (Hz); the highest is further limited to 0.45 of the sample rate.
    pub range_hz: (f64, f64),
    /// Whether the mean spectrum is wanted, for a picture; without it [`Estimate::spectrum`] stays empty.
    pub with_spectrum: bool,
}

impl Default for EstimateOptions {
    fn default() -> Self {
        Self { range_hz: (30.0, 16_000.0), with_spectrum: true }
    }
}

/// What a take says.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// By frequency.
    pub modes: Vec<Mode>,
    /// All taps, with the reasons that turned up only here.
    pub taps: Vec<Tap>,
    pub noise_source: NoiseSource,
    /// Steady lines heard before the taps and left out (Hz).
    pub steady_lines_hz: Vec<f64>,
    /// Peaks that were looked at and are not listed as modes: frequency (Hz, ascending) and why.
    pub left_out: Vec<(f64, LeftOutReason)>,
    /// The picture of the spectrum: mean over the taps used.
    pub spectrum: Spectrum,
    pub notes: Vec<EstimateNote>,
}

impl Estimate {
    /// Whether there was no peak to look at.
    fn saw_nothing(&self) -> bool {
        self.modes.is_empty() && self.left_out.is_empty()
    }
}

/// So often at most a take is begun again without what did not belong.
const MOST_ATTEMPTS: usize = 8;
/// With so many modes in a take there are weaker ones unseen among them.
const CROWDED: usize = 12;
/// Peaks of several groups of taps closer than this (relative) are one.
const SAME_PEAK: f64 = 1e-3;
/// Taps are analysed together up to so many samples; more of them are split into groups and the groups' results joined.
const MOST_SAMPLES_TOGETHER: usize = 2_000_000;

/// Working storage that several takes can share: plans of transforms.
pub struct Estimator {
    real: RealFftPlanner<f32>,
    complex: FftPlanner<f64>,
}

impl Default for Estimator {
    fn default() -> Self {
        Self { real: RealFftPlanner::new(), complex: FftPlanner::new() }
    }
}

impl Estimator {
    /// Estimates the modes of a take from its accepted taps.
    ///
    /// # Errors
    /// `Read` if a long file changed since it was scanned.
    pub fn estimate(
        &mut self,
        recording: &mut Recording,
        found: &TapSearch,
        options: &EstimateOptions,
    ) -> Result<Estimate, SoundError> {
        let room = read_room(recording, found, &mut self.real)?;
        let mut taps = found.taps.clone();
        let mut used = Stretch { contact_s: CONTACT_S, limit_s: f64::INFINITY };
        let mut notes = Vec::new();
        if found.noise_source != NoiseSource::BeforeTaps
            && let Some(seconds) = trusted_s(recording, &taps)
        {
            notes.push(EstimateNote::NoQuietBefore { trusted_db: TRUSTED_DB, seconds });
            used.limit_s = seconds;
        }
        // A tap unlike the others, or a fade, is found only by the fit: leave it out and begin again.
        for _ in 0..MOST_ATTEMPTS {
            // A lone tap has no second one to confirm what shows only behind a long contact.
            let several = taps.iter().filter(|t| t.accepted()).count() > 1;
            let outcome = self.attempt(recording, &taps, found.noise_source, &room, used, options)?;
            match outcome {
                Attempt::Done(estimate) if estimate.saw_nothing() && several && used.contact_s < LONG_CONTACT_S => {
                    used.contact_s = LONG_CONTACT_S;
                }
                Attempt::Done(mut estimate) => {
                    estimate.taps = taps;
                    if used.contact_s == LONG_CONTACT_S && !estimate.modes.is_empty() {
                        notes.push(EstimateNote::LongContact { seconds: LONG_CONTACT_S });
                    }
                    estimate.notes.splice(0..0, notes);
                    return Ok(*estimate);
                }
                Attempt::LeaveOut(which) => which.into_iter().for_each(|(tap, reason)| taps[tap].reasons.push(reason)),
                Attempt::Limit(seconds) => {
                    notes.push(EstimateNote::BendsDownAfter { seconds });
                    used.limit_s = seconds;
                }
            }
        }
        notes.push(EstimateNote::NoAgreement);
        Ok(Estimate {
            modes: Vec::new(),
            taps,
            noise_source: found.noise_source,
            steady_lines_hz: Vec::new(),
            left_out: Vec::new(),
            spectrum: Spectrum::default(),
            notes,
        })
    }

    /// The noise of a room from a recording in which nothing was tapped.
    ///
    /// # Errors
    /// `Read` if a long file changed since it was scanned.
    pub fn room_noise(&mut self, recording: &mut Recording) -> Result<RoomNoise, SoundError> {
        room_noise(recording, &mut self.real)
    }

    fn attempt(
        &mut self,
        recording: &mut Recording,
        taps: &[Tap],
        noise_source: NoiseSource,
        room: &Room,
        used: Stretch,
        options: &EstimateOptions,
    ) -> Result<Attempt, SoundError> {
        let rate_hz = recording.sample_rate_hz();
        let accepted: Vec<usize> = (0..taps.len()).filter(|i| taps[*i].accepted()).collect();
        let mut estimate = Estimate {
            modes: Vec::new(),
            taps: Vec::new(),
            noise_source,
            steady_lines_hz: room.lines.iter().map(|l| l.frequency_hz).collect(),
            left_out: Vec::new(),
            spectrum: Spectrum::default(),
            notes: Vec::new(),
        };
        estimate.steady_lines_hz.sort_by(f64::total_cmp);
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let mut filled = 0;
        for &index in &accepted {
            let samples = taps[index].end - taps[index].onset;
            if groups.is_empty() || filled + samples > MOST_SAMPLES_TOGETHER {
                groups.push(Vec::new());
                filled = 0;
            }
            filled += samples;
            if let Some(group) = groups.last_mut() {
                group.push(index);
            }
        }
        let mut results = Vec::new();
        for group in groups {
            let (rings, mut before) = read_rings(recording, taps, &group, room, used)?;
            let mut scales = transform(&rings, &mut self.real);
            let scales_density;
            let density = match &room.density {
                Some(density) => density,
                None => {
                    let whole = &scales[0];
                    scales_density = NoiseDensity::of_spectra(&whole.spectra, &whole.lengths, whole.transform, rate_hz);
                    &scales_density
                }
            };
            scales.iter_mut().for_each(|scale| scale.set_noise(density, rate_hz));
            let range_hz = (options.range_hz.0, options.range_hz.1.min(0.45 * rate_hz));
            if options.with_spectrum && results.is_empty() {
                let whole = &scales[0];
                estimate.spectrum = Spectrum::of(&whole.spectra, &whole.lengths, whole.transform, rate_hz, room);
            }
            let mut search = Search::new(scales, &rings, density, rate_hz, range_hz, room.density.is_some());
            search.remove_lines(&room.lines);
            search.run();
            search.crowded = search.components.len() >= CROWDED;
            let odd = odd_taps(&search, &room.lines);
            if !odd.is_empty() {
                return Ok(Attempt::LeaveOut(odd.into_iter().map(|(place, reason)| (group[place], reason)).collect()));
            }
            let clusters = refine(&search);
            let origin_s = used.contact_s + room.whitening.memory() as f64 / rate_hz;
            let group_data = Group { search, clusters, whitening: &room.whitening, origin_s };
            let steady = || group_data.clusters.iter().flat_map(|c| &c.from_origin).filter(|c| c.steady);
            for (tap, before) in before.iter_mut().enumerate() {
                steady().for_each(|line| before.take_out(line, tap));
            }
            let envelopes = self.envelopes(&group_data);
            if noise_source == NoiseSource::BeforeTaps && used.limit_s.is_infinite() {
                match bend(&group_data, &envelopes) {
                    Some(Bend::After(seconds)) => return Ok(Attempt::Limit(seconds)),
                    Some(Bend::Throughout) => {
                        let reason = TapReason::GainSuspected;
                        return Ok(Attempt::LeaveOut(group.into_iter().map(|tap| (tap, reason)).collect()));
                    }
                    None => {}
                }
            }
            let (modes, left_out) = evidence::judge(&group_data, envelopes, &before);
            estimate.left_out.extend(left_out);
            results.push((modes, group.len()));
        }
        let groups = results.len();
        estimate.modes = super::merge::merge(results);
        estimate.left_out.sort_by(|a, b| a.0.total_cmp(&b.0));
        if groups > 1 {
            // What one group of taps could not tell, another may have; and each names the same peak.
            let same = |a: f64, b: f64| (a / b - 1.0).abs() < SAME_PEAK;
            estimate.left_out.dedup_by(|a, b| same(a.0, b.0));
            estimate.left_out.retain(|(f, _)| !estimate.modes.iter().any(|m| same(m.frequency.value, *f)));
        }
        if noise_source != NoiseSource::BeforeTaps {
            for mode in &mut estimate.modes {
                mode.reasons.push(ModeReason::NoiseUnknown);
            }
        }
        Ok(Attempt::Done(Box::new(estimate)))
    }

    /// The decay envelope of each component of each cluster.
    fn envelopes(&mut self, group: &Group<'_>) -> Vec<Vec<super::envelope::Envelope>> {
        let search = &group.search;
        let rate_hz = search.rate_hz;
        group
            .clusters
            .iter()
            .map(|cluster| {
                cluster
                    .fit
                    .components
                    .iter()
                    .enumerate()
                    .map(|(own, component)| {
                        if component.steady {
                            return super::envelope::Envelope::default();
                        }
                        let scale = &search.scales[cluster.scale];
                        let half_width = component.half_width_hz(rate_hz);
                        let reach = 3.5 * filter_width_hz(half_width, scale.bin_hz(rate_hz));
                        let bins = scale.bins_around(component.frequency_hz(rate_hz), reach, rate_hz);
                        let others: Vec<&Component> = group
                            .clusters
                            .iter()
                            .flat_map(|c| c.from_origin.iter())
                            .filter(|c| !std::ptr::eq(*c, &cluster.from_origin[own]))
                            .collect();
                        let taps = super::band::cut(scale, &bins, &others);
                        extract(
                            &EnvelopeInput {
                                bins: &taps,
                                first_bin: bins.start,
                                transform: scale.transform,
                                lengths: &scale.lengths,
                                turn: component.turn,
                                decay: component.decay,
                                density: search.density.at(component.frequency_hz(rate_hz)),
                                rate_hz,
                                origin_s: group.origin_s,
                                start: cluster.start as f64,
                            },
                            &mut self.complex,
                        )
                    })
                    .collect()
            })
            .collect()
    }
}

enum Attempt {
    Done(Box<Estimate>),
    LeaveOut(Vec<(usize, TapReason)>),
    Limit(f64),
}
