//! A rim of pieces on an outline: its modes, its mobility at a station, and how far it gives under a hand.

use nalgebra::SMatrix;
use realfft::num_complex::Complex64;

use super::banded::{Banded, lowest_modes};
use super::frame::{Section, in_plane, out_of_plane};
use super::held::strip;
use super::outline::Outline;
use super::sheet::Sheet;
use super::wall::{PER_NODE, Parity, Reading, facet};

/// A stretch of the rim, as shares of the way around (from < to), that has another section: a block, a patch, a lining.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimPiece {
    pub from: f64,
    pub to: f64,
    pub section: Section,
}

/// Which way a mode moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plane {
    /// In the plane of the rim: what a tap on the side excites.
    In,
    /// Out of it: bending of the depth, and twist.
    Out,
    /// Between held edges: the side bows, most at mid-depth.
    Held,
}

/// A mode of the rim, of unit modal mass (kg).
#[derive(Debug, Clone, PartialEq)]
pub struct RimMode {
    pub frequency_hz: f64,
    /// Displacement of each node at mid-depth: (x, y, turn) in the plane and between held edges, (height, turn about x, turn about
    /// y) out of it.
    pub shape: Vec<[f64; 3]>,
}

/// A rim or an open side: a shell if all its sections know their walls, else a frame of beams.
#[derive(Debug, Clone)]
pub struct Rim {
    nodes: Vec<(f64, f64)>,
    /// Of the nodes of a closed rim: their shares of the way around.
    shares: Vec<f64>,
    sections: Vec<Section>,
    /// Point masses: node, kg.
    masses: Vec<(usize, f64)>,
    closed: bool,
    /// Depth of the sides (m), if their edges are held.
    held_m: Option<f64>,
}

/// Stiffness and mass of the whole, where in them each node's unknowns begin, and what a node's movement is made of.
struct Matrices {
    stiffness: Banded,
    mass: Banded,
    first: Vec<usize>,
    reading: Reading,
}

/// Frequencies below this (Hz) are a free body's own motions.
const AT_REST_HZ: f64 = 0.5;
/// The shift that keeps a free body's stiffness solvable: (2 pi 10 Hz)^2.
const SHIFT: f64 = 3947.8;

impl Rim {
    /// A closed rim of so many elements of one section, with other pieces laid over it, the later over the earlier.
    pub fn closed(outline: &Outline, elements: usize, section: &Section, pieces: &[RimPiece]) -> Self {
        let shares = ends_at_pieces(elements, pieces);
        let of = |i: usize| {
            let next = shares.get(i + 1).copied().unwrap_or(1.0 + shares[0]);
            let middle = 0.5 * (shares[i] + next);
            // A piece may reach over the tail: from below 0 or to above 1.
            let inside = |p: &&RimPiece| [-1.0, 0.0, 1.0].iter().any(|turn| (p.from..p.to).contains(&(middle + turn)));
            pieces.iter().rev().find(inside).map_or(*section, |p| p.section)
        };
        let nodes = shares.iter().map(|share| outline.at(*share)).collect();
        Self::of(nodes, (0..elements).map(of).collect(), Some(shares))
    }

    /// An open curve through points (m), both ends free: a bent side before it is glued up. As a rim runs, counterclockwise.
    pub fn open(points: &[(f64, f64)], section: &Section) -> Self {
        Self::of(points.to_vec(), vec![*section; points.len().saturating_sub(1)], None)
    }

    fn of(nodes: Vec<(f64, f64)>, sections: Vec<Section>, shares: Option<Vec<f64>>) -> Self {
        let closed = shares.is_some();
        let shares = shares.unwrap_or_default();
        let mut rim = Self { nodes, shares, sections, masses: Vec::new(), closed, held_m: None };
        let curved = |(i, section): (usize, &Section)| section.curved(rim.curvature(i));
        rim.sections = rim.sections.iter().enumerate().map(curved).collect();
        rim
    }

    /// By how much (1/m) the curve turns to the left about an element: as it does between the middles of its neighbours.
    fn curvature(&self, element: usize) -> f64 {
        let count = self.sections.len();
        let (before, after) = if self.closed {
            ((element + count - 1) % count, (element + 1) % count)
        } else {
            (element.saturating_sub(1), (element + 1).min(count - 1))
        };
        let way = |i: usize| {
            let (a, b) = self.ends(i);
            let (p, q) = (self.nodes[a], self.nodes[b]);
            (q.0 - p.0, q.1 - p.1)
        };
        let ((a, b), (c, d)) = (way(before), way(after));
        let turn = (a * d - b * c).atan2(a * c + b * d);
        // At an open end the element is its own neighbour.
        let mut run = 0.5 * (self.length(before) + self.length(after));
        if before != element && after != element {
            run += self.length(element);
        }
        turn / run
    }

    /// The same with a mass (kg) stuck on at a node.
    pub fn with_mass(mut self, node: usize, mass_kg: f64) -> Self {
        self.masses.push((node.min(self.nodes.len() - 1), mass_kg));
        self
    }

    /// The same with both edges of its sides held by the plates, so deep (m); every section must know its sheet.
    pub fn held(mut self, depth_m: f64) -> Self {
        self.held_m = Some(depth_m);
        self
    }

    /// How a tap across the side moves it.
    pub fn sideways(&self) -> Plane {
        if self.held_m.is_some() { Plane::Held } else { Plane::In }
    }

    /// The node nearest to a share of the way around.
    pub fn node_at(&self, share: f64) -> usize {
        let apart = |at: &f64| {
            let way = (at - share).rem_euclid(1.0);
            way.min(1.0 - way)
        };
        let nearest = self.shares.iter().enumerate().min_by(|a, b| apart(a.1).total_cmp(&apart(b.1)));
        nearest.map_or(0, |(node, _)| node)
    }

    pub fn nodes(&self) -> &[(f64, f64)] {
        &self.nodes
    }

    /// Mass (kg), what is stuck on included.
    pub fn mass_kg(&self) -> f64 {
        let own = |(i, s): (usize, &Section)| s.mass_per_length_kg_m * self.length(i);
        self.sections.iter().enumerate().map(own).sum::<f64>() + self.masses.iter().map(|m| m.1).sum::<f64>()
    }

    fn ends(&self, element: usize) -> (usize, usize) {
        (element, (element + 1) % self.nodes.len())
    }

    fn length(&self, element: usize) -> f64 {
        let (a, b) = self.ends(element);
        let (p, q) = (self.nodes[a], self.nodes[b]);
        (q.0 - p.0).hypot(q.1 - p.1)
    }

    /// Unit vector that points out of the rim at a node.
    pub fn outward(&self, node: usize) -> (f64, f64) {
        let n = self.nodes.len();
        let (before, after) = if self.closed {
            (self.nodes[(node + n - 1) % n], self.nodes[(node + 1) % n])
        } else {
            (self.nodes[node.saturating_sub(1)], self.nodes[(node + 1).min(n - 1)])
        };
        let (x, y) = (after.0 - before.0, after.1 - before.1);
        let length = x.hypot(y).max(1e-12);
        (y / length, -x / length)
    }

    /// Places of the nodes in the matrices: a ring is folded, so that neighbours stay close.
    fn order(&self) -> Vec<usize> {
        let n = self.nodes.len();
        let folded = |i: usize| if i < n.div_ceil(2) { 2 * i } else { 2 * (n - 1 - i) + 1 };
        (0..n).map(|i| if self.closed { folded(i) } else { i }).collect()
    }

    /// `None` for held edges that are not, or a section that does not know its sheet.
    fn matrices(&self, plane: Plane) -> Option<Matrices> {
        let walls = self.sections.iter().all(|s| s.wall.is_some()) && !self.sections.is_empty();
        let parity = if plane == Plane::In { Parity::Alike } else { Parity::Opposite };
        // A point mass moves with what is written of its node; out of the plane a frame's only with its height.
        Some(match plane {
            Plane::In | Plane::Out if walls => {
                let element = |section: &Section, length, along| match &section.wall {
                    Some(wall) => facet(wall, parity, length, along),
                    None => (Default::default(), Default::default()),
                };
                let depth_m = self.sections[0].wall.as_ref()?.depth_m;
                self.assembled(PER_NODE, element, Reading::of(parity, depth_m))
            }
            Plane::In => self.assembled(3, in_plane, Reading::plain(2)),
            Plane::Out => self.assembled(4, out_of_plane, Reading::plain(1)),
            Plane::Held => {
                let depth_m = self.held_m?;
                let sheets: Option<Vec<&Sheet>> = self.sections.iter().map(|s| s.sheet.as_ref()).collect();
                sheets?;
                let element = |section: &Section, length, along| match &section.sheet {
                    Some(sheet) => strip(sheet, depth_m, length, along),
                    None => Default::default(),
                };
                self.assembled(4, element, Reading::plain(2))
            }
        })
    }

    /// Puts the elements together; `N` unknowns at the two ends of each.
    fn assembled<const N: usize>(
        &self,
        per_node: usize,
        element: impl Fn(&Section, f64, (f64, f64)) -> (SMatrix<f64, N, N>, SMatrix<f64, N, N>),
        reading: Reading,
    ) -> Matrices {
        let order = self.order();
        let reach = if self.closed { 3 * per_node - 1 } else { N - 1 };
        let size = per_node * self.nodes.len();
        let (mut stiffness, mut mass) = (Banded::new(size, reach), Banded::new(size, reach));
        for (number, section) in self.sections.iter().enumerate() {
            let (a, b) = self.ends(number);
            let length = self.length(number);
            let along = ((self.nodes[b].0 - self.nodes[a].0) / length, (self.nodes[b].1 - self.nodes[a].1) / length);
            let (k, m) = element(section, length, along);
            let place = |i: usize| per_node * order[if i < per_node { a } else { b }] + i % per_node;
            for i in 0..N {
                for j in 0..N {
                    stiffness.add(place(i), place(j), k[(i, j)]);
                    mass.add(place(i), place(j), m[(i, j)]);
                }
            }
        }
        let first: Vec<usize> = order.iter().map(|place| per_node * place).collect();
        for (node, kg) in &self.masses {
            for moved in reading.moved() {
                for (i, one) in moved {
                    for (j, other) in moved {
                        mass.add(first[*node] + i, first[*node] + j, kg * one * other);
                    }
                }
            }
        }
        Matrices { stiffness, mass, first, reading }
    }

    /// The lowest modes in a plane, the free body's own motions left out. `None` if the frame cannot be solved (a section without
    /// stiffness or mass).
    pub fn modes(&self, plane: Plane, count: usize) -> Option<Vec<RimMode>> {
        let Matrices { stiffness, mass, first, reading } = self.matrices(plane)?;
        let found = lowest_modes(&stiffness, &mass, count + 3, SHIFT)?;
        let modes = found.into_iter().map(|(value, vector)| RimMode {
            frequency_hz: value.max(0.0).sqrt() / std::f64::consts::TAU,
            shape: first.iter().map(|at| reading.read(&vector[*at..])).collect(),
        });
        Some(modes.filter(|m| m.frequency_hz > AT_REST_HZ).take(count).collect())
    }

    /// How far (m) two nodes come together under a pair of equal and opposite forces (N) between them, spread evenly over the depth.
    pub fn squeeze(&self, a: usize, b: usize, force_n: f64) -> Option<f64> {
        // The first unknowns of a node are its mean movement over the depth.
        let Matrices { stiffness, mass, first, .. } = self.matrices(Plane::In)?;
        // Balanced forces need no support: a trace of the mass only makes the matrix solvable.
        let factor = stiffness.plus(1e-3 * SHIFT, &mass).cholesky()?;
        let (p, q) = (self.nodes[a], self.nodes[b]);
        let apart = (q.0 - p.0).hypot(q.1 - p.1);
        let towards = ((q.0 - p.0) / apart, (q.1 - p.1) / apart);
        let mut x = vec![0.0; stiffness.size()];
        for (node, sign) in [(a, 1.0), (b, -1.0)] {
            x[first[node]] += sign * force_n * towards.0;
            x[first[node] + 1] += sign * force_n * towards.1;
        }
        factor.solve(&mut x);
        let along = |node: usize| x[first[node]] * towards.0 + x[first[node] + 1] * towards.1;
        Some(along(a) - along(b))
    }

    /// Movement of a mode across the side at a node, per unit modal mass.
    pub fn outward_shape(&self, mode: &RimMode, node: usize) -> f64 {
        let (x, y) = self.outward(node);
        mode.shape[node][0] * x + mode.shape[node][1] * y
    }

    /// Drive-point mobility (m/(N s)) across the side at a node (at mid-depth if the edges are held), from its modes sideways and a
    /// free body's own motions; one loss factor for all.
    pub fn mobility(&self, modes: &[RimMode], node: usize, loss_factor: f64, frequency_hz: f64) -> Complex64 {
        let omega = std::f64::consts::TAU * frequency_hz;
        let elastic: Complex64 = modes
            .iter()
            .map(|mode| {
                let own = (std::f64::consts::TAU * mode.frequency_hz).powi(2);
                let shape = self.outward_shape(mode, node).powi(2);
                Complex64::new(0.0, omega) * shape / Complex64::new(own - omega * omega, own * loss_factor)
            })
            .sum();
        let own = if self.held_m.is_some() { 0.0 } else { -1.0 / (omega * self.mass_kg()) };
        elastic + Complex64::new(0.0, own)
    }
}

/// Shares of the way around of so many nodes: even, but the nearest ones moved to where pieces begin and end.
fn ends_at_pieces(elements: usize, pieces: &[RimPiece]) -> Vec<f64> {
    let even = |i: usize| i as f64 / elements as f64;
    let mut shares: Vec<f64> = (0..elements).map(even).collect();
    for end in pieces.iter().flat_map(|p| [p.from, p.to]) {
        let place = end.rem_euclid(1.0) * elements as f64;
        let near = place.round() as usize;
        // One node, one end: if two ends lie as near as that, the second takes the neighbour on its side.
        let taken = |node: usize| (shares[node % elements] - even(node % elements)).abs() > 1e-12;
        let at = |node: usize| even(node) + (shares[node % elements] - even(node % elements));
        let node = if !taken(near) {
            near
        } else if place / elements as f64 > at(near) + 1e-9 {
            near + 1
        } else if place / (elements as f64) < at(near) - 1e-9 {
            near + elements - 1
        } else {
            continue;
        };
        if !taken(node) {
            let off = (place - node as f64) / elements as f64;
            shares[node % elements] = even(node % elements) + off - off.round();
        }
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rim_is_made_of_its_pieces() {
        let side = Section::strip(2e-3, 0.1, 12e9, 0.9e9, 600.0);
        let block = Section::strip(20e-3, 0.1, 10e9, 0.8e9, 500.0);
        let pieces = [RimPiece { from: -0.02, to: 0.02, section: block }];
        let outline = Outline::circle(0.2);
        let rim = Rim::closed(&outline, 200, &side, &pieces);
        assert_eq!(rim.sections.iter().filter(|s| **s == block).count(), 8);
        let around = outline.length_m();
        let expected = around * (0.96 * side.mass_per_length_kg_m + 0.04 * block.mass_per_length_kg_m);
        assert!((rim.mass_kg() / expected - 1.0).abs() < 1e-3);
        assert!((rim.clone().with_mass(3, 0.01).mass_kg() - rim.mass_kg() - 0.01).abs() < 1e-12);
        let (x, y) = rim.outward(rim.node_at(0.25));
        assert!((x - 1.0).abs() < 1e-3 && y.abs() < 1e-3, "{x} {y}");
    }
}
