//! The plates of `tests/outside/fem`.

use super::tapped::{Plate, PlateTone};

fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
    let numbers = |l: &str| l.split(',').map(|v| v.parse().unwrap_or_else(|e| panic!("{v}: {e}"))).collect();
    text.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())).map(numbers)
}

/// Sizes and moduli of a table's plates, their tones still to come.
fn bare(table: &str) -> Vec<Plate> {
    rows(table)
        .map(|r| Plate {
            sizes: [r[1], r[2], r[3], r[4] * r[1] * r[2] * r[3]],
            moduli: [r[5], r[6], r[7]],
            tones: Vec::new(),
        })
        .collect()
}

/// The plates with their tones, of which each row of the table has one, times what the thickness leaves of it.
fn toned(mut plates: Vec<Plate>, tones: &str, thick: impl Iterator<Item = f64>) -> Vec<Plate> {
    for (r, ratio) in rows(tones).zip(thick) {
        let lines_across_width = (r[3] >= 0.0).then_some(r[3] as usize);
        plates[r[0] as usize].tones.push(PlateTone { hz: r[1] * ratio, lines_across_width, shape: r[4] });
    }
    plates.iter_mut().for_each(|p| p.tones.sort_by(|a, b| a.hz.total_cmp(&b.hz)));
    plates
}

/// Side blanks: thin plates, and what their thickness takes beside them.
pub fn plates() -> Vec<Plate> {
    let thick = rows(include_str!("../../../tests/outside/fem/plates_thick.csv")).map(|r| r[3]);
    let bare = bare(include_str!("../../../tests/outside/fem/blanks.csv"));
    toned(bare, include_str!("../../../tests/outside/fem/plates.csv"), thick)
}

/// Widely drawn woods and panels: finite elements of another program, thickness and all.
pub fn woods() -> Vec<Plate> {
    let bare = bare(include_str!("../../../tests/outside/fem/woods.csv"));
    toned(bare, include_str!("../../../tests/outside/fem/woods_tones.csv"), std::iter::repeat(1.0))
}

/// What an odd blank is, beside its tones.
#[derive(Clone)]
pub struct Odd {
    pub plate: Plate,
    /// Of the mean wood in the blank's own axes: E along the length (Pa).
    pub along_length_pa: f64,
    /// The grain's angle to the length (degrees), the rise of the bow (m).
    pub grain_deg: f64,
    pub bow_m: f64,
    /// Half the difference of thickness from end to end and from edge to edge, over the mean.
    pub wedge: [f64; 2],
}

/// Odd blanks of one kind (0 grain at an angle, 1 bowed, 2 wedged, 3 with a knot, 4 all of it, 5 nearly none).
pub fn odd(kind: usize) -> Vec<Odd> {
    let table = include_str!("../../../tests/outside/fem/odd_blanks.csv");
    let one = |r: &Vec<f64>| {
        let mean = r[20];
        let moduli = [mean * r[6], mean * r[7], mean * r[8]];
        let plate = Plate { sizes: [r[2], r[3], r[4], r[24]], moduli, tones: Vec::new() };
        Odd { plate, along_length_pa: r[21], grain_deg: r[10], bow_m: r[11], wedge: [r[12], r[13]] }
    };
    let all: Vec<Vec<f64>> = rows(table).collect();
    let plates = all.iter().map(|r| one(r).plate).collect();
    let tones = include_str!("../../../tests/outside/fem/odd_blanks_tones.csv");
    let toned = toned(plates, tones, std::iter::repeat(1.0));
    let with = |(r, plate): (&Vec<f64>, Plate)| Odd { plate, ..one(r) };
    all.iter().zip(toned).filter(|(r, _)| r[1] as usize == kind).map(with).collect()
}
