//! Taps that are analysed together, and all that is known of them by the time they are judged.

use super::cluster::Cluster;
use super::search::Search;
use crate::sound::Whitening;

/// A group of taps analysed together.
pub(super) struct Group<'a> {
    pub search: Search<'a>,
    pub clusters: Vec<Cluster>,
    pub whitening: &'a Whitening,
    pub origin_s: f64,
}
