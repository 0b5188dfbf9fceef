"""Free wood blanks that are not what a blank should be: the grain at an angle, bowed, wedged, with a knot, and all of these.

python3 odd_blanks.py --check   known plates, more polynomials, the beams' elements of woods.py, in-plane inertia; exit code 1 if one is off
python3 odd_blanks.py           writes odd_blanks.csv and odd_blanks_tones.csv beside this file (some minutes)

Shallow shell of Reissner and Mindlin by Ritz's method: u, v, w and both turns, each a product of Legendre polynomials, integrated
point by point (thickness, moduli and density may be any field). Stiffness in the blank's axes by turning the grain's (Lekhnitskii; any
textbook of composites). In-plane motion follows the other at rest, its inertia is kept (Guyan); it has no momentum of its own.
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
from scipy.linalg import cho_factor, cho_solve, eigh
from scipy.sparse.linalg import eigsh

import woods

HERE = os.path.dirname(os.path.abspath(__file__))
SEED = 20261129
F_MAX = 1000.0
MODES = 40
DOMINANT = 0.6
TAP = (0.06, 0.12)
KAPPA, ROLLING = 5.0 / 6.0, 0.3
# name of the kind, how many of it are drawn
KINDS = (("grain", 60), ("bowed", 60), ("wedged", 60), ("knot", 60), ("all", 150), ("nearly", 150))


def legendre(terms, x):
    """Orthonormal Legendre polynomials on -1..1 and their first derivative, a row each."""
    p, d = np.zeros((terms, len(x))), np.zeros((terms, len(x)))
    p[0], p[1], d[1] = 1.0, x, 1.0
    for n in range(1, terms - 1):
        p[n + 1] = ((2 * n + 1) * x * p[n] - n * p[n - 1]) / (n + 1)
        d[n + 1] = (2 * n + 1) * p[n] + d[n - 1]
    norm = np.sqrt(np.arange(terms) + 0.5)[:, None]
    return p * norm, d * norm


def turned(e_l, e_c, g, nu, deg):
    """Plane-stress stiffness in the blank's axes, grain `deg` off x; the two shears through the thickness; compliance."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    comp = np.array([[1 / e_l, -nu / e_l, 0], [-nu / e_l, 1 / e_c, 0], [0, 0, 1 / g]])
    # stress of the grain's axes from that of the blank's
    t = np.array([[c * c, s * s, 2 * c * s], [s * s, c * c, -2 * c * s], [-c * s, c * s, c * c - s * s]])
    comp = t.T @ comp @ t
    r = np.array([[c, s], [-s, c]])
    return np.linalg.inv(comp), r.T @ np.diag([g, ROLLING * g]) @ r, comp


def terms_of(b):
    a, w, h, rho, e_l, e_c = b["a"], b["b"], b["h"], b["rho"], b["E_L"], b["E_C"]
    lines = lambda e, side: math.sqrt(2 * math.pi * 1.1 * F_MAX * math.sqrt(12 * rho / (e * h * h))) * side / math.pi
    count = lambda n, more: int(math.ceil(0.5 * math.pi * n)) + more
    return min(count(lines(e_l, a), 9), 32), min(count(lines(e_c, w), 7), 16)


def fields(b, x, y):
    """Thickness over its mean, stiffness and density over the clear wood's, at points (fractions of half the sides)."""
    h = 1.0 + b["along"] * x[:, None] + b["across"] * y[None, :]
    stiff = np.ones_like(h)
    heavy = np.ones_like(h)
    if b["knot_r"] > 0:
        r2 = (0.5 * b["a"] * (x[:, None] - b["knot_x"]))**2 + (0.5 * b["b"] * (y[None, :] - b["knot_y"]))**2
        spot = np.exp(-r2 / b["knot_r"]**2)
        stiff += (b["knot_e"] - 1.0) * spot
        heavy += (b["knot_m"] - 1.0) * spot
    # One end softer than the other: a step smoothed over a sixteenth of the length.
    stiff *= 1.0 + b["half"] * np.tanh(x / 0.125)[:, None]
    return h, stiff, heavy


def modes(b, more=0, count=MODES, f_max=F_MAX, inertia=True):
    """Frequencies (Hz), nodal lines (-1, -1 where no product of beams holds most), phi at the tap (kg^-1/2)."""
    nx, ny = (t + more for t in terms_of(b))
    qx, wx = np.polynomial.legendre.leggauss(nx + 10)
    qy, wy = np.polynomial.legendre.leggauss(ny + 8)
    (px, dx), (py, dy) = legendre(nx, qx), legendre(ny, qy)
    la, lb = 2.0 / b["a"], 2.0 / b["b"]
    n, nq = nx * ny, len(qx) * len(qy)
    val = np.einsum("ip,jq->pqij", px, py).reshape(nq, n)
    by_x = np.einsum("ip,jq->pqij", dx * la, py).reshape(nq, n)
    by_y = np.einsum("ip,jq->pqij", px, dy * lb).reshape(nq, n)
    h, stiff, heavy = (f.reshape(nq) for f in fields(b, qx, qy))
    h = h * b["h"]
    area = np.outer(wx, wy).reshape(nq) / (la * lb)
    q, shear, _ = turned(b["E_L"], b["E_C"], b["G"], b["nu"], b["deg"])
    shear = KAPPA * shear
    plate, bend = area * stiff * h, area * stiff * h**3 / 12
    gram = lambda left, weight, right: left.T @ (right * weight[:, None])

    def form(weight):
        """Energy of (u_x, v_y, u_y + v_x) in the plane's stiffness."""
        xx, xy, yy = gram(by_x, weight, by_x), gram(by_x, weight, by_y), gram(by_y, weight, by_y)
        uu = q[0, 0] * xx + q[0, 2] * (xy + xy.T) + q[2, 2] * yy
        vv = q[1, 1] * yy + q[1, 2] * (xy + xy.T) + q[2, 2] * xx
        uv = q[0, 1] * xy + q[0, 2] * xx + q[1, 2] * yy + q[2, 2] * xy.T
        return np.block([[uu, uv], [uv.T, vv]]), xx, xy, yy

    # Deflection and turns (bx, by): curvatures bx_x, by_y, bx_y + by_x; shear w_x + bx, w_y + by.
    same, x_of, y_of = gram(val, plate, val), gram(by_x, plate, val), gram(by_y, plate, val)
    in_plane, xx, xy, yy = form(plate)
    zero = np.zeros_like(same)
    ww = shear[0, 0] * xx + shear[0, 1] * (xy + xy.T) + shear[1, 1] * yy
    wx, wy = shear[0, 0] * x_of + shear[0, 1] * y_of, shear[0, 1] * x_of + shear[1, 1] * y_of
    k = np.block([[ww, wx, wy], [wx.T, shear[0, 0] * same, shear[0, 1] * same], [wy.T, shear[0, 1] * same, shear[1, 1] * same]])
    k[n:, n:] += form(bend)[0]
    m1 = gram(val, area * heavy * b["rho"] * h, val)
    m3 = gram(val, area * heavy * b["rho"] * h**3 / 12, val)
    m = np.block([[m1, zero, zero], [zero, m3, zero], [zero, zero, m3]])
    curve = 8.0 * b["bow"] / b["a"]**2
    if curve != 0.0:
        # Stretch u_x - curve w; u_x, v_y and u_y + v_x against w.
        kuw = -curve * np.vstack([q[0, 0] * x_of + q[0, 2] * y_of, q[0, 1] * y_of + q[0, 2] * x_of])
        kuu = in_plane
        k[:n, :n] += curve**2 * q[0, 0] * same
        muu = np.zeros((2 * n, 2 * n))
        muu[:n, :n], muu[n:, n:] = m1, m1
        rigid = np.zeros((2 * n, 3))
        rigid[0, 0], rigid[n, 1] = 1.0, 1.0
        rigid[1, 2], rigid[n + ny, 2] = -1.0 / lb, 1.0 / la      # u = -y, v = x
        held = muu @ rigid
        scale = np.max(np.abs(np.diag(kuu))) / np.max(np.sum(held * held, axis=0))
        follow = -cho_solve(cho_factor(kuu + scale * held @ held.T + 1e-13 * np.max(np.abs(kuu)) * np.eye(2 * n)), kuw)
        k[:n, :n] += kuw.T @ follow
        if inertia:
            m[:n, :n] += follow.T @ muu @ follow
    k = 0.5 * (k + k.T)
    lam, vec = eigh(k, 0.5 * (m + m.T), subset_by_index=(0, count + 2), driver="gvx")
    assert np.all(np.abs(lam[:3]) < 1e-3 * lam[3]), "not three rigid modes"
    f = np.sqrt(lam[3:]) / (2 * math.pi)
    keep = f <= f_max
    vec, f = vec[:n, 3:][:, keep], f[keep]
    ends = [legendre(t, np.array([2 * s - 1.0]))[0][:, 0] for t, s in ((nx, TAP[0]), (ny, TAP[1]))]
    phi = np.abs(np.kron(ends[0], ends[1]) @ vec)
    along, across = beam_shapes(nx), beam_shapes(ny)
    labels = []
    for v in vec.T:
        share = (along.T @ v.reshape(nx, ny) @ across)**2
        best = np.unravel_index(np.argmax(share), share.shape)
        labels.append((int(best[0]), int(best[1])) if share[best] > DOMINANT * share.sum() else (-1, -1))
    return f, labels, phi


def beam_shapes(terms):
    """A free bar's own shapes in the polynomials, rigid ones first."""
    d = np.zeros((terms, terms))
    for i in range(terms):
        for k in range(i - 1, -1, -2):
            d[k, i] = math.sqrt((2 * i + 1) * (2 * k + 1))
    d2 = d @ d
    values, vectors = eigh(d2.T @ d2)
    vectors[:, :2] = np.eye(terms)[:, :2]
    return vectors


PLAIN = dict(deg=0.0, bow=0.0, along=0.0, across=0.0, knot_x=0.0, knot_y=0.0, knot_r=0.0, knot_e=1.0, knot_m=1.0, half=0.0)
NAMES = ("a", "b", "h", "rho", "E_L", "E_C", "G", "nu")


def draw():
    rng = np.random.default_rng(SEED)
    sign = lambda: 1.0 if rng.random() < 0.5 else -1.0
    out = []
    for kind, (name, count) in enumerate(KINDS):
        while sum(b["kind"] == kind for b in out) < count:
            b = dict(PLAIN, kind=kind)
            if rng.random() < 0.5:
                b.update(a=rng.uniform(0.45, 0.95), b=rng.uniform(0.08, 0.25), h=rng.uniform(0.0018, 0.0045))
            else:
                b.update(a=rng.uniform(0.65, 0.85), b=rng.uniform(0.09, 0.14), h=rng.uniform(0.0017, 0.0030))
            b.update(rho=rng.uniform(350, 900), E_L=rng.uniform(6e9, 18e9))
            b["E_C"] = b["E_L"] * math.exp(rng.uniform(math.log(0.03), math.log(0.20)))
            b["G"] = b["E_L"] * math.exp(rng.uniform(math.log(0.045), math.log(0.15)))
            b["nu"] = rng.uniform(0.3, 0.5)
            if not 3300.0 < math.sqrt(b["E_L"] / b["rho"]) < 6000.0:
                continue
            # A bow of so much over 760 mm: the same radius whatever the length.
            bow = lambda most: rng.uniform(0.0, most) * 1e-3 * (b["a"] / 0.76)**2
            if name in ("grain", "all"):
                b["deg"] = rng.uniform(0.0, 10.0)
            if name in ("bowed", "all"):
                b["bow"] = bow(40.0)
            if name in ("wedged", "all"):
                which = rng.random()
                b["along"] = sign() * rng.uniform(0.0, 0.1) if which < 0.7 else 0.0
                b["across"] = sign() * rng.uniform(0.0, 0.1) if which > 0.4 else 0.0
            if name == "knot" or name == "all" and rng.random() < 0.5:
                if rng.random() < 0.7:
                    b.update(knot_x=rng.uniform(-0.9, 0.9), knot_y=rng.uniform(-0.8, 0.8), knot_r=rng.uniform(0.012, 0.035))
                    b.update(knot_e=math.exp(rng.uniform(math.log(0.4), math.log(2.5))), knot_m=rng.uniform(1.0, 1.6))
                else:
                    b["half"] = sign() * rng.uniform(0.03, 0.15)
            if name == "nearly":
                b.update(deg=abs(rng.normal(0.0, 1.5)), bow=bow(5.0), along=rng.uniform(-0.015, 0.015), across=rng.uniform(-0.015, 0.015))
                b["deg"] = min(b["deg"], 3.0)
            out.append({k: float(f"{v:.6g}") if k != "kind" else v for k, v in b.items()})
    return out


def elements(b, mesh=woods.MESH):
    """The thin plate with its grain at an angle by the Hermite beams' products of woods.py: 4 D_16 w_xx w_xy and 4 D_26 w_yy w_xy more."""
    d = turned(b["E_L"], b["E_C"], b["G"], b["nu"], b["deg"])[0] * b["h"]**3 / 12
    def beam(cells, side):
        step = side / cells
        x, w = np.polynomial.legendre.leggauss(5)
        t, w = 0.5 * (x + 1.0), 0.5 * step * w
        n = [np.array([1 - 3 * t**2 + 2 * t**3, step * (t - 2 * t**2 + t**3), 3 * t**2 - 2 * t**3, step * (t**3 - t**2)]),
             np.array([6 * t**2 - 6 * t, step * (1 - 4 * t + 3 * t**2), 6 * t - 6 * t**2, step * (3 * t**2 - 2 * t)]) / step,
             np.array([12 * t - 6, step * (6 * t - 4), 6 - 12 * t, step * (6 * t - 2)]) / step**2]
        out = {}
        for p in range(3):
            for q in range(3):
                whole = np.zeros((2 * cells + 2, 2 * cells + 2))
                for c in range(cells):
                    whole[2 * c:2 * c + 4, 2 * c:2 * c + 4] += (n[p] * w) @ n[q].T
                out[p, q] = sp.csc_matrix(whole)
        return out
    x, y = beam(mesh[0], b["a"]), beam(mesh[1], b["b"])
    # Derivatives of the deflection: (along x, along y) of w_xx, w_yy, 2 w_xy.
    parts = [(2, 0, 1.0), (0, 2, 1.0), (1, 1, 2.0)]
    stiff = sum(d[i, j] * p[2] * q[2] * sp.kron(x[p[0], q[0]], y[p[1], q[1]], format="csc")
                for i, p in enumerate(parts) for j, q in enumerate(parts))
    mass = b["rho"] * b["h"] * sp.kron(x[0, 0], y[0, 0], format="csc")
    shift = -(math.pi**4 * d[0, 0] / (b["rho"] * b["h"] * b["a"]**4))
    lam = np.sort(eigsh(stiff, k=23, M=mass, sigma=shift, which="LM", return_eigenvectors=False, v0=np.random.default_rng(1).random(mass.shape[0])))
    return np.sqrt(lam[3:]) / (2 * math.pi)


def check(blanks):
    wood = dict(PLAIN, a=0.8, b=0.12, h=0.00225, rho=705.6, E_L=12.6e9, E_C=1.6632e9, G=1.3986e9, nu=0.424)
    want = np.array([r[0] for r in woods.work(tuple(wood[k] for k in NAMES))[0]])
    f = modes(wood)[0]
    n = min(len(f), len(want))
    other = float(np.max(np.abs(f[:n] / want[:n] - 1.0)))
    thin = dict(wood, h=0.0008)
    angled = 0.0
    for deg in (4.0, 10.0):
        f, g = modes(dict(thin, deg=deg), f_max=300.0)[0], elements(dict(thin, deg=deg))
        n = min(len(f), len(g), 16)
        angled = max(angled, float(np.max(np.abs(f[:n] / g[:n] - 1.0))))
    fine = 0.0
    for b in blanks[::60]:
        coarse, finer = modes(b)[0], modes(b, more=4)[0]
        n = min(len(coarse), len(finer))
        fine = max(fine, float(np.max(np.abs(coarse[:n] / finer[:n] - 1.0))))
    bowed = dict(wood, bow=0.04)
    f, g = modes(bowed)[0], modes(bowed, inertia=False)[0]
    n = min(len(f), len(g))
    moved = float(np.max(np.abs(f[:n] / g[:n] - 1.0)))
    print(f"a plate of woods.py within {other:.1e}; thin ones of 0.8 mm, the grain 4 and 10 degrees off, beside finite elements within "
          f"{angled:.1e}; 4 polynomials more move a tone by {fine:.1e} at most; in-plane inertia of a bow of 40 mm takes {moved:.1e}")
    return other < 2e-3 and angled < 2e-3 and fine < 2e-3


def mean_moduli(b):
    """Mean over the area of the moduli in the grain's axes, over the clear wood's."""
    x, w = np.polynomial.legendre.leggauss(60)
    return float(w @ fields(b, x, x)[1] @ w / 4.0)


def mass(b):
    x, w = np.polynomial.legendre.leggauss(60)
    h, _, heavy = fields(b, x, x)
    return float(w @ (h * heavy) @ w / 4.0) * b["rho"] * b["a"] * b["b"] * b["h"]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--few", action="store_true")
    args = parser.parse_args()
    blanks = draw()
    if args.check:
        return 0 if check(blanks) else 1
    with Pool(int(os.environ.get("WORKERS", "2"))) as pool:
        solved = pool.map(modes, blanks, chunksize=2)
    versions = f"python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    names = [k for k in NAMES] + list(PLAIN)
    with open(os.path.join(HERE, "odd_blanks.csv"), "w") as out:
        out.write(f"# Odd free wood blanks, x along the length a; made by odd_blanks.py, seed {SEED}. {versions}\n")
        out.write("# kind: " + ", ".join(f"{i} {k}" for i, (k, _) in enumerate(KINDS)) + ". Moduli (Pa) in the grain's axes, deg the grain's angle\n")
        out.write("# to the length, bow (m) the rise over the length, along and across the wedge (half the difference of the ends or edges\n")
        out.write("# over the mean thickness), knot (place, radius, stiffness and density over clear wood's), half: one end's stiffness. mean: mean\n")
        out.write("# over the area of the moduli over the clear wood's; E_x, E_y, G_xy (Pa): of the mean in the blank's axes; mass (kg).\n")
        out.write("blank,kind," + ",".join(names) + ",mean,E_x,E_y,G_xy,mass\n")
        for i, b in enumerate(blanks):
            mean = mean_moduli(b)
            comp = turned(*(mean * b[k] for k in ("E_L", "E_C", "G")), b["nu"], b["deg"])[2]
            values = [b[k] for k in names] + [mean] + [1.0 / comp[j, j] for j in range(3)] + [mass(b)]
            out.write(f"{i},{b['kind']}," + ",".join(f"{v:.6g}" for v in values) + "\n")
    with open(os.path.join(HERE, "odd_blanks_tones.csv"), "w") as out:
        out.write(f"# Elastic tones up to {F_MAX:.0f} Hz, at most {MODES}, of the blanks of odd_blanks.csv. {versions}\n")
        out.write("# m, n: nodal lines across the length and across the width, -1: no product of beams holds more than "
                  f"{DOMINANT}. phi at the tap {TAP} in kg^-1/2.\n")
        out.write("blank,hz,m,n,phi\n")
        for i, (f, labels, phi) in enumerate(solved):
            for hz, (m, n), p in zip(f, labels, phi):
                out.write(f"{i},{hz:.6g},{m},{n},{p:.3g}\n")
    print(f"{sum(len(s[0]) for s in solved)} tones of {len(blanks)} blanks")
    return 0


if __name__ == "__main__":
    sys.exit(main())
