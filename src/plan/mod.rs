//! Before the glue is mixed: what a lamination, and a rim of it, will be worth, from the woods of its plies.
//!
//! This room knows materials and thicknesses; it knows nothing of files, sound or pictures.

mod forecast;
mod laminate;
mod record;
mod rim_stages;
mod target;
mod woods;

pub use forecast::{Forecast, GLUES, Glue, Ply, find_glue, forecast};
pub use laminate::{Laminate, Layer, glue_line, laminate, stiffness_matrix};
pub use record::{PastForecast, ShopFactor, shop_factor};
pub use rim_stages::{Linings, Patch, RIM_BAND_HZ, RimStage, RimWish, SIDE_BRACE, joined, rim_forecast, side_section};
pub use target::{Target, outer_for_stiffness, thickness_for_stiffness, to_be_made};
pub use woods::{Material, WOODS, Wood, find_wood};
