//! Plain text in lines of one length.

/// Width that the text keeps to.
pub const WIDTH: usize = 100;

/// Adds a paragraph, broken between words, with a hanging indent.
pub(super) fn wrap(out: &mut String, indent: &str, text: &str) {
    let mut line = indent.to_owned();
    let mut empty = true;
    for word in text.split(' ') {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            out.push_str(line.trim_end());
            out.push('\n');
            line = format!("{indent}  ");
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
}
