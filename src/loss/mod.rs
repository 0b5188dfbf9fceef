//! Loss: what a part takes away, as damping, mobility and power drawn.
//!
//! This room knows modes and masses; it knows nothing of sound or pictures.

mod compliance;
mod cycle;
mod mobility;
mod power;
mod quantity;
mod reference;
mod soft_band;
mod station;

pub use compliance::compliance;
pub use cycle::energy_lost_per_cycle;
pub use mobility::{Mobility, StationMode};
pub use power::{PowerRatios, TOP_EDGE_RANGE, TopEdge, power_ratios, strip_power_ratios};
pub use quantity::{NumberedLoss, loss_quantities};
pub use reference::{edge_of_plate, infinite_beam};
pub use soft_band::soft_weight;
pub use station::station_mobility;
