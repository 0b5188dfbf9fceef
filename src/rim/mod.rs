//! The rim's model: what shape, plies, blocks and linings make of it before it exists.
//!
//! Straight elements along the outline: a shell that bows across its depth too, a frame that bends with shear and rotary inertia in
//! the plane of the rim and out of it, or a sheet whose edges the plates hold.
//! This room knows sections and shapes; it knows nothing of files, sound or pictures.

mod banded;
mod drawing;
mod frame;
mod held;
mod joinery;
mod model;
mod outline;
mod places;
mod sheet;
mod shell;
mod wall;

pub use frame::Section;
pub use joinery::{LightWood, Lining};
pub use model::{Plane, Rim, RimMode, RimPiece};
pub use outline::{OUTLINES, Outline, OutlineError};
pub use places::places_on;
pub use sheet::{Bar, Sheet};
pub use shell::{Leaf, Shell, Wall};
