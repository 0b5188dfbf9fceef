//! Tables for spreadsheets.

pub mod cell;
pub mod columns;
pub mod comparison;
pub mod control;
pub mod plan;
pub mod rim;
