//! What all picture pages share: their width, and how words are broken into lines.

/// Width of every page (pixels).
pub(super) const WIDTH: f64 = 1600.0;

/// Breaks a sentence into lines of at most so many characters.
pub(super) fn lines(text: &str, most: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match out.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
    }
    out
}
