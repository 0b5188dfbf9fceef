//! The wall of a free rim as a shell in straight facets: along the rim as frame elements, across its depth as polynomials.
//!
//! A side does not bend as a beam of one section: between stiff linings its middle bows, and its bands along the edges stretch
//! less than a beam's theory has it. Thin-shell theory (Kirchhoff and Love) of flat facets: strains at the middle surface, changes
//! of curvature about it, the layers' inertia; across the depth Legendre's polynomials, even ones for movement alike above and
//! below mid-depth, odd ones for movement that is opposite. Derived here; checked by solids in finite elements
//! (`tests/outside/rims_built.rs`, `tests/outside/rim_elements.rs`).

use nalgebra::SMatrix;

use super::shell::{Shell, Wall};

/// Polynomials across the depth for movement in the rim's plane, and for that up and down. Both kinds of modes have as many.
pub(super) const ACROSS: usize = 4;
pub(super) const UPWARDS: usize = 3;
/// Unknowns at a node: (x, y, turn) for each polynomial in the plane, then up and down.
pub(super) const PER_NODE: usize = 3 * ACROSS + UPWARDS;
const BOTH: usize = 2 * PER_NODE;
pub(super) type Element = SMatrix<f64, BOTH, BOTH>;

/// Gauss's points and weights over 0 to 1: across the middle (seven, exact to degree 13), across the short bands along the edges
/// (four), and along an element (three).
const BAND: [(f64, f64); 7] = [
    (0.025446043828620737, 0.06474248308443485),
    (0.12923440720030278, 0.13985269574463833),
    (0.297_077_424_311_301_4, 0.19091502525255947),
    (0.5, 0.208_979_591_836_734_7),
    (0.702_922_575_688_698_6, 0.19091502525255947),
    (0.870_765_592_799_697_2, 0.13985269574463833),
    (0.974_553_956_171_379_3, 0.06474248308443485),
];
const EDGE: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.17392742256872693),
    (0.330_009_478_207_571_9, 0.32607257743127307),
    (0.669_990_521_792_428_1, 0.32607257743127307),
    (0.930_568_155_797_026_3, 0.17392742256872693),
];
const ALONG: [(f64, f64); 3] =
    [(0.11270166537925831, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];

/// Whether movement in the plane is opposite above and below mid-depth: that of modes out of the rim's plane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Parity {
    Alike,
    Opposite,
}

impl Parity {
    fn first(self) -> (usize, usize) {
        match self {
            Self::Alike => (0, 1),
            Self::Opposite => (1, 0),
        }
    }

    /// In the plane and upwards: value, slope and curvature of each polynomial at a height above mid-depth.
    pub(super) fn polynomials(self, depth_m: f64, z: f64) -> ([[f64; 3]; ACROSS], [[f64; 3]; UPWARDS]) {
        let all = legendre(2.0 * z / depth_m);
        let scale = [1.0, 2.0 / depth_m, 4.0 / (depth_m * depth_m)];
        let of = |degree: usize| std::array::from_fn(|i| all[degree][i] * scale[i]);
        let (across, upwards) = self.first();
        (std::array::from_fn(|k| of(across + 2 * k)), std::array::from_fn(|k| of(upwards + 2 * k)))
    }
}

/// What the movement of a node at mid-depth is made of: for each of three figures unknowns of the node, and their shares.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    parts: [Vec<(usize, f64)>; 3],
    /// So many of them move a mass that is stuck on.
    heavy: usize,
}

impl Reading {
    /// The first three unknowns as they stand.
    pub(super) fn plain(heavy: usize) -> Self {
        Self { parts: [0, 1, 2].map(|i| vec![(i, 1.0)]), heavy }
    }

    /// Of a wall: (x, y, turn) in the plane, (height, turn about x, turn about y) out of it.
    pub(super) fn of(parity: Parity, depth_m: f64) -> Self {
        let (across, upwards) = parity.polynomials(depth_m, 0.0);
        let plane = |component: usize, order: usize, sign: f64| -> Vec<(usize, f64)> {
            across.iter().enumerate().map(|(k, p)| (3 * k + component, sign * p[order])).collect()
        };
        match parity {
            Parity::Alike => Self { parts: [0, 1, 2].map(|i| plane(i, 0, 1.0)), heavy: 2 },
            Parity::Opposite => {
                let height = upwards.iter().enumerate().map(|(k, p)| (3 * ACROSS + k, p[0])).collect();
                // An upright line that turns about x moves towards -y with its height.
                Self { parts: [height, plane(1, 1, -1.0), plane(0, 1, 1.0)], heavy: 1 }
            }
        }
    }

    pub(super) fn moved(&self) -> &[Vec<(usize, f64)>] {
        &self.parts[..self.heavy]
    }

    pub(super) fn read(&self, node: &[f64]) -> [f64; 3] {
        [0, 1, 2].map(|i| self.parts[i].iter().map(|(at, share)| share * node[*at]).sum())
    }
}

/// Legendre's polynomials, their slopes and curvatures at x, by their recurrences.
fn legendre(x: f64) -> [[f64; 3]; 2 * ACROSS] {
    let mut p = [[0.0; 3]; 2 * ACROSS];
    p[0] = [1.0, 0.0, 0.0];
    p[1] = [x, 1.0, 0.0];
    for n in 1..2 * ACROSS - 1 {
        let (a, b, of) = ((2 * n + 1) as f64, n as f64, (n + 1) as f64);
        let (last, now) = (p[n - 1], p[n]);
        p[n + 1] = [
            (a * x * now[0] - b * last[0]) / of,
            (a * (now[0] + x * now[1]) - b * last[1]) / of,
            (a * (2.0 * now[1] + x * now[2]) - b * last[2]) / of,
        ];
    }
    p
}

/// The shapes of an element of length l at a share of it: linear, and cubic with value, slope and curvature.
struct Shapes {
    linear: [f64; 2],
    cubic: [[f64; 3]; 4],
}

fn shapes(l: f64, t: f64) -> Shapes {
    let (t2, t3) = (t * t, t * t * t);
    Shapes {
        linear: [1.0 - t, t],
        cubic: [
            [1.0 - 3.0 * t2 + 2.0 * t3, (6.0 * t2 - 6.0 * t) / l, (12.0 * t - 6.0) / (l * l)],
            [l * (t - 2.0 * t2 + t3), 1.0 - 4.0 * t + 3.0 * t2, (6.0 * t - 4.0) / l],
            [3.0 * t2 - 2.0 * t3, (6.0 * t - 6.0 * t2) / l, (6.0 - 12.0 * t) / (l * l)],
            [l * (t3 - t2), 3.0 * t2 - 2.0 * t, (6.0 * t - 2.0) / l],
        ],
    }
}

/// Where the unknowns of an element stand, in its own axes: along, inwards and its slope for a polynomial, and upwards.
const fn along_at(end: usize, k: usize) -> usize {
    end * PER_NODE + 3 * k
}
const fn inwards_at(i: usize, k: usize) -> usize {
    (i / 2) * PER_NODE + 3 * k + 1 + i % 2
}
const fn up_at(end: usize, k: usize) -> usize {
    end * PER_NODE + 3 * ACROSS + k
}

/// Stiffness and mass of an element, in the rim's axes; `along`: its unit direction.
pub(super) fn facet(wall: &Wall, parity: Parity, length: f64, along: (f64, f64)) -> (Element, Element) {
    let (mut stiff, mut mass) = (Element::zeros(), Element::zeros());
    for (from, to, shell) in wall.bands() {
        let points: &[(f64, f64)] = if from > 0.0 { &EDGE } else { &BAND };
        for (share, weight) in points {
            let z = from + share * (to - from);
            // Above and below mid-depth alike.
            let weight = 2.0 * weight * (to - from);
            line(shell, &parity.polynomials(wall.depth_m, z), length, weight, (&mut stiff, &mut mass));
        }
    }
    let (c, s) = along;
    let turned = |m: Element| {
        let mut m = m;
        for first in (0..2).flat_map(|end| (0..ACROSS).map(move |k| along_at(end, k))) {
            for other in 0..BOTH {
                let (a, b) = (m[(first, other)], m[(first + 1, other)]);
                (m[(first, other)], m[(first + 1, other)]) = (c * a - s * b, s * a + c * b);
            }
            for other in 0..BOTH {
                let (a, b) = (m[(other, first)], m[(other, first + 1)]);
                (m[(other, first)], m[(other, first + 1)]) = (c * a - s * b, s * a + c * b);
            }
        }
        m
    };
    (turned(stiff), turned(mass))
}

/// A row of an element that is mostly empty.
#[derive(Clone, Copy)]
struct Row {
    entries: [(usize, f64); 4 * ACROSS],
    count: usize,
}

impl Row {
    const EMPTY: Self = Self { entries: [(0, 0.0); 4 * ACROSS], count: 0 };

    fn put(&mut self, at: usize, value: f64) {
        self.entries[self.count] = (at, value);
        self.count += 1;
    }

    fn entries(&self) -> &[(usize, f64)] {
        &self.entries[..self.count]
    }
}

/// Adds a product of two rows, and its mirror image if they differ.
fn product(into: &mut Element, a: &Row, b: &Row, factor: f64, mirrored: bool) {
    for (i, one) in a.entries() {
        let one = factor * one;
        for (j, other) in b.entries() {
            into[(*i, *j)] += one * other;
            if mirrored {
                into[(*j, *i)] += one * other;
            }
        }
    }
}

/// What a line along the element, so broad, adds.
fn line(
    shell: &Shell,
    (across, upwards): &([[f64; 3]; ACROSS], [[f64; 3]; UPWARDS]),
    length: f64,
    breadth: f64,
    (stiff, mass): (&mut Element, &mut Element),
) {
    // Bending along the rim is split: its mean over the element goes with the stretch (a linear one could not follow more), the rest
    // bends about the neutral line, softened by shear through the thickness, as in a Timoshenko element.
    let mut rest = Row::EMPTY;
    for (k, p) in across.iter().enumerate() {
        for (i, part) in [1.0, 0.5 * length, -1.0, 0.5 * length].into_iter().enumerate() {
            rest.put(inwards_at(i, k), part * p[0]);
        }
    }
    let own = shell.strip();
    let soft = 1.0 + 12.0 * own / (shell.through_n_m * length * length);
    product(stiff, &rest, &rest, breadth * 12.0 * own / (length.powi(3) * soft), false);
    for (share, weight) in ALONG {
        let Shapes { linear, cubic } = shapes(length, share);
        // Strains 11, 22 and shear, and the same of bending.
        let mut strains = [Row::EMPTY; 6];
        let [mut ahead, mut inward, mut upward, mut slope_along, mut slope_up] = [Row::EMPTY; 5];
        for (k, p) in across.iter().enumerate() {
            for (end, sign) in [(0, -1.0), (1, 1.0)] {
                let at = along_at(end, k);
                strains[0].put(at, sign / length * p[0]);
                // Shear as at the middle: linear shapes would lock else.
                strains[2].put(at, 0.5 * p[1]);
                ahead.put(at, linear[end] * p[0]);
                strains[3].put(inwards_at(2 * end + 1, k), -sign / length * p[0]);
            }
            for (i, n) in cubic.iter().enumerate() {
                let at = inwards_at(i, k);
                strains[4].put(at, -n[0] * p[2]);
                strains[5].put(at, -2.0 * n[1] * p[1]);
                inward.put(at, n[0] * p[0]);
                slope_along.put(at, n[1] * p[0]);
                slope_up.put(at, n[0] * p[1]);
            }
        }
        for (k, p) in upwards.iter().enumerate() {
            for (end, sign) in [(0, -1.0), (1, 1.0)] {
                let at = up_at(end, k);
                strains[1].put(at, linear[end] * p[1]);
                strains[2].put(at, sign / length * p[0]);
                upward.put(at, linear[end] * p[0]);
            }
        }
        let area = weight * length * breadth;
        let entry = |i: usize, j: usize| match (i / 3, j / 3) {
            (0, 0) => shell.stretch[(i, j)],
            (1, 1) => shell.bend[(i - 3, j - 3)],
            _ => shell.couple[(i % 3, j % 3)],
        };
        for i in 0..6 {
            for j in i..6 {
                let value = entry(i, j);
                if value != 0.0 {
                    product(stiff, &strains[i], &strains[j], area * value, i != j);
                }
            }
        }
        let [m0, m1, m2] = shell.mass.map(|m| m * area);
        // A layer at a depth t moves by -t times the slope as well.
        for (moved, slope) in [(&ahead, &slope_along), (&upward, &slope_up)] {
            product(mass, moved, moved, m0, false);
            product(mass, moved, slope, -m1, true);
            product(mass, slope, slope, m2, false);
        }
        product(mass, &inward, &inward, m0, false);
    }
}
