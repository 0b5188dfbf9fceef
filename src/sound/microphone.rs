//! Microphones: which there are, and listening to one.

use std::any::Any;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, I24, SampleFormat, SizedSample, U24};

use super::capture::{Capture, Herald, Inlet};

/// A microphone, or another input of sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Microphone {
    pub name: String,
    /// How the system names it.
    pub id: String,
    pub is_default: bool,
    /// Ways to open it, the system's choice first; empty if it cannot be opened now.
    pub formats: Vec<Format>,
    /// Why it cannot be opened, if so.
    pub trouble: Option<String>,
    /// Why its sound may have been worked on before it arrives, judged by its name.
    pub may_process: Option<&'static str>,
}

/// A way to open a microphone.
#[derive(Debug, Clone, PartialEq)]
pub struct Format {
    pub rates_hz: (u32, u32),
    pub channels: usize,
    pub sample: String,
}

/// Why a microphone cannot be listened to.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MicrophoneError {
    #[error("no microphone was found. Plug one in, or allow this program to use it in the system's privacy settings")]
    None,
    #[error("no microphone's name holds {wanted:?}. There are: {}", .there.join(", "))]
    NoSuch { wanted: String, there: Vec<String> },
    #[error("{wanted:?} fits several microphones: {}. Give more of the name", .fitting.join(", "))]
    Several { wanted: String, fitting: Vec<String> },
    #[error("{name}: does not offer {rate_hz} Hz; it offers {offered}")]
    Rate { name: String, rate_hz: u32, offered: String },
    #[error("{name}: cannot be opened: {why}")]
    Open { name: String, why: String },
    #[error("{name}: records in a format that cannot be read ({format})")]
    Format { name: String, format: String },
}

/// Inputs that ALSA lists beside the real ones: converters and empty ends.
const PLUG_INS: [&str; 12] = [
    "null",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
    "usbstream",
    "jack",
    "oss",
    "dmix",
    "dsnoop",
];

/// Words in a name that tell of gain control, echo cancelling or narrow telephone sound.
const PROCESSED: [(&str, &str); 8] = [
    ("echo", "echo cancelling"),
    ("noise", "noise suppression"),
    ("suppress", "noise suppression"),
    ("communication", "the system's telephone processing"),
    ("hands-free", "telephone sound of a wireless headset"),
    ("handsfree", "telephone sound of a wireless headset"),
    ("bluetooth", "a wireless link that compresses the sound"),
    ("headset", "telephone sound"),
];

fn may_process(name: &str) -> Option<&'static str> {
    let name = name.to_lowercase();
    PROCESSED.iter().find(|(word, _)| name.contains(word)).map(|(_, what)| *what)
}

/// All inputs that a person would call a microphone.
pub fn microphones() -> Vec<Microphone> {
    let host = cpal::default_host();
    let default = host.default_input_device().and_then(|d| d.id().ok()).map(|id| id.id().to_owned());
    let mut all: Vec<Microphone> = Vec::new();
    for device in host.input_devices().into_iter().flatten() {
        let Ok(id) = device.id().map(|id| id.id().to_owned()) else { continue };
        let name = name_of(&device);
        let plug_in = |text: &str| PLUG_INS.iter().any(|p| text == *p || text.starts_with(&format!("{p}:")));
        if plug_in(&id) || all.iter().any(|m| m.id == id) {
            continue;
        }
        all.push(described(&device, name, id, default.as_deref()));
    }
    if let (Some(device), Some(id)) = (host.default_input_device(), &default)
        && !all.iter().any(|m| m.id == *id)
    {
        let microphone = described(&device, name_of(&device), id.clone(), Some(id));
        if microphone.trouble.is_none() {
            all.insert(0, microphone);
        }
    }
    all.sort_by_key(|m| (!m.is_default, m.trouble.is_some()));
    all
}

fn name_of(device: &cpal::Device) -> String {
    device.description().map_or_else(|_| "an input without a name".to_owned(), |d| d.name().to_owned())
}

fn described(device: &cpal::Device, name: String, id: String, default: Option<&str>) -> Microphone {
    let mut formats: Vec<Format> = Vec::new();
    let mut trouble = None;
    match device.default_input_config() {
        Ok(config) => formats.push(Format {
            rates_hz: (config.sample_rate(), config.sample_rate()),
            channels: usize::from(config.channels()),
            sample: config.sample_format().to_string(),
        }),
        Err(error) => trouble = Some(error.to_string()),
    }
    for range in device.supported_input_configs().into_iter().flatten() {
        let format = Format {
            rates_hz: (range.min_sample_rate(), range.max_sample_rate()),
            channels: usize::from(range.channels()),
            sample: range.sample_format().to_string(),
        };
        if !formats.contains(&format) {
            formats.push(format);
        }
    }
    let may_process = may_process(&name).or_else(|| may_process(&id));
    Microphone { is_default: default == Some(id.as_str()), name, id, formats, trouble, may_process }
}

fn find(wanted: Option<&str>) -> Result<cpal::Device, MicrophoneError> {
    let host = cpal::default_host();
    let Some(wanted) = wanted else {
        return host.default_input_device().ok_or(MicrophoneError::None);
    };
    let low = wanted.to_lowercase();
    let all: Vec<(String, String, cpal::Device)> = host
        .input_devices()
        .into_iter()
        .flatten()
        .filter_map(|d| Some((name_of(&d), d.id().ok()?.id().to_owned(), d)))
        .collect();
    if let Some((.., device)) = all.iter().find(|(_, id, _)| *id == wanted) {
        return Ok(device.clone());
    }
    let fitting: Vec<_> = all.iter().filter(|(name, ..)| name.to_lowercase().contains(&low)).collect();
    match &fitting[..] {
        [(.., device)] => Ok(device.clone()),
        [] => Err(MicrophoneError::NoSuch {
            wanted: wanted.to_owned(),
            there: microphones().into_iter().map(|m| m.name).collect(),
        }),
        // The same name may stand for several ways to one microphone: the first is the system's preference.
        several if several.iter().all(|(name, ..)| *name == several[0].0) => Ok(several[0].2.clone()),
        several => Err(MicrophoneError::Several {
            wanted: wanted.to_owned(),
            fitting: several.iter().map(|(name, ..)| name.clone()).collect(),
        }),
    }
}

/// What a device offers at a rate, as near to its usual form as there is; else all the rates that it offers.
fn at_rate(
    usual: &cpal::SupportedStreamConfig,
    offers: &[cpal::SupportedStreamConfigRange],
    rate_hz: u32,
) -> Result<cpal::SupportedStreamConfig, String> {
    let fitting: Vec<_> = offers.iter().filter(|r| r.contains_rate(rate_hz)).collect();
    let same = |r: &&&cpal::SupportedStreamConfigRange| {
        r.channels() == usual.channels() && r.sample_format() == usual.sample_format()
    };
    match fitting.iter().find(same).or(fitting.first()) {
        Some(range) => Ok(range.with_sample_rate(rate_hz)),
        None => {
            let mut rates: Vec<(u32, u32)> =
                offers.iter().map(|r| (r.min_sample_rate(), r.max_sample_rate())).collect();
            rates.sort_unstable();
            rates.dedup();
            let told = |(low, high): &(u32, u32)| {
                if low == high { format!("{low} Hz") } else { format!("{low} to {high} Hz") }
            };
            Err(rates.iter().map(told).collect::<Vec<_>>().join(", "))
        }
    }
}

/// Starts listening to a microphone: by its id or a part of its name, or the system's default; at its own rate or another.
///
/// # Errors
/// No such microphone, or it cannot be opened like that.
pub fn listen_to(wanted: Option<&str>, rate_hz: Option<u32>) -> Result<Capture, MicrophoneError> {
    let device = find(wanted)?;
    let name = name_of(&device);
    let open = |error: cpal::Error| MicrophoneError::Open { name: name.clone(), why: advice(&error) };
    let default = device.default_input_config().map_err(open)?;
    let config = match rate_hz.filter(|r| *r != default.sample_rate()) {
        None => default,
        Some(rate_hz) => {
            let offers: Vec<_> = device.supported_input_configs().map_err(open)?.collect();
            at_rate(&default, &offers, rate_hz).map_err(|offered| MicrophoneError::Rate {
                name: name.clone(),
                rate_hz,
                offered,
            })?
        }
    };
    let (rate_hz, channels) = (config.sample_rate(), usize::from(config.channels()));
    let format = config.sample_format();
    let build = |inlet: Inlet, herald: Herald| -> Result<Box<dyn Any>, MicrophoneError> {
        let stream = match format {
            SampleFormat::I8 => stream::<i8>(&device, &config, inlet, herald),
            SampleFormat::I16 => stream::<i16>(&device, &config, inlet, herald),
            SampleFormat::I24 => stream::<I24>(&device, &config, inlet, herald),
            SampleFormat::I32 => stream::<i32>(&device, &config, inlet, herald),
            SampleFormat::I64 => stream::<i64>(&device, &config, inlet, herald),
            SampleFormat::U8 => stream::<u8>(&device, &config, inlet, herald),
            SampleFormat::U16 => stream::<u16>(&device, &config, inlet, herald),
            SampleFormat::U24 => stream::<U24>(&device, &config, inlet, herald),
            SampleFormat::U32 => stream::<u32>(&device, &config, inlet, herald),
            SampleFormat::U64 => stream::<u64>(&device, &config, inlet, herald),
            SampleFormat::F32 => stream::<f32>(&device, &config, inlet, herald),
            SampleFormat::F64 => stream::<f64>(&device, &config, inlet, herald),
            other => {
                return Err(MicrophoneError::Format { name: name.clone(), format: other.to_string() });
            }
        };
        let stream = stream.map_err(|e| MicrophoneError::Open { name: name.clone(), why: advice(&e) })?;
        stream.play().map_err(|e| MicrophoneError::Open { name: name.clone(), why: advice(&e) })?;
        Ok(Box::new(stream))
    };
    Capture::begin(rate_hz, channels, name.clone(), build)
}

fn stream<T>(
    device: &cpal::Device,
    config: &cpal::SupportedStreamConfig,
    mut inlet: Inlet,
    herald: Herald,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + Send + 'static,
    f32: FromSample<T>,
{
    let on_error = move |error: cpal::Error| match error.kind() {
        ErrorKind::Xrun => herald.interrupted(),
        // The stream goes on, in another place or at another priority.
        ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
        _ => herald.failed(advice(&error)),
    };
    let copy = move |data: &[T], _: &cpal::InputCallbackInfo| inlet.push(data, |s| f32::from_sample_(s));
    device.build_input_stream(config.config(), copy, on_error, None)
}

fn advice(error: &cpal::Error) -> String {
    let what = match error.kind() {
        ErrorKind::DeviceBusy => "another program uses it; close that one",
        ErrorKind::DeviceNotAvailable => {
            "it is not there (any more): check its plug, and the system's privacy settings"
        }
        ErrorKind::PermissionDenied => "the system does not allow it: see its privacy settings for microphones",
        _ => return error.to_string(),
    };
    format!("{what} ({error})")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn processing_is_told_by_the_name() {
        assert_eq!(may_process("Built-in (echo cancelled)"), Some("echo cancelling"));
        assert_eq!(may_process("Monitor (Echo Cancelled)"), Some("echo cancelling"));
        assert_eq!(may_process("USB microphone"), None);
    }

    /// A device of two fixed rates: the usual form is kept where it can be, and a rate that it does not offer is refused with those
    /// that it does.
    #[test]
    fn a_rate_is_taken_or_refused_in_words() {
        let offer = |channels, rate, format| {
            cpal::SupportedStreamConfigRange::new(channels, rate, rate, cpal::SupportedBufferSize::Unknown, format)
        };
        let offers = [
            offer(1, 48_000, SampleFormat::I16),
            offer(2, 48_000, SampleFormat::F32),
            offer(2, 8_000, SampleFormat::I16),
        ];
        let usual = offer(2, 44_100, SampleFormat::F32).with_sample_rate(44_100);
        let chosen = at_rate(&usual, &offers, 48_000).expect("it is offered");
        assert_eq!((chosen.channels(), chosen.sample_format()), (2, SampleFormat::F32));
        let other = at_rate(&usual, &offers, 8_000).expect("it is offered, in another form");
        assert_eq!((other.channels(), other.sample_format()), (2, SampleFormat::I16));
        assert_eq!(at_rate(&usual, &offers, 96_000), Err("8000 Hz, 48000 Hz".to_owned()));
    }
}
