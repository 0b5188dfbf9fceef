"""Closed rims as solid bodies by finite elements: an outside check of the frame model of a rim. Writes rims.csv.

python3 rims.py              writes the file (eight minutes; OMP_NUM_THREADS=1 is enough)
python3 rims.py plain        solves the named cases only and writes nothing

No beam theory is used: every case is an elastic body of quadratic isoparametric elements (scikit-fem ElementQuad2 and
ElementHex2), following a smooth centre line, with its faces at even distance on both sides of it.

plain, blocked   in the rim's plane, 2D plane stress, the depth as thickness. Stress across the depth is none, so the bending
                 stiffness of a thin strip is E b h^3/12 for any Poisson's ratio: 0.3 here, which sets only the shear modulus.
                 blocked: 20 mm thick from 0.02 before the tail to 0.02 after it (shares of the way around), thickened alike
                 inside and outside, so the centre line stays.
shallow, wood, ring   3D bodies. They are alike above and below mid-depth: the lower half is left out, once with u_z = 0 there
                 (modes in the plane), once with u_x = u_y = 0 (modes out of it).
                 shallow: 20 mm deep, isotropic, out of the plane only (in it Poisson's ratio plays a part that no beam knows).
                 wood: 100 mm deep, orthotropic, the grain along the curve. ring: wood, a circle.
held_wood,       the same with both edges held: u_x = u_y = 0 on the whole edge face, u_z free there, and u_z = 0 at mid-depth.
held_ring        That is a hinge: an edge turns by u_z alone, which differs through the thickness. The face is held, not its
                 middle line, as stress under a line has no bound, so that it would give way the more the finer the mesh. And so
                 held, the body has modes that go as cos(pi z/depth) in the plane and sin(pi z/depth) across it exactly, stress
                 across the edge being none: what is called a shear diaphragm. Every mode written is seen to be of this kind.

The outline is the crate's "concert", written again here: given points of one half, mirrored, Catmull and Rom's spline. Here it
is the smooth spline, not the polygon of 24 steps that the crate makes of it. Its curvature jumps at the given points: element
ends lie there.
"""

import datetime
import os
import platform
import sys
import time
from dataclasses import replace

import numpy as np
import scipy
import scipy.sparse as sp
import skfem
from scipy.sparse.linalg import LinearOperator, eigsh, splu
from skfem import Basis, BilinearForm, ElementHex2, ElementQuad2, MeshHex, MeshHex2, MeshQuad, MeshQuad2
from skfem.helpers import grad

HERE = os.path.dirname(os.path.abspath(__file__))
MODES = 10
SHIFT = -((2 * np.pi * 20.0) ** 2)
RHO, THICK, DEEP, BLOCK = 600.0, 0.004, 0.1, 0.02
BLOCK_SHARE = 0.02
RADIUS = 0.2
# Pairs of places pressed together, as shares of the way around: tail and neck, and across the lower bout.
SQUEEZES = ((0.0, 0.5), (0.2, 0.8))

HALF = [(0, 0), (19, 112), (78, 182), (142, 194), (212, 160), (276, 121), (342, 130), (400, 142), (452, 126), (482, 72), (489, 0)]


class Concert:
    """The spline; its parameter counts the given points."""

    def __init__(self):
        right = [(x, y) for y, x in HALF]
        left = [(-x, y) for y, x in HALF[-2:0:-1]]
        self.knots = 1e-3 * np.array(right + left, float)
        self.pieces = len(self.knots)
        fine = np.linspace(0, self.pieces, 400 * self.pieces + 1)
        # Length by the middle rule on a fine grid.
        middle = 0.5 * (fine[1:] + fine[:-1])
        speed = np.hypot(*self.at(middle)[1])
        self.fine, self.run = fine, np.concatenate([[0], np.cumsum(speed * np.diff(fine))])
        self.length = self.run[-1]

    def at(self, u):
        """Points and derivatives, each (2, ...)."""
        i = np.floor(u).astype(int)
        t = u - i
        a, b, c, d = (self.knots[(i + k) % self.pieces].T for k in (-1, 0, 1, 2))
        p, q, r = c - a, 2 * a - 5 * b + 4 * c - d, 3 * (b - c) + d - a
        return b + 0.5 * t * (p + t * (q + t * r)), 0.5 * (p + t * (2 * q + 3 * t * r))

    def parameter(self, share):
        return float(np.interp(share % 1.0 * self.length, self.run, self.fine))


class Circle:
    def __init__(self, radius):
        self.radius, self.pieces, self.length = radius, 20, 2 * np.pi * radius

    def at(self, u):
        angle = 2 * np.pi * u / self.pieces
        rate = 2 * np.pi / self.pieces * self.radius
        return self.radius * np.array([np.sin(angle), -np.cos(angle)]), rate * np.array([np.cos(angle), np.sin(angle)])

    def parameter(self, share):
        return share % 1.0 * self.pieces


def stations(curve, per_piece, shares, least=1):
    """Parameters of the element ends: the given points, the wanted shares, and even steps between them, so many at least."""
    ends = sorted({*range(curve.pieces + 1), *(curve.parameter(s) for s in shares)})
    made = []
    for a, b in zip(ends, ends[1:]):
        if b - a > 1e-9:
            made += list(np.linspace(a, b, max(least, int(np.ceil((b - a) * per_piece - 1e-6))) + 1)[:-1])
    return np.array(made)


def halves(ends):
    """Ends and middles."""
    return np.interp(0.5 * np.arange(2 * len(ends) - 1), np.arange(len(ends)), ends)


def body(curve, along, layers, levels, used):
    """Quadratic mesh. along: parameters of the element ends; layers: offsets outwards; levels: heights (None: 2D);
    used(i, j): whether the cell of that place along and that layer is there.

    The mesh is first made of linear cells on a wheel, where the place along is an angle and the layer a radius. Every node of
    the quadratic mesh tells its place there, and then goes to where it belongs.
    """
    count, flat = len(along), levels is None
    heights = [0.0, 1.0] if flat else levels
    number, places, cells = {}, [], []

    def vertex(i, j, k):
        key = (i % count, j, k)
        if key not in number:
            number[key] = len(places)
            angle, radius = 2 * np.pi * key[0] / count, 10.0 + j
            places.append((radius * np.cos(angle), radius * np.sin(angle), k))
        return number[key]

    for i in range(count):
        for j in range(len(layers) - 1):
            if not used(i, j):
                continue
            if flat:
                cells.append([vertex(i, j, 0), vertex(i + 1, j, 0), vertex(i + 1, j + 1, 0), vertex(i, j + 1, 0)])
                continue
            for k in range(len(heights) - 1):
                # The library's order of a cell: 000 001 010 100 011 101 110 111.
                corners = ((0, 0, 0), (0, 0, 1), (0, 1, 0), (1, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 0), (1, 1, 1))
                cells.append([vertex(i + a, j + b, k + c) for a, b, c in corners])
    places = np.ascontiguousarray(np.array(places, float).T)
    cells = np.ascontiguousarray(np.array(cells).T)
    linear = MeshQuad(np.ascontiguousarray(places[:2]), cells) if flat else MeshHex(places, cells)
    wheel = (MeshQuad2 if flat else MeshHex2).from_mesh(linear)
    x, y = wheel.doflocs[:2]
    turn = np.rint((np.arctan2(y, x) % (2 * np.pi)) * count / np.pi).astype(int) % (2 * count)
    # A node between two ends lies on the chord, nearer to the hub.
    radius = np.hypot(x, y) / np.where(turn % 2 == 1, np.cos(np.pi / count), 1.0)
    layer = np.rint(2 * (radius - 10.0)).astype(int)
    assert np.max(np.abs(2 * (radius - 10.0) - layer)) < 1e-6
    ends = halves(np.append(along, curve.pieces))
    point, slope = curve.at(ends[turn])
    slope = slope / np.hypot(*slope)
    offset = halves(np.array(layers))[layer]
    moved = [point[0] + offset * slope[1], point[1] - offset * slope[0]]
    if not flat:
        moved.append(halves(np.array(heights))[np.rint(2 * wheel.doflocs[2]).astype(int)])
    return replace(wheel, doflocs=np.array(moved))


def isotropic(young, nu, plane_stress=False):
    """Elasticity as a full tensor."""
    n = 2 if plane_stress else 3
    shear = young / (2 * (1 + nu))
    lame = young * nu / (1 - nu**2) if plane_stress else young * nu / ((1 + nu) * (1 - 2 * nu))
    e = np.eye(n)
    pairs = np.einsum("ik,jl->ijkl", e, e) + np.einsum("il,jk->ijkl", e, e)
    return lame * np.einsum("ij,kl->ijkl", e, e) + shear * pairs


# Wood: along the grain, through the thickness, across the depth (Pa). Poisson's ratios as usual for hardwood.
WOOD = {"E": (12e9, 1e9, 1e9), "G_along_deep": 0.9e9, "G_along_thick": 0.9e9, "G_thick_deep": 0.1e9, "nu_along": 0.35, "nu_across": 0.4}


def orthotropic():
    """Elasticity as a full tensor in the axes along, outwards, up."""
    (el, er, et), nu = WOOD["E"], WOOD["nu_along"]
    give = np.array([
        [1 / el, -nu / el, -nu / el],
        [-nu / el, 1 / er, -WOOD["nu_across"] / er],
        [-nu / el, -WOOD["nu_across"] / er, 1 / et],
    ])
    stiff = np.linalg.inv(give)
    assert np.all(np.linalg.eigvalsh(stiff) > 0)
    c = np.zeros((3, 3, 3, 3))
    for i in range(3):
        for j in range(3):
            c[i, i, j, j] = stiff[i, j]
    for i, j, g in ((0, 1, WOOD["G_along_thick"]), (0, 2, WOOD["G_along_deep"]), (1, 2, WOOD["G_thick_deep"])):
        c[i, j, i, j] = c[i, j, j, i] = c[j, i, i, j] = c[j, i, j, i] = g
    return c


def follow(curve, tensor, x):
    """The tensor turned to the curve at points (3, ...): the nearest place on the centre line gives the axes."""
    u = np.linspace(0, curve.pieces, 4000 * curve.pieces, endpoint=False)
    point, slope = curve.at(u)
    near = scipy.spatial.cKDTree(point.T).query(x[:2].reshape(2, -1).T)[1].reshape(x.shape[1:])
    slope = (slope / np.hypot(*slope))[:, near]
    turn = np.zeros((3, 3, *x.shape[1:]))
    turn[0, 0], turn[1, 0] = slope
    turn[0, 1], turn[1, 1] = slope[1], -slope[0]
    turn[2, 2] = 1.0
    out = np.einsum("ia...,abcd->ibcd...", turn, tensor)
    out = np.einsum("jb...,ibcd...->ijcd...", turn, out)
    out = np.einsum("kc...,ijcd...->ijkd...", turn, out)
    return np.einsum("ld...,ijkd...->ijkl...", turn, out)


def matrices(mesh, tensor, factor, curve=None):
    """Stiffness and mass of a body, displacements ordered by direction; tensor turned to the curve if one is given."""
    size = mesh.doflocs.shape[0]
    basis = Basis(mesh, ElementQuad2() if size == 2 else ElementHex2(), intorder=4)
    assert np.allclose(basis.doflocs, mesh.doflocs)
    c = tensor if curve is None else follow(curve, tensor, np.asarray(basis.global_coordinates()))

    def block(i, k):
        terms = [(j, l, c[i, j, k, l]) for j in range(size) for l in range(size) if np.any(c[i, j, k, l] != 0)]

        @BilinearForm
        def form(u, v, w):
            return factor * sum(a * grad(v)[j] * grad(u)[l] for j, l, a in terms)

        return form.assemble(basis) if terms else sp.csr_matrix((basis.N, basis.N))

    upper = {(i, k): block(i, k) for i in range(size) for k in range(i, size)}
    stiffness = sp.bmat([[upper[i, k] if i <= k else upper[k, i].T for k in range(size)] for i in range(size)], format="csc")
    weight = BilinearForm(lambda u, v, w: factor * RHO * u * v).assemble(basis)
    return stiffness, sp.block_diag([weight] * size, format="csc")


def factored(matrix):
    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def modes(stiffness, mass, rigid=3):
    """Elastic frequencies of a body with so many rigid motions, and their shapes."""
    solver = factored(stiffness - SHIFT * mass)
    inverse = LinearOperator(stiffness.shape, matvec=solver.solve)
    start = np.random.default_rng(1).standard_normal(stiffness.shape[0])
    squares, shapes = eigsh(stiffness, MODES + 4, M=mass, sigma=SHIFT, OPinv=inverse, v0=start)
    order = np.argsort(squares)
    hz = np.sqrt(np.abs(squares[order])) / (2 * np.pi)
    assert rigid == 0 or hz[rigid - 1] < 0.02 * hz[rigid], hz
    return hz[rigid : rigid + MODES], shapes[:, order[rigid : rigid + MODES]]


def squeeze(mesh, stiffness, curve, shares):
    """How far (m/N) two points of the centre line come together under forces of 1 N."""
    ends = [int(np.argmin(np.hypot(*(mesh.doflocs - curve.at(np.array([curve.parameter(s)]))[0])))) for s in shares]
    count = mesh.doflocs.shape[1]
    towards = mesh.doflocs[:, ends[1]] - mesh.doflocs[:, ends[0]]
    towards /= np.hypot(*towards)
    force = np.zeros(2 * count)
    for d in range(2):
        force[d * count + ends[0]], force[d * count + ends[1]] = towards[d], -towards[d]
    # Balanced forces need no support: three displacements are held, and give no reaction.
    far = int(np.argmax(mesh.doflocs[1]))
    low = int(np.argmin(mesh.doflocs[1]))
    free = np.setdiff1d(np.arange(2 * count), [far, low, count + far])
    moved = np.zeros(2 * count)
    moved[free] = factored(stiffness[free][:, free]).solve(force[free])
    return force @ moved


def in_the_plane(blocked, fine):
    curve = Concert()
    shares = [s for pair in SQUEEZES for s in pair] + [BLOCK_SHARE, -BLOCK_SHARE]
    if blocked:
        # Stress grows without end in the two inner corners of each step: cells are drawn together there.
        near = [0.0001, 0.0003, 0.0008, 0.002, 0.005]
        shares += [sign * BLOCK_SHARE + way * n / curve.length for sign in (1, -1) for way in (1, -1) for n in near]
    along = stations(curve, 40 * fine, shares, fine)
    side = 0.5 * THICK * np.sin(0.5 * np.pi * np.linspace(-1, 1, 4 * fine + 1))
    first, last = curve.parameter(BLOCK_SHARE), curve.parameter(-BLOCK_SHARE)
    steps = 0.5 * (BLOCK - THICK) * np.linspace(0, 1, 5 * fine + 1)[1:] ** 2
    layers = np.concatenate([-0.5 * THICK - steps[::-1], side, 0.5 * THICK + steps]) if blocked else side
    middle = halves(np.append(along, curve.pieces))[1::2]

    def used(i, j):
        return abs(0.5 * (layers[j] + layers[j + 1])) < 0.5 * THICK or middle[i] < first or middle[i] > last

    mesh = body(curve, along, list(layers), None, used)
    stiffness, mass = matrices(mesh, isotropic(12e9, 0.3, plane_stress=True), DEEP)
    ones = np.repeat([1.0, 0.0], mesh.doflocs.shape[1])
    rows = [("in", "mode", m + 1, f) for m, f in enumerate(modes(stiffness, mass)[0])]
    rows.append(("in", "mass_kg", 0, ones @ mass @ ones))
    rows += [("in", f"squeeze_{a:g}_{b:g}", 0, squeeze(mesh, stiffness, curve, (a, b))) for a, b in SQUEEZES]
    return rows, f"{mesh.t.shape[1]} cells, {stiffness.shape[0]} unknowns"


def bowed(mesh, deep, moved):
    """How far a shape (3, nodes) is, in the plane, from one half wave over the depth: 0 if it is one."""
    column = np.unique(np.round(mesh.doflocs[:2], 9), axis=1, return_inverse=True)[1].ravel()
    low = np.flatnonzero(np.abs(mesh.doflocs[2]) < 1e-9)
    middle = np.zeros((2, column.max() + 1))
    middle[:, column[low]] = moved[:2, low]
    wave = middle[:, column] * np.cos(np.pi * mesh.doflocs[2] / deep)
    return np.max(np.abs(moved[:2] - wave)) / np.max(np.abs(moved[:2]))


def solid(curve, deep, tensor, turned, planes, per_piece, through, heights):
    """Modes of a body of which the upper half is modelled."""
    along = stations(curve, per_piece, [])
    side = np.linspace(-0.5 * THICK, 0.5 * THICK, through + 1)
    mesh = body(curve, along, list(side), [0.5 * deep * h for h in heights], lambda i, j: True)
    stiffness, mass = matrices(mesh, tensor, 1.0, curve if turned else None)
    count = mesh.doflocs.shape[1]
    low = np.flatnonzero(np.abs(mesh.doflocs[2]) < 1e-9)
    edge = np.flatnonzero(np.abs(mesh.doflocs[2] - 0.5 * deep) < 1e-9)
    rows = [("held" if planes == ("held",) else "in", "mass_kg", 0, 2 * mass[:count, :count].sum())]
    held = {
        "in": 2 * count + low,
        "out": np.concatenate([low, count + low]),
        "held": np.concatenate([2 * count + low, edge, count + edge]),
    }
    for plane in planes:
        free = np.setdiff1d(np.arange(3 * count), held[plane])
        found, shapes = modes(stiffness[free][:, free], mass[free][:, free], 0 if plane == "held" else 3)
        if plane == "held":
            moved = np.zeros((3 * count, len(found)))
            moved[free] = shapes
            assert max(bowed(mesh, deep, m.reshape(3, count)) for m in moved.T) < 0.01
        rows += [(plane, "mode", m + 1, f) for m, f in enumerate(found)]
    return rows, f"{mesh.t.shape[1]} cells, {stiffness.shape[0]} unknowns"


# Heights of the cells' ends, as shares of half the depth: closer near the free edge, where torsion's stress turns around.
COARSE = (8, 1, [0, 0.5, 0.85, 0.96, 1])
FINE = (16, 2, [0, 0.3, 0.6, 0.85, 0.93, 0.97, 1])
FINER = (20, 3, [0, 0.25, 0.5, 0.7, 0.85, 0.93, 0.97, 1])
# Held edges: even heights for a sine, short cells along the curve, as waves are shorter there, and more of them through the
# thickness, where shear counts: its stress is a parabola, which a single cell cannot follow.
BOWED = ((16, 2, [0, 1 / 3, 2 / 3, 1]), (24, 3, [0, 0.25, 0.5, 0.75, 1]))


def solids(curve, deep, tensor, turned, planes=("in", "out"), meshes=(COARSE, FINE)):
    return lambda fine: solid(curve(), deep, tensor, turned, planes, *meshes[fine - 1])


CASES = {
    "plain": lambda fine: in_the_plane(False, fine),
    "blocked": lambda fine: in_the_plane(True, fine),
    "shallow": solids(Concert, 0.02, isotropic(12e9, 0.3), False, ("out",), (FINE, FINER)),
    "wood": solids(Concert, DEEP, orthotropic(), True),
    "ring": solids(lambda: Circle(RADIUS), DEEP, orthotropic(), True),
    "held_wood": solids(Concert, DEEP, orthotropic(), True, ("held",), BOWED),
    "held_ring": solids(lambda: Circle(RADIUS), DEEP, orthotropic(), True, ("held",), BOWED),
}


def main():
    wanted = sys.argv[1:] or list(CASES)
    lines, notes = [], []
    for case in wanted:
        begin = time.time()
        (coarse, size), (fine, fine_size) = CASES[case](1), CASES[case](2)
        change = {}
        for a, b in zip(coarse, fine):
            assert a[:3] == b[:3]
            kind = f"{b[0]} {b[1]}"
            change[kind] = max(change.get(kind, 0.0), abs(a[3] / b[3] - 1))
            print(f"{case:9} {b[0]:4} {b[1]:14} {b[2]:2} {a[3]:.7g} {b[3]:.7g} {b[3] / a[3] - 1:+.1e}")
            lines.append(f"{case},{b[0]},{b[1]},{b[2]},{b[3]:.7g},{a[3] / b[3] - 1:.1e}\n")
        told = ", ".join(f"{kind} {c:.1e}" for kind, c in change.items())
        notes.append(f"# {case}: {fine_size}; the coarser mesh ({size}) differs by at most: {told}\n")
        print(notes[-1], f"{time.time() - begin:.0f} s", flush=True)
    if sys.argv[1:]:
        return
    with open(os.path.join(HERE, "rims.csv"), "w") as out:
        out.write("# Closed rims as solid bodies, free, or with held edges (plane held); written by rims.py (cases there).\n")
        out.write(f"# python {platform.python_version()}, scikit-fem {skfem.__version__}, scipy {scipy.__version__}, numpy {np.__version__}; ")
        out.write(f"{datetime.date.today()}\n")
        out.write(f"# {RHO:g} kg/m3, {1e3 * THICK:g} mm thick, {1e3 * DEEP:g} mm deep (shallow: 20 mm). Outline \"concert\", ")
        out.write(f"{Concert().length:.6f} m around; ring, held_ring: a circle of {RADIUS:g} m.\n")
        out.write("# plain, blocked, shallow: isotropic, E 12 GPa, nu 0.3. ")
        out.write(f"blocked: {1e3 * BLOCK:g} mm thick within {BLOCK_SHARE:g} of the way around from the tail.\n")
        out.write(f"# wood, ring, held_wood, held_ring: {WOOD}, grain along the curve.\n")
        out.writelines(notes)
        out.write("# value: mode Hz, mass kg, squeeze m/N between two shares of the way around; coarse: what the coarser mesh gives, relative to it.\n")
        out.write("case,plane,kind,mode,value,coarse\n")
        out.writelines(lines)


if __name__ == "__main__":
    main()
