//! The rim as a frame: what shape, plies, blocks and linings make of it before it exists.
//!
//! Straight frame elements along the outline, bending with shear and rotary inertia, in the plane of the rim and out of it.
//! This room knows sections and shapes; it knows nothing of files, sound or pictures.

mod banded;
mod frame;
mod model;
mod outline;

pub use frame::Section;
pub use model::{Plane, Rim, RimMode, RimPiece};
pub use outline::{OUTLINES, Outline, OutlineError};
