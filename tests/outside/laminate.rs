//! Laminates against a textbook's worked example and against glue lines computed apart from this code.

use nalgebra::Matrix3;
use ringwright::plan::{Layer, glue_line, laminate, stiffness_matrix};

fn graphite(degrees: f64) -> Layer {
    Layer {
        thickness_m: 5e-3,
        along_pa: 181e9,
        across_pa: 10.3e9,
        shear_pa: 7.17e9,
        poisson: 0.28,
        density_kg_m3: 1600.0,
        angle_rad: degrees.to_radians(),
        loss: [0.01; 3],
    }
}

/// Entries 11, 12, 16, 22, 26, 66 as a textbook prints them, four digits.
fn agrees(what: &str, got: &Matrix3<f64>, printed: [f64; 6]) {
    let places = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)];
    for (place, value) in places.into_iter().zip(printed) {
        assert!((got[place] / value - 1.0).abs() < 6e-4, "{what} {place:?}: {} printed {value}", got[place]);
        let mirror = got[(place.1, place.0)];
        assert!((got[place] - mirror).abs() <= 1e-9 * got[place].abs(), "{what} is not symmetric");
    }
}

/// Kaw, Mechanics of Composite Materials (2nd ed.), examples 2.6, 2.7 and 4.2: graphite/epoxy, [0/30/-45], 5 mm each.
/// Numbers as read in a public transcription.
#[test]
fn matrices_are_those_of_the_textbook() {
    let giga = |m: Matrix3<f64>| m * 1e-9;
    let along = giga(stiffness_matrix(&graphite(0.0)));
    for (place, value) in [((0, 0), 181.8), ((0, 1), 2.897), ((1, 1), 10.35), ((2, 2), 7.17)] {
        assert!((along[place] / value - 1.0).abs() < 6e-4, "{place:?} {}", along[place]);
    }
    agrees("Q-bar at 60 degrees", &giga(stiffness_matrix(&graphite(60.0))), [23.65, 32.46, 20.05, 109.4, 54.19, 36.74]);
    let three = laminate(&[graphite(0.0), graphite(30.0), graphite(-45.0)]).expect("sound layers");
    agrees("A", &three.a, [1.739e9, 3.884e8, 5.663e7, 4.533e8, -1.141e8, 4.525e8]);
    agrees("B", &three.b, [-3.129e6, 9.855e5, -1.072e6, 1.158e6, -1.072e6, 9.855e5]);
    agrees("D", &three.d, [3.343e4, 6.461e3, -5.240e3, 9.320e3, -5.596e3, 7.663e3]);
}

/// A glue line between 2.25 mm of 12 GPa and 2 mm of 10 GPa, from the full form of Ross, Kerwin and Ungar with the glue's own
/// stretching (project reference, computed apart from this code): film (mm), wave number (1/m), shear modulus (Pa), stiffness
/// over a perfect joint, loss factor for a glue of 0.1.
const LINES: [[f64; 5]; 5] = [
    [0.1, 5.9, 1e6, 0.970810, 2.864e-3],
    [0.1, 20.0, 1e6, 0.761004, 2.138e-2],
    [0.1, 20.0, 1e7, 0.966650, 3.268e-3],
    [0.1, 20.0, 1e8, 0.996528, 3.453e-4],
    [0.1, 5.9, 1e7, 0.996976, 2.993e-4],
];

#[test]
fn glue_lines_give_way_as_the_full_form_says() {
    for [film, wave_number, shear, stiffness, loss] in LINES {
        let (outer, inner) = (2.25e-3, 2.0e-3);
        let own = (12e9 * outer * outer * outer + 10e9 * inner * inner * inner) / 12.0;
        let distance = 0.5 * (outer + inner) + 1e-3 * film;
        let got = glue_line([12e9 * outer, 10e9 * inner], own, distance, (1e-3 * film, shear, 0.1), wave_number);
        // The film's own stretching, which is counted elsewhere, is worth up to 0.2 % here.
        assert!((got.0 / stiffness - 1.0).abs() < 2e-3, "{film} {wave_number} {shear}: {} {stiffness}", got.0);
        assert!((got.1 - loss).abs() < 3e-5, "{film} {wave_number} {shear}: {} {loss}", got.1);
    }
}

/// A metal beam damped by a coating on one side, as ASTM E756 treats it (the Oberst beam): EI and loss of the composite from
/// those of its layers, by the standard's formulas (from memory; computed apart from this code): base 70 GPa, 2700 kg/m3, 1.5 mm,
/// coating 2 GPa, 1400 kg/m3, 2.25 mm, loss factor 0.4: EI 1.8669765 times the base's, loss factor 0.178965328; the base's 100 Hz
/// become 102.478012 Hz.
#[test]
fn a_coated_beam_is_that_of_the_standard() {
    let layer = |thickness_m: f64, along_pa: f64, density_kg_m3: f64, loss: f64| Layer {
        thickness_m,
        along_pa,
        across_pa: along_pa,
        shear_pa: 0.5 * along_pa,
        poisson: 0.0,
        density_kg_m3,
        angle_rad: 0.0,
        loss: [loss; 3],
    };
    let base = layer(1.5e-3, 70e9, 2700.0, 0.0);
    let alone = laminate(&[base]).expect("sound");
    let coated = laminate(&[base, layer(2.25e-3, 2e9, 1400.0, 0.4)]).expect("sound");
    let stiffer = coated.strip_along / alone.strip_along;
    assert!((stiffer / 1.8669765 - 1.0).abs() < 1e-7, "{stiffer}");
    let hz = 100.0 * (stiffer * alone.mass_per_area / coated.mass_per_area).sqrt();
    assert!((hz - 102.478012).abs() < 1e-5, "{hz}");
    assert!((coated.loss_along / 0.178965328 - 1.0).abs() < 1e-6, "{}", coated.loss_along);
}
