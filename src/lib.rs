pub mod modes;
pub mod simulate;
pub mod sound;
