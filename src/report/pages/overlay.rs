//! Stages laid over each other: their spectra, and how one and the same mode dies away in each.

use super::drawing::{Anchor, Axis, Drawing, MUTED, Panel, SERIES, Style};
use super::sheet::WIDTH;
use super::take_picture::{DecayPicture, TakePicture};
use crate::compare::Comparison;

const HEIGHT: f64 = 470.0;
/// A decay belongs to a mode whose frequency is the same within this share.
const SAME: f64 = 4e-3;

/// Room that the overlay takes; none without pictures.
pub(super) fn overlay_height(pictures: &[TakePicture]) -> f64 {
    if pictures.iter().filter(|p| !p.spectrum.is_empty()).count() > 1 { HEIGHT } else { 0.0 }
}

pub(super) fn overlay(on: &mut Drawing, comparisons: &[Comparison], pictures: &[TakePicture], top: f64) {
    let names: Vec<&str> = comparisons
        .first()
        .map(|c| c.baseline.as_str())
        .into_iter()
        .chain(comparisons.iter().map(|c| c.other.as_str()))
        .collect();
    // Which colour is which stage.
    let mut x = 90.0;
    for (name, colour) in names.iter().zip(SERIES) {
        on.line((x, top + 24.0), (x + 34.0, top + 24.0), colour, 4.0, false);
        on.text(x + 42.0, top + 30.0, name, Style { size: 17.0, bold: true, ..Style::default() });
        x += 80.0 + 11.0 * name.chars().count() as f64;
    }
    spectra(on, pictures, top + 80.0);
    decays(on, comparisons, pictures, top + 80.0);
}

fn spectra(on: &mut Drawing, pictures: &[TakePicture], top: f64) {
    let all = || pictures.iter().flat_map(|p| p.spectrum.iter());
    let (low, high) = all().fold((f64::INFINITY, 0.0f64), |(l, h), p| (l.min(p.0), h.max(p.0)));
    let loudest = all().map(|p| f64::from(p.1)).fold(-200.0, f64::max);
    let mut levels: Vec<f64> = all().map(|p| f64::from(p.1)).collect();
    levels.sort_by(f64::total_cmp);
    let quiet = levels.get(levels.len() / 10).copied().unwrap_or(loudest - 60.0).max(loudest - 100.0);
    let panel = Panel {
        left: 90.0,
        top,
        right: 930.0,
        bottom: top + 290.0,
        x: Axis::logarithmic(low, high),
        y: Axis::linear(quiet - 6.0, loudest + 8.0),
    };
    panel.draw(on, "Spectra after the taps", "frequency, Hz", "dB re full scale² per Hz");
    // The baseline on top.
    for (picture, colour) in pictures.iter().zip(SERIES).rev() {
        let points: Vec<_> = picture.spectrum.iter().map(|p| panel.at(p.0, f64::from(p.1))).collect();
        on.polyline(&points, colour, 1.5, 0.9);
    }
}

fn decays(on: &mut Drawing, comparisons: &[Comparison], pictures: &[TakePicture], top: f64) {
    let followed = followed(comparisons, pictures);
    let shown = || followed.iter().flatten().flat_map(|d| d.points.iter());
    let until = shown().map(|p| f64::from(p.0)).fold(0.05, f64::max);
    let floor = shown().map(|p| f64::from(p.1)).fold(-20.0, f64::min);
    let panel = Panel {
        left: 1010.0,
        top,
        right: WIDTH - 40.0,
        bottom: top + 290.0,
        x: Axis::linear(0.0, 1.05 * until),
        y: Axis::linear(floor.max(-80.0) - 4.0, 6.0),
    };
    panel.draw(on, "One mode, stage by stage", "time after the strike, s", "dB re the strike");
    if followed.iter().flatten().count() == 0 {
        let style = Style { size: 17.0, colour: MUTED, ..Style::default() };
        on.text(panel.left + 20.0, panel.top + 40.0, "no mode was found in all stages", style);
    }
    let mut ends = Vec::new();
    for (decay, colour) in followed.iter().zip(SERIES) {
        let Some(decay) = decay else { continue };
        let points: Vec<_> = decay.points.iter().map(|p| panel.at(f64::from(p.0), f64::from(p.1))).collect();
        on.polyline(&points, colour, 2.6, 0.9);
        ends.extend(points.last().map(|(x, y)| (x.max(panel.left + 70.0), y - 8.0, colour, decay.frequency_hz)));
    }
    for (x, y, colour, hz) in apart(ends) {
        let style = Style { size: 15.0, colour, bold: true, anchor: Anchor::End, halo: true };
        on.text(x, y, &format!("{hz:.0} Hz"), style);
    }
}

/// A label's place (x, y), its colour, and the frequency that it tells.
type Label = (f64, f64, &'static str, f64);

/// Labels, the upper ones moved up until none lies over another.
fn apart(mut labels: Vec<Label>) -> Vec<Label> {
    labels.sort_by(|a, b| b.1.total_cmp(&a.1));
    for i in 1..labels.len() {
        for lower in 0..i {
            let (below, own) = (labels[lower], labels[i]);
            if (below.0 - own.0).abs() < LABEL.0 && below.1 - own.1 < LABEL.1 {
                labels[i].1 = below.1 - LABEL.1;
            }
        }
    }
    labels
}

/// Width and height of a label.
const LABEL: (f64, f64) = (75.0, 18.0);

/// The baseline's strongest mode that has a partner in most stages, and its partners: a decay for each picture.
fn followed<'a>(comparisons: &[Comparison], pictures: &'a [TakePicture]) -> Vec<Option<&'a DecayPicture>> {
    let near = |picture: &'a TakePicture, hz: f64| {
        picture.decays.iter().find(|d| (d.frequency_hz / hz - 1.0).abs() < SAME && d.points.len() > 2)
    };
    let Some((first, rest)) = pictures.split_first() else { return Vec::new() };
    let partners = |decay: &'a DecayPicture| -> Vec<Option<&'a DecayPicture>> {
        let of = |(c, picture): (&Comparison, &'a TakePicture)| {
            // Nothing tells which mode is which: none is drawn as the same.
            if c.undecided {
                return None;
            }
            let rows = c.pairs.iter().filter_map(|(_, rows)| rows.iter().find(|r| r.code == "frequency_hz"));
            let mut same = rows.filter(|r| (r.baseline.value / decay.frequency_hz - 1.0).abs() < SAME);
            near(picture, same.next()?.other.value)
        };
        comparisons.iter().zip(rest).map(of).collect()
    };
    let all = first.decays.iter().filter(|d| d.points.len() > 2).map(|d| (d, partners(d)));
    // The first of those with most partners: decays come strongest first.
    let best = all.rev().max_by_key(|(_, partners)| partners.iter().flatten().count());
    best.map_or(Vec::new(), |(own, partners)| std::iter::once(Some(own)).chain(partners).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_lie_apart() {
        let told = apart(vec![
            (100.0, 50.0, "a", 1.0),
            (120.0, 55.0, "b", 2.0),
            (130.0, 52.0, "c", 3.0),
            (300.0, 51.0, "d", 4.0),
        ]);
        let y = |hz: f64| told.iter().find(|l| l.3 == hz).map(|l| l.1);
        assert_eq!((y(2.0), y(3.0), y(1.0), y(4.0)), (Some(55.0), Some(37.0), Some(19.0), Some(51.0)));
    }
}
