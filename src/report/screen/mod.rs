//! A session at the bench, on the screen and in lines.

pub mod live_screen;
pub mod live_text;
