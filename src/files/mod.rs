//! Files read and written with care: only regular files are read, and not without a limit; nothing that was read is replaced; nothing is
//! written or removed through a link that leads out of a bench.

mod identity;
mod outlet;
mod read;
mod save;

pub(crate) use identity::{Stamp, written_s};
pub(crate) use outlet::Outlet;
pub(crate) use read::{MOST_REPORT_BYTES, MOST_WRITTEN_BYTES, ReadError, open_recording, read_bytes, read_text};
pub use save::{SaveError, clear_forgotten, save, save_synced};
