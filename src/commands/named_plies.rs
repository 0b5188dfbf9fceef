//! Plies, glues and sizes as they are named on the command line.

use std::path::Path;

use anyhow::{Context, anyhow, bail};

use super::compare::{described, named_inputs};
use super::inputs::Input;
use super::take::measure_alone;
use crate::analysis::{NamedPly, Options, best_take, material_of};
use crate::modes::Estimator;
use crate::part::{Dimension, parse_readings, station_of};
use crate::plan::{Glue, find_glue, find_wood, to_be_made};
use crate::uncertainty::Scope;

/// Thicknesses of plies (m); `what` names them in errors.
pub fn lengths(text: &str, what: &str) -> anyhow::Result<Vec<f64>> {
    let all = parse_readings(text, Dimension::Length).map_err(|e| anyhow!("{what}: {e}"))?;
    match all.iter().find(|t| !(**t >= 1e-4 && **t <= 1e-2)) {
        Some(odd) => bail!("{what}: {} mm is no thickness of a ply (0.1 to 10 mm)", 1e3 * odd),
        None => Ok(all),
    }
}

/// The same, just one.
pub fn one_length(text: &str, what: &str) -> anyhow::Result<f64> {
    match lengths(text, what)?[..] {
        [one] => Ok(one),
        _ => bail!("{what} {text:?}: one size is needed"),
    }
}

/// "epoxy 0.1 mm", "hide glue", "none".
pub fn glue(text: &str) -> anyhow::Result<Option<(&'static Glue, f64)>> {
    if text.trim() == "none" {
        return Ok(None);
    }
    let (name, film) = text.split_at(text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.len()));
    let glue = find_glue(name).map_err(|e| anyhow!("--glue: {e}, none"))?;
    let film = if film.is_empty() { 1e-4 } else { parse_film(film)? };
    Ok(Some((glue, film)))
}

fn parse_film(text: &str) -> anyhow::Result<f64> {
    match parse_readings(text, Dimension::Length).map_err(|e| anyhow!("--glue: {e}"))?[..] {
        [film] if film > 0.0 && film <= 1e-3 => Ok(film),
        _ => bail!("--glue {text:?}: one film of up to 1 mm is needed"),
    }
}

/// A ply as it was named: takes of a flat blank, or a wood of the table with or without a thickness.
pub fn ply(text: &str, board: &str) -> anyhow::Result<NamedPly> {
    let path = Path::new(text);
    if path.exists() {
        return tapped(path, board);
    }
    if text.contains('/') || text.contains('\\') {
        bail!("{text}: no such folder of takes");
    }
    let at = text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.len());
    let (name, size) = text.split_at(at);
    let wood = find_wood(name).map_err(|e| anyhow!(e))?;
    let thickness = if size.is_empty() {
        None
    } else {
        let length = one_length(size, text)?;
        Some(to_be_made(length, board))
    };
    Ok(NamedPly { material: wood.material(board), thickness, tones: Vec::new() })
}

/// A flat blank that was tapped: its moduli, density and losses as they were measured.
fn tapped(path: &Path, board: &str) -> anyhow::Result<NamedPly> {
    let shown = path.display();
    let part = described(path)?
        .with_context(|| format!("{shown}: the blank's sizes and mass are not described (see `compare --help`)"))?;
    let thickness = part.thickness.clone().with_context(|| format!("{shown}: the blank's thickness is not given"))?;
    let options = Options { part: Some(part), ..Options::default() };
    let mut estimator = Estimator::default();
    // A blank with a mass stuck on is another body.
    let bare = |input: &&Input| input.as_ref().is_ok_and(|path| station_of(path).added.value == 0.0);
    let takes: Vec<_> = named_inputs(path)
        .iter()
        .filter(bare)
        .map(|input| measure_alone(input, &options, &mut estimator).take)
        .collect();
    let Some(best) = best_take(takes.iter()) else {
        bail!("{shown}: no take here tells the blank's moduli; `measure` says why");
    };
    Ok(NamedPly {
        material: material_of(best, &shown.to_string(), board)?,
        thickness: Some(thickness.scoped(&Scope::Board(board.into()), |_| true)),
        tones: best.plain_modes().map(|m| m.frequency.clone()).collect(),
    })
}
