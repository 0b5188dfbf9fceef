//! The bench folder on disk: `bench.toml` with parts and their stages, and `recordings/PART/STAGE/STATION[+5g]/take-01.wav`.
//!
//! Plain files that survive without this program. Recordings and `bench.toml` are only ever read.

mod file;
mod folder;
mod kept;

pub use file::{Bench, BenchError, BenchPart, NEW_BENCH};
pub use folder::{Found, StationFolder, find};
pub use kept::Kept;
