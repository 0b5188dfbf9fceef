//! What a flat blank's modes tell, all of it together.

use super::blank_note::{BlankNote, Modulus};
use super::numbering::Numbering;
use super::plate::PlateMode;
use crate::uncertainty::Figure;

/// What the modes of a blank tell.
#[derive(Debug, Clone, Default)]
pub struct BlankResult {
    /// The best numbering first; more than one if they explain the modes about equally well.
    pub numberings: Vec<Numbering>,
    /// E of the blank along its length (Pa), whatever the grain's angle: of the wood as a strip, 1/S11'.
    pub along_length: Option<Figure>,
    /// Moduli in the grain's own directions (Pa); `None` where undecided or not told by these modes.
    pub along: Option<Figure>,
    pub across: Option<Figure>,
    pub shear: Option<Figure>,
    /// Bending stiffness EI of the whole width (N m2) and per width (N m).
    pub bending_stiffness: Option<Figure>,
    pub bending_stiffness_per_width: Option<Figure>,
    /// How far the grain goes off the length (degrees), and how far the blank rises over it (m), where they are known or matter.
    pub grain_deg: Option<Figure>,
    pub bow: Option<Figure>,
    /// What the user should know.
    pub notes: Vec<BlankNote>,
    /// Modes of the plate with the best constants, for pictures and mobility.
    pub modes: Vec<PlateMode>,
}

impl BlankResult {
    /// Whether one numbering stands alone and is believed. Moduli may be given without: over all that compete, where those agree.
    pub fn decided(&self) -> bool {
        self.numberings.len() == 1 && self.along_length.is_some()
    }

    /// The numbering, if one stands alone.
    pub fn numbering(&self) -> Option<&Numbering> {
        self.numberings.first().filter(|_| self.decided())
    }

    pub(super) fn refused(numberings: Vec<Numbering>, note: BlankNote) -> Self {
        Self { numberings, notes: vec![note], ..Self::default() }
    }

    pub(super) fn modulus(&mut self, which: Modulus) -> &mut Option<Figure> {
        match which {
            Modulus::Along => &mut self.along,
            Modulus::Across => &mut self.across,
            Modulus::Shear => &mut self.shear,
        }
    }

    /// Takes a modulus back, and what follows from it; whether there was one.
    pub(super) fn withhold(&mut self, which: Modulus) -> bool {
        if which == Modulus::Along {
            self.along_length = None;
            self.bending_stiffness = None;
            self.bending_stiffness_per_width = None;
        }
        self.modulus(which).take().is_some()
    }
}
