//! Pictures: PNG and SVG.

pub mod accuracy_page;
pub mod bench_guide;
pub mod comparison_page;
pub mod control_page;
mod drawing;
mod overlay;
mod part_page;
pub mod plan_page;
pub mod rim;
pub mod shapes_page;
mod sheet;
pub mod station_page;
pub mod take;
pub mod take_picture;
