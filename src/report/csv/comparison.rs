//! Comparisons as CSV.

use super::cell::text_cell;
use crate::compare::Comparison;

/// One row a figure, with a heading.
pub fn comparison_csv(comparisons: &[Comparison]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    let heading = "baseline,other,pair,code,baseline_value,baseline_u,other_value,other_u,ratio,ratio_low,ratio_high,verdict,matters";
    put(heading.split(',').map(str::to_owned).collect());
    for c in comparisons {
        let whole = c.whole.iter().map(|r| (String::new(), r));
        let pairs = c.pairs.iter().flat_map(|(name, rows)| rows.iter().map(move |r| (name.clone(), r)));
        for (pair, r) in whole.chain(pairs) {
            put(vec![
                text_cell(&c.baseline),
                text_cell(&c.other),
                text_cell(&pair),
                r.code.to_owned(),
                r.baseline.value.to_string(),
                r.baseline.u_95().to_string(),
                r.other.value.to_string(),
                r.other.u_95().to_string(),
                r.ratio.value.to_string(),
                r.ratio.low.to_string(),
                r.ratio.high.to_string(),
                r.ratio.verdict.code().to_owned(),
                r.matters().map_or(String::new(), |m| m.to_string()),
            ]);
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
