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
