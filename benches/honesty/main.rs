//! What is said of parts, against truths from other code and other formulas: false alarms, coverage, what is given and what is withheld.
//!
//! `cargo bench --bench honesty -- [parts per family] [family's name or a piece of it]` prints one table; `accuracy` holds the modes
//! of a take to the same. Each family's file says where its truth comes from.

mod blanks;
mod comparison;
#[path = "../dice/mod.rs"]
mod dice;
#[path = "../goals/mod.rs"]
mod goals;
mod masses;
mod moisture;
mod row;

use row::Row;

/// Measures a family on as many parts.
type Measure = fn(usize) -> Vec<Row>;

/// In the table's order.
const FAMILIES: [(&str, Measure); 11] = [
    ("comparison", comparison::measure),
    ("moisture", moisture::measure),
    ("uniform blanks", blanks::uniform),
    ("wide woods", blanks::wide),
    ("grain at an angle", blanks::grain),
    ("bowed blanks", blanks::bowed),
    ("wedged blanks", blanks::wedged),
    ("blanks with a knot", blanks::knot),
    ("all of it in a blank", blanks::all),
    ("nearly even blanks", blanks::nearly),
    ("masses", masses::measure),
];

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|a| a != "--bench");
    let parts = arguments.next().map_or(1000, |n| n.parse().expect("the number of parts per family"));
    let wanted = arguments.next().unwrap_or_default();
    println!("| family | figure | wanted | measured | met |");
    println!("|---|---|---|---|---|");
    for (family, measure) in FAMILIES.iter().filter(|(name, _)| name.contains(&wanted)) {
        for row in measure(parts) {
            let met = if row.met { "yes" } else { "**NO**" };
            println!("| {family} | {} | {} | {} | {met} |", row.figure, row.wanted, row.measured);
            goals::tell(&format!("{family}: {}", row.figure), &row.wanted, &row.measured, row.met);
        }
    }
}
