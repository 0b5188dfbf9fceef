"""Free wood blanks and small panels of widely drawn woods: a second table of tones, for how honest the blank's moduli are.

python3 woods.py --check      a mesh twice as fine in each direction for each 40th blank, and known values; exit code 1 if one is off
python3 woods.py              writes woods.csv and woods_tones.csv beside this file (some minutes)

Thin plate by finite elements of its own (numpy and scipy alone): products of cubic Hermite beams, which are the Bogner-Fox-Schmit
rectangles, so that each matrix is a sum of Kronecker products of a beam's. What the thickness takes: ratios of the
Reissner-Mindlin plate by plates_thick.py, with G_xz = G and G_yz = 0.3 G as in plates_thick.csv.
"""

import argparse
import math
import os
import platform
import sys
from multiprocessing import Pool

import numpy as np
import scipy
import scipy.sparse as sp
from scipy.linalg import eigh
from scipy.sparse.linalg import eigsh

import plates_thick

HERE = os.path.dirname(os.path.abspath(__file__))
SEED = 20261128
BLANKS = 240
MESH = (56, 28)
F_MAX = 1000.0
MODES = 40
DOMINANT = 0.6
TAP = (0.06, 0.12)


def beam(cells, side):
    """Matrices of a beam of cubic Hermite elements: <u u>, <u u''>, <u' u'>, <u'' u''>."""
    h = side / cells
    x, w = np.polynomial.legendre.leggauss(5)
    t, w = 0.5 * (x + 1.0), 0.5 * h * w
    n = [np.array([1 - 3 * t**2 + 2 * t**3, h * (t - 2 * t**2 + t**3), 3 * t**2 - 2 * t**3, h * (t**3 - t**2)]),
         np.array([6 * t**2 - 6 * t, h * (1 - 4 * t + 3 * t**2), 6 * t - 6 * t**2, h * (3 * t**2 - 2 * t)]) / h,
         np.array([12 * t - 6, h * (6 * t - 4), 6 - 12 * t, h * (6 * t - 2)]) / h**2]
    out = []
    for p, q in ((0, 0), (0, 2), (1, 1), (2, 2)):
        one = (n[p] * w) @ n[q].T
        whole = np.zeros((2 * cells + 2, 2 * cells + 2))
        for c in range(cells):
            whole[2 * c:2 * c + 4, 2 * c:2 * c + 4] += one
        out.append(whole)
    return out


def at(cells, side, share):
    """The row that gives the deflection at a share of the side."""
    h = side / cells
    c = min(int(share * cells), cells - 1)
    t = share * cells - c
    row = np.zeros(2 * cells + 2)
    row[2 * c:2 * c + 4] = [1 - 3 * t**2 + 2 * t**3, h * (t - 2 * t**2 + t**3), 3 * t**2 - 2 * t**3, h * (t**3 - t**2)]
    return row


def modes(blank, mesh=MESH, count=MODES, f_max=F_MAX):
    """Frequencies (Hz), nodal lines (across the length, across the width; -1, -1 where no product of beams holds most), phi at the tap."""
    a, b, h, rho, e_l, e_c, g, nu_xy = blank
    nu_yx = nu_xy * e_c / e_l
    u = 1.0 - nu_xy * nu_yx
    d_x, d_y, d_k = e_l * h**3 / (12 * u), e_c * h**3 / (12 * u), g * h**3 / 12
    d_1 = nu_yx * d_x
    x, y = beam(mesh[0], a), beam(mesh[1], b)

    def kron(p, q):
        return sp.kron(sp.csc_matrix(p), sp.csc_matrix(q), format="csc")

    cross = kron(x[1], y[1].T)
    stiff = d_x * kron(x[3], y[0]) + d_y * kron(x[0], y[3]) + d_1 * (cross + cross.T) + 4 * d_k * kron(x[2], y[2])
    mass = rho * h * kron(x[0], y[0])
    shift = -(math.pi**4 * d_x / (rho * h * a**4))
    start = np.random.default_rng(1).random(mass.shape[0])
    lam, vec = eigsh(stiff, k=count + 3, M=mass, sigma=shift, which="LM", v0=start)
    order = np.argsort(lam)
    lam, vec = lam[order], vec[:, order]
    assert np.all(np.abs(lam[:3]) < 1e-4 * lam[3]), "not three rigid modes"
    f = np.sqrt(lam[3:]) / (2 * math.pi)
    vec = vec[:, 3:][:, f <= f_max]
    f = f[f <= f_max]
    # A beam's own shapes by the same elements; rigid ones first. Two of them are rigid: turned so that they are heave and pitch.
    def shapes(m, keep):
        values, vectors = eigh(m[3], m[0])
        n = m[0].shape[0]
        heave = np.zeros(n)
        heave[0::2] = 1.0
        heave /= math.sqrt(heave @ m[0] @ heave)
        pair = vectors[:, :2] - np.outer(heave, heave @ m[0] @ vectors[:, :2])
        pitch = pair[:, np.argmax(np.abs(pair).max(axis=0))]
        vectors[:, 0], vectors[:, 1] = heave, pitch / math.sqrt(pitch @ m[0] @ pitch)
        return vectors[:, :keep]

    along, across = shapes(x, 26), shapes(y, 12)
    labels, phi = [], []
    row = np.kron(at(mesh[0], a, TAP[0]), at(mesh[1], b, TAP[1]))
    for v in vec.T:
        share = rho * h * (along.T @ x[0] @ v.reshape(x[0].shape[0], -1) @ y[0] @ across)**2
        best = np.unravel_index(np.argmax(share), share.shape)
        labels.append((int(best[0]), int(best[1])) if share[best] > DOMINANT else (-1, -1))
        phi.append(abs(row @ v))
    return f, labels, phi


def draw():
    rng = np.random.default_rng(SEED)
    rows = []
    while len(rows) < BLANKS:
        a, b, h = rng.uniform(0.45, 0.95), rng.uniform(0.08, 0.25), rng.uniform(0.0018, 0.0045)
        rho, e_l = rng.uniform(350, 900), rng.uniform(6e9, 18e9)
        e_c = e_l * math.exp(rng.uniform(math.log(0.03), math.log(0.25)))
        g = e_l * math.exp(rng.uniform(math.log(0.04), math.log(0.17)))
        nu = rng.uniform(0.3, 0.5)
        if 3200.0 < math.sqrt(e_l / rho) < 6200.0:
            rows.append(tuple(float(f"{v:.6g}") for v in (a, b, h, rho, e_l, e_c, g, nu)))
    return rows


def check(blanks):
    wood = (0.8, 0.12, 0.00225, 705.6, 12.6e9, 1.6632e9, 1.3986e9, 0.424)
    want = np.array([15.28154, 33.47035, 42.18302, 69.71572, 82.80222, 111.2908])
    known = float(np.max(np.abs(modes(wood)[0][:6] / want - 1.0)))
    e, nu, rho, h = 1e10, 0.3, 500.0, 0.003
    f = modes((1.0, 1.0, h, rho, e, e, e / (2 * (1 + nu)), nu), (40, 40), 8)[0][:5]
    square = 2 * math.pi * f * math.sqrt(rho * h / (e * h**3 / (12 * (1 - nu**2))))
    want = np.array([13.46820, 19.59614, 24.27020, 34.80089, 34.80089])
    known = max(known, float(np.max(np.abs(square / want - 1.0))))
    fine = 0.0
    for blank in blanks[::40]:
        coarse, finer = modes(blank)[0], modes(blank, (2 * MESH[0], 2 * MESH[1]))[0]
        fine = max(fine, float(np.max(np.abs(coarse[:len(finer)] / finer[:len(coarse)] - 1.0))))
    print(f"known plates within {known:.1e}; a mesh twice as fine moves a tone by {fine:.1e} at most")
    return known < 1e-4 and fine < 5e-4


def work(blank):
    f, labels, phi = modes(blank)
    thick = plates_thick.work((blank, [(hz, m, n) for hz, (m, n) in zip(f, labels)]))
    rows = [(hz * line[2][1], m, n, p) for hz, (m, n), p, line in zip(f, labels, phi, thick)]
    return rows, max(line[1] for line in thick)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--check", action="store_true")
    args = parser.parse_args()
    blanks = draw()
    if args.check:
        return 0 if check(blanks) else 1
    with Pool(int(os.environ.get("WORKERS", "2"))) as pool:
        solved = pool.map(work, blanks, chunksize=4)
    versions = f"python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    off = max(s[1] for s in solved)
    with open(os.path.join(HERE, "woods.csv"), "w") as out:
        out.write(f"# Widely drawn free wood blanks and panels, x (length a) along the grain; made by woods.py, seed {SEED}.\n")
        out.write(f"# {versions}\n# Units: m, kg/m^3, Pa. E_C across the grain, G in the plane.\n")
        out.write("blank,a,b,h,rho,E_L,E_C,G,nu_xy\n")
        for i, row in enumerate(blanks):
            out.write(f"{i}," + ",".join(f"{v:.6g}" for v in row) + "\n")
    with open(os.path.join(HERE, "woods_tones.csv"), "w") as out:
        out.write(f"# Elastic tones up to {F_MAX:.0f} Hz (thin), at most {MODES}, of the blanks of woods.csv: finite elements, times what the\n")
        out.write(f"# thickness takes (plates_thick.py). {versions}\n")
        out.write(f"# Both programs' thin plates agree within {off:.1e}. m, n: nodal lines across the length and across the width,\n")
        out.write(f"# -1: no product of beams holds more than {DOMINANT} of the energy. phi at the tap {TAP} in kg^-1/2.\n")
        out.write("blank,hz,m,n,phi\n")
        for i, (rows, _) in enumerate(solved):
            for hz, m, n, p in rows:
                out.write(f"{i},{hz:.6g},{m},{n},{p:.3g}\n")
    print(f"{sum(len(s[0]) for s in solved)} tones of {len(blanks)} blanks; thin plates agree within {off:.1e}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
