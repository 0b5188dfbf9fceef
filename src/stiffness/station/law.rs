//! The law that a stuck-on mass obeys, with everything that it needs to be known.
//!
//! With a mass d stuck on, the part vibrates at the frequencies w at which 1/d = w^2 H(w), H the receptance of the bare part at the spot,
//! H = sum of a_k/(w_k^2 - w^2) over its modes less a_0/w^2 for its rigid motion, where a = 1/M. Written for mode n with
//! s = w_n^2/w^2 - 1:
//!
//! s = d a_n + d s (sum over k other than n of c_nk a_k w^2/(w_k^2 - w^2) - c_n0 a_0 + unheard modes below and above).
//!
//! A spot that moves one way has all c = 1. One that slides as it moves to and fro feels the other modes only as far as they move its own
//! way, to second order in d: c_nk is the square of the cosine between the two motions.

use super::unheard::Unheard;

/// A mode read in one take: angular frequency and its own relative standard uncertainty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub mode: usize,
    pub take: usize,
    pub ln_omega: f64,
    pub u: f64,
}

/// The takes' masses: each (kg), and what one standard uncertainty of each of their sources moves it by.
#[derive(Debug, Clone)]
pub(super) struct Masses {
    pub kg: Vec<f64>,
    pub parts: Vec<Vec<f64>>,
}

/// Where each unknown stands in the vector of all of them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    pub modes: usize,
    pub takes: usize,
    pub sources: usize,
    pub may_slide: bool,
}

/// How many neighbours to each side have a cosine of their own; all farther ones share one.
const NEIGHBOURS: usize = 2;
/// Cosines of a mode besides its upper neighbours': with all others, and with the rigid motion.
const SHARED: usize = 2;

impl Layout {
    /// ln of the angular frequency of a mode of the bare part.
    pub fn omega(&self, mode: usize) -> usize {
        mode
    }
    /// 1/M of a mode, in units of `Law::scale`.
    pub fn inverse(&self, mode: usize) -> usize {
        self.modes + mode
    }
    /// What holding anew added to ln f of a take, in its standard uncertainty.
    pub fn held(&self, take: usize) -> usize {
        2 * self.modes + take
    }
    /// A source of the masses' uncertainty, in its standard uncertainty.
    pub fn source(&self, source: usize) -> usize {
        2 * self.modes + self.takes + source
    }
    /// Rigid motion, modes below, the next above, those farther above: in standard uncertainties from what is expected.
    pub fn unheard(&self, which: usize) -> usize {
        2 * self.modes + self.takes + self.sources + which
    }
    fn cosine(&self, mode: usize, place: usize) -> usize {
        self.unheard(4) + (NEIGHBOURS + SHARED) * mode + place
    }
    /// Of two modes, or of a mode and the rigid motion (`other` = None).
    fn coupling(&self, mode: usize, other: Option<usize>) -> usize {
        match other {
            Some(other) if mode.abs_diff(other) <= NEIGHBOURS => self.cosine(mode.min(other), mode.abs_diff(other) - 1),
            Some(_) => self.cosine(mode, NEIGHBOURS),
            None => self.cosine(mode, NEIGHBOURS + 1),
        }
    }
    pub fn first_cosine(&self) -> usize {
        self.unheard(4)
    }
    pub fn len(&self) -> usize {
        self.unheard(4) + if self.may_slide { (NEIGHBOURS + SHARED) * self.modes } else { 0 }
    }
}

/// Square of the cosine between two motions where a spot may slide: modes that a tap across finds move across more than along.
const COSINE: f64 = 0.7;
const COSINE_U: f64 = 0.3;

/// What the law needs besides its unknowns.
#[derive(Debug, Clone)]
pub(super) struct Law {
    pub layout: Layout,
    pub masses: Masses,
    pub unheard: Unheard,
    /// Unit of 1/M (1/kg).
    pub scale: f64,
    /// Standard uncertainty of holding anew (relative).
    pub held: f64,
}

/// A row of the linear problem: what is missing, and how each unknown moves it, in standard uncertainties of the reading.
pub(super) struct Row {
    pub residual: f64,
    pub slopes: Vec<(usize, f64)>,
}

impl Law {
    /// How far a reading lies from the law.
    pub fn row(&self, x: &[f64], reading: &Reading) -> Row {
        let layout = &self.layout;
        let (n, take) = (reading.mode, reading.take);
        let ln_omega = reading.ln_omega - self.held * x[layout.held(take)];
        if self.masses.kg[take] == 0.0 {
            let slopes = vec![(layout.omega(n), -1.0 / reading.u), (layout.held(take), -self.held / reading.u)];
            return Row { residual: (ln_omega - x[layout.omega(n)]) / reading.u, slopes };
        }
        let at = self.at(x, n, take, ln_omega);
        let scale = at.slope.abs().max(1e-9) * reading.u;
        let mut slopes = at.slopes;
        slopes.push((layout.held(take), -self.held * at.slope));
        slopes.iter_mut().for_each(|s| s.1 /= scale);
        Row { residual: at.left / scale, slopes }
    }

    /// ln of mode `n`'s angular frequency with the mass of a take on, found from the law by Newton's method; `None` if it does not
    /// settle.
    pub fn ln_omega(&self, x: &[f64], n: usize, take: usize) -> Option<f64> {
        let d = self.masses.kg[take] * self.scale;
        let mut ln_omega = x[self.layout.omega(n)] - 0.5 * (d * x[self.layout.inverse(n)]).max(0.0).ln_1p();
        for _ in 0..30 {
            let at = self.at(x, n, take, ln_omega);
            let step = at.left / at.slope;
            ln_omega -= step.clamp(-0.02, 0.02);
            if step.abs() < 1e-10 {
                return Some(ln_omega);
            }
        }
        None
    }

    /// The law's two sides' difference s - d a_n - d s B for a true frequency.
    fn at(&self, x: &[f64], n: usize, take: usize, ln_omega: f64) -> At {
        let layout = &self.layout;
        let mut slopes = Vec::with_capacity(2 * layout.modes + 8);
        let source = |j: usize| self.masses.parts[take][j];
        let heavier: f64 = (0..layout.sources).map(|j| source(j) * x[layout.source(j)]).sum();
        let d = (self.masses.kg[take] + heavier) * self.scale;
        let ratio = |omega: f64| (2.0 * (omega - ln_omega)).exp();
        let own = ratio(x[layout.omega(n)]);
        let s = own - 1.0;
        // The sum in brackets and how it changes with ln w.
        let (mut sum, mut sum_slope) = (0.0, 0.0);
        for k in (0..layout.modes).filter(|k| *k != n) {
            let e = ratio(x[layout.omega(k)]);
            let g = 1.0 / (e - 1.0);
            let a = x[layout.inverse(k)];
            let c = if layout.may_slide {
                let place = layout.coupling(n, Some(k));
                slopes.push((place, -d * s * a * g * COSINE_U));
                COSINE + COSINE_U * x[place]
            } else {
                1.0
            };
            sum += c * a * g;
            sum_slope += c * a * 2.0 * e * g * g;
            slopes.push((layout.omega(k), d * s * c * a * 2.0 * e * g * g));
            slopes.push((layout.inverse(k), -d * s * c * g));
        }
        for (which, term) in self.unheard.terms(ln_omega).into_iter().enumerate() {
            let amount = term.expected + term.doubt * x[layout.unheard(which)];
            let c = if layout.may_slide && which == 0 {
                let place = layout.coupling(n, None);
                slopes.push((place, -d * s * amount * term.factor * COSINE_U));
                COSINE + COSINE_U * x[place]
            } else {
                1.0
            };
            sum += c * amount * term.factor;
            sum_slope += c * amount * term.slope;
            slopes.push((layout.unheard(which), -d * s * c * term.doubt * term.factor));
        }
        let a = x[layout.inverse(n)];
        slopes.push((layout.omega(n), 2.0 * own * (1.0 - d * sum)));
        slopes.push((layout.inverse(n), -d));
        for j in 0..layout.sources {
            slopes.push((layout.source(j), -source(j) * self.scale * (a + s * sum)));
        }
        let slope = -2.0 * own * (1.0 - d * sum) - d * s * sum_slope;
        At { left: s - d * a - d * s * sum, slope, slopes }
    }
}

struct At {
    left: f64,
    /// Change of `left` with ln w.
    slope: f64,
    slopes: Vec<(usize, f64)>,
}
