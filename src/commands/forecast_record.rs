//! The shop's record of forecasts: `reports/forecasts.csv`, written by the diary, read by `plan`.

use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};

use crate::files::{MOST_WRITTEN_BYTES, read_text};
use crate::plan::{PastForecast, ShopFactor, shop_factor};
use crate::report::text_cell;

/// Name of the record in a bench's reports.
pub const RECORD_FILE: &str = "forecasts.csv";

/// The record as CSV with a heading.
pub fn record_csv(record: &[PastForecast]) -> anyhow::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for past in record {
        let past = PastForecast {
            part: text_cell(&past.part),
            stage: text_cell(&past.stage),
            station: text_cell(&past.station),
            ..past.clone()
        };
        writer.serialize(past).context("the record of forecasts cannot be written down")?;
    }
    let bytes = writer.into_inner().map_err(|e| anyhow!("the record of forecasts: {e}"))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The record of the bench that one of the named plies lies in.
pub fn record_near(plies: &[&str]) -> Option<PathBuf> {
    let bench = plies.iter().find_map(|ply| {
        let path = Path::new(ply).canonicalize().ok()?;
        path.ancestors().find(|a| a.join("bench.toml").is_file()).map(Path::to_owned)
    });
    bench.map(|b| b.join("reports").join(RECORD_FILE)).filter(|f| f.exists())
}

/// The record near the named plies, and what it tells; `None` if there is none.
pub fn factor_near(plies: &[&str]) -> anyhow::Result<Option<(ShopFactor, PathBuf)>> {
    let Some(file) = record_near(plies) else { return Ok(None) };
    let text = read_text(&file, MOST_WRITTEN_BYTES).with_context(|| format!("{}: cannot be read", file.display()))?;
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let record: Result<Vec<PastForecast>, _> = reader.deserialize().collect();
    let record = record.with_context(|| {
        format!("{}: cannot be understood; the diary makes it anew, or --no-record does without", file.display())
    })?;
    // As one would write it from here, if it lies below.
    let here = std::env::current_dir().and_then(|d| d.canonicalize()).ok();
    let shown = here.and_then(|h| file.strip_prefix(h).ok().map(Path::to_owned)).unwrap_or(file);
    Ok(shop_factor(&record).map(|factor| (factor, shown)))
}
