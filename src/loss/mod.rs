//! Loss: what a part takes away, as damping, mobility and power drawn.
//!
//! This room knows modes and masses; it knows nothing of sound or pictures.

mod cycle;
mod mobility;
mod quantity;
mod reference;
mod station;

pub use cycle::energy_lost_per_cycle;
pub use mobility::{Mobility, StationMode, power_drawn_ratio};
pub use quantity::{NumberedLoss, loss_quantities};
pub use reference::{edge_of_plate, infinite_beam};
pub use station::station_mobility;
