//! Pages for a browser.

pub mod index;
