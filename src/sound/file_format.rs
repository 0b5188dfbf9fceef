//! Every file format that is read: sound files decoded to interleaved f32 blocks, front to end, through the Symphonia library.

use std::cell::Cell;
use std::io::{Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

use super::edit_list;
use super::error::SoundError;
use super::wav_header;
use crate::files::{ReadError, open_recording};

thread_local! {
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is within the decoding library. Its panics over broken files are contained and told as errors: a panic hook need
/// not speak of them.
pub fn decoding() -> bool {
    DECODING.get()
}

/// Calls the library; `None` if it panicked.
fn contained<T>(call: impl FnOnce() -> T) -> Option<T> {
    DECODING.set(true);
    let outcome = catch_unwind(AssertUnwindSafe(call));
    DECODING.set(false);
    outcome.ok()
}

/// A file being decoded.
pub(super) struct Decoder {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track_id: u32,
    block: Vec<f32>,
    rate_hz: Option<u32>,
    channels: usize,
    codec: &'static str,
    trouble: Option<String>,
    /// What the container says is to be played (s): an encoder's start-up and filling were never recorded.
    played_s: Option<(f64, Option<f64>)>,
    /// Frames decoded so far, played or not.
    frames: usize,
    /// The library panicked over it: it is not to be called again.
    broken: bool,
}

impl Decoder {
    /// Opens a file of any supported kind.
    ///
    /// # Errors
    /// `Open`, `Unfit`, `Empty`, `NotAudio`, `Rate`, `NoSamples`, `Read`.
    pub(super) fn open(path: &Path) -> Result<Self, SoundError> {
        let file = open_recording(path).map_err(unopened)?;
        let (mut source, trouble) = wav_header::open(file)?;
        let length = source.byte_len().unwrap_or(0);
        let played_s = edit_list::played_s(&mut source, length);
        source.seek(SeekFrom::Start(0)).map_err(|e| SoundError::Read(e.to_string()))?;
        let stream = MediaSourceStream::new(Box::new(source), Default::default());
        let mut hint = Hint::new();
        if let Some(extension) = path.extension().and_then(|e| e.to_str()) {
            hint.with_extension(extension);
        }
        let probe = || {
            symphonia::default::get_probe().probe(&hint, stream, FormatOptions::default(), MetadataOptions::default())
        };
        let format = contained(probe).ok_or_else(broken)?.map_err(not_audio)?;
        let track = format
            .default_track(TrackType::Audio)
            .ok_or_else(|| SoundError::NotAudio("no sound track in it".into()))?;
        let track_id = track.id;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|p| p.audio())
            .ok_or_else(|| SoundError::NotAudio("its sound track says nothing of how it is coded".into()))?;
        let rate_hz = parameters.sample_rate;
        let make = || symphonia::default::get_codecs().make_audio_decoder(parameters, &AudioDecoderOptions::default());
        let decoder = contained(make).ok_or_else(broken)?.map_err(not_audio)?;
        let codec = decoder.codec_info().short_name;
        Ok(Self {
            format,
            decoder,
            track_id,
            block: Vec::new(),
            rate_hz,
            channels: 0,
            codec,
            trouble,
            played_s,
            frames: 0,
            broken: false,
        })
    }

    /// Whether a coder's start-up may stand in front, since the container says nothing of it.
    pub(super) fn may_start_up(&self) -> bool {
        self.played_s.is_none() && self.codec.contains("aac")
    }

    /// Sound in front that the container says is not to be played (s).
    pub(super) fn left_out_s(&self) -> f64 {
        self.played_s.map_or(0.0, |(start, _)| start)
    }

    /// Short name of the coding, such as `aac`; lossy codings alter a decay.
    pub(super) fn codec(&self) -> &'static str {
        self.codec
    }

    /// Sample rate in hertz, known at the latest after the first block.
    pub(super) fn rate_hz(&self) -> Option<u32> {
        self.rate_hz
    }

    /// Number of channels; 0 before the first block.
    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// What went wrong on the way, in words, if the sound could be read in part only.
    pub(super) fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }

    /// The block that was decoded last.
    pub(super) fn block(&self) -> &[f32] {
        &self.block
    }

    /// The next block of interleaved samples (full scale = 1), or `None` at the end or at the first damage.
    pub(super) fn next_block(&mut self) -> Option<&[f32]> {
        if self.broken {
            return None;
        }
        match contained(|| self.decode_block()) {
            Some(decoded) => decoded.then_some(&self.block),
            None => {
                self.broken = true;
                self.trouble = Some("damaged; what came before is used".into());
                None
            }
        }
    }

    /// Decodes until there is a block; false at the end or at the first damage.
    fn decode_block(&mut self) -> bool {
        loop {
            let packet = match self.format.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return false,
                Err(Error::ResetRequired) => {
                    self.trouble = Some("the file changes its format on the way; only the first part is used".into());
                    return false;
                }
                Err(error) => {
                    self.trouble = Some(format!("cut short or damaged ({error}); what came before is used"));
                    return false;
                }
            };
            if packet.track_id != self.track_id {
                continue;
            }
            match self.decoder.decode(&packet) {
                Ok(decoded) => {
                    if decoded.frames() == 0 {
                        continue;
                    }
                    self.channels = decoded.spec().channels().count();
                    self.rate_hz = Some(decoded.spec().rate());
                    decoded.copy_to_vec_interleaved(&mut self.block);
                    self.keep_what_is_played();
                    if self.block.is_empty() {
                        continue;
                    }
                    return true;
                }
                Err(Error::IoError(error)) => self.trouble = Some(format!("a piece could not be read ({error})")),
                Err(error) => {
                    self.trouble = Some(format!("damaged ({error}); what came before is used"));
                    return false;
                }
            }
        }
    }

    /// Cuts the block that was decoded last to what the container says is to be played.
    fn keep_what_is_played(&mut self) {
        let frames = self.block.len() / self.channels.max(1);
        let first = self.frames;
        self.frames += frames;
        let (Some((start, end)), Some(rate)) = (self.played_s, self.rate_hz) else { return };
        let within = |at_s: f64| ((at_s * f64::from(rate)).round() as usize).saturating_sub(first).min(frames);
        self.block.truncate(end.map_or(frames, within) * self.channels);
        let left = self.block.len();
        self.block.drain(..(within(start) * self.channels).min(left));
    }
}

fn unopened(error: ReadError) -> SoundError {
    match error {
        ReadError::Io(error) => SoundError::Open(error),
        other => SoundError::Unfit(other.to_string()),
    }
}

fn broken() -> SoundError {
    SoundError::NotAudio("damaged".into())
}

fn not_audio(error: Error) -> SoundError {
    match error {
        Error::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            SoundError::NotAudio("it ends before any sound begins".into())
        }
        Error::Unsupported(what) => SoundError::NotAudio(what.to_string()),
        other => SoundError::NotAudio(other.to_string()),
    }
}
