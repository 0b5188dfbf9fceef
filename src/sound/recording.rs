//! A recording: one channel of samples that can be read by range, however long the file is.

use std::ops::Range;
use std::path::{Path, PathBuf};

use super::clipping::{FlatTop, FlatTopFinder};
use super::error::SoundError;
use super::file_format::Decoder;
use super::gaps::GapFinder;
use super::level::{DIGITAL_SILENCE, LevelMeter, LevelTrack};
use crate::lanes::highest;

/// Which channel of a file to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ChannelChoice {
    /// The one in which the taps stand highest over the noise.
    #[default]
    Better,
    /// This one, counted from 0.
    Index(usize),
}

/// How to open a file.
#[derive(Debug, Clone, Copy)]
pub struct OpenOptions {
    pub channel: ChannelChoice,
    /// Up to this many samples (all channels together) are kept in memory; longer files are decoded again when needed.
    pub samples_in_memory: usize,
}

impl Default for OpenOptions {
    fn default() -> Self {
        // 64 MB: five and a half minutes of one channel at 48 kHz.
        Self { channel: ChannelChoice::Better, samples_in_memory: 16_000_000 }
    }
}

/// One channel of sound at a fixed rate. Full scale is 1. Cannot hold NaN, infinities, rate 0 or no samples.
pub struct Recording {
    sample_rate_hz: f64,
    channels: usize,
    channel: usize,
    samples: usize,
    level: LevelTrack,
    flat_tops: Vec<FlatTop>,
    gaps: Vec<Range<usize>>,
    notes: Vec<String>,
    store: Store,
}

enum Store {
    Memory(Vec<f32>),
    File(Box<FileStore>),
}

/// Shortest recording that is looked at.
const LEAST_DURATION_S: f64 = 0.05;
/// No encoder needs longer to start up (s): 2112 samples at 8 kHz.
const LONGEST_START_UP_S: f64 = 0.27;
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;

impl Recording {
    /// A recording from samples in memory, such as a simulation's or a microphone's.
    ///
    /// # Errors
    /// `Rate`, `NoSamples`, `NotFinite`, `Silent`, `TooShort`.
    pub fn from_samples(samples: Vec<f32>, sample_rate_hz: f64) -> Result<Self, SoundError> {
        let rate = sample_rate_hz.round() as u32;
        let mut scan = Scan::new(1, rate)?;
        scan.push(&samples)?;
        let mut scanned = scan.finish(ChannelChoice::Better)?;
        scanned.sample_rate_hz = sample_rate_hz;
        scanned.store = Store::Memory(samples);
        Ok(scanned)
    }

    /// A recording from interleaved samples of several channels in memory; one channel of it is kept.
    ///
    /// # Errors
    /// `Rate`, `NoSamples`, `NotFinite`, `Silent`, `TooShort`, `Channels`, `NoSuchChannel`.
    pub fn from_interleaved(
        interleaved: &[f32],
        channels: usize,
        rate_hz: u32,
        choice: ChannelChoice,
    ) -> Result<Self, SoundError> {
        let mut scan = Scan::new(channels, rate_hz)?;
        scan.push(interleaved)?;
        let mut recording = scan.finish(choice)?;
        let samples = interleaved.iter().skip(recording.channel).step_by(channels).take(recording.samples);
        recording.store = Store::Memory(samples.copied().collect());
        Ok(recording)
    }

    /// Opens and scans a sound file of any supported kind.
    ///
    /// # Errors
    /// Everything in [`SoundError`]; a file that breaks off on the way is used up to there, with a note.
    pub fn open(path: &Path, options: &OpenOptions) -> Result<Self, SoundError> {
        let mut decoder = Decoder::open(path)?;
        let mut scan: Option<Scan> = None;
        let mut kept: Option<Vec<Vec<f32>>> = Some(Vec::new());
        let mut total = 0usize;
        let mut scratch = Vec::new();
        while let Some(block) = decoder.next_block() {
            let block_len = block.len();
            if scan.is_none() {
                let (channels, rate) = (decoder.channels(), decoder.rate_hz().unwrap_or(0));
                scan = Some(Scan::new(channels, rate)?);
                kept = Some(vec![Vec::new(); channels]);
            }
            let Some(scan) = scan.as_mut() else { continue };
            let channels = scan.channels.len();
            if decoder.channels() != channels || decoder.rate_hz() != Some(scan.rate_hz) {
                break;
            }
            let block = decoder.block();
            scan.push(block)?;
            total += block_len;
            if total > options.samples_in_memory {
                kept = None;
            }
            if let Some(kept) = kept.as_mut() {
                for (c, channel) in kept.iter_mut().enumerate() {
                    channel.extend_from_slice(one_channel(block, c, channels, &mut scratch));
                }
            }
        }
        let trouble = decoder.trouble().map(str::to_owned);
        let Some(scan) = scan else {
            return Err(match trouble {
                Some(trouble) => SoundError::NotAudio(trouble),
                None => SoundError::NoSamples,
            });
        };
        let mut recording = scan.finish(options.channel)?;
        recording.notes.splice(0..0, trouble);
        if decoder.may_start_up()
            && let Some(end) = start_up(&recording.level)
        {
            recording.gaps.retain(|gap| gap.end > end);
            recording.gaps.iter_mut().for_each(|gap| gap.start = gap.start.max(end));
            recording.gaps.insert(0, 0..end);
        }
        if decoder.left_out_s() > LONGEST_START_UP_S {
            recording.notes.push(format!(
                "the file says that its first {:.2} s are not to be played (it was trimmed): they are left out",
                decoder.left_out_s()
            ));
        }
        if let Some(note) = lossy_note(decoder.codec()) {
            recording.notes.push(note);
        }
        recording.store = match kept {
            Some(mut kept) => Store::Memory(kept.swap_remove(recording.channel)),
            None => Store::File(Box::new(FileStore::new(path, recording.channel)?)),
        };
        Ok(recording)
    }

    pub fn sample_rate_hz(&self) -> f64 {
        self.sample_rate_hz
    }

    /// Number of samples (of one channel).
    pub fn len(&self) -> usize {
        self.samples
    }

    /// Never true: an empty recording cannot be built.
    pub fn is_empty(&self) -> bool {
        self.samples == 0
    }

    pub fn duration_s(&self) -> f64 {
        self.samples as f64 / self.sample_rate_hz
    }

    /// Channels in the file.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// The channel in use, counted from 0.
    pub fn channel(&self) -> usize {
        self.channel
    }

    /// The level of the channel in use, millisecond by millisecond.
    pub fn level(&self) -> &LevelTrack {
        &self.level
    }

    /// Overloads of the channel in use, in order.
    pub fn flat_tops(&self) -> &[FlatTop] {
        &self.flat_tops
    }

    /// Stretches of the channel in use in which nothing was recorded, in order.
    pub(super) fn gaps(&self) -> &[Range<usize>] {
        &self.gaps
    }

    /// What the user should know of how the file was read, in words.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Samples `start..end`, as far as they exist; `scratch` may be used to hold them.
    ///
    /// Reading a long file in ascending order decodes it once; going back starts its decoding again.
    ///
    /// # Errors
    /// `Read` if the file changed or vanished since it was scanned.
    pub fn read<'a>(
        &'a mut self,
        start: usize,
        end: usize,
        scratch: &'a mut Vec<f32>,
    ) -> Result<&'a [f32], SoundError> {
        let (start, end) = (start.min(self.samples), end.min(self.samples));
        match &mut self.store {
            Store::Memory(samples) => Ok(&samples[start..end.max(start)]),
            Store::File(file) => {
                file.read(start, end.max(start), scratch)?;
                Ok(scratch)
            }
        }
    }
}

fn lossy_note(codec: &str) -> Option<String> {
    let lossy = ["aac", "mp3", "mp2", "mp1", "vorbis", "adpcm"].iter().any(|c| codec.contains(c));
    lossy.then(|| {
        format!(
            "{codec} coding drops what the ear misses and can alter a decay: damping below about -40 dB is not to be \
             trusted. Record as WAV or FLAC if the recorder can"
        )
    })
}

/// Per-channel findings of one pass over the samples.
struct ChannelScan {
    meter: LevelMeter,
    flat_tops: FlatTopFinder,
    gaps: GapFinder,
    peak: f32,
}

/// The samples of one channel; `scratch` may be used to hold them.
fn one_channel<'a>(interleaved: &'a [f32], channel: usize, channels: usize, scratch: &'a mut Vec<f32>) -> &'a [f32] {
    if channels == 1 {
        return interleaved;
    }
    scratch.clear();
    scratch.extend(interleaved.chunks_exact(channels).map(|frame| frame[channel]));
    scratch
}

struct Scan {
    rate_hz: u32,
    scratch: Vec<f32>,
    frames: usize,
    channels: Vec<ChannelScan>,
    all_equal: bool,
}

impl Scan {
    fn new(channels: usize, rate_hz: u32) -> Result<Self, SoundError> {
        if !RATES_HZ.contains(&rate_hz) {
            return Err(SoundError::Rate { found_hz: rate_hz });
        }
        if channels == 0 {
            return Err(SoundError::Channels(0));
        }
        let channel = || ChannelScan {
            meter: LevelMeter::new(f64::from(rate_hz)),
            flat_tops: FlatTopFinder::default(),
            gaps: GapFinder::new(f64::from(rate_hz)),
            peak: 0.0,
        };
        let channels: Vec<ChannelScan> = (0..channels).map(|_| channel()).collect();
        Ok(Self { rate_hz, scratch: Vec::new(), frames: 0, all_equal: channels.len() > 1, channels })
    }

    fn push(&mut self, interleaved: &[f32]) -> Result<(), SoundError> {
        let count = self.channels.len();
        // All at once first: that is what the processor is quick at, and nothing is nearly always wrong.
        if !interleaved.iter().fold(true, |fine, s| fine & s.is_finite())
            && let Some(at) = interleaved.iter().position(|s| !s.is_finite())
        {
            return Err(SoundError::NotFinite {
                at_s: (self.frames + at / count) as f64 / f64::from(self.rate_hz),
                channel: at % count + 1,
                value: interleaved[at],
            });
        }
        for (c, scan) in self.channels.iter_mut().enumerate() {
            let samples = one_channel(interleaved, c, count, &mut self.scratch);
            scan.peak = scan.peak.max(highest(samples));
            scan.meter.push(samples);
            scan.flat_tops.push(samples);
            scan.gaps.push(samples);
        }
        if self.all_equal {
            self.all_equal = interleaved.chunks_exact(count).all(|frame| frame.iter().all(|s| *s == frame[0]));
        }
        self.frames += interleaved.len() / count;
        Ok(())
    }

    fn finish(self, choice: ChannelChoice) -> Result<Recording, SoundError> {
        let sample_rate_hz = f64::from(self.rate_hz);
        let duration_s = self.frames as f64 / sample_rate_hz;
        if self.frames == 0 {
            return Err(SoundError::NoSamples);
        }
        if duration_s < LEAST_DURATION_S {
            return Err(SoundError::TooShort { duration_s, least_s: LEAST_DURATION_S });
        }
        let available = self.channels.len();
        let mut notes = Vec::new();
        let mut scanned: Vec<_> = self
            .channels
            .into_iter()
            .map(|c| (c.meter.finish(), c.flat_tops.finish(), c.gaps.finish(), c.peak))
            .collect();
        let channel = match choice {
            ChannelChoice::Index(wanted) if wanted >= available => {
                return Err(SoundError::NoSuchChannel { wanted: wanted + 1, available });
            }
            ChannelChoice::Index(wanted) => wanted,
            ChannelChoice::Better if self.all_equal => {
                notes.push(format!("all {available} channels are the same sound; the first is used"));
                0
            }
            ChannelChoice::Better => {
                let scores: Vec<f64> =
                    scanned.iter().map(|(level, tops, ..)| clearness_db(level, tops.len())).collect();
                let best = scores.iter().enumerate().fold(0, |b, (i, s)| if *s > scores[b] + 1.0 { i } else { b });
                if available > 1 {
                    notes.push(format!(
                        "channel {} of {available} is used: taps stand {:.0} dB over the noise in it ({})",
                        best + 1,
                        scores[best],
                        scores.iter().map(|s| format!("{s:.0}")).collect::<Vec<_>>().join(", ")
                    ));
                }
                best
            }
        };
        let (level, flat_tops, gaps, peak) = scanned.swap_remove(channel);
        if peak == 0.0 {
            return Err(SoundError::Silent { duration_s });
        }
        Ok(Recording {
            sample_rate_hz,
            channels: available,
            channel,
            samples: self.frames,
            level,
            flat_tops,
            gaps,
            notes,
            store: Store::Memory(Vec::new()),
        })
    }
}

/// End of a coder's start-up (samples): what is fainter than the sound behind it by more than `START_UP_FAINT`, and the span of 10 ms in
/// which it rises. `None` if it begins as it goes on.
fn start_up(level: &LevelTrack) -> Option<usize> {
    let spans: Vec<f32> = level.body.chunks_exact(10).map(|c| c.iter().sum::<f32>()).collect();
    let most = START_UP_SAMPLES / (10 * level.block) + 1;
    let mut behind = spans.get(most + 1..most + 11)?.to_vec();
    let middle = *behind.select_nth_unstable_by(5, f32::total_cmp).1;
    let faint = spans[..most].iter().take_while(|e| **e * START_UP_FAINT < middle).count();
    (faint > 0).then_some((faint + 1) * 10 * level.block)
}

/// The longest start-up of an encoder that is in use.
const START_UP_SAMPLES: usize = 2112;
/// A start-up is fainter than the room by this factor (15 dB) and more.
const START_UP_FAINT: f32 = 32.0;

/// Loudest 3 ms over the quiet fifth of a channel where there is any sound (dB), less 20 dB if it is overloaded.
fn clearness_db(level: &LevelTrack, flat_tops: usize) -> f64 {
    let mut sorted: Vec<f32> = level.body.iter().copied().filter(|e| *e > DIGITAL_SILENCE).collect();
    if sorted.is_empty() {
        return 0.0;
    }
    let at = sorted.len() / 5;
    let quiet = f64::from(*sorted.select_nth_unstable_by(at, f32::total_cmp).1);
    let loud = level.body.windows(3).map(|w| f64::from(w.iter().sum::<f32>()) / 3.0).fold(0.0, f64::max);
    10.0 * (loud.max(1e-30) / quiet.max(1e-30)).log10() - if flat_tops > 0 { 20.0 } else { 0.0 }
}

/// A file too long for memory, decoded again as far as it is asked for.
struct FileStore {
    path: PathBuf,
    channel: usize,
    decoder: Decoder,
    /// Samples of the channel from `window_start` on.
    window: Vec<f32>,
    window_start: usize,
}

impl FileStore {
    fn new(path: &Path, channel: usize) -> Result<Self, SoundError> {
        Ok(Self { path: path.to_owned(), channel, decoder: Decoder::open(path)?, window: Vec::new(), window_start: 0 })
    }

    fn read(&mut self, start: usize, end: usize, out: &mut Vec<f32>) -> Result<(), SoundError> {
        if start < self.window_start {
            self.decoder = Decoder::open(&self.path)?;
            self.window.clear();
            self.window_start = 0;
        }
        while self.window_start + self.window.len() < end {
            // Forget what lies before the range: ranges are asked for in ascending order.
            let passed = start.saturating_sub(self.window_start).min(self.window.len());
            if passed > 65_536 || passed == self.window.len() {
                self.window.drain(..passed);
                self.window_start += passed;
            }
            if self.decoder.next_block().is_none() {
                return Err(SoundError::Read("it changed while it was being read".into()));
            }
            let channels = self.decoder.channels();
            self.window.extend(self.decoder.block().iter().skip(self.channel).step_by(channels));
        }
        out.clear();
        out.extend_from_slice(&self.window[start - self.window_start..end - self.window_start]);
        Ok(())
    }
}
