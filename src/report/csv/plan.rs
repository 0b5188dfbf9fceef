//! A plan as CSV.

use super::cell::text_cell;
use crate::analysis::LaminationPlan;

/// One row a forecast, with a heading.
pub fn plan_csv(report: &LaminationPlan) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let mut put = |cells: Vec<String>| drop(writer.write_record(&cells));
    let heading = "outer,inner,thickness_m,stiffness_ratio,stiffness_ratio_u,mass_ratio,mass_ratio_u,power_drawn_ratio,\
                   power_drawn_ratio_u,tone_ratio,tone_ratio_u,loss_factor,loss_factor_u";
    put(heading.split(',').map(str::to_owned).collect());
    for series in &report.series {
        for row in &series.rows {
            let f = &row.forecast;
            let pairs = [&f.stiffness_ratio, &f.mass_ratio, &f.power_ratio, &f.tone_ratio, &f.loss];
            let numbers = pairs.iter().flat_map(|m| [m.value.to_string(), m.u_95().to_string()]);
            let names = [text_cell(&report.outer), text_cell(&series.inner), row.thickness.value.to_string()];
            put(names.into_iter().chain(numbers).collect());
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
