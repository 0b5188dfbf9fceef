//! A maker's afternoon with a plate: sizes read with a rule, a calliper and a scale; tones heard, missed, and not the plate's.

use ringwright::part::Sizes;
use ringwright::stiffness::Tone;
use ringwright::uncertainty::{Cause, Figure};

use crate::dice::Dice;

/// Standard uncertainties of the readings: length, width, thickness (m), mass (kg).
pub const READ_WITHIN: [f64; 4] = [0.3e-3, 0.3e-3, 0.02e-3, 0.5e-3];

#[derive(Clone)]
pub struct Plate {
    /// Length along the grain, width, thickness (m) and mass (kg).
    pub sizes: [f64; 4],
    /// Along, across, shear (Pa).
    pub moduli: [f64; 3],
    pub tones: Vec<PlateTone>,
}

#[derive(Clone)]
pub struct PlateTone {
    pub hz: f64,
    /// 0 bending, 1 twist, 2 and more crosswise; `None` where two mix.
    pub lines_across_width: Option<usize>,
    /// Mass-normalised shape at the tap, near a corner (kg^-1/2).
    pub shape: f64,
}

pub struct Tapped {
    pub sizes: Sizes,
    /// Ascending.
    pub tones: Vec<Tone>,
    pub levels_db: Vec<f64>,
    /// What each is of; `None` for a tone of the hand, the table or the air.
    pub lines_across_width: Vec<Option<usize>>,
}

impl Tapped {
    pub fn new(plate: &Plate, seed: u64) -> Self {
        let mut dice = Dice::new(90_000 + seed);
        let highest = dice.uniform(500.0, 1000.0);
        let mut heard = Vec::new();
        for tone in plate.tones.iter().filter(|t| (60.0..highest).contains(&t.hz)) {
            if tone.shape.abs() < 0.6 || dice.uniform(0.0, 1.0) < 1.0 / 6.0 {
                continue;
            }
            let u = tone.hz * dice.log(3e-5, 1e-3);
            let tone_read = Tone { frequency_hz: tone.hz + u * dice.normal(), frequency_hz_u: u };
            heard.push((tone_read, 20.0 * tone.shape.abs().log10() + 4.0 * dice.normal(), tone.lines_across_width));
        }
        // Three in ten takes hold a tone that is not the plate's, one in ten two of them.
        let strays = match dice.uniform(0.0, 1.0) {
            x if x < 0.1 => 2,
            x if x < 0.3 => 1,
            _ => 0,
        };
        let loudest = heard.iter().map(|h| h.1).fold(f64::NEG_INFINITY, f64::max);
        for _ in 0..strays {
            let hz = dice.uniform(60.0, highest);
            let level = loudest - dice.uniform(3.0, 30.0);
            heard.push((Tone { frequency_hz: hz, frequency_hz_u: 1e-4 * hz }, level, None));
        }
        heard.sort_by(|a, b| a.0.frequency_hz.total_cmp(&b.0.frequency_hz));
        let causes = [Cause::Length, Cause::Width, Cause::Thickness, Cause::Mass];
        let mut read =
            |i: usize| Figure::new(plate.sizes[i] + READ_WITHIN[i] * dice.normal(), READ_WITHIN[i], causes[i].clone());
        let sizes = Sizes { length: read(0), width: read(1), thickness: read(2), mass: read(3) };
        Self {
            sizes,
            tones: heard.iter().map(|h| h.0).collect(),
            levels_db: heard.iter().map(|h| h.1).collect(),
            lines_across_width: heard.iter().map(|h| h.2).collect(),
        }
    }

    /// How many tones of a family were heard: 0 bending, 1 twist, 2 crosswise.
    pub fn heard_of(&self, family: usize) -> usize {
        self.lines_across_width.iter().flatten().filter(|n| (**n).min(2) == family).count()
    }
}
