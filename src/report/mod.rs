//! Reports: numbers into words, tables, files and pictures. Estimates nothing.

mod accuracy_page;
mod bench_guide;
mod comparison;
mod comparison_page;
mod control_page;
mod control_report;
mod csv_cell;
mod csv_table;
mod document;
mod figure;
mod index_page;
mod live_screen;
mod live_text;
mod numbers;
mod overlay;
mod page;
mod part_entry;
mod part_page;
mod part_text;
mod plan_page;
mod plan_report;
mod rim_report;
mod room_check;
mod shapes_page;
mod shown;
mod station_page;
mod take_picture;
mod text;

pub use accuracy_page::{AccuracyRow, Reading, accuracy_png};
pub use bench_guide::guide_png;
pub use comparison::{COMPARISON_SCHEMA, comparison_csv, comparison_json, comparison_schema, comparison_text};
pub use comparison_page::comparison_png;
pub use control_page::control_png;
pub use control_report::{control_csv, control_json, control_text};
pub use csv_cell::text_cell;
pub use csv_table::to_csv;
pub use document::{Document, LeftOutEntry, ModeEntry, RecordingEntry, SCHEMA_NAME, TapEntry, schema};
pub use index_page::{IndexAnswer, IndexInput, IndexPart, IndexPicture, IndexSection, MOST_BYTES, index_html};
pub use live_screen::{Look, draw_session};
pub use live_text::{LiveLines, room_text};
pub use page::{PageInput, page_png, page_svg};
pub use part_entry::{FigureEntry, NumberingEntry, PartEntry, QuantityEntry, StationEntry, StationModeEntry};
pub use plan_page::plan_png;
pub use plan_report::{
    PLAN_SCHEMA, PlanReport, PlanRow, PlanSeries, PlanTarget, plan_csv, plan_json, plan_schema, plan_text,
};
pub use rim_report::{RimReport, rim_csv, rim_png};
pub use room_check::room_check_text;
pub use shapes_page::{Shape, shapes_png};
pub use shown::{shown, shown_json};
pub use station_page::station_png;
pub use take_picture::{DecayPicture, TakePicture};
pub use text::{Detail, WIDTH, to_text};
