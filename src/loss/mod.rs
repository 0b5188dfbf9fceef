//! Loss: what a part takes away, as damping, mobility and power drawn.
//!
//! This room knows modes and masses; it knows nothing of sound or pictures.

mod cycle;
mod mobility;
mod reference;

pub use cycle::energy_lost_per_cycle;
pub use mobility::{Mobility, StationMode, power_drawn_ratio};
pub use reference::{edge_of_plate, end_of_beam, infinite_beam, infinite_plate, orthotropic_plate};
