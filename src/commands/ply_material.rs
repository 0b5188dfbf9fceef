//! From the measured take of a flat blank to what a ply of it is made of.

use anyhow::Context;

use crate::part::Measured;
use crate::plan::Material;
use crate::report::RecordingEntry;

/// The quantity of a code, with all its sources.
fn quantity(take: &RecordingEntry, code: &str) -> Option<Measured> {
    take.part.as_ref()?.quantities.iter().find(|q| q.code == code)?.measured.clone()
}

/// The take, of several of one blank, that knows E best.
pub fn best_take<'a>(takes: impl Iterator<Item = &'a RecordingEntry>) -> Option<&'a RecordingEntry> {
    let known = |take: &RecordingEntry| quantity(take, "modulus_along_pa").map(|e| e.relative_u());
    takes.filter_map(|take| Some((known(take)?, take))).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, take)| take)
}

/// What the blank of a take is made of, called `name`; the sources of its uncertainty are those of one `board`.
///
/// # Errors
/// If the take tells no modulus or no density.
pub fn material_of(take: &RecordingEntry, name: &str, board: &str) -> anyhow::Result<Material> {
    let own = |m: Measured| m.renamed(|source| format!("{source} of {board}"));
    let wanted =
        |code: &str, what: &str| quantity(take, code).map(own).with_context(|| format!("{name}: {what} is not known"));
    let along = wanted("modulus_along_pa", "E along")?;
    // What these taps do not tell is as in wood at large, with its spread.
    let guess = |value: f64, what: &str| Measured::new(value, 0.4 * value, &format!("{what} of {board}"));
    let ratio = |share: f64, what: &str| Measured::combine(&[&along, &guess(share, what)], |x| x[0] * x[1]);
    let shear_loss = quantity(take, "loss_factor_twist").map(own).unwrap_or_else(|| guess(0.018, "loss in shear"));
    Ok(Material {
        name: name.to_owned(),
        across: quantity(take, "modulus_across_pa").map(own).unwrap_or_else(|| ratio(0.075, "E across over along")),
        shear: quantity(take, "shear_modulus_pa").map(own).unwrap_or_else(|| ratio(0.074, "G over E along")),
        poisson: Measured::new(0.40, 0.083, &format!("Poisson's ratio of {board}")),
        density: wanted("density_kg_m3", "the density")?,
        loss: [
            quantity(take, "loss_factor_along").map(own).unwrap_or_else(|| guess(0.010, "loss along")),
            Measured::combine(&[&shear_loss, &guess(1.2, "loss across over shear")], |x| x[0] * x[1]),
            shear_loss,
        ],
        from_table: false,
        along,
    })
}
