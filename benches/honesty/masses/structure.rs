//! Free structures with a point mass, from formulas of their own: a free bar (roots of cos x cosh x = 1) and a closed plane frame of
//! beam elements (Euler and Bernoulli; the element matrices are in every textbook, here from memory, checked against the exact ring).

use std::f64::consts::{PI, TAU};

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use crate::dice::Dice;

/// The modes of a free structure at one spot: squares of angular frequencies (0 for rigid motion) and the mass-normalised motion
/// there, along and across the direction in which it is tapped.
pub struct AtSpot {
    pub squares: Vec<f64>,
    pub across: Vec<f64>,
    pub along: Vec<f64>,
    /// Mass of the whole (kg).
    pub kg: f64,
    /// Whether a tap across excites no mode that slides along there.
    pub on_middle_line: bool,
}

/// One mode as the tap finds it: frequency (Hz), square of the motion across (1/kg).
pub struct Tone {
    pub hz: f64,
    pub inverse_kg: f64,
}

/// A mode of the bare part: frequency (Hz), modal mass of all motion and of that across (kg).
#[derive(Debug)]
pub struct Truth {
    pub hz: f64,
    pub kg: f64,
    pub kg_across: f64,
}

impl AtSpot {
    /// Elastic modes with a mass stuck on that feels both directions.
    pub fn loaded(&self, added_kg: f64) -> Vec<Tone> {
        let n = self.squares.len();
        let (across, along) = (DVector::from_row_slice(&self.across), DVector::from_row_slice(&self.along));
        let mass = DMatrix::identity(n, n) + (&across * across.transpose() + &along * along.transpose()) * added_kg;
        let lower = mass.cholesky().expect("a positive mass").l();
        let inverse = lower.try_inverse().expect("a positive mass");
        let stiffness =
            &inverse * DMatrix::from_diagonal(&DVector::from_row_slice(&self.squares)) * inverse.transpose();
        let eigen = SymmetricEigen::new(0.5 * (&stiffness + stiffness.transpose()));
        let shapes = inverse.transpose() * &eigen.eigenvectors;
        let at = across.transpose() * shapes;
        let mut tones: Vec<Tone> = (0..n)
            .filter(|i| eigen.eigenvalues[*i] > 100.0)
            .map(|i| Tone { hz: eigen.eigenvalues[i].sqrt() / TAU, inverse_kg: at[i] * at[i] })
            .collect();
        tones.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        tones
    }

    /// The elastic modes that move across at all: a tap across finds no others.
    pub fn truths(&self) -> Vec<Truth> {
        (0..self.squares.len())
            .filter(|i| self.squares[*i] > 100.0 && self.across[*i].powi(2) > 1e-3)
            .map(|i| Truth {
                hz: self.squares[i].sqrt() / TAU,
                kg: 1.0 / (self.across[i].powi(2) + self.along[i].powi(2)),
                kg_across: self.across[i].powi(-2),
            })
            .collect()
    }
}

/// A free bar at a place along it (0 to 1), the lowest 30 modes and the two rigid motions.
pub fn bar(length_m: f64, kg: f64, bending_n_m2: f64, place: f64) -> AtSpot {
    let unit = bending_n_m2 / (kg * length_m.powi(3));
    let mut at = AtSpot { squares: vec![0.0, 0.0], across: Vec::new(), along: Vec::new(), kg, on_middle_line: true };
    at.across.push(1.0 / kg.sqrt());
    at.across.push(12f64.sqrt() * (place - 0.5) / kg.sqrt());
    for mode in 1..=30 {
        // Newton's method on cos x - 1/cosh x, from (n + 1/2) pi.
        let mut x = (f64::from(mode) + 0.5) * PI;
        for _ in 0..20 {
            x -= (x.cos() - 1.0 / x.cosh()) / (-x.sin() + x.tanh() / x.cosh());
        }
        // Blevins, Formulas for natural frequency and mode shape: cosh + cos - s (sinh + sin), of mean square 1; s near 1 is kept as
        // what it lacks, so that large numbers do not cancel.
        let lack = (x.cos() - x.sin() - (-x).exp()) / (x.sinh() - x.sin());
        let z = x * place;
        let shape = 0.5 * (lack * z.exp() + (2.0 - lack) * (-z).exp()) + z.cos() - (1.0 - lack) * z.sin();
        at.squares.push(x.powi(4) * unit);
        at.across.push(shape / kg.sqrt());
    }
    at.along = vec![0.0; at.across.len()];
    at
}

/// A closed frame of straight beam elements with two bouts and a waist, the same left and right of its middle line, with a block at
/// each end of it.
pub struct Frame {
    points: Vec<[f64; 2]>,
    squares: Vec<f64>,
    shapes: DMatrix<f64>,
    kg: f64,
}

const NODES: usize = 48;
const KEPT: usize = 36;

impl Frame {
    pub fn draw(dice: &mut Dice) -> Self {
        let half = dice.uniform(0.22, 0.26);
        let (wide, lean, waist) = (dice.uniform(0.13, 0.16), dice.uniform(0.0, 0.03), dice.uniform(0.02, 0.06));
        let (thick, deep) = (dice.uniform(1.8e-3, 4e-3), dice.uniform(0.08, 0.12));
        let (density, young) = (dice.uniform(450.0, 800.0), dice.uniform(8e9, 15e9));
        let fine: Vec<[f64; 2]> = (0..=7200)
            .map(|i| {
                let t = TAU * f64::from(i) / 7200.0;
                [half * t.cos(), t.sin() * (wide - lean * t.cos() + waist * (2.0 * t).cos())]
            })
            .collect();
        let mut run = vec![0.0];
        for pair in fine.windows(2) {
            run.push(run[run.len() - 1] + (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]));
        }
        let around = run[run.len() - 1];
        let points = (0..NODES).map(|i| fine[run.partition_point(|r| *r < around * i as f64 / NODES as f64)]).collect();
        let blocks = [dice.uniform(0.01, 0.08), dice.uniform(0.005, 0.03)];
        Self::new(points, young * deep * thick, young * deep * thick.powi(3) / 12.0, density * deep * thick, blocks)
    }

    fn new(points: Vec<[f64; 2]>, stretch_n: f64, bend_n_m2: f64, kg_m: f64, blocks_kg: [f64; 2]) -> Self {
        let n = points.len();
        let (mut k, mut m) = (DMatrix::<f64>::zeros(3 * n, 3 * n), DMatrix::<f64>::zeros(3 * n, 3 * n));
        for i in 0..n {
            let j = (i + 1) % n;
            let (dx, dy) = (points[j][0] - points[i][0], points[j][1] - points[i][1]);
            let l = dx.hypot(dy);
            let (c, s) = (dx / l, dy / l);
            let bend = [
                [12.0, 6.0 * l, -12.0, 6.0 * l],
                [6.0 * l, 4.0 * l * l, -6.0 * l, 2.0 * l * l],
                [-12.0, -6.0 * l, 12.0, -6.0 * l],
                [6.0 * l, 2.0 * l * l, -6.0 * l, 4.0 * l * l],
            ];
            let heavy = [
                [156.0, 22.0 * l, 54.0, -13.0 * l],
                [22.0 * l, 4.0 * l * l, 13.0 * l, -3.0 * l * l],
                [54.0, 13.0 * l, 156.0, -22.0 * l],
                [-13.0 * l, -3.0 * l * l, -22.0 * l, 4.0 * l * l],
            ];
            let (mut ke, mut me) = (DMatrix::<f64>::zeros(6, 6), DMatrix::<f64>::zeros(6, 6));
            for (p, a) in [1, 2, 4, 5].into_iter().enumerate() {
                for (q, b) in [1, 2, 4, 5].into_iter().enumerate() {
                    ke[(a, b)] = bend_n_m2 / l.powi(3) * bend[p][q];
                    me[(a, b)] = kg_m * l / 420.0 * heavy[p][q];
                }
            }
            for (a, b, share, pull) in [(0, 0, 2.0, 1.0), (0, 3, 1.0, -1.0), (3, 0, 1.0, -1.0), (3, 3, 2.0, 1.0)] {
                ke[(a, b)] = stretch_n / l * pull;
                me[(a, b)] = kg_m * l / 6.0 * share;
            }
            let mut turn = DMatrix::<f64>::identity(6, 6);
            for o in [0, 3] {
                turn[(o, o)] = c;
                turn[(o, o + 1)] = s;
                turn[(o + 1, o)] = -s;
                turn[(o + 1, o + 1)] = c;
            }
            let (ke, me) = (turn.transpose() * ke * &turn, turn.transpose() * me * &turn);
            let at = |a: usize| if a < 3 { 3 * i + a } else { 3 * j + a - 3 };
            for a in 0..6 {
                for b in 0..6 {
                    k[(at(a), at(b))] += ke[(a, b)];
                    m[(at(a), at(b))] += me[(a, b)];
                }
            }
        }
        for (node, block) in [(0, blocks_kg[0]), (n / 2, blocks_kg[1])] {
            m[(3 * node, 3 * node)] += block;
            m[(3 * node + 1, 3 * node + 1)] += block;
        }
        // All moved by one to and fro.
        let kg = (0..n).flat_map(|i| (0..n).map(move |j| (3 * i, 3 * j))).map(|at| m[at]).sum();
        let inverse = m.cholesky().expect("a positive mass").l().try_inverse().expect("a positive mass");
        let whole = &inverse * k * inverse.transpose();
        let eigen = SymmetricEigen::new(0.5 * (&whole + whole.transpose()));
        let shapes = inverse.transpose() * &eigen.eigenvectors;
        let mut order: Vec<usize> = (0..3 * n).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
        order.truncate(KEPT);
        let squares = order.iter().enumerate().map(|(i, o)| if i < 3 { 0.0 } else { eigen.eigenvalues[*o] }).collect();
        let shapes = DMatrix::from_columns(&order.iter().map(|o| shapes.column(*o).clone_owned()).collect::<Vec<_>>());
        Self { points, squares, shapes, kg }
    }

    /// At a node: 0 and half of all lie on the middle line.
    pub fn at(&self, node: usize) -> AtSpot {
        let n = self.points.len();
        let (before, after) = (self.points[(node + n - 1) % n], self.points[(node + 1) % n]);
        let (dx, dy) = (after[0] - before[0], after[1] - before[1]);
        let (c, s) = (dx / dx.hypot(dy), dy / dx.hypot(dy));
        let (x, y) = (self.shapes.row(3 * node), self.shapes.row(3 * node + 1));
        AtSpot {
            squares: self.squares.clone(),
            kg: self.kg,
            on_middle_line: node == 0 || 2 * node == n,
            across: x.iter().zip(y.iter()).map(|(x, y)| s * x - c * y).collect(),
            along: x.iter().zip(y.iter()).map(|(x, y)| c * x + s * y).collect(),
        }
    }

    pub fn nodes(&self) -> usize {
        self.points.len()
    }
}

/// The exact ring (Love; n (n^2 - 1)/sqrt(n^2 + 1)) and the free bar's end (a quarter of its mass), so that the truth is one.
pub fn check() {
    let ring_points =
        || (0..NODES).map(|i| TAU * i as f64 / NODES as f64).map(|t| [0.2 * t.cos(), 0.2 * t.sin()]).collect();
    let ring = Frame::new(ring_points(), 1e6, 1.0, 0.15, [0.0, 0.0]).at(0).truths();
    for n in 2..5 {
        let x = f64::from(n);
        let exact = x * (x * x - 1.0) / (x * x + 1.0).sqrt() * (1.0 / (0.15 * 0.2f64.powi(4))).sqrt() / TAU;
        assert!(ring.iter().any(|mode| (mode.hz / exact - 1.0).abs() < 0.01), "{exact} {ring:?}");
    }
    // The frame's mass, from its matrix and as length times mass per length of the polygon.
    let weighed = Frame::new(ring_points(), 1e6, 1.0, 0.15, [0.01, 0.02]).kg;
    assert!((weighed / (NODES as f64 * 0.4 * (PI / NODES as f64).sin() * 0.15 + 0.03) - 1.0).abs() < 1e-9, "{weighed}");
    for mode in bar(0.8, 0.12, 1.3, 1.0).truths() {
        assert!((mode.kg / 0.03 - 1.0).abs() < 1e-6, "{}", mode.kg);
    }
}
