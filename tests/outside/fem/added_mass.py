"""What a small mass at one point does to the free modes of a beam and of a closed rim, by finite elements: added_mass.csv.

python3 added_mass.py        writes the file (a few seconds)

beam:       free Euler beam, scikit-fem ElementLineHermite; 0.8 m, 0.13 kg, EI 1.3 N m^2; stations x/L.
rim:        closed plane frame of straight elements (stretching and bending in its plane), free in its plane. The tap
            and the modal mass are normal to the outline; the added mass moves with the point in both directions.
rim_normal: the same, but the added mass loads the normal direction only (what a one-direction rule assumes).
M_true = 1/phi^2 with phi normalised to the mass, k_true = M_true w^2 at the bare frequency. rigid_mass is the mass that a
rigid body of the same shape shows to a force at the point in the tap direction. The masses are 0..10 % of M_true;
stations near a node (M_true over 3 whole masses) are left out. Each frequency is solved for with the mass in place.
"""

import os

import numpy as np
import scipy
import skfem
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementLineHermite, MeshLine
from skfem.helpers import dd

HERE = os.path.dirname(os.path.abspath(__file__))
FRACTIONS = (0.0, 0.02, 0.04, 0.06, 0.08, 0.10)
MODES = 4
MOST_MASS = 3.0

BEAM_LENGTH, BEAM_MASS, BEAM_EI = 0.8, 0.13, 1.3
BEAM_STATIONS = (0.0, 0.1, 0.5)
BEAM_ELEMENTS = 80

RIM_PERIMETER, RIM_THICK, RIM_DEEP, RIM_RHO, RIM_E = 1.5, 0.004, 0.1, 650.0, 11e9
RIM_ELEMENTS = 240


def beam(elements):
    """Stiffness, mass, stations as (name, force vector, mass matrices)."""
    mesh = MeshLine(np.linspace(0, BEAM_LENGTH, elements + 1))
    basis = Basis(mesh, ElementLineHermite(), intorder=6)
    k = BilinearForm(lambda u, v, w: BEAM_EI * dd(u)[0, 0] * dd(v)[0, 0]).assemble(basis).toarray()
    m = BilinearForm(lambda u, v, w: BEAM_MASS / BEAM_LENGTH * u * v).assemble(basis).toarray()
    stations = []
    for x in BEAM_STATIONS:
        node = int(np.argmin(np.abs(mesh.p[0] - x * BEAM_LENGTH)))
        assert abs(mesh.p[0, node] - x * BEAM_LENGTH) < 1e-12
        force = np.zeros(basis.N)
        force[basis.nodal_dofs[0, node]] = 1.0
        stations.append((f"{x:g}", force, np.outer(force, force)))
    return k, m, 2, stations


def outline(count):
    """Points at even arc length on a smooth closed outline with two bouts and a waist, symmetric about the x axis."""
    t = np.linspace(0, 2 * np.pi, 40001)
    x = 0.245 * np.cos(t)
    y = np.sin(t) * (0.135 - 0.022 * np.cos(t) + 0.062 * np.cos(2 * t))
    run = np.concatenate([[0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    scale = RIM_PERIMETER / run[-1]
    even = np.linspace(0, run[-1], count + 1)[:-1]
    return scale * np.column_stack([np.interp(even, run, x), np.interp(even, run, y)])


def rim(elements):
    points = outline(elements)
    size = 3 * elements  # x, y, turn at each node
    area, inertia = RIM_THICK * RIM_DEEP, RIM_DEEP * RIM_THICK**3 / 12
    k, m = np.zeros((size, size)), np.zeros((size, size))
    for i in range(elements):
        j = (i + 1) % elements
        step = points[j] - points[i]
        length = np.hypot(*step)
        c, s = step / length
        stretch = RIM_E * area / length * np.array([[1, -1], [-1, 1]])
        weight = RIM_RHO * area * length
        l2 = length * length
        bend = RIM_E * inertia / length**3 * np.array([
            [12, 6 * length, -12, 6 * length],
            [6 * length, 4 * l2, -6 * length, 2 * l2],
            [-12, -6 * length, 12, -6 * length],
            [6 * length, 2 * l2, -6 * length, 4 * l2],
        ])
        heavy = weight / 420 * np.array([
            [156, 22 * length, 54, -13 * length],
            [22 * length, 4 * l2, 13 * length, -3 * l2],
            [54, 13 * length, 156, -22 * length],
            [-13 * length, -3 * l2, -22 * length, 4 * l2],
        ])
        ke, me = np.zeros((6, 6)), np.zeros((6, 6))
        ke[np.ix_([0, 3], [0, 3])] = stretch
        me[np.ix_([0, 3], [0, 3])] = weight / 6 * np.array([[2, 1], [1, 2]])
        ke[np.ix_([1, 2, 4, 5], [1, 2, 4, 5])] = bend
        me[np.ix_([1, 2, 4, 5], [1, 2, 4, 5])] = heavy
        turn = np.kron(np.eye(2), np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]))
        at = [3 * i, 3 * i + 1, 3 * i + 2, 3 * j, 3 * j + 1, 3 * j + 2]
        k[np.ix_(at, at)] += turn.T @ ke @ turn
        m[np.ix_(at, at)] += turn.T @ me @ turn
    # Stations: the widest nodes of the two bouts and the narrowest of the waist, on one side.
    # A finer mesh keeps the points of the coarse one.
    factor = elements // RIM_ELEMENTS
    width = points[::factor, 1]
    upper = np.flatnonzero((width > np.roll(width, 1)) & (width >= np.roll(width, -1)) & (width > 0))
    lower_bout, upper_bout = sorted(upper[:2], key=lambda i: -width[i])
    first, last = sorted((lower_bout, upper_bout))
    waist = first + int(np.argmin(width[first : last + 1]))
    both, normal_only = [], []
    for name, node in (("lower_bout", lower_bout), ("waist", waist), ("upper_bout", upper_bout)):
        node *= factor
        tangent = points[(node + 1) % elements] - points[node - 1]
        normal = np.array([tangent[1], -tangent[0]]) / np.hypot(*tangent)
        force = np.zeros(size)
        force[[3 * node, 3 * node + 1]] = normal
        point = np.zeros((size, size))
        point[3 * node, 3 * node] = point[3 * node + 1, 3 * node + 1] = 1.0
        both.append((name, force, point))
        normal_only.append((name, force, np.outer(force, force)))
    return k, m, 3, both, normal_only, width[[lower_bout, waist, upper_bout]]


def solve(k, m, rigid):
    start = np.random.default_rng(1).standard_normal(k.shape[0])
    squares, vectors = eigsh(csc_matrix(k), rigid + MODES + 2, M=csc_matrix(m), sigma=-1e3, which="LM", v0=start, tol=1e-13)
    order = np.argsort(squares)
    squares, vectors = squares[order], vectors[:, order]
    hz = np.sqrt(np.abs(squares)) / (2 * np.pi)
    assert hz[rigid - 1] < 0.02 * hz[rigid], hz
    # Rigid vectors come out only as an M-orthonormal set to rounding; normalise again.
    vectors = vectors / np.sqrt(np.sum(vectors * (m @ vectors), axis=0))
    return hz, vectors


def rows(case, k, m, rigid, stations, part_mass):
    hz, vectors = solve(k, m, rigid)
    made = []
    for name, force, point in stations:
        at_point = force @ vectors
        rigid_mass = 1 / np.sum(at_point[:rigid] ** 2)
        for mode in range(MODES):
            phi, bare = at_point[rigid + mode], hz[rigid + mode]
            if phi**2 * MOST_MASS * part_mass < 1:
                print(f"{case} {name} mode {mode + 1}: near a node, left out")
                continue
            modal = 1 / phi**2
            for fraction in FRACTIONS:
                loaded = solve(k, m + fraction * modal * point, rigid)[0][rigid + mode]
                made.append((case, name, mode + 1, part_mass, rigid_mass, modal, modal * (2 * np.pi * bare) ** 2, fraction * modal, loaded))
    return made


def everything(factor):
    k, m, rigid, stations = beam(BEAM_ELEMENTS * factor)
    made = rows("beam", k, m, rigid, stations, BEAM_MASS)
    k, m, rigid, both, normal_only, widths = rim(RIM_ELEMENTS * factor)
    part = RIM_RHO * RIM_THICK * RIM_DEEP * RIM_PERIMETER
    # Straight chords are a little shorter than the curve: the mass of the frame itself.
    slide = np.tile([1.0, 0.0, 0.0], k.shape[0] // 3)
    print(f"rim: half widths {np.round(widths, 4)} m, mass {slide @ m @ slide:.6f} kg (nominal {part:.6f})")
    part = slide @ m @ slide
    made += rows("rim", k, m, rigid, both, part)
    made += rows("rim_normal", k, m, rigid, normal_only, part)
    return made


def main():
    made, finer = everything(1), everything(2)
    lookup = {(r[0], r[1], r[2], round(r[7] / r[5], 6)): r for r in finer}
    change = {"beam": [0.0, 0.0], "rim": [0.0, 0.0], "rim_normal": [0.0, 0.0]}
    for r in made:
        f = lookup[(r[0], r[1], r[2], round(r[7] / r[5], 6))]
        change[r[0]][0] = max(change[r[0]][0], abs(r[8] / f[8] - 1))
        change[r[0]][1] = max(change[r[0]][1], abs(r[5] / f[5] - 1))
    text = "; ".join(f"{c}: frequency {v[0]:.1e}, M_true {v[1]:.1e}" for c, v in change.items())
    print("half-size elements change by", text)
    # The bare beam against the exact roots of cos x cosh x = 1.
    roots = np.array([4.730040745, 7.853204624, 10.995607838, 14.137165491])
    exact = roots**2 / (2 * np.pi) * np.sqrt(BEAM_EI / (BEAM_MASS * BEAM_LENGTH**3))
    bare = {r[2]: r[8] for r in made if r[0] == "beam" and r[1] == "0" and r[7] == 0}
    worst = max(abs(bare[i + 1] / exact[i] - 1) for i in range(MODES))
    print(f"bare beam against exact: {worst:.1e}")
    assert worst < 1e-5
    with open(os.path.join(HERE, "added_mass.csv"), "w") as out:
        out.write("# Modes of a free beam and a free closed rim with a small mass at one point; written by added_mass.py (cases there).\n")
        out.write(f"# scikit-fem {skfem.__version__}, scipy {scipy.__version__}, numpy {np.__version__}\n")
        out.write(f"# Convergence, half-size elements change by: {text}\n")
        out.write("case,station,mode,part_mass_kg,rigid_mass_kg,M_true_kg,k_true_n_per_m,dm_kg,frequency_hz\n")
        for r in made:
            out.write(f"{r[0]},{r[1]},{r[2]}," + ",".join(f"{x:.7g}" for x in r[3:]) + "\n")


if __name__ == "__main__":
    main()
