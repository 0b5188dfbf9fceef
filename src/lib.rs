pub mod simulate;
pub mod sound;
pub mod modes;
