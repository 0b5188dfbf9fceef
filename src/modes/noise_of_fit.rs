//! The noise that a fit leaves: how large, how well known, and whether it is noise at all.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::cluster::Cluster;
use super::group::Group;

/// The noise in a cluster: variance relative to the room's density, its degrees of freedom, and whether the residual is
/// larger than the room's noise explains.
pub(super) struct NoiseOfFit {
    pub variance: f64,
    pub freedom: f64,
    pub misfit: bool,
    /// Share of the modes' energy that the fit leaves unexplained.
    pub unexplained: f64,
}

impl NoiseOfFit {
    pub(super) fn of(group: &Group<'_>, cluster: &Cluster) -> Self {
        let fit = &cluster.fit;
        let freedom = fit.freedom.max(1.0);
        let ratio = fit.chi2 / freedom;
        let taps = group.search.rings.len();
        let total: f64 = (0..taps).map(|t| cluster_energy(group, cluster, t)).sum();
        let unexplained = (fit.chi2 - freedom).max(0.0) / total.max(1.0);
        let prior = if group.search.noise_known { group.search.density.freedom } else { 0.0 };
        if prior < 1.0 {
            // Nothing tells noise from misfit: all that is left may be misfit.
            let unexplained = fit.chi2 / total.max(1.0);
            return Self { variance: ratio, freedom, misfit: true, unexplained };
        }
        let limit = FisherSnedecor::new(freedom, prior).map_or(3.0, |f| f.inverse_cdf(0.999));
        let misfit = ratio > limit;
        let (variance, freedom) =
            if misfit { (ratio, freedom) } else { ((prior + fit.chi2) / (prior + freedom), prior + freedom) };
        Self { variance, freedom, misfit, unexplained }
    }
}

/// Energies of all modes of a cluster in a tap.
fn cluster_energy(group: &Group<'_>, cluster: &Cluster, tap: usize) -> f64 {
    cluster.fit.components.iter().filter(|c| !c.steady).map(|c| group.search.energy(c, tap)).sum()
}
