//! The bench folder on disk: `bench.toml` with parts and their stages, and `recordings/PART/STAGE/STATION[+5g]/take-01.wav`.
//!
//! Plain files that survive without this program. Recordings are only ever added, `bench.toml` is only ever read.

mod archive;
mod file;
mod folder;
mod kept;
mod next_take;

pub use archive::{ArchiveError, Contents, LeftOut, MANIFEST, Member, Packed, contents, write_archive};
pub use file::{Bench, BenchError, BenchPart, NEW_BENCH, name_trouble};
pub use folder::{Found, RECORDING_ENDINGS, StationFolder, find, is_recording};
pub use kept::Kept;
pub use next_take::next_take;
