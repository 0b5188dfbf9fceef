//! Before the glue is mixed: what a lamination, and a rim of it, will be worth, from the woods of its plies.
//!
//! This room knows materials and thicknesses; it knows nothing of files, sound or pictures.

mod forecast;
mod laminate;
mod record;
mod rim_power;
mod rim_ratios;
mod rim_sections;
mod rim_stages;
mod target;
mod woods;

pub use forecast::{Forecast, GLUES, Glue, Ply, find_glue, forecast};
pub use laminate::{Laminate, Layer, glue_line, laminate, stiffness_matrix};
pub use record::{PastForecast, ShopFactor, shop_factor};
pub use rim_ratios::{RimRatios, rim_ratios};
pub use rim_sections::{JOINERY, Joinery, RIM_BAND_HZ, RimWish, SIDE_BRACE, joined, joined_of, rim_of, side_section};
pub use rim_stages::{MODEL_TONES, Patch, RimStage, rim_patches, rim_stages};
pub use target::{Target, outer_for_stiffness, thickness_for_stiffness, to_be_made};
pub use woods::{Material, WOODS, Wood, find_wood};
