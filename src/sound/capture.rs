//! Sound as it arrives: a lock-free ring between what brings the sound and what listens to it.
//!
//! The side that brings it (an audio callback, or a file that is played) only copies into the ring. When the ring is full,
//! frames are lost; a mark in the ring tells where.

use std::any::Any;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use super::error::SoundError;
use super::file_format::Decoder;

/// Seconds of sound that the ring holds: a listener may sleep that long before anything is lost.
const RING_S: f64 = 4.0;
/// A source that brings nothing for so long has stopped.
pub const SILENT_SOURCE: Duration = Duration::from_secs(2);
/// Sample that stands for frames that were lost. No source may bring it as sound.
const LOST: f32 = f32::NAN;

/// What both sides of the ring know.
#[derive(Debug, Default)]
struct Shared {
    /// Frames lost because the ring was full, and interruptions that the device reported.
    lost_frames: AtomicU64,
    interruptions: AtomicU64,
    /// The source has come to its end and brings no more.
    ended: AtomicBool,
    /// Why the source stopped, if it failed.
    trouble: OnceLock<String>,
}

/// The side that brings the sound.
pub(super) struct Inlet {
    producer: rtrb::Producer<f32>,
    shared: Arc<Shared>,
    channels: usize,
    /// Frames were lost since the last one that went in.
    gap: bool,
}

/// Tells the listener of troubles, from any thread.
#[derive(Clone)]
pub(super) struct Herald(Arc<Shared>);

impl Herald {
    #[cfg(feature = "record")]
    pub(super) fn interrupted(&self) {
        self.0.interruptions.fetch_add(1, Ordering::Relaxed);
    }

    #[cfg(feature = "record")]
    pub(super) fn failed(&self, why: String) {
        // The first trouble is the cause of those that follow.
        let _ = self.0.trouble.set(why);
    }

    pub(super) fn ended(&self) {
        self.0.ended.store(true, Ordering::Release);
    }
}

impl Inlet {
    /// Copies interleaved samples into the ring as far as they fit. Never allocates, locks or waits.
    pub(super) fn push<T: Copy>(&mut self, interleaved: &[T], sample: impl Fn(T) -> f32) {
        let frames = interleaved.len() / self.channels;
        let slots = self.producer.slots() / self.channels;
        let mark = usize::from(self.gap);
        let fitting = frames.min(slots.saturating_sub(mark));
        if fitting > 0 {
            let wanted = (fitting + mark) * self.channels;
            if let Ok(chunk) = self.producer.write_chunk_uninit(wanted) {
                let marks = std::iter::repeat_n(LOST, mark * self.channels);
                // A sample that is no number would pass for the mark of a loss, which it is.
                chunk.fill_from_iter(marks.chain(interleaved[..fitting * self.channels].iter().map(|s| sample(*s))));
                self.gap = false;
            }
        }
        if fitting < frames {
            self.gap = true;
            self.shared.lost_frames.fetch_add((frames - fitting) as u64, Ordering::Relaxed);
        }
    }
}

/// What was heard since the last look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival {
    /// So many frames were appended.
    Frames(usize),
    /// Frames are missing between what was appended before and what comes next.
    Gap,
    /// Nothing new yet.
    Nothing,
}

/// A running source of sound.
pub struct Capture {
    consumer: rtrb::Consumer<f32>,
    shared: Arc<Shared>,
    rate_hz: u32,
    channels: usize,
    name: String,
    interruptions_told: u64,
    last_arrival: Instant,
    // Dropping it stops the source.
    _source: Box<dyn Any>,
}

impl Capture {
    /// A ring and its two ends. `start` gets the inlet and starts what fills it.
    pub(super) fn begin<E>(
        rate_hz: u32,
        channels: usize,
        name: String,
        start: impl FnOnce(Inlet, Herald) -> Result<Box<dyn Any>, E>,
    ) -> Result<Self, E> {
        let frames = (RING_S * f64::from(rate_hz)) as usize;
        let (producer, consumer) = rtrb::RingBuffer::new(frames * channels);
        let shared = Arc::new(Shared::default());
        let inlet = Inlet { producer, shared: shared.clone(), channels, gap: false };
        let source = start(inlet, Herald(shared.clone()))?;
        Ok(Self {
            consumer,
            shared,
            rate_hz,
            channels,
            name,
            interruptions_told: 0,
            last_arrival: Instant::now(),
            _source: source,
        })
    }

    /// Plays a sound file as if it came through a microphone, `speed` times as fast as it was recorded.
    ///
    /// # Errors
    /// As of opening a recording.
    pub fn of_file(path: &Path, speed: f64) -> Result<Self, SoundError> {
        let mut decoder = Decoder::open(path)?;
        let first = decoder.next_block().map(<[f32]>::to_vec).unwrap_or_default();
        let rate_hz = decoder.rate_hz().filter(|r| *r > 0).ok_or(SoundError::NoSamples)?;
        let channels = decoder.channels();
        if channels == 0 {
            return Err(SoundError::Channels(0));
        }
        let name = format!("the file {}", path.display());
        Self::begin(rate_hz, channels, name, move |mut inlet, herald| {
            let stop = Arc::new(AtomicBool::new(false));
            let stopped = stop.clone();
            std::thread::spawn(move || {
                let began = Instant::now();
                let mut frames = 0usize;
                let mut block = first;
                loop {
                    for piece in block.chunks(channels * (rate_hz as usize / 100).max(1)) {
                        inlet.push(piece, |s| s);
                        frames += piece.len() / channels;
                        let due = Duration::from_secs_f64(frames as f64 / f64::from(rate_hz) / speed);
                        std::thread::sleep(due.saturating_sub(began.elapsed()));
                        if stopped.load(Ordering::Relaxed) {
                            return;
                        }
                    }
                    match decoder.next_block() {
                        Some(next) => {
                            block.clear();
                            block.extend_from_slice(next);
                        }
                        None => break,
                    }
                }
                herald.ended();
            });
            Ok(Box::new(StopOnDrop(stop)) as Box<dyn Any>)
        })
    }

    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    pub fn channels(&self) -> usize {
        self.channels
    }

    /// What the sound comes from, in words.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Frames lost so far because the listener was too slow.
    pub fn lost_frames(&self) -> u64 {
        self.shared.lost_frames.load(Ordering::Relaxed)
    }

    /// Why no more sound can come, if that is so and all of it has been read.
    pub fn trouble(&self) -> Option<String> {
        if !self.consumer.is_empty() {
            return None;
        }
        if let Some(why) = self.shared.trouble.get() {
            return Some(why.clone());
        }
        (self.last_arrival.elapsed() > SILENT_SOURCE && !self.ended())
            .then(|| format!("no sound has come from {} for {} s", self.name, SILENT_SOURCE.as_secs()))
    }

    /// Whether the source came to its end, and all of it has been read.
    pub fn ended(&self) -> bool {
        self.shared.ended.load(Ordering::Acquire) && self.consumer.is_empty()
    }

    /// Appends what has arrived to `out` (interleaved), up to the next gap. To be called until it says `Nothing`.
    pub fn read(&mut self, out: &mut Vec<f32>) -> Arrival {
        let interruptions = self.shared.interruptions.load(Ordering::Relaxed);
        if interruptions > self.interruptions_told {
            self.interruptions_told = interruptions;
            return Arrival::Gap;
        }
        let whole = self.consumer.slots() / self.channels * self.channels;
        let Ok(chunk) = self.consumer.read_chunk(whole) else { return Arrival::Nothing };
        if whole == 0 {
            return Arrival::Nothing;
        }
        self.last_arrival = Instant::now();
        let (first, second) = chunk.as_slices();
        let good = first.iter().chain(second).position(|s| !s.is_finite()).unwrap_or(whole) / self.channels;
        if good == 0 {
            chunk.commit(self.channels);
            return Arrival::Gap;
        }
        let samples = good * self.channels;
        let from_first = samples.min(first.len());
        out.extend_from_slice(&first[..from_first]);
        out.extend_from_slice(&second[..samples - from_first]);
        chunk.commit(samples);
        Arrival::Frames(good)
    }
}

struct StopOnDrop(Arc<AtomicBool>);

impl Drop for StopOnDrop {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(rate_hz: u32, channels: usize) -> (Capture, Inlet) {
        let mut kept = None;
        let capture = Capture::begin(rate_hz, channels, "test".into(), |inlet, _| {
            kept = Some(inlet);
            Ok::<_, ()>(Box::new(()) as Box<dyn Any>)
        });
        (capture.expect("it begins"), kept.expect("the inlet was handed over"))
    }

    #[test]
    fn what_goes_in_comes_out() {
        let (mut capture, mut inlet) = ring(8000, 2);
        let mut out = Vec::new();
        assert_eq!(capture.read(&mut out), Arrival::Nothing);
        inlet.push(&[1i16, 2, 3, 4], f32::from);
        assert_eq!(capture.read(&mut out), Arrival::Frames(2));
        assert_eq!(out, [1.0, 2.0, 3.0, 4.0]);
        assert_eq!(capture.lost_frames(), 0);
    }

    /// A listener that sleeps: what was lost is counted, and the gap lies where it was.
    #[test]
    fn a_full_ring_loses_frames_and_says_where() {
        let (mut capture, mut inlet) = ring(1000, 2);
        let frames = (RING_S * 1000.0) as usize;
        let long: Vec<f32> = (0..2 * (frames + 10)).map(|i| i as f32).collect();
        inlet.push(&long, |s| s);
        inlet.push(&long, |s| s);
        assert_eq!(capture.lost_frames() as usize, 10 + frames + 10);
        let mut out = Vec::new();
        assert_eq!(capture.read(&mut out), Arrival::Frames(frames));
        assert_eq!(capture.read(&mut out), Arrival::Nothing);
        inlet.push(&[7.0, 8.0], |s| s);
        assert_eq!(capture.read(&mut out), Arrival::Gap);
        assert_eq!(capture.read(&mut out), Arrival::Frames(1));
        assert_eq!(out[out.len() - 2..], [7.0, 8.0]);
    }
}
