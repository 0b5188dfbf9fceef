//! How far a ring gives: at a point of a free one, and squeezed between two opposite points.
//!
//! Published: a ring pressed between two opposite forces F closes by (pi/4 - 2/pi) F R^3/EI = 0.1488 (Roark's Formulas for Stress and Strain,
//! circular rings, case 1; from memory, and again as 4/pi times the sum of 1/(n^2 - 1)^2 over even n from 2). A free one gives at the point
//! that is pushed pi/12 - 11/(16 pi) = 0.0430 F R^3/EI (the same sum over all n from 2, over pi).

use ringwright::loss::{Mobility, StationMode, compliance};
use ringwright::rim::{Outline, Plane, Rim, Section};
use ringwright::uncertainty::Figure;

const RADIUS_M: f64 = 0.2;
const THICKNESS_M: f64 = 2e-3;
const DEPTH_M: f64 = 0.02;
const ALONG_PA: f64 = 12e9;

fn ring() -> (Rim, f64) {
    let section = Section::strip(THICKNESS_M, DEPTH_M, ALONG_PA, 0.9e9, 600.0);
    let bending = ALONG_PA * DEPTH_M * THICKNESS_M.powi(3) / 12.0;
    (Rim::closed(&Outline::circle(RADIUS_M), 400, &section, &[]), RADIUS_M.powi(3) / bending)
}

#[test]
fn a_squeezed_ring_closes_as_published() {
    let (rim, unit) = ring();
    let closes = rim.squeeze(rim.node_at(0.0), rim.node_at(0.5), 1.0).expect("it can be solved");
    assert!((closes / (0.148_779 * unit) - 1.0).abs() < 0.003, "{}", closes / unit);
}

/// From its lowest modes, each with its motion across at the point.
#[test]
fn a_free_ring_gives_as_its_series_says() {
    let (rim, unit) = ring();
    let modes = rim.modes(Plane::In, 12).expect("it can be solved");
    let node = rim.node_at(0.1);
    // Modes come in pairs of one frequency: together they move the point as one that is turned towards it.
    let at_point = modes.chunks(2).map(|pair| StationMode {
        frequency: Figure::exact(pair[0].frequency_hz),
        damping_ratio: Figure::exact(0.01),
        modal_mass: Figure::exact(1.0 / pair.iter().map(|m| rim.outward_shape(m, node).powi(2)).sum::<f64>()),
    });
    let given = compliance(&Mobility::new(at_point.collect()).expect("modes"));
    assert!((given.value / (0.042_961 * unit) - 1.0).abs() < 0.005, "{}", given.value / unit);
}
