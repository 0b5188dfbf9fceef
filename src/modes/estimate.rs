//! The whole way from a recording with its taps to modes.

use realfft::RealFftPlanner;
use rustfft::FftPlanner;

use super::bend::{Bend, bend};
use super::clusters::{Cluster, refine};
use super::component::Component;
use super::density::{NoiseDensity, SteadyLine, steady_lines};
use super::envelope::{EnvelopeInput, extract, filter_width_hz};
use super::evidence;
use super::mode::{Mode, ModeReason};
use super::odd_tap::odd_taps;
use super::search::Search;
use super::spectra::{Ring, Turn, transform};
use crate::sound::{BROAD_ORDER, NoiseSource, Recording, SoundError, Tap, TapReason, TapSearch, Whitening};

/// Which frequencies to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimateOptions {
    /// Lowest and highest frequency (Hz); the highest is further limited to 0.45 of the sample rate.
    pub range_hz: (f64, f64),
}

impl Default for EstimateOptions {
    fn default() -> Self {
        Self { range_hz: (30.0, 16_000.0) }
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
    /// Peaks that were looked at and are not modes: frequency (Hz) and why.
    pub left_out: Vec<(f64, &'static str)>,
    /// The picture of the spectrum: mean over the taps used.
    pub spectrum: Spectrum,
    pub notes: Vec<String>,
}

impl Estimate {
    /// Whether there was no peak to look at.
    fn saw_nothing(&self) -> bool {
        self.modes.is_empty() && self.left_out.is_empty()
    }
}

/// Mean spectrum of the ring-downs and the noise under it, for looking at.
#[derive(Debug, Clone, Default)]
pub struct Spectrum {
    /// Width of a bin (Hz); bin k is at k times this.
    pub bin_hz: f64,
    /// Power density of the taps (full scale squared per Hz), raised-cosine window.
    pub density: Vec<f32>,
    /// That of the room's noise; empty if not known.
    pub noise_density: Vec<f32>,
}

impl Spectrum {
    /// A density in decibels re full scale squared per hertz.
    pub fn db(density: f32) -> f32 {
        10.0 * density.max(1e-30).log10()
    }
}

/// From the picked onset to the origin of the transforms (s): the usual length of the contact; and a long one, for a soft
/// tapper whose push drowns all modes in the first milliseconds.
const CONTACT_S: f64 = 1.5e-3;
const LONG_CONTACT_S: f64 = 5e-3;
/// From the picked onset to the earliest start of a fit (s).
const EARLIEST_S: f64 = 0.0;
/// Noise that is read at most (s).
const MOST_NOISE_S: f64 = 3.0;
/// Sound before a strike that is compared with the sound after it (s).
const BEFORE_S: f64 = 0.06;
/// With so many modes in a take there are weaker ones unseen among them.
const CROWDED: usize = 12;
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

/// The room's noise as read from the quiet stretches.
pub(super) struct Room {
    pub whitening: Whitening,
    pub density: Option<NoiseDensity>,
    pub lines: Vec<SteadyLine>,
    offset: f32,
}

/// A group of taps analysed together.
pub(super) struct Group<'a> {
    pub search: Search<'a>,
    pub clusters: Vec<Cluster>,
    pub whitening: &'a Whitening,
    pub origin_s: f64,
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
        let room = self.read_room(recording, found)?;
        let mut taps = found.taps.clone();
        let mut used = Stretch { contact_s: CONTACT_S, limit_s: f64::INFINITY };
        let mut notes = Vec::new();
        if found.noise_source != NoiseSource::BeforeTaps
            && let Some(seconds) = trusted_s(recording, &taps)
        {
            notes.push(format!(
                "no quiet was recorded before the strike, so nothing tells a fade from a decay: only the first \
                 {TRUSTED_DB:.0} dB ({seconds:.2} s) are used. Leave half a second of quiet before the first tap"
            ));
            used.limit_s = seconds;
        }
        // A tap unlike the others, or a fade, is found only by the fit: leave it out and begin again.
        for _ in 0..8 {
            // A lone tap has no second one to confirm what shows only behind a long contact.
            let several = taps.iter().filter(|t| t.accepted()).count() > 1;
            let outcome = self.attempt(recording, &taps, found.noise_source, &room, used, options)?;
            match outcome {
                Attempt::Done(estimate) if estimate.saw_nothing() && several && used.contact_s < LONG_CONTACT_S => {
                    used.contact_s = LONG_CONTACT_S;
                }
                Attempt::Done(mut estimate) => {
                    estimate.taps = taps;
                    estimate.notes.splice(0..0, notes);
                    return Ok(*estimate);
                }
                Attempt::LeaveOut(which) => which.into_iter().for_each(|(tap, reason)| taps[tap].reasons.push(reason)),
                Attempt::Limit(seconds) => {
                    notes.push(format!(
                        "the level bends down {seconds:.2} s after the strike (a fade, a gate or automatic gain): only \
                         what comes before is used"
                    ));
                    used.limit_s = seconds;
                }
            }
        }
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

    pub(super) fn read_room(&mut self, recording: &mut Recording, found: &TapSearch) -> Result<Room, SoundError> {
        let rate_hz = recording.sample_rate_hz();
        let most = (MOST_NOISE_S * rate_hz) as usize;
        let mut scratch = Vec::new();
        let mut raw: Vec<Vec<f32>> = Vec::new();
        let mut total = 0;
        for range in &found.quiet {
            // The end of a stretch is the quietest part of it: the taps before have died away.
            let from = range.start.max(range.end.saturating_sub(most - total));
            raw.push(recording.read(from, range.end, &mut scratch)?.to_vec());
            total += range.end - from;
            if total + 64 >= most {
                break;
            }
        }
        // Behind the ring-down the part still sounds, or an editor has been at work: no guide to the room.
        if raw.is_empty() || found.noise_source != NoiseSource::BeforeTaps {
            return Ok(Room { whitening: Whitening::none(), density: None, lines: Vec::new(), offset: 0.0 });
        }
        let offset = (raw.iter().flatten().map(|s| f64::from(*s)).sum::<f64>() / total.max(1) as f64) as f32;
        raw.iter_mut().flatten().for_each(|s| *s -= offset);
        let whitening = Whitening::of_noise(&raw, BROAD_ORDER);
        let white: Vec<Vec<f32>> = raw
            .iter()
            .map(|stretch| {
                let mut out = Vec::new();
                whitening.apply(stretch, &mut out);
                out
            })
            .collect();
        let density = NoiseDensity::of_noise(&white, rate_hz, &mut self.real);
        let lines = match (&density, white.iter().max_by_key(|w| w.len())) {
            (Some(density), Some(longest)) => steady_lines(longest, density, rate_hz, &mut self.real),
            _ => Vec::new(),
        };
        Ok(Room { whitening, density, lines, offset })
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
            let (rings, before) = read_rings(recording, taps, &group, room, used)?;
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
            if results.is_empty() {
                estimate.spectrum =
                    spectrum_picture(&scales[0].spectra, &scales[0].lengths, scales[0].transform, rate_hz, room);
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
        estimate.modes = super::merge::merge(results);
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
                        let taps = super::joint::cut(scale, &bins, &others);
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

/// Decibels of decay that are believed where nothing is known of the room and the tail (sample libraries fade theirs).
const TRUSTED_DB: f64 = 30.0;

/// Time after the strike (s) at which the level has fallen by the trusted decibels, the longest of all accepted taps;
/// `None` if it never does.
fn trusted_s(recording: &Recording, taps: &[Tap]) -> Option<f64> {
    let level = recording.level();
    let seconds = |blocks: usize| (blocks * level.block) as f64 / recording.sample_rate_hz();
    let span = 20;
    taps.iter()
        .filter(|t| t.accepted())
        .filter_map(|tap| {
            let blocks = &level.body[(tap.onset / level.block).min(level.body.len())..tap.end / level.block];
            let smooth: Vec<f32> = blocks.chunks_exact(span).map(|c| c.iter().sum::<f32>()).collect();
            let peak = smooth.iter().copied().fold(0.0, f32::max);
            let limit = peak * 10f32.powf(-TRUSTED_DB as f32 / 10.0);
            // Lasting: the last span that is still above.
            let last = smooth.iter().rposition(|e| *e > limit)?;
            (last + 1 < smooth.len()).then(|| seconds((last + 1) * span).max(0.05))
        })
        .reduce(f64::max)
}

/// The part of each ring-down that is used: from behind the contact up to a limit (s after the strike).
#[derive(Debug, Clone, Copy)]
struct Stretch {
    contact_s: f64,
    limit_s: f64,
}

enum Attempt {
    Done(Box<Estimate>),
    LeaveOut(Vec<(usize, TapReason)>),
    Limit(f64),
}

/// Reads and whitens the ring-downs of some taps, and the sound just before each.
fn read_rings(
    recording: &mut Recording,
    taps: &[Tap],
    group: &[usize],
    room: &Room,
    used: Stretch,
) -> Result<(Vec<Ring>, Vec<Vec<f32>>), SoundError> {
    let rate_hz = recording.sample_rate_hz();
    let memory = room.whitening.memory();
    let lead = ((used.contact_s - EARLIEST_S) * rate_hz).round() as usize;
    let contact = (used.contact_s * rate_hz).round() as usize;
    let mut scratch = Vec::new();
    let mut rings = Vec::with_capacity(group.len());
    let mut before = Vec::with_capacity(group.len());
    let whiten = |samples: &[f32]| {
        let centred: Vec<f32> = samples.iter().map(|s| s - room.offset).collect();
        let mut out = Vec::new();
        room.whitening.apply(&centred, &mut out);
        out
    };
    for &index in group {
        let tap = &taps[index];
        let guard = (0.002 * rate_hz) as usize;
        let stop = tap.onset.saturating_sub(guard);
        let from = stop.saturating_sub((BEFORE_S * rate_hz) as usize + memory);
        before.push(if tap.starts_inside { Vec::new() } else { whiten(recording.read(from, stop, &mut scratch)?) });
        let origin = tap.onset + memory + contact;
        let limit = if used.limit_s.is_finite() { tap.onset + (used.limit_s * rate_hz) as usize } else { usize::MAX };
        let end = tap.end.min(limit).max(origin + contact + 64).min(recording.len());
        let mut samples = whiten(recording.read(origin - lead - memory, end, &mut scratch)?);
        // A recording that ends within the contact leaves too little: such taps were rejected before.
        samples.resize(samples.len().max(lead + 64), 0.0);
        rings.push(Ring { samples, lead });
    }
    equalise(&mut rings);
    Ok((rings, before))
}

/// Ring-downs that differ by less than a tenth in length are cut to the same: then they share all that depends on it.
fn equalise(rings: &mut [Ring]) {
    let mut order: Vec<usize> = (0..rings.len()).collect();
    order.sort_by_key(|i| rings[*i].length());
    let mut at = 0;
    while at < order.len() {
        let least = rings[order[at]].length();
        while at < order.len() && rings[order[at]].length() * 10 < least * 11 {
            let lead = rings[order[at]].lead;
            rings[order[at]].samples.truncate(lead + least);
            at += 1;
        }
    }
}

fn spectrum_picture(
    spectra: &[Vec<realfft::num_complex::Complex32>],
    lengths: &[usize],
    transform: usize,
    rate_hz: f64,
    room: &Room,
) -> Spectrum {
    let bins = transform / 2 + 1;
    let bin_hz = rate_hz / transform as f64;
    let mut power = vec![0.0f64; bins];
    for (spectrum, length) in spectra.iter().zip(lengths) {
        let scale = 1.0 / (0.375 * *length as f64 * spectra.len() as f64);
        for (power, w) in power[1..].iter_mut().zip(spectrum.windows(3)) {
            let value = w[1] * 0.5 - (w[0] + w[2]) * 0.25;
            *power += f64::from(value.norm_sqr()) * scale;
        }
    }
    // One-sided density: variance per sample over half the rate.
    let one_sided = 2.0 / rate_hz;
    let gains = Turn::list(transform, 1, 0..bins).into_iter().map(|turn| room.whitening.power_gain(turn.re).max(1e-12));
    let gains: Vec<f64> = gains.collect();
    let noise = room.density.as_ref().map_or_else(Vec::new, |density| density.at_bins(bin_hz, bins));
    let heard = |values: &[f64]| values.iter().zip(&gains).map(|(p, gain)| (p * one_sided / gain) as f32).collect();
    Spectrum { bin_hz, density: heard(&power), noise_density: heard(&noise) }
}
