//! Text as a terminal may see it: a name can hold whatever a file system allows, and a terminal obeys some of it.

use std::fmt::Write;

/// Controls (C0, C1, DEL) but the end of a line and the tabulator, and those that turn the direction of writing round.
fn commands(c: char) -> bool {
    (c.is_control() && c != '\n' && c != '\t')
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The text with everything that a terminal would obey written out, as `\u{1b}`. Doing it twice changes nothing.
pub fn shown(text: &str) -> String {
    if !text.contains(commands) {
        return text.to_owned();
    }
    text.chars().fold(String::with_capacity(text.len() + 16), |mut out, c| {
        if commands(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
        out
    })
}

/// JSON with the same written as JSON writes it, `\u001b`: it means what it meant, as such a character stands in strings only.
pub fn shown_json(json: &str) -> String {
    if !json.contains(commands) {
        return json.to_owned();
    }
    json.chars().fold(String::with_capacity(json.len() + 16), |mut out, c| {
        if commands(c) {
            // Writing to a string cannot fail.
            let _ = write!(out, "\\u{:04x}", u32::from(c));
        } else {
            out.push(c);
        }
        out
    })
}
