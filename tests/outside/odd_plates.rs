//! Blanks with the grain at an angle, bowed, wedged, with a knot, and nearly none of it, against shallow shells by another program
//! (`fem/odd_blanks.py`): what is given without doubt is never far off, and blanks that are nearly as they should be are given.

use ringwright::part::{Departures, Sizes};
use ringwright::stiffness::{BlankNote, Modulus, Tone, odd_blank};
use ringwright::uncertainty::{Cause, Figure};

fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
    text.lines()
        .filter(|l| l.starts_with(|c: char| c.is_ascii_digit()))
        .map(|l| l.split(',').map(|v| v.parse().unwrap_or_else(|e| panic!("{v}: {e}"))).collect())
}

/// Every so many of the blanks; exact readings with usual uncertainties, all tones from 60 to 700 Hz that a corner shows.
#[test]
fn odd_blanks_are_never_sure_and_wrong() {
    let tones: Vec<Vec<f64>> = rows(include_str!("fem/odd_blanks_tones.csv")).collect();
    let (mut nearly, mut given) = (0, 0);
    let mut wrong = Vec::new();
    for r in rows(include_str!("fem/odd_blanks.csv")).filter(|r| r[0] as usize % 27 == 13) {
        let heard: Vec<Tone> = tones
            .iter()
            .filter(|t| t[0] == r[0] && (60.0..700.0).contains(&t[1]) && t[4] > 0.6)
            .map(|t| Tone { frequency_hz: t[1], frequency_hz_u: 1e-4 * t[1] })
            .collect();
        let sizes = Sizes {
            length: Figure::new(r[2], 3e-4, Cause::Length),
            width: Figure::new(r[3], 3e-4, Cause::Width),
            thickness: Figure::new(r[4], 2e-5, Cause::Thickness),
            mass: Figure::new(r[24], 5e-4, Cause::Mass),
        };
        let departures = Departures { wedge: [r[12], r[13]], ..Departures::default() };
        let found = odd_blank(&sizes, &departures, &heard, &[]);
        let mean = r[20];
        let figures = [
            (Modulus::Along, &found.along_length, r[21]),
            (Modulus::Along, &found.along, mean * r[6]),
            (Modulus::Across, &found.across, mean * r[7]),
            (Modulus::Shear, &found.shear, mean * r[8]),
        ];
        if r[1] == 5.0 && heard.len() > 8 {
            nearly += 1;
            given += usize::from(found.along_length.is_some());
        }
        for (which, figure, truth) in figures {
            let doubted = found.notes.iter().any(|note: &BlankNote| note.speaks_against(which));
            if let Some(figure) = figure.as_ref().filter(|_| !doubted)
                && (figure.value - truth).abs() > 2.5 * figure.half_95()
            {
                wrong.push(format!("{} {which:?}: {:.3e} for {truth:.3e}", r[0], figure.value));
            }
        }
    }
    assert!(wrong.is_empty(), "sure and wrong: {wrong:?}");
    assert!(nearly >= 4 && 10 * given >= 7 * nearly, "{given} of {nearly} are given");
}
