//! Documents for other programs.

pub mod budget_entry;
pub mod comparison;
pub mod control;
pub mod document;
pub mod manifest;
pub mod part_entry;
pub mod plan;
mod rim;
