//! What an MP4 or M4A file says is to be played of its sound: an encoder puts a start-up delay in front and fills its last
//! frame, neither of which was recorded.
//!
//! Edit list: ISO/IEC 14496-12 (boxes `moov`, `mvhd`, `trak`, `mdia`, `mdhd`, `hdlr`, `edts`, `elst`). `iTunSMPB` is the comment in which
//! some encoders write delay, padding and length instead, in hexadecimal (both from memory).

use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;

/// Boxes nest five deep at most on the way to what is wanted here.
const DEEPEST: usize = 6;
/// More than any of the boxes that are read whole has.
const MOST_BYTES: u64 = 1 << 16;
/// No file that a recorder writes has more boxes in one box.
const MOST_BOXES: usize = 10_000;
const CONTAINERS: [&[u8; 4]; 8] = [b"moov", b"trak", b"edts", b"mdia", b"udta", b"meta", b"ilst", b"----"];

/// What was found in the boxes of one file.
#[derive(Default)]
struct Findings {
    movie_scale: Option<u64>,
    tracks: Vec<Track>,
    comment: Option<Vec<u8>>,
}

#[derive(Default)]
struct Track {
    sound: bool,
    scale: u64,
    duration: u64,
    edits: Vec<(u64, i64)>,
}

/// The seconds of the first sound track that are to be played, its end `None` if the file does not say; `None` if it
/// says nothing, or nothing sensible. The reader is left anywhere.
pub(super) fn played_s<R: Read + Seek>(file: &mut R, length: u64) -> Option<(f64, Option<f64>)> {
    let mut head = [0u8; 8];
    file.seek(SeekFrom::Start(0)).ok()?;
    file.read_exact(&mut head).ok()?;
    if &head[4..] != b"ftyp" {
        return None;
    }
    let mut found = Findings::default();
    walk(file, 0..length, 0, &mut found);
    let comment = found.comment.take();
    let track = found.tracks.iter().find(|t| t.sound && t.scale > 0)?;
    let seconds = |ticks: u64| ticks as f64 / track.scale as f64;
    let by_list = track.edit(found.movie_scale);
    let (start, end) = by_list.or_else(|| comment.as_deref().and_then(from_comment))?;
    let end = end.or((track.duration > start).then_some(track.duration));
    // A list that leaves nothing is broken.
    let sensible = (track.duration == 0 || start < track.duration) && end.is_none_or(|e| e > start);
    sensible.then(|| (seconds(start), end.map(seconds)))
}

impl Track {
    /// First tick to play and the one behind the last, of the media; empty edits only delay the sound.
    fn edit(&self, movie_scale: Option<u64>) -> Option<(u64, Option<u64>)> {
        let real: Vec<(u64, u64)> =
            self.edits.iter().filter_map(|(length, at)| Some((*length, u64::try_from(*at).ok()?))).collect();
        let start = real.iter().map(|(_, at)| *at).min()?;
        let movie_scale = movie_scale.filter(|s| *s > 0)?;
        // A length of 0 lasts to the end. Lengths are in the movie's coarser ticks: never cut what a rounded tick may still hold.
        let end = |(length, at): &(u64, u64)| {
            let ticks = (u128::from(*length) + 1) * u128::from(self.scale) / u128::from(movie_scale);
            (*length > 0).then(|| at.saturating_add(u64::try_from(ticks).unwrap_or(u64::MAX)))
        };
        let ends: Option<Vec<u64>> = real.iter().map(end).collect();
        let last = ends.and_then(|e| e.into_iter().max());
        let last = last.map(|l| if self.duration > 0 { l.min(self.duration) } else { l });
        Some((start, last))
    }
}

/// Delay, padding and length of a comment such as ` 00000000 00000840 000001C0 00000000001A8000 ...`.
fn from_comment(text: &[u8]) -> Option<(u64, Option<u64>)> {
    let text = std::str::from_utf8(text).ok()?;
    let numbers: Vec<u64> = text.split_whitespace().map_while(|w| u64::from_str_radix(w, 16).ok()).collect();
    let [_, delay, _, length, ..] = numbers[..] else { return None };
    Some((delay, (length > 0).then(|| delay.saturating_add(length))))
}

fn walk<R: Read + Seek>(file: &mut R, within: Range<u64>, depth: usize, found: &mut Findings) {
    let mut at = within.start;
    for _ in 0..MOST_BOXES {
        if depth > DEEPEST || at + 8 > within.end {
            return;
        }
        let mut head = [0u8; 16];
        if file.seek(SeekFrom::Start(at)).is_err() || file.read_exact(&mut head[..8]).is_err() {
            return;
        }
        let (mut body, mut size) = (at + 8, u64::from(number_32(&head, 0).unwrap_or(0)));
        match size {
            0 => size = within.end - at,
            1 => {
                if file.read_exact(&mut head[8..]).is_err() {
                    return;
                }
                (body, size) = (at + 16, number_64(&head, 8).unwrap_or(0));
            }
            _ => {}
        }
        let Some(end) = at.checked_add(size).filter(|end| *end >= body) else { return };
        let end = end.min(within.end);
        let kind = [head[4], head[5], head[6], head[7]];
        if CONTAINERS.contains(&&kind) {
            if &kind == b"trak" {
                found.tracks.push(Track::default());
            }
            // `meta` has a version in front of its boxes.
            let from = if &kind == b"meta" { body + 4 } else { body };
            walk(file, from..end, depth + 1, found);
        } else if [b"mvhd", b"mdhd", b"hdlr", b"elst", b"name", b"data"].contains(&&kind) && end - body <= MOST_BYTES {
            let mut bytes = vec![0; (end - body) as usize];
            if file.seek(SeekFrom::Start(body)).is_ok() && file.read_exact(&mut bytes).is_ok() {
                let _ = note(&kind, &bytes, found);
            }
        }
        at = end;
    }
}

fn number_32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn number_64(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_be_bytes(bytes.get(at..at + 8)?.try_into().ok()?))
}

/// Takes over what one box says; `None` if it is too short for it.
fn note(kind: &[u8; 4], bytes: &[u8], found: &mut Findings) -> Option<()> {
    let long = *bytes.first()? == 1;
    match kind {
        b"mvhd" => found.movie_scale = Some(number_32(bytes, if long { 20 } else { 12 })?.into()),
        b"mdhd" => {
            let track = found.tracks.last_mut()?;
            track.scale = number_32(bytes, if long { 20 } else { 12 })?.into();
            track.duration = if long { number_64(bytes, 24)? } else { number_32(bytes, 16)?.into() };
        }
        // Others stand in `meta`, behind the tracks: only the track's own names its kind.
        b"hdlr" if bytes.get(8..12)? == b"soun" => found.tracks.last_mut()?.sound = true,
        b"elst" => {
            let step = if long { 20 } else { 12 };
            for entry in bytes.get(8..)?.chunks_exact(step).take(number_32(bytes, 4)? as usize) {
                let edit = if long {
                    (number_64(entry, 0)?, number_64(entry, 8)? as i64)
                } else {
                    (number_32(entry, 0)?.into(), i64::from(number_32(entry, 4)? as i32))
                };
                found.tracks.last_mut()?.edits.push(edit);
            }
        }
        // The name of a free comment; its text follows.
        b"name" => found.comment = (bytes.get(4..)? == b"iTunSMPB").then(Vec::new),
        b"data" if found.comment.as_ref().is_some_and(Vec::is_empty) => found.comment = Some(bytes.get(8..)?.to_vec()),
        _ => {}
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        [&(body.len() as u32 + 8).to_be_bytes()[..], kind, body].concat()
    }

    fn numbers(values: &[u32]) -> Vec<u8> {
        values.iter().flat_map(|v| v.to_be_bytes()).collect()
    }

    /// A file of one sound track of 48 000 ticks a second, two seconds long, in a movie of 1000.
    fn file(edits: Option<&[[u32; 3]]>, comment: Option<&str>) -> Vec<u8> {
        let mut track = Vec::new();
        if let Some(edits) = edits {
            let list = [numbers(&[0, edits.len() as u32]), numbers(&edits.concat())].concat();
            track.extend(boxed(b"edts", &boxed(b"elst", &list)));
        }
        let kind = [&numbers(&[0, 0])[..], b"soun", &[0; 13]].concat();
        let media = [boxed(b"mdhd", &numbers(&[0, 0, 0, 48_000, 96_000, 0])), boxed(b"hdlr", &kind)].concat();
        track.extend(boxed(b"mdia", &media));
        let mut movie = [boxed(b"mvhd", &numbers(&[0, 0, 0, 1000, 2000])), boxed(b"trak", &track)].concat();
        if let Some(comment) = comment {
            let data = [&numbers(&[1, 0])[..], comment.as_bytes()].concat();
            let name = boxed(b"name", &[&[0; 4], &b"iTunSMPB"[..]].concat());
            let free = boxed(b"----", &[boxed(b"mean", b"\0\0\0\0com"), name, boxed(b"data", &data)].concat());
            let meta = [vec![0; 4], boxed(b"hdlr", &[0; 25]), boxed(b"ilst", &free)].concat();
            movie.extend(boxed(b"udta", &boxed(b"meta", &meta)));
        }
        [boxed(b"ftyp", b"M4A \0\0\0\0"), boxed(b"mdat", &[7; 100]), boxed(b"moov", &movie)].concat()
    }

    fn samples(bytes: Vec<u8>) -> Option<(f64, Option<f64>)> {
        let length = bytes.len() as u64;
        let (start, end) = played_s(&mut Cursor::new(bytes), length)?;
        Some((start * 48_000.0, end.map(|e| e * 48_000.0)))
    }

    #[test]
    fn the_edit_list_says_what_is_played() {
        const ONE: u32 = 1 << 16;
        assert_eq!(samples(file(None, None)), None);
        // 1.5 s and a tick of 1 ms from sample 1024 on.
        assert_eq!(samples(file(Some(&[[1500, 1024, ONE]]), None)), Some((1024.0, Some(1024.0 + 72_048.0))));
        // No further than the track goes; an empty edit in front only delays; a length of 0 lasts to the end.
        assert_eq!(samples(file(Some(&[[1979, 1024, ONE]]), None)), Some((1024.0, Some(96_000.0))));
        assert_eq!(
            samples(file(Some(&[[80, u32::MAX, ONE], [1979, 2112, ONE]]), None)),
            Some((2112.0, Some(96_000.0)))
        );
        assert_eq!(samples(file(Some(&[[0, 2112, ONE]]), None)), Some((2112.0, Some(96_000.0))));
        // Nothing would be left: not believed.
        assert_eq!(samples(file(Some(&[[1000, 96_000, ONE]]), None)), None);
    }

    #[test]
    fn the_comment_says_it_where_no_list_does() {
        let comment = " 00000000 00000840 000001C0 0000000000015F90 00000000 00000000";
        assert_eq!(samples(file(None, Some(comment))), Some((2112.0, Some(2112.0 + 90_000.0))));
        assert_eq!(samples(file(Some(&[[0, 1024, 1 << 16]]), Some(comment))), Some((1024.0, Some(96_000.0))));
        assert_eq!(samples(file(None, Some("something else"))), None);
    }

    /// Every cut of a file, and any byte of it changed, ends in an answer.
    #[test]
    fn broken_boxes_end() {
        let whole = file(Some(&[[1500, 1024, 1 << 16]]), Some(" 0 840 1C0 15F90"));
        for cut in 0..whole.len() {
            samples(whole[..cut].to_vec());
            let mut changed = whole.clone();
            changed[cut] = changed[cut].wrapping_add(129);
            samples(changed);
        }
    }
}
