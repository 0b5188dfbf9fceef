//! Mending WAV headers that recorders leave behind when they die or stream.
//!
//! Layout: Microsoft/IBM, "Multimedia Programming Interface and Data Specifications 1.0" (RIFF WAVE), and EBU Tech 3306
//! (RF64). A recorder that lost power leaves the length fields 0; one that streams leaves 0xFFFFFFFF; some lie. The
//! bytes are all there, so only the length fields are corrected, in memory: the file itself is never touched.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

use super::error::SoundError;

/// A file read through a few corrected bytes.
pub(super) struct MendedFile {
    file: File,
    position: u64,
    length: u64,
    patches: Vec<(u64, [u8; 4])>,
}

/// Opens a file for decoding, with the lengths of a broken WAV header corrected; also gives what was corrected, in words.
///
/// # Errors
/// `Empty`, `Rate` (a WAV that claims 0 Hz), `NotAudio` (Wave64), `Read`.
pub(super) fn open(file: File) -> Result<(MendedFile, Option<String>), SoundError> {
    let mut file = file;
    let read_error = |e: std::io::Error| SoundError::Read(e.to_string());
    let length = file.metadata().map_err(read_error)?.len();
    if length == 0 {
        return Err(SoundError::Empty);
    }
    let (patches, note) = inspect(&mut file, length)?;
    file.seek(SeekFrom::Start(0)).map_err(read_error)?;
    Ok((MendedFile { file, position: 0, length, patches }, note))
}

/// As many speakers as the extensible form names; recorders for one part in front of one microphone have far fewer.
const MOST_CHANNELS: u16 = 18;

type Patches = Vec<(u64, [u8; 4])>;

fn inspect(file: &mut File, length: u64) -> Result<(Patches, Option<String>), SoundError> {
    let mut patches = Vec::new();
    let mut head = [0u8; 12];
    if length < 12 || file.read_exact(&mut head).is_err() {
        return Ok((patches, None));
    }
    if &head[..4] == b"riff" {
        return Err(SoundError::NotAudio("Wave64".into()));
    }
    let rf64 = &head[..4] == b"RF64";
    if !(&head[..4] == b"RIFF" || rf64) || &head[8..] != b"WAVE" {
        return Ok((patches, None));
    }
    let mut note = None;
    let mut at = 12u64;
    while at + 8 <= length {
        let mut chunk = [0u8; 8];
        if file.seek(SeekFrom::Start(at)).is_err() || file.read_exact(&mut chunk).is_err() {
            break;
        }
        let said = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]) as u64;
        let left = length - at - 8;
        match &chunk[..4] {
            b"fmt " => {
                let mut fmt = [0u8; 24];
                let present = (said.min(24)) as usize;
                if said >= 8 && file.read_exact(&mut fmt[..present]).is_ok() {
                    let rate = u32::from_le_bytes([fmt[4], fmt[5], fmt[6], fmt[7]]);
                    if !(8_000..=192_000).contains(&rate) {
                        return Err(SoundError::Rate { found_hz: rate });
                    }
                    let channels = u16::from_le_bytes([fmt[2], fmt[3]]);
                    if !(1..=MOST_CHANNELS).contains(&channels) {
                        return Err(SoundError::Channels(usize::from(channels)));
                    }
                    // The speaker mask of the extensible form does not matter here, but decoders refuse one that does not
                    // name as many speakers as there are channels.
                    let extensible = u16::from_le_bytes([fmt[0], fmt[1]]) == 0xfffe && present == 24;
                    let mask = u32::from_le_bytes([fmt[20], fmt[21], fmt[22], fmt[23]]);
                    if extensible && mask != 0 && mask.count_ones() != u32::from(channels)
                        || extensible && mask >> 18 != 0
                    {
                        patches.push((at + 8 + 20, ((1u32 << channels) - 1).to_le_bytes()));
                    }
                }
            }
            b"ds64" if rf64 => patches.push((at, *b"JUNK")),
            b"data" => {
                if left == 0 {
                    return Err(SoundError::NoSamples);
                }
                if said == 0 || said > left {
                    let real = u32::try_from(left).unwrap_or(u32::MAX - 1) & !1;
                    patches.push((at + 4, real.to_le_bytes()));
                    patches.push((4, u32::try_from(length - 8).unwrap_or(u32::MAX).to_le_bytes()));
                    let streamed = said == u64::from(u32::MAX);
                    if said != 0 && !streamed {
                        note = Some(format!(
                            "the header promises {said} bytes of sound, the file holds {left}: it was cut short"
                        ));
                    } else if !streamed {
                        note = Some(format!("the recorder never wrote the length; all {left} bytes present are used"));
                    }
                }
                break;
            }
            _ => {}
        }
        at += 8 + said + (said & 1);
    }
    if rf64 {
        patches.push((0, *b"RIFF"));
    }
    Ok((patches, note))
}

impl Read for MendedFile {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.file.read(buffer)?;
        for (offset, bytes) in &self.patches {
            for (i, byte) in bytes.iter().enumerate() {
                let at = offset + i as u64;
                if at >= self.position && at < self.position + count as u64 {
                    buffer[(at - self.position) as usize] = *byte;
                }
            }
        }
        self.position += count as u64;
        Ok(count)
    }
}

impl Seek for MendedFile {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.position = self.file.seek(to)?;
        Ok(self.position)
    }
}

impl symphonia::core::io::MediaSource for MendedFile {
    fn is_seekable(&self) -> bool {
        true
    }
    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}
