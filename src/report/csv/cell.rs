//! Cells of a table for a spreadsheet that hold text.

/// A text cell that no spreadsheet takes for a formula: one that begins like it gets an apostrophe in front (OWASP, "CSV Injection").
/// Numbers are no text cells and stay as they are.
pub fn text_cell(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if formula { format!("'{text}") } else { text.to_owned() }
}
