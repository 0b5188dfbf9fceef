pub mod commands;
pub mod modes;
pub mod report;
pub mod simulate;
pub mod sound;
