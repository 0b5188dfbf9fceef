//! A plate whose grain is at an angle and that is bowed along its length: a shallow shell, by the method of Rayleigh and Ritz in products
//! of free bars' shapes.
//!
//! The angle joins the classes of symmetry in pairs. A bow of curvature k stretches the plate by u_x - k w where u and v cannot give
//! way (Donnell's shallow shell); in-plane motion follows at rest, with its inertia (Guyan).

use nalgebra::{DMatrix, SymmetricEigen};

use super::plate::{Constants, Size};
use super::polynomials::{derivative, parity_indices};
use super::turned::{bending, compliance};

/// One side: free bars' shapes of both parities (even ones first), by parity ascending, and the integrals over their products.
struct Bars {
    /// Coefficients in the polynomials, a column each; parity and number (nodal lines) of each.
    shapes: DMatrix<f64>,
    lines: Vec<usize>,
    slope: DMatrix<f64>,
    /// <p p'>, <p p''>, <p' p'>, <p'' p'>, <p'' p''>.
    by_first: DMatrix<f64>,
    by_second: DMatrix<f64>,
    first: DMatrix<f64>,
    crossed: DMatrix<f64>,
    second: DMatrix<f64>,
}

impl Bars {
    fn new(terms: usize, side_m: f64) -> Self {
        let slope = derivative(terms) * (2.0 / side_m);
        let bent = &slope * &slope;
        let energy = bent.transpose() * &bent;
        let mut shapes = DMatrix::zeros(terms, terms);
        let mut lines = Vec::new();
        for odd in [0, 1] {
            let keep = parity_indices(terms, odd);
            let eigen = SymmetricEigen::new(energy.select_rows(&keep).select_columns(&keep));
            let mut order: Vec<usize> = (0..keep.len()).collect();
            order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
            for (rank, at) in order.into_iter().enumerate() {
                for (row, place) in keep.iter().enumerate() {
                    shapes[(*place, lines.len())] = eigen.eigenvectors[(row, at)];
                }
                lines.push(2 * rank + odd);
            }
        }
        let (first, second) = (&slope * &shapes, &bent * &shapes);
        Self {
            by_first: shapes.tr_mul(&first),
            by_second: shapes.tr_mul(&second),
            crossed: second.tr_mul(&first),
            second: second.tr_mul(&second),
            first: first.tr_mul(&first),
            shapes,
            lines,
            slope,
        }
    }
}

/// Products of one pair of classes, and what the energy needs of them.
struct Class {
    /// Bars' places along and across.
    products: Vec<(usize, usize)>,
    /// For D11, D22, D12, D66, D16, D26: the energy over the stiffness, over mass per area.
    energies: [DMatrix<f64>; 6],
    /// Of a curvature of 1/m: stretching, over mass per area, and the inertia of what follows in the plane.
    stretch: DMatrix<f64>,
    follows: DMatrix<f64>,
    rigid: usize,
}

/// A plate of some size, ready to be solved for many constants, angles and bows.
pub(super) struct OddPlate {
    classes: [Class; 2],
    lines: (Vec<usize>, Vec<usize>),
    thickness_m: f64,
}

/// A mode: omega^2 (rad^2/s^2), its derivatives by the six stiffnesses and by the square of the curvature, and its shares in the products
/// (nodal lines across the length and across the width).
pub(super) struct OddMode {
    pub omega_squared: f64,
    pub slopes: [f64; 6],
    pub by_curvature_squared: f64,
    pub shares: Vec<((usize, usize), f64)>,
}

impl OddPlate {
    /// `near`: constants of about this wood, for what may be left out and what a bow stretches; modes up to `below_hz`.
    pub(super) fn new(size: &Size, near: &Constants, terms: (usize, usize), below_hz: f64, bow: bool) -> Option<Self> {
        let (along, width) = (Bars::new(terms.0, size.length_m), Bars::new(terms.1, size.width_m));
        let per_area = size.mass_kg / (size.length_m * size.width_m);
        let stiffnesses = bending(near, 0.0, size.thickness_m)?;
        // Products far above the band hardly move.
        let highest = per_area * (std::f64::consts::TAU * REACH * below_hz).powi(2);
        let own = |i: usize, j: usize| {
            stiffnesses[0] * along.second[(i, i)]
                + stiffnesses[1] * width.second[(j, j)]
                + 4.0 * stiffnesses[3] * along.first[(i, i)] * width.first[(j, j)]
        };
        let mut classes = Vec::new();
        for odd in [0, 1] {
            let products: Vec<(usize, usize)> = (0..terms.0)
                .flat_map(|i| (0..terms.1).map(move |j| (i, j)))
                .filter(|(i, j)| (along.lines[*i] + width.lines[*j]) % 2 == odd && own(*i, *j) <= highest)
                .collect();
            classes.push(Class::new(size, near, &along, &width, products, per_area, bow)?);
        }
        let second = classes.pop()?;
        Some(Self {
            classes: [classes.pop()?, second],
            lines: (along.lines, width.lines),
            thickness_m: size.thickness_m,
        })
    }

    /// The elastic modes below a frequency, ascending.
    pub(super) fn modes(
        &self,
        constants: &Constants,
        grain_rad: f64,
        curvature_squared: f64,
        below_hz: f64,
    ) -> Option<Vec<OddMode>> {
        let stiffnesses = bending(constants, grain_rad, self.thickness_m)?;
        let limit = (std::f64::consts::TAU * below_hz).powi(2);
        let mut modes = Vec::new();
        for class in &self.classes {
            let n = class.products.len();
            let mut stiff = DMatrix::zeros(n, n);
            for (energy, d) in class.energies.iter().zip(stiffnesses) {
                stiff.zip_apply(energy, |s, e| *s += d * e);
            }
            let mut back = None;
            if curvature_squared > 0.0 {
                stiff.zip_apply(&class.stretch, |s, e| *s += curvature_squared * e);
                let mass = DMatrix::identity(n, n) + curvature_squared * &class.follows;
                let root = mass.cholesky()?.l();
                let half = root.solve_lower_triangular(&stiff)?;
                stiff = root.solve_lower_triangular(&half.transpose())?;
                back = Some(root);
            }
            let eigen = SymmetricEigen::new(stiff);
            let vectors = match back {
                Some(root) => root.tr_solve_lower_triangular(&eigen.eigenvectors)?,
                None => eigen.eigenvectors,
            };
            let mut order: Vec<usize> = (0..n).collect();
            order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
            for at in order.into_iter().skip(class.rigid) {
                let omega_squared = eigen.eigenvalues[at];
                if omega_squared > limit {
                    break;
                }
                let shape = vectors.column(at);
                let within = |m: &DMatrix<f64>| (m * shape).dot(&shape);
                let share = |(p, c): (&(usize, usize), &f64)| ((self.lines.0[p.0], self.lines.1[p.1]), c * c);
                modes.push(OddMode {
                    omega_squared,
                    slopes: std::array::from_fn(|p| within(&class.energies[p])),
                    by_curvature_squared: within(&class.stretch) - omega_squared * within(&class.follows),
                    shares: class.products.iter().zip(shape.iter()).map(share).filter(|s| s.1 > 0.02).collect(),
                });
            }
        }
        modes.sort_by(|a, b| a.omega_squared.total_cmp(&b.omega_squared));
        Some(modes)
    }
}

/// Products are kept up to so many times the highest frequency.
const REACH: f64 = 3.0;

impl Class {
    fn new(
        size: &Size,
        near: &Constants,
        along: &Bars,
        width: &Bars,
        products: Vec<(usize, usize)>,
        per_area: f64,
        bow: bool,
    ) -> Option<Self> {
        let n = products.len();
        let of = |energy: &dyn Fn((usize, usize), (usize, usize)) -> f64| {
            DMatrix::from_fn(n, n, |p, q| energy(products[p], products[q]) / per_area)
        };
        let same = |a: usize, b: usize| if a == b { 1.0 } else { 0.0 };
        // Curvatures (w_xx, w_yy, 2 w_xy) of one against those of the other.
        let energies = [
            of(&|(i, j), (k, l)| along.second[(i, k)] * same(j, l)),
            of(&|(i, j), (k, l)| same(i, k) * width.second[(j, l)]),
            of(&|(i, j), (k, l)| {
                along.by_second[(k, i)] * width.by_second[(j, l)] + along.by_second[(i, k)] * width.by_second[(l, j)]
            }),
            of(&|(i, j), (k, l)| 4.0 * along.first[(i, k)] * width.first[(j, l)]),
            of(&|(i, j), (k, l)| {
                2.0 * (along.crossed[(i, k)] * width.by_first[(j, l)] + along.crossed[(k, i)] * width.by_first[(l, j)])
            }),
            of(&|(i, j), (k, l)| {
                2.0 * (along.by_first[(i, k)] * width.crossed[(j, l)] + along.by_first[(k, i)] * width.crossed[(l, j)])
            }),
        ];
        let rigid = products.iter().filter(|(i, j)| along.lines[*i] < 2 && width.lines[*j] < 2).count();
        let rigid =
            if products.iter().any(|(i, j)| (along.lines[*i], width.lines[*j]) == (1, 1)) { rigid - 1 } else { rigid };
        let (stretch, follows) = if bow {
            stretched(size, near, along, width, &products, per_area)?
        } else {
            (DMatrix::zeros(n, n), DMatrix::zeros(n, n))
        };
        Some(Self { products, energies, stretch, follows, rigid })
    }
}

/// What a curvature of 1/m stretches, over mass per area, and the inertia of the motion in the plane that follows: both between products.
fn stretched(
    size: &Size,
    near: &Constants,
    along: &Bars,
    width: &Bars,
    products: &[(usize, usize)],
    per_area: f64,
) -> Option<(DMatrix<f64>, DMatrix<f64>)> {
    let n = products.len();
    let q = compliance(near, 0.0).try_inverse()? * size.thickness_m;
    let (q11, q22, q12, q66) = (q[(0, 0)], q[(1, 1)], q[(0, 1)], q[(2, 2)]);
    let (mut stretch, mut inertia) = (DMatrix::zeros(n, n), DMatrix::zeros(n, n));
    let (dx, dy) = (&along.slope, &width.slope);
    let (xx, yy) = (dx.transpose() * dx, dy.transpose() * dy);
    for (odd_x, odd_y) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
        let mine: Vec<usize> = (0..n)
            .filter(|p| along.lines[products[*p].0] % 2 == odd_x && width.lines[products[*p].1] % 2 == odd_y)
            .collect();
        if mine.is_empty() {
            continue;
        }
        let set = |x: usize, y: usize| -> Vec<(usize, usize)> {
            let (columns, rows) = (parity_indices(width.slope.nrows(), y), parity_indices(along.slope.nrows(), x));
            rows.iter().flat_map(|i| columns.iter().map(move |j| (*i, *j))).collect()
        };
        let (u, v) = (set(1 - odd_x, odd_y), set(odd_x, 1 - odd_y));
        let same = |a: usize, b: usize| if a == b { 1.0 } else { 0.0 };
        let total = u.len() + v.len();
        let entry = |p: usize, r: usize| match (p < u.len(), r < u.len()) {
            (true, true) => {
                let ((i, j), (k, l)) = (u[p], u[r]);
                q11 * xx[(i, k)] * same(j, l) + q66 * same(i, k) * yy[(j, l)]
            }
            (false, false) => {
                let ((i, j), (k, l)) = (v[p - u.len()], v[r - u.len()]);
                q22 * same(i, k) * yy[(j, l)] + q66 * xx[(i, k)] * same(j, l)
            }
            (in_u, _) => {
                let ((i, j), (k, l)) = if in_u { (u[p], v[r - u.len()]) } else { (u[r], v[p - u.len()]) };
                // u_x v_y and u_y v_x.
                q12 * dx[(k, i)] * dy[(j, l)] + q66 * dx[(i, k)] * dy[(l, j)]
            }
        };
        let mut plane = DMatrix::from_fn(total, total, entry);
        // Motions of the whole, which stretch nothing: held, as they have no momentum of their own.
        let scale = plane.diagonal().amax();
        for p in 0..total {
            plane[(p, p)] += 1e-12 * scale;
        }
        if let Some(p) = u.iter().position(|s| *s == (0, 0)) {
            plane[(p, p)] += scale;
        }
        if let Some(p) = v.iter().position(|s| *s == (0, 0)) {
            plane[(u.len() + p, u.len() + p)] += scale;
        }
        if let (Some(p), Some(r)) = (u.iter().position(|s| *s == (0, 1)), v.iter().position(|s| *s == (1, 0))) {
            let turn = [(p, -size.width_m), (u.len() + r, size.length_m)];
            let norm = size.width_m.hypot(size.length_m);
            for (a, x) in turn {
                for (b, y) in turn {
                    plane[(a, b)] += scale * x * y / norm / norm;
                }
            }
        }
        // -k w in u_x - k w, against u_x and v_y.
        let push = DMatrix::from_fn(total, mine.len(), |p, m| {
            let (i, j) = products[mine[m]];
            if p < u.len() {
                let (k, l) = u[p];
                let slope: f64 = (0..along.shapes.nrows()).map(|a| dx[(a, k)] * along.shapes[(a, i)]).sum();
                -q11 * slope * width.shapes[(l, j)]
            } else {
                let (k, l) = v[p - u.len()];
                let slope: f64 = (0..width.shapes.nrows()).map(|a| dy[(a, l)] * width.shapes[(a, j)]).sum();
                -q12 * along.shapes[(k, i)] * slope
            }
        });
        let follow = -plane.cholesky()?.solve(&push);
        let relieved = push.tr_mul(&follow);
        let moved = follow.tr_mul(&follow);
        for (a, p) in mine.iter().enumerate() {
            for (b, r) in mine.iter().enumerate() {
                let own = if a == b { q11 } else { 0.0 };
                stretch[(*p, *r)] = (own + relieved[(a, b)]) / per_area;
                inertia[(*p, *r)] = moved[(a, b)];
            }
        }
    }
    Some((stretch, inertia))
}
