//! Listening at the bench: from sound as it arrives to takes of good taps, without a hand on the keyboard.
//!
//! The session is a plain state machine: frames and answers in, orders and a view out. It knows nothing of microphones,
//! files, terminals or threads. The loop around it does, and its workers; whoever shows a session drives that loop.

mod attend;
mod company;
mod forecast;
mod judge;
mod keeper;
mod kept_take;
mod meter;
mod orders;
mod room;
mod session;
mod session_loop;
mod take;
mod view;
mod workers;

pub use attend::attend;
pub use company::Tones;
pub use forecast::{EXAMPLE_DB, Forecast, forecast};
pub use judge::{Verdict, judge};
pub use keeper::{Keeper, Takes};
pub use kept_take::Kept;
pub use orders::{Answer, Goal, Order, Settings, Step, Tone};
pub use room::{RoomReport, room_report};
pub use session::Session;
pub use session_loop::{Ended, REST, SessionLoop};
pub use view::{Phase, View};
