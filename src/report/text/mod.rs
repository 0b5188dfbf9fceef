//! Words and tables for people, and the sentences and numbers that the other forms take from them.

pub mod comparison;
pub mod control;
pub mod modes;
pub mod numbers;
pub mod paragraph;
mod part;
pub mod plan;
pub mod reference;
pub mod rim;
pub mod room_check;
pub mod shown;
