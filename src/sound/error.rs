//! What can be wrong with a recording, and what to do about it.

/// Why a recording cannot be used. The message names the trouble and the remedy; the caller adds the file's name.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    #[error("cannot be opened: {0}. Check the name and that you may read the file")]
    Open(#[source] std::io::Error),
    #[error("cannot be read: {0}")]
    Unfit(String),
    #[error("cannot be read: {0}. Copy the file again from the recorder")]
    Read(String),
    #[error("is empty (0 bytes). Record it again, or copy it again from the recorder")]
    Empty,
    #[error("is not a sound file that ringwright can read ({0}). Save it as WAV, FLAC, AIFF, M4A, MP3 or OGG Vorbis")]
    NotAudio(String),
    #[error(
        "says it has a sample rate of {found_hz} Hz; 8000 to 192000 Hz are allowed. Export it again from the recorder"
    )]
    Rate { found_hz: u32 },
    #[error("has no samples: a header and nothing behind it. Record it again")]
    NoSamples,
    #[error("has {0} channels; 1 to 18 are allowed. Export it again from the recorder, as mono or stereo")]
    Channels(usize),
    #[error(
        "has a sample that is not a number ({value}) at {at_s:.4} s, channel {channel}. Export it again as 24-bit WAV"
    )]
    NotFinite { at_s: f64, channel: usize, value: f32 },
    #[error("holds only digital silence ({duration_s:.2} s). Check that the right microphone was chosen and not muted")]
    Silent { duration_s: f64 },
    #[error("has {available} channel(s); channel {wanted} was asked for. Choose one from 1 to {available}")]
    NoSuchChannel { wanted: usize, available: usize },
    #[error("is only {duration_s:.4} s long; a tap and its ring-down need at least {least_s} s. Record it again")]
    TooShort { duration_s: f64, least_s: f64 },
}
