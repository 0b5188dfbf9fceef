//! This part against earlier ones, as CSV.

use super::cell::text_cell;
use crate::compare::Chart;

/// One row a figure, with a heading.
pub fn control_csv(part: &str, charts: &[Chart]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    put("part,what,new,new_u,centre,low,high,verdict".split(',').map(str::to_owned).collect());
    for c in charts {
        let numbers = [c.new, c.new_u, c.centre, c.low, c.high].map(|v| v.to_string());
        put([text_cell(part), text_cell(&c.what)].into_iter().chain(numbers).chain([c.verdict().to_owned()]).collect());
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
