"""What thickness takes from the tones of the free wood blanks: Reissner-Mindlin plates, modes of plates.csv.

python3 plates_thick.py --check     convergence and thin limit for each 60th blank (half a minute)
python3 plates_thick.py --fem       three blanks by finite elements in the plate's primary unknowns (needs scikit-fem)
python3 plates_thick.py             writes plates_thick.csv beside this file (two minutes)

Twice the energy density, psi the rotations and kappa = 5/6; rotary inertia rho h^3/12 in both directions:
    D_x psi_x,x^2 + 2 D_1 psi_x,x psi_y,y + D_y psi_y,y^2 + D_k (psi_x,y + psi_y,x)^2
    + kappa h (G_xz g_x^2 + G_yz g_y^2).
The shear angles g = grad w - psi are unknowns in place of psi: with stiff shear they go to zero by themselves and leave
the thin plate in the same polynomials, so nothing locks and little is lost to rounding, however thin the plate.
Products of Legendre polynomials over the whole plate; beside them, for g, the exponential that dies away from a free edge within
about h/3 (the edge effect of torsion), which polynomials alone would need a hundred terms to follow.
"""

import argparse
import datetime
import math
import os
import platform
import sys
from multiprocessing import Pool

import numpy as np
import scipy
from numpy.polynomial import legendre
from scipy.linalg import cho_factor, cho_solve, eigh
from scipy.optimize import linear_sum_assignment

HERE = os.path.dirname(os.path.abspath(__file__))
KAPPA = 5.0 / 6.0
RIGID = 1e12
# (name, G_xz/G, G_yz/G); None: no such shear at all, which is what an infinite modulus comes to.
CASES = (("along", 1.0, None), ("both", 1.0, 0.3))


def rows(name):
    with open(os.path.join(HERE, name)) as text:
        return [[float(v) for v in line.split(",")] for line in text if line[0].isdigit()]


def quadrature(degree, layers):
    """Points and weights on -1..1, dense where the edge functions are."""
    cuts = {-1.0, 1.0}
    for length in layers:
        for c in (3.0, 9.0, 18.0, 36.0):
            if c * length < 0.5:
                cuts |= {-1.0 + c * length, 1.0 - c * length}
    cuts = sorted(cuts)
    points, weights = [], []
    for lo, hi in zip(cuts[:-1], cuts[1:]):
        count = degree + 4 if hi - lo > 0.5 else 16 + degree // 4
        t, w = np.polynomial.legendre.leggauss(count)
        points.append(0.5 * (lo + hi) + 0.5 * (hi - lo) * t)
        weights.append(0.5 * (hi - lo) * w)
    return np.concatenate(points), np.concatenate(weights)


class Side:
    """Integrals along one side: w takes polynomials of one parity; g the same, or the other, and edge functions."""

    def __init__(self, terms, odd, side, layers):
        layers = [length * 2.0 / side for length in layers]
        x, weight = quadrature(terms, layers)
        scale = 2.0 / side

        def polynomials(parity, derivatives):
            keep = [i for i in range(terms) if i % 2 == parity]
            out = []
            for order in range(derivatives + 1):
                unit = np.zeros((terms, len(keep)))
                for k, i in enumerate(keep):
                    unit[i, k] = math.sqrt(i + 0.5)
                coefficients = legendre.legder(unit, order) if order else unit
                out.append(scale**order * legendre.legval(x, coefficients))
            return out

        def edges(parity):
            values, slopes = [], []
            sign = -1.0 if parity else 1.0
            for length in layers:
                near, far = np.exp((x - 1.0) / length), np.exp((-x - 1.0) / length)
                values.append((near + sign * far) / math.sqrt(length))
                slopes.append(scale / length * (near - sign * far) / math.sqrt(length))
            return values, slopes

        self.w = polynomials(odd, 2)
        self.g = {}
        # "same": g with the parity of w along this side; "other": that of its slope.
        for name, parity in (("same", odd), ("other", 1 - odd)):
            p = polynomials(parity, 1)
            e = edges(parity)
            self.g[name] = [np.vstack([p[0], *e[0]]), np.vstack([p[1], *e[1]])]
        self.weight = weight

    def inner(self, a, b):
        return (a * self.weight) @ b.T


def class_matrices(blank, terms, odd, shear, layered=True, rotary=True):
    """Stiffness and mass over (w, g_x, g_y) for one symmetry, and how many of the unknowns are w's."""
    a, b, h, rho, e_l, e_c, g, nu_xy = blank
    nu_yx = nu_xy * e_c / e_l
    cube = h**3 / 12.0
    d_x, d_y = (e * cube / (1.0 - nu_xy * nu_yx) for e in (e_l, e_c))
    d_1, d_k = nu_yx * d_x, g * cube
    g_xz, g_yz = shear
    # The length within which the edge effect dies: the twist's stiffness against the shear's.
    layer = [math.sqrt(d_k / (KAPPA * h * s * g)) if s is not None else None for s in (g_xz, g_yz)]
    along = Side(terms[0], odd[0], a, [layer[1]] if layered and layer[1] else [])
    width = Side(terms[1], odd[1], b, [layer[0]] if layered and layer[0] else [])
    # Fields: name -> (functions along x by order of derivative, the same along y).
    fields = {"w": (along.w, width.w)}
    if g_xz is not None:
        fields["gx"] = (along.g["other"], width.g["same"])
    if g_yz is not None:
        fields["gy"] = (along.g["same"], width.g["other"])

    def term(p, q, dp, dq):
        """Integral of (d^dp p)(d^dq q) over the plate, up to the factor a b/4."""
        (px, py), (qx, qy) = fields[p], fields[q]
        return np.kron(along.inner(px[dp[0]], qx[dq[0]]), width.inner(py[dp[1]], qy[dq[1]]))

    # Strains and speeds as sums of (field, derivative, factor).
    kx = [("w", (2, 0), 1.0), ("gx", (1, 0), -1.0)]
    ky = [("w", (0, 2), 1.0), ("gy", (0, 1), -1.0)]
    kxy = [("w", (1, 1), 2.0), ("gx", (0, 1), -1.0), ("gy", (1, 0), -1.0)]
    psi_x = [("w", (1, 0), 1.0), ("gx", (0, 0), -1.0)]
    psi_y = [("w", (0, 1), 1.0), ("gy", (0, 0), -1.0)]
    names = list(fields)
    sizes = [fields[n][0][0].shape[0] * fields[n][1][0].shape[0] for n in names]
    start = dict(zip(names, np.concatenate([[0], np.cumsum(sizes)])))
    total = sum(sizes)
    size = dict(zip(names, sizes))
    stiff, mass = np.zeros((total, total)), np.zeros((total, total))

    def add(matrix, left, right, factor):
        for p, dp, cp in left:
            for q, dq, cq in right:
                if p in fields and q in fields:
                    block = matrix[start[p]:start[p] + size[p], start[q]:start[q] + size[q]]
                    block += factor * cp * cq * term(p, q, dp, dq)

    add(stiff, kx, kx, d_x)
    add(stiff, ky, ky, d_y)
    add(stiff, kx, ky, d_1)
    add(stiff, ky, kx, d_1)
    add(stiff, kxy, kxy, d_k)
    for name, s in (("gx", g_xz), ("gy", g_yz)):
        if s is not None:
            add(stiff, [(name, (0, 0), 1.0)], [(name, (0, 0), 1.0)], KAPPA * h * s * g)
    deflection = [("w", (0, 0), 1.0)]
    add(mass, deflection, deflection, rho * h)
    if rotary:
        add(mass, psi_x, psi_x, rho * cube)
        add(mass, psi_y, psi_y, rho * cube)
    return stiff, mass, sizes[0]


def class_modes(blank, terms, odd, shear, count, layered=True, exact=False, rotary=True):
    """Frequencies (Hz) and the deflection's coefficients of the lowest elastic modes of one symmetry."""
    stiff, mass, n = class_matrices(blank, terms, odd, shear, layered, rotary)
    if exact or n == len(stiff):
        values, vectors = eigh(stiff, mass)
        vectors = vectors[:n]
    else:
        # The shear angles follow the deflection at once: their own resonances lie above 100 kHz.
        follow = -cho_solve(cho_factor(stiff[n:, n:]), stiff[n:, :n])
        lower = stiff[:n, :n] + stiff[:n, n:] @ follow
        cross = mass[:n, n:] @ follow
        inertia = mass[:n, :n] + cross + cross.T + follow.T @ mass[n:, n:] @ follow
        values, vectors = eigh(0.5 * (lower + lower.T), 0.5 * (inertia + inertia.T))
    rigid = 0 if odd == (1, 1) else 1
    values, vectors = values[rigid:rigid + count], vectors[:, rigid:rigid + count]
    vectors = vectors / np.sqrt((vectors**2).sum(axis=0))
    return np.sqrt(values) / (2.0 * math.pi), vectors


CLASSES = ((0, 0), (0, 1), (1, 0), (1, 1))


def terms_for(modes):
    """Polynomials along and across: pi/2 for each nodal line is the least that follows a wave, the rest is margin."""
    m, n = max(r[1] for r in modes), max(r[2] for r in modes)
    return int(1.6 * m) + 15, int(1.6 * n) + 13


def thin_and_thick(blank, terms, counts, cases=CASES):
    """By symmetry: thin frequencies, and for each case the thick frequencies of the same shapes."""
    out = {}
    for odd, count in zip(CLASSES, counts):
        count += 4
        thin, shapes = thin_modes(blank, terms, odd, count)
        thick = []
        for _, g_xz, g_yz in cases:
            hz, other = class_modes(blank, terms, odd, (g_xz, g_yz), count)
            # Where two modes of one symmetry come close they may trade shapes: follow the shape, as (m, n) does.
            likeness = (shapes.T @ other)**2
            likeness[np.abs(hz[None, :] / thin[:, None] - 1.0) > 0.1] = 0.0
            _, pick = linear_sum_assignment(-likeness)
            thick.append((hz[pick], likeness[np.arange(len(pick)), pick], pick))
        out[odd] = (thin, thick)
    return out


def thin_modes(blank, terms, odd, count):
    return class_modes(blank, terms, odd, (None, None), count, rotary=False)


def match(modes, solved):
    """For each mode of plates.csv: symmetry and place there. Frequencies within a symmetry are in order in both."""
    taken = {odd: set() for odd in CLASSES}
    found = [None] * len(modes)
    for clear in (True, False):
        for i, (hz, m, n) in enumerate(modes):
            if (m >= 0) != clear:
                continue
            classes = [(int(m) % 2, int(n) % 2)] if clear else CLASSES
            off, odd, k = min((abs(f / hz - 1.0), odd, k) for odd in classes for k, f in enumerate(solved[odd][0])
                              if k not in taken[odd])
            taken[odd].add(k)
            found[i] = (odd, k, off)
    return found


def counts_for(modes):
    unclear = sum(1 for r in modes if r[1] < 0)
    return [sum(1 for r in modes if r[1] >= 0 and (int(r[1]) % 2, int(r[2]) % 2) == odd) + unclear for odd in CLASSES]


def work(item):
    blank, modes = item
    solved = thin_and_thick(blank, terms_for(modes), counts_for(modes))
    lines = []
    for odd, k, off in match(modes, solved):
        thin, thick = solved[odd]
        lines.append((thin[k], off, [t[0][k] / thin[k] for t in thick], min(t[1][k] for t in thick),
                      any(t[2][k] != k for t in thick)))
    return lines


def load():
    blanks = [tuple(r[1:]) for r in rows("blanks.csv")]
    modes = [[] for _ in blanks]
    for r in rows("plates.csv"):
        modes[int(r[0])].append((r[1], r[2], r[3]))
    return blanks, modes


def check(blanks, modes, picks):
    """Largest relative changes of a ratio thick/thin by order, edge functions and condensation; the thin limit."""
    worst = {}
    for i in picks:
        terms, counts = terms_for(modes[i]), counts_for(modes[i])
        more = terms[0] + 10, terms[1] + 8
        for odd, count in zip(CLASSES, counts):
            def note(name, values, reference):
                worst[name] = max(worst.get(name, 0.0), float(np.max(np.abs(values / reference - 1.0), initial=0.0)))

            thin, thin_more = (thin_modes(blanks[i], t, odd, count)[0] for t in (terms, more))
            note("thin, more terms", thin, thin_more)
            for name, *shear in CASES:
                def solve(t=terms, **how):
                    return class_modes(blanks[i], t, odd, shear, count, **how)[0]

                base = solve()
                note(f"{name}, more terms", base / thin, solve(more) / thin_more)
                note(f"{name}, no edge functions", solve(layered=False), base)
                note(f"{name}, shear angles' own inertia", solve(exact=True), base)
            stiff = class_modes(blanks[i], terms, odd, (RIGID, RIGID), count, layered=False, rotary=False)[0]
            note("very stiff shear, no rotary inertia", stiff, thin)
    return worst


def finite_elements(blank, shear, count, degree=4, cells=(30, 12)):
    """The same plate in (w, psi_x, psi_y) by scikit-fem: nothing shared with the functions above."""
    import skfem
    from scipy.sparse.linalg import eigsh
    from skfem.helpers import grad

    a, b, h, rho, e_l, e_c, g, nu_xy = blank
    nu_yx = nu_xy * e_c / e_l
    cube = h**3 / 12.0
    d_x, d_y = (e * cube / (1.0 - nu_xy * nu_yx) for e in (e_l, e_c))
    d_1, d_k = nu_yx * d_x, g * cube
    s_x, s_y = (KAPPA * h * g * s for s in shear)

    def knots(side, n):
        edge = h * np.array([0.0, 0.4, 1.2, 3.0])
        return np.concatenate([edge, np.linspace(edge[-1], side - edge[-1], n + 1)[1:-1], (side - edge)[::-1]])

    mesh = skfem.MeshQuad.init_tensor(knots(a, cells[0]), knots(b, cells[1]))
    element = skfem.ElementQuadP(degree)
    basis = skfem.Basis(mesh, element * element * element, intorder=2 * degree + 1)

    @skfem.BilinearForm
    def stiffness(w, px, py, v, qx, qy, _):
        (wx, wy), (vx, vy) = grad(w), grad(v)
        (pxx, pxy), (pyx, pyy) = grad(px), grad(py)
        (qxx, qxy), (qyx, qyy) = grad(qx), grad(qy)
        return (d_x * pxx * qxx + d_y * pyy * qyy + d_1 * (pxx * qyy + pyy * qxx) + d_k * (pxy + pyx) * (qxy + qyx)
                + s_x * (wx - px) * (vx - qx) + s_y * (wy - py) * (vy - qy))

    @skfem.BilinearForm
    def inertia(w, px, py, v, qx, qy, _):
        return rho * h * w * v + rho * cube * (px * qx + py * qy)

    k, m = stiffness.assemble(basis), inertia.assemble(basis)
    shift = -(math.pi**4 * d_x / (rho * h * a**4))
    start = np.random.default_rng(1).random(k.shape[0])
    values = eigsh(k.tocsc(), k=count + 3, M=m.tocsc(), sigma=shift, which="LM", v0=start, return_eigenvectors=False)
    return np.sqrt(np.sort(values)[3:]) / (2.0 * math.pi)


def check_elements(blanks, modes, picks):
    """Largest differences from the finite elements over the modes of plates.csv, all symmetries together."""
    for i in picks:
        terms, counts = terms_for(modes[i]), counts_for(modes[i])
        for name, g_xz, g_yz in CASES:
            # With 1e4 G rounding spoils the elements by 1e-4, so both solve for 100 G.
            shear = (g_xz, 100.0 if g_yz is None else g_yz)
            solved = [class_modes(blanks[i], terms, odd, shear, n + 4)[0] for odd, n in zip(CLASSES, counts)]
            ours = np.sort(np.concatenate(solved))[:len(modes[i])]
            theirs = finite_elements(blanks[i], shear, len(modes[i]))
            off = theirs / ours - 1.0
            print(f"blank {i}, {name}: {len(off)} modes, elements higher by {off.min():.1e} to {off.max():.1e}")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--fem", action="store_true")
    args = parser.parse_args()
    blanks, modes = load()
    every = range(0, len(blanks), 60)
    if args.fem:
        check_elements(blanks, modes, every[:3])
    if args.check:
        for name, v in check(blanks, modes, every).items():
            print(f"{name}: {v:.1e}")
    if args.check or args.fem:
        return 0
    with Pool(2) as pool:
        solved = pool.map(work, list(zip(blanks, modes)), chunksize=10)
    flat = [line for block in solved for line in block]
    summary = (f"# {len(flat)} modes; thin frequencies within {max(r[1] for r in flat):.1e} of plates.csv (median "
               f"{np.median([r[1] for r in flat]):.1e}); {sum(r[4] for r in flat)} trade places within their symmetry; "
               f"{sum(r[3] < 0.5 for r in flat)} keep less than half of their shape")
    print(summary)
    versions = f"python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    with open(os.path.join(HERE, "plates_thick.csv"), "w") as out:
        out.write("# Row for row with plates.csv: frequency of the Reissner-Mindlin plate over that of the thin plate, both by\n")
        out.write("# plates_thick.py (Ritz): shear with kappa 5/6, rotary inertia. mode: place in the blank's block there.\n")
        out.write("# along: G_xz = G, no shear across (G_yz infinite); both: G_xz = G, G_yz = 0.3 G.\n")
        out.write(f"# {versions}; {datetime.date.today()}\n{summary}\n")
        out.write("blank,mode," + ",".join("ratio_" + c[0] for c in CASES) + "\n")
        for i, block in enumerate(solved):
            for k, line in enumerate(block):
                out.write(f"{i},{k}," + ",".join(f"{v:.6f}" for v in line[2]) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
