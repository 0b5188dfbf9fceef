//! A rectangular orthotropic plate with free edges, by the method of Rayleigh and Ritz.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::polynomials::{Side, parity_indices};
use super::thickness_terms::ThicknessTerms;

/// Elastic constants of thin wood in its plane: along the grain (x), across (y), in-plane shear (Pa), Poisson's ratio
/// (strain across for stress along).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    pub along_pa: f64,
    pub across_pa: f64,
    pub shear_pa: f64,
    pub poisson: f64,
}

/// Length along the grain, width, thickness (m) and mass (kg).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    pub length_m: f64,
    pub width_m: f64,
    pub thickness_m: f64,
    pub mass_kg: f64,
}

impl Size {
    /// Density (kg/m3).
    pub fn density_kg_m3(&self) -> f64 {
        self.mass_kg / (self.length_m * self.width_m * self.thickness_m)
    }

    /// Speed of sound along the grain, sqrt(E_L/rho) (m/s).
    pub fn speed_m_s(&self, constants: &Constants) -> f64 {
        (constants.along_pa / self.density_kg_m3()).sqrt()
    }
}

/// Bending stiffnesses per width (N m): along, across, coupling, twist.
///
/// Energy density (D_x w_xx^2 + 2 D_1 w_xx w_yy + D_y w_yy^2 + 4 D_k w_xy^2)/2, with D_x = E_L h^3/(12 (1 - nu_xy nu_yx)),
/// D_1 = nu_yx D_x, D_k = G h^3/12, nu_yx = nu_xy E_C/E_L (thin-plate theory, e.g. Leissa, Vibration of Plates).
pub fn bending_stiffnesses(constants: &Constants, thickness_m: f64) -> [f64; 4] {
    let poisson_yx = constants.poisson * constants.across_pa / constants.along_pa;
    let cube = thickness_m.powi(3) / 12.0;
    let along = constants.along_pa * cube / (1.0 - constants.poisson * poisson_yx);
    let across = constants.across_pa * cube / (1.0 - constants.poisson * poisson_yx);
    [along, across, poisson_yx * along, constants.shear_pa * cube]
}

/// Odd along the length, odd along the width, and the place by frequency among the modes of that symmetry: what a mode is known
/// by while the moduli change a little, since modes of one symmetry never cross.
pub type ModePlace = (usize, usize, usize);

/// A mode of the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateMode {
    /// Nodal lines that cross the length, and nodal lines along it (those that cross the width): of the product of free bars'
    /// shapes that the mode is most like.
    pub across_length: usize,
    pub across_width: usize,
    pub place: ModePlace,
    /// omega^2 of the thin plate, in (rad/s)^2.
    pub omega_squared: f64,
    /// d omega^2 / d (D_x, D_y, D_1, D_k); omega^2 is the sum of these times the stiffnesses.
    pub slopes: [f64; 4],
    /// Mean square slope <w_x^2 + w_y^2>/<w^2> (1/m2): rotary inertia.
    pub slope_squared: f64,
    /// What its shear forces and its free edges take.
    thickness: ThicknessTerms,
    /// Coefficients in the Legendre products, row by row along the length, and how many along the width.
    coefficients: Vec<f64>,
    columns: usize,
}

/// The elastic modes below a frequency, by frequency; rigid-body modes left out.
///
/// `terms`: polynomials along the length and along the width. Their number less some eight modes is converged to 0.1 %.
pub fn free_plate_modes(stiffnesses: &[f64; 4], size: &Size, terms: (usize, usize), below_hz: f64) -> Vec<PlateMode> {
    condensed_plate_modes(stiffnesses, size, terms, below_hz, f64::INFINITY)
}

/// The same, several times as fast: products of free bars' shapes whose own frequency lies above `reach` times the limit follow the
/// others as they would at rest (Guyan, AIAA Journal 3 (1965) 380; from memory), and are no unknowns of their own.
pub(super) fn condensed_plate_modes(
    stiffnesses: &[f64; 4],
    size: &Size,
    terms: (usize, usize),
    below_hz: f64,
    reach: f64,
) -> Vec<PlateMode> {
    let per_area = size.mass_kg / (size.length_m * size.width_m);
    let limit = (TAU * below_hz).powi(2);
    let mut modes = Vec::new();
    let [d_x, d_y, d_1, d_k] = *stiffnesses;
    let sides = |terms: usize, side_m: f64| [0, 1].map(|odd| Bars::new(Side::new(terms, odd, side_m)));
    let (lengths, widths) = (sides(terms.0, size.length_m), sides(terms.1, size.width_m));
    for (odd_x, along) in lengths.iter().enumerate() {
        for (odd_y, width) in widths.iter().enumerate() {
            let energy = |(i, j): (usize, usize), (k, l): (usize, usize)| {
                let second_x = if j == l { along.second[(i, k)] } else { 0.0 };
                let second_y = if i == k { width.second[(j, l)] } else { 0.0 };
                d_x * second_x
                    + d_y * second_y
                    + d_1 * (along.mixed[(i, k)] * width.mixed[(l, j)] + along.mixed[(k, i)] * width.mixed[(j, l)])
                    + 4.0 * d_k * along.first[(i, k)] * width.first[(j, l)]
            };
            let highest = reach * reach * limit * per_area;
            let all = (0..along.len()).flat_map(|i| (0..width.len()).map(move |j| (i, j)));
            let (kept, follow): (Vec<_>, Vec<_>) = all.partition(|p| energy(*p, *p) <= highest);
            let of = |a: &[(usize, usize)], b: &[(usize, usize)]| {
                DMatrix::from_fn(a.len(), b.len(), |p, q| energy(a[p], b[q]))
            };
            let Some((squared, shares)) = condensed(of(&kept, &kept), &of(&follow, &kept), of(&follow, &follow)) else {
                continue;
            };
            let products = [kept, follow].concat();
            let mut order: Vec<usize> = (0..squared.len()).collect();
            order.sort_by(|a, b| squared[*a].total_cmp(&squared[*b]));
            // Rigid-body modes: heave (even, even), pitch (odd, even), roll (even, odd).
            let rigid = usize::from(!(odd_x == 1 && odd_y == 1));
            let elastic = order.iter().skip(rigid).map(|i| (*i, squared[*i] / per_area));
            let kept: Vec<(usize, f64)> = elastic.take_while(|(_, squared)| *squared <= limit).collect();
            let shares: Vec<DMatrix<f64>> = kept
                .iter()
                .map(|(index, _)| {
                    let mut own = DMatrix::zeros(along.len(), width.len());
                    products
                        .iter()
                        .zip(shares.column(*index).iter())
                        .for_each(|(product, share)| own[*product] = *share);
                    own
                })
                .collect();
            let numbers = bar_numbers(&shares);
            for (rank, ((_, omega_squared), shares)) in kept.into_iter().zip(shares).enumerate() {
                let shape = &along.shapes * shares * width.shapes.transpose();
                let (along, width) = (&along.side, &width.side);
                let inner = |x: &DMatrix<f64>, y: Option<&DMatrix<f64>>| {
                    let turned = match y {
                        Some(y) => x * &shape * y,
                        None => x * &shape,
                    };
                    turned.dot(&shape)
                };
                let twice = |y: &DMatrix<f64>| (&shape * y).dot(&shape);
                let slopes = [
                    inner(&along.second, None) / per_area,
                    twice(&width.second) / per_area,
                    2.0 * inner(&along.mixed, Some(&width.mixed)) / per_area,
                    4.0 * inner(&along.first, Some(&width.first)) / per_area,
                ];
                modes.push(PlateMode {
                    across_length: 2 * numbers[rank].0 + odd_x,
                    across_width: 2 * numbers[rank].1 + odd_y,
                    place: (odd_x, odd_y, rank),
                    omega_squared,
                    slopes,
                    slope_squared: inner(&along.first, None) + twice(&width.first),
                    thickness: ThicknessTerms::new(&shape, along, width, per_area),
                    coefficients: full(&shape, terms, odd_x, odd_y),
                    columns: terms.1,
                });
            }
        }
    }
    modes.sort_by(|a, b| a.omega_squared.total_cmp(&b.omega_squared));
    modes
}

/// Eigenvalues and eigenvectors (length 1) of a symmetric matrix of which the unknowns of the last block follow the others statically.
fn condensed(own: DMatrix<f64>, coupling: &DMatrix<f64>, follow: DMatrix<f64>) -> Option<(DVector<f64>, DMatrix<f64>)> {
    if follow.is_empty() {
        let eigen = SymmetricEigen::new(own);
        return Some((eigen.eigenvalues, eigen.eigenvectors));
    }
    let n = own.nrows();
    let followed = -follow.cholesky()?.solve(coupling);
    let stiffness = own + coupling.tr_mul(&followed);
    let mass = DMatrix::identity(n, n) + followed.tr_mul(&followed);
    let root = mass.cholesky()?.l();
    let half = root.solve_lower_triangular(&stiffness)?;
    let eigen = SymmetricEigen::new(root.solve_lower_triangular(&half.transpose())?);
    let kept = root.tr_solve_lower_triangular(&eigen.eigenvectors)?;
    let mut vectors = DMatrix::zeros(n + followed.nrows(), n);
    vectors.rows_mut(0, n).copy_from(&kept);
    vectors.rows_mut(n, followed.nrows()).copy_from(&(&followed * &kept));
    Some((eigen.eigenvalues, vectors))
}

/// A free bar's own shapes along one side, the lowest first (rigid motions are the very first), and what the energy needs of them.
struct Bars {
    side: Side,
    /// Coefficients of each shape in the polynomials, column by column.
    shapes: DMatrix<f64>,
    /// <p'' p''>, <p p''>, <p' p'> of the shapes.
    second: DMatrix<f64>,
    mixed: DMatrix<f64>,
    first: DMatrix<f64>,
}

impl Bars {
    fn new(side: Side) -> Self {
        let eigen = SymmetricEigen::new(side.second.clone());
        let mut order: Vec<usize> = (0..side.len()).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
        let shapes = eigen.eigenvectors.select_columns(order.iter());
        let of = |m: &DMatrix<f64>| shapes.tr_mul(m) * &shapes;
        Self { second: of(&side.second), mixed: of(&side.mixed), first: of(&side.first), shapes, side }
    }

    fn len(&self) -> usize {
        self.side.len()
    }
}

/// Which free bar's shape along the length and across the width (counted within their parity, rigid motions first) each mode is
/// most like, by its shares in their products; no two modes the same.
fn bar_numbers(shares: &[DMatrix<f64>]) -> Vec<(usize, usize)> {
    let mut weights: Vec<(f64, usize, (usize, usize))> = Vec::new();
    for (mode, shares) in shares.iter().enumerate() {
        let all = (0..shares.nrows()).flat_map(|i| (0..shares.ncols()).map(move |j| (i, j)));
        weights.extend(all.map(|(i, j)| (shares[(i, j)].powi(2), mode, (i, j))));
    }
    weights.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut numbers: Vec<Option<(usize, usize)>> = vec![None; shares.len()];
    for (_, mode, bar) in weights {
        if numbers[mode].is_none() && !numbers.contains(&Some(bar)) {
            numbers[mode] = Some(bar);
        }
    }
    numbers.into_iter().flatten().collect()
}

/// Coefficients of one parity class among all polynomials.
fn full(shape: &DMatrix<f64>, terms: (usize, usize), odd_x: usize, odd_y: usize) -> Vec<f64> {
    let mut all = vec![0.0; terms.0 * terms.1];
    for (i, row) in parity_indices(terms.0, odd_x).into_iter().enumerate() {
        for (j, column) in parity_indices(terms.1, odd_y).into_iter().enumerate() {
            all[row * terms.1 + column] = shape[(i, j)];
        }
    }
    all
}

/// Orthonormal Legendre polynomials on -1..1 at a point.
fn legendre(terms: usize, x: f64) -> Vec<f64> {
    let mut p = vec![1.0, x];
    for n in 1..terms.max(2) - 1 {
        let next = ((2 * n + 1) as f64 * x * p[n] - n as f64 * p[n - 1]) / (n + 1) as f64;
        p.push(next);
    }
    p.truncate(terms);
    p.iter().enumerate().map(|(n, v)| v * (n as f64 + 0.5).sqrt()).collect()
}

impl PlateMode {
    /// Frequency (Hz) with rotary inertia, shear through the thickness and free edges to first order: omega^2/(1 + rotary + shear).
    pub fn frequency_hz(&self, constants: &Constants, stiffnesses: &[f64; 4], thickness_m: f64) -> f64 {
        let (rotary, shear) = self.thickness_terms(constants, stiffnesses, thickness_m);
        (self.omega_squared_of(stiffnesses) / (1.0 + rotary + shear)).sqrt() / TAU
    }

    /// omega^2 with other stiffnesses but the same shape (first order in their change).
    pub fn omega_squared_of(&self, stiffnesses: &[f64; 4]) -> f64 {
        self.slopes.iter().zip(stiffnesses).map(|(s, d)| s * d).sum()
    }

    /// What rotary inertia and shear take from omega^2, relative.
    pub fn thickness_terms(&self, constants: &Constants, stiffnesses: &[f64; 4], thickness_m: f64) -> (f64, f64) {
        let rotary = thickness_m * thickness_m / 12.0 * self.slope_squared;
        let shear = self.thickness.shear(stiffnesses, constants.shear_pa, thickness_m);
        (rotary, shear / self.omega_squared_of(stiffnesses))
    }

    /// Displacement at a point (fractions of length and width, 0 to 1), its mean square over the plate 1.
    pub fn shape_at(&self, along: f64, across: f64) -> f64 {
        let px = legendre(self.coefficients.len() / self.columns, 2.0 * along - 1.0);
        let py = legendre(self.columns, 2.0 * across - 1.0);
        // Orthonormal on -1..1 in both directions: the mean square is a quarter of the sum of squares.
        2.0 * self
            .coefficients
            .chunks_exact(self.columns)
            .zip(&px)
            .map(|(row, x)| x * row.iter().zip(&py).map(|(c, y)| c * y).sum::<f64>())
            .sum::<f64>()
    }

    /// What the mode is called: "bending 3", "twist 2", "crosswise 1+0".
    pub fn name(&self) -> String {
        mode_name(self.across_length, self.across_width)
    }
}

/// Name of a mode by its nodal lines (across the length, across the width).
pub fn mode_name(across_length: usize, across_width: usize) -> String {
    match across_width {
        0 => format!("bending {}", across_length.saturating_sub(1)),
        1 => format!("twist {across_length}"),
        _ => format!("crosswise {}+{across_length}", across_width - 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hz(modes: &[PlateMode]) -> Vec<f64> {
        modes.iter().map(|m| m.omega_squared.sqrt() / TAU).collect()
    }

    /// Sugar-maple-like plates, project reference (an independent 22 x 22 Ritz): 800 x 120 x 2.25, 550 x 200 x 3, 300 x 300 x 3 mm.
    #[test]
    fn orthotropic_plates_agree_with_the_reference() {
        let constants = Constants { along_pa: 12.6e9, across_pa: 1.6632e9, shear_pa: 1.3986e9, poisson: 0.424 };
        let cases = [
            (0.8, 0.12, 2.25e-3, [15.28154, 33.47035, 42.18302, 69.71572, 82.80222, 111.2908]),
            (0.55, 0.2, 3e-3, [39.98750, 43.12694, 92.10249, 118.65953, 119.45591, 144.87419]),
            (0.3, 0.3, 3e-3, [48.87241, 52.66468, 112.54714, 144.90810, 146.12887, 177.16532]),
        ];
        for (length_m, width_m, thickness_m, expected) in cases {
            let mass_kg = 705.6 * length_m * width_m * thickness_m;
            let size = Size { length_m, width_m, thickness_m, mass_kg };
            let modes = free_plate_modes(&bending_stiffnesses(&constants, thickness_m), &size, (16, 12), 400.0);
            assert!(modes.len() >= expected.len(), "{} modes", modes.len());
            for (got, want) in hz(&modes).iter().zip(expected) {
                assert!((got / want - 1.0).abs() < 2e-5, "{got} {want}");
            }
            let names: Vec<String> = modes.iter().take(4).map(PlateMode::name).collect();
            if length_m == 0.8 {
                assert_eq!(names, ["bending 1", "twist 1", "bending 2", "twist 2"]);
            }
        }
    }

    /// Leissa (1973), free square plate, nu 0.3: 13.489 19.789 24.432 35.024 35.024 61.526, upper bounds 0.1 to 1 % high (third
    /// decimals from memory); converged values of an independent solution (project reference) to 1e-4.
    #[test]
    fn isotropic_plates_lie_just_below_leissas_bounds() {
        let leissa = [13.489, 19.789, 24.432, 35.024, 35.024, 61.526];
        let converged = [13.46820, 19.59614, 24.27020, 34.80089, 34.80089, 61.09323];
        let constants = Constants { along_pa: 10e9, across_pa: 10e9, shear_pa: 10e9 / 2.6, poisson: 0.3 };
        let size = Size { length_m: 1.0, width_m: 1.0, thickness_m: 0.01, mass_kg: 6.0 };
        let stiffnesses = bending_stiffnesses(&constants, 0.01);
        let modes = free_plate_modes(&stiffnesses, &size, (14, 14), 1000.0);
        assert!(modes.len() >= leissa.len(), "{} modes", modes.len());
        for ((mode, bound), exact) in modes.iter().zip(leissa).zip(converged) {
            let parameter = mode.omega_squared.sqrt() * (6.0 / stiffnesses[0]).sqrt();
            assert!(parameter < bound && parameter > 0.988 * bound, "{parameter} {bound}");
            assert!((parameter / exact - 1.0).abs() < 1e-4, "{parameter} {exact}");
        }
    }

    /// Mean square 1, and the free bar's shape at its end: 2 (beam mass over modal mass 4).
    #[test]
    fn shapes_are_normalised() {
        let constants = Constants { along_pa: 12e9, across_pa: 1e9, shear_pa: 1.2e9, poisson: 0.0 };
        let size = Size { length_m: 0.8, width_m: 0.05, thickness_m: 2e-3, mass_kg: 0.05 };
        let modes = free_plate_modes(&bending_stiffnesses(&constants, 2e-3), &size, (16, 6), 300.0);
        assert!((modes[0].shape_at(0.0, 0.5).abs() - 2.0).abs() < 1e-3);
        let middle = modes[0].shape_at(0.5, 0.5) / modes[0].shape_at(0.0, 0.5);
        // The middle goes down as the ends go up.
        assert!((middle + 0.60782).abs() < 1e-3, "{middle}");
    }
}
