//! One take measured, its picture page drawn, and what a comparison shows of it.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::{Deserialize, Serialize};

use super::inputs::{Input, path_of};
use crate::analysis::{Options, Problem, Take, measure_with};
use crate::files::Outlet;
use crate::modes::Estimator;
use crate::report::{TakePicture, page_png, shapes_png};

/// A measured take and its picture, thinned. Can be kept and read again.
#[derive(Debug, Serialize, Deserialize)]
pub struct MeasuredTake {
    pub take: Take,
    pub picture: TakePicture,
}

/// How the pages of takes are drawn and saved.
pub struct Pages<'a> {
    /// The way in which they are saved.
    pub outlet: &'a Outlet,
    /// A line on them, such as "simulated".
    pub remark: Option<&'a str>,
    /// Whether a page that exists is replaced.
    pub replace: bool,
    /// What went wrong, in words.
    pub troubles: Mutex<Vec<String>>,
}

/// Measures one file without a picture page.
pub fn measure_alone(input: &Input, options: &Options, estimator: &mut Estimator) -> MeasuredTake {
    measure_named(input, path_of(input).display().to_string(), options, estimator)
}

/// The same, under the name that it has in the reports.
pub fn measure_named(input: &Input, name: String, options: &Options, estimator: &mut Estimator) -> MeasuredTake {
    let take = match input {
        Ok(path) => measure_with(path, name, options, estimator),
        Err((_, why)) => Take::failed(name, Problem::NoRecording(why.clone())),
    };
    MeasuredTake { picture: TakePicture::of(&take), take }
}

impl Pages<'_> {
    /// Draws and saves the page of a take that could be read, and beside it that of its blank's shapes.
    pub fn draw(&self, take: &Take, page: &Path) {
        if take.facts.is_none() {
            return;
        }
        let save = |path: &Path, png: Result<Vec<u8>, String>| {
            self.outlet.save(path, &png?, self.replace).map_err(|e| e.to_string())
        };
        let saved = save(page, page_png(take, self.remark)).and_then(|()| match shapes_png(take) {
            Some(drawn) => save(&shapes_page(page), drawn),
            None => Ok(()),
        });
        if let Err(trouble) = saved {
            self.say(format!("{}: no picture page: {trouble}", take.file));
        }
    }

    pub fn say(&self, trouble: String) {
        if let Ok(mut list) = self.troubles.lock() {
            list.push(trouble);
        }
    }
}

/// station-PART-STAGE-STATION.png.
pub fn station_page_name(station: &str) -> String {
    format!("station-{}.png", station.replace(['/', '\\', ':'], "-"))
}

/// Where the picture of a blank's mode shapes lies beside its page.
pub fn shapes_page(page: &Path) -> PathBuf {
    let stem = page.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    page.with_file_name(format!("{stem}-shapes.png"))
}
