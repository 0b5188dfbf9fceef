//! From the measured take of a flat blank to what a ply of it is made of.

use super::problem::Missing;
use super::take::Take;
use crate::plan::Material;
use crate::stiffness::QuantityKind;
use crate::uncertainty::{Cause, Figure, Scope, Source};

/// The take, of several of one blank, that knows E best.
pub fn best_take<'a>(takes: impl Iterator<Item = &'a Take>) -> Option<&'a Take> {
    let known = |take: &Take| take.part.as_ref()?.quantity(QuantityKind::ModulusAlong).map(Figure::relative_u_95);
    takes.filter_map(|take| Some((known(take)?, take))).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, take)| take)
}

/// Spread of what a tapped blank's taps leave open: it is as in wood at large (judgement, no source).
const SPREAD_AT_LARGE: f64 = 0.4;
const POISSON_AT_LARGE: (f64, f64) = (0.40, 0.083);

/// What the blank of a take is made of, called `name`; the sources of its uncertainty are those of one `board`.
///
/// # Errors
/// If the take has no modulus or no density.
pub fn material_of(take: &Take, name: &str, board: &str) -> Result<Material, Missing> {
    let scope = Scope::Board(board.into());
    let own = |kind: QuantityKind| {
        take.part.as_ref().and_then(|part| part.quantity(kind)).map(|figure| figure.scoped(&scope, |_| true))
    };
    let wanted =
        |kind: QuantityKind, what: &'static str| own(kind).ok_or_else(|| Missing { of: name.to_owned(), what });
    let along = wanted(QuantityKind::ModulusAlong, "E along")?;
    let guess = |value: f64, cause: Cause| {
        Figure::new(value, SPREAD_AT_LARGE * value, Source::from(cause).within(scope.clone()))
    };
    let ratio = |share: f64, cause: Cause| Figure::combine(&[&along, &guess(share, cause)], |x| x[0] * x[1]);
    let shear_loss = own(QuantityKind::LossTwist).unwrap_or_else(|| guess(0.018, Cause::LossInShear));
    let (poisson, poisson_u) = POISSON_AT_LARGE;
    Ok(Material {
        name: name.to_owned(),
        across: own(QuantityKind::ModulusAcross).unwrap_or_else(|| ratio(0.075, Cause::AcrossOverAlong)),
        shear: own(QuantityKind::ShearModulus).unwrap_or_else(|| ratio(0.074, Cause::ShearOverAlong)),
        poisson: Figure::new(poisson, poisson_u, Source::from(Cause::PoissonsRatio).within(scope.clone())),
        density: wanted(QuantityKind::Density, "the density")?,
        loss: [
            own(QuantityKind::LossAlong).unwrap_or_else(|| guess(0.010, Cause::LossAlong)),
            Figure::combine(&[&shear_loss, &guess(1.2, Cause::LossAcrossOverShear)], |x| x[0] * x[1]),
            shear_loss,
        ],
        from_table: false,
        along,
    })
}
