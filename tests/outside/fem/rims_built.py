"""Rims as they are built, as solid bodies by finite elements: plies, linings, blocks, braces. Writes rims_built.csv (the rims) and
rims_built_tones.csv (their tones and how far they give when squeezed).

python3 rims_built.py            all 40 rims (half an hour on one core), the known case first
python3 rims_built.py 3 17       solves these only and writes nothing
python3 rims_built.py known      solves the known case only

No beam or shell theory is used: every part is an elastic body of quadratic isoparametric cells (scikit-fem ElementHex2), glued
without a gap; the wood is orthotropic, its axes along the curve, through the thickness and up the depth. Rims are alike left and
right and above and below mid-depth: a quarter is modelled, with the four ways in which modes can be alike or opposite there.

Linings run along both edges on the inside and end at the blocks. Kerfed ones have kerfs KERF wide every PITCH down to a web that is glued
to the side, the cuts open to the inside of the guitar. A body that is really cut needs many more cells (--cut does it, far too coarsely on these meshes): here the web is
thicker by what a period of it has in plane stress (kerfs.py), and the blocks on it are an even body that is whole up and through and
nothing along. Blocks stand inside at tail and neck over the whole depth, their
grain up. Braces stand on the inside between the linings (over the whole depth where there are none), their grain up.

What a maker does not know (moduli through the thickness, rolling shear, the ratio of E across to E along in linings, blocks and braces) is drawn
at random and is not in the columns that the program reads.
"""

import csv
import datetime
import os
import platform
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import scipy
import scipy.sparse as sp
import skfem
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.sparse.linalg import LinearOperator, eigsh
from skfem import Basis, ElementHex2, MeshHex, MeshHex2

import kerfs

HERE = os.path.dirname(os.path.abspath(__file__))
SHIFT = -((2 * np.pi * 20.0) ** 2)
IN_PLANE, OUT_OF_PLANE = 6, 4
KERF, PITCH, WEB = 1.5e-3, 8e-3, 1e-3
PRESSED = 0.25
# Kerfs really cut, for comparing; else as an even body (kerfs.py).
CUT = "--cut" in sys.argv

# Half an outline each: (height above the tail, half width) in mm, the crate's own shapes, written again.
HALVES = {
    "parlour": [(0, 0), (18, 98), (72, 158), (130, 168), (195, 140), (258, 110), (320, 116), (375, 125), (425, 112), (455, 66), (462, 0)],
    "concert": [(0, 0), (19, 112), (78, 182), (142, 194), (212, 160), (276, 121), (342, 130), (400, 142), (452, 126), (482, 72), (489, 0)],
    "large": [(0, 0), (17, 120), (74, 190), (140, 199), (220, 168), (290, 138), (360, 142), (420, 147), (472, 132), (503, 78), (510, 0)],
}
WAISTS = {"parlour": 258, "concert": 276, "large": 290}


class Spline:
    """Catmull and Rom's closed spline through a named outline; its parameter counts the given points."""

    def __init__(self, name):
        half = HALVES[name]
        right = [(x, y) for y, x in half]
        left = [(-x, y) for y, x in half[-2:0:-1]]
        self.points = 1e-3 * np.array(right + left, float)
        self.pieces = len(self.points)
        self.knots = np.arange(len(half))

    def at(self, u):
        """Points and derivatives, each (2, ...)."""
        i = np.floor(u).astype(int)
        t = u - i
        a, b, c, d = (self.points[(i + k) % self.pieces].T for k in (-1, 0, 1, 2))
        p, q, r = c - a, 2 * a - 5 * b + 4 * c - d, 3 * (b - c) + d - a
        return b + 0.5 * t * (p + t * (q + t * r)), 0.5 * (p + t * (2 * q + 3 * t * r))


class Oval:
    """An ellipse, half axes across and along (m); a circle if they are equal."""

    def __init__(self, across, along):
        self.across, self.along, self.pieces, self.knots = across, along, 20, np.array([0, 10])

    def at(self, u):
        angle = 2 * np.pi * u / self.pieces
        rate = 2 * np.pi / self.pieces
        point = np.array([self.across * np.sin(angle), -self.along * np.cos(angle)])
        return point, rate * np.array([self.across * np.cos(angle), self.along * np.sin(angle)])


class Half:
    """The right half of a curve by its length, from tail to neck."""

    def __init__(self, curve):
        self.curve = curve
        self.fine = np.linspace(0, curve.pieces / 2, 20001)
        speed = np.hypot(*curve.at(0.5 * (self.fine[1:] + self.fine[:-1]))[1])
        self.run = np.concatenate([[0], np.cumsum(speed * np.diff(self.fine))])
        self.length = self.run[-1]
        self.knots = np.interp(curve.knots, self.fine, self.run)

    def at(self, s):
        point, slope = self.curve.at(np.interp(s, self.run, self.fine))
        return point, slope / np.hypot(*slope)


def outline(rim):
    if rim["outline"] == "oval":
        return Half(Oval(rim["half_width_m"], rim["half_length_m"]))
    return Half(Spline(rim["outline"]))


def stiffness_of(wood):
    """6 x 6 in the axes along the curve, outwards, up the depth; strains 11, 22, 33, 23, 13, 12."""
    give = np.zeros((6, 6))
    e = wood["e"]
    for i in range(3):
        give[i, i] = 1 / e[i]
    for (i, j), nu in zip(((0, 1), (0, 2), (1, 2)), wood["nu"]):
        # nu of a pull along the stiffer axis.
        big = max(e[i], e[j])
        give[i, j] = give[j, i] = -nu / big
    for i, g in zip((3, 4, 5), wood["g"]):
        give[i, i] = 1 / g
    stiff = np.linalg.inv(give)
    assert np.all(np.linalg.eigvalsh(stiff) > 0)
    return stiff


def side_wood(r, ply):
    """Grain along the curve. e: along, through, up; g: 23 (rolling), 13 (in the sheet), 12 (through)."""
    along, across, shear = (r[f"{ply}_{k}_pa"] for k in ("along", "across", "shear"))
    return {"e": (along, r[f"hidden_{ply}_through"] * across, across), "nu": (0.4, r[f"{ply}_poisson"], 0.4),
            "g": (r[f"hidden_{ply}_rolling"] * shear, shear, r[f"hidden_{ply}_shear_through"] * shear),
            "rho": r[f"{ply}_density_kg_m3"]}


def light_wood(r, part, upright):
    along, shear = r[f"{part}_along_pa"], r[f"{part}_shear_pa"]
    across = along / r[f"hidden_{part}_across"]
    rolling = r[f"hidden_{part}_rolling"] * shear
    if upright:
        return {"e": (across, across, along), "nu": (0.4, 0.37, 0.37), "g": (shear, shear, rolling), "rho": r[f"{part}_density_kg_m3"]}
    return {"e": (along, across, across), "nu": (0.37, 0.37, 0.4), "g": (rolling, shear, shear), "rho": r[f"{part}_density_kg_m3"]}


def spread(wood, thick, web):
    """Blocks between kerfs as an even body: none along, whole up and through; the wood that the thicker web has not taken."""
    share = 1 - KERF / PITCH
    (along, through, up), none = wood["e"], 1e-4
    left = (WEB + share * (thick - WEB) - web) / (thick - web)
    return {"e": (none * along, share * through, share * up), "nu": (0, 0, 0), "g": (share * wood["g"][0], none * wood["g"][1], none * wood["g"][2]), "rho": left * wood["rho"]}


def stops(half, r, steps, teeth):
    """Ends of the cells along the half, and for the middle of each: whether block, brace, tooth."""
    wanted = {0.0: 1, half.length: 1, 2 * r.get("spot_share", PRESSED) * half.length: 1}
    inner = [0.0, half.length]
    if r["block_m"] > 0:
        inner = [0.5 * r["block_length_m"], half.length - 0.5 * r["block_length_m"]]
        wanted.update({s: 1 for s in inner})
    brace = None
    if r["brace_share"] > 0:
        middle = 2 * r["brace_share"] * half.length
        brace = (middle - 0.5 * r["brace_width_m"], middle + 0.5 * r["brace_width_m"])
        wanted.update({s: 1 for s in brace})
    kerfs = []
    if r["lining"] == "kerfed" and CUT:
        middles = np.arange(inner[0] + 0.5 * PITCH, inner[1] - KERF, PITCH)
        kerfs = [(m - 0.5 * KERF, m + 0.5 * KERF) for m in middles]
        wanted.update({s: 1 for k in kerfs for s in k})
    ends = sorted(wanted)
    for knot in half.knots:
        if min(abs(knot - e) for e in ends) > 1.5e-3:
            ends.append(knot)
    ends = sorted(ends)
    kept = [ends[0]]
    for e in ends[1:]:
        if e - kept[-1] > 2e-5:
            kept.append(e)
    step = half.length / steps
    along = []
    for a, b in zip(kept, kept[1:]):
        count = max(1, int(np.ceil((b - a) / step - 1e-6)))
        if kerfs and b - a > 1.1 * KERF:
            count = max(count, teeth)
        along += list(np.linspace(a, b, count + 1)[:-1])
    along = np.array(along + [half.length])
    middle = 0.5 * (along[1:] + along[:-1])
    block = (middle < inner[0]) | (middle > inner[1])
    braced = np.zeros_like(block) if brace is None else (middle > brace[0]) & (middle < brace[1])
    cut = np.zeros_like(block)
    for a, b in kerfs:
        cut |= (middle > a) & (middle < b)
    return along, block, braced, cut


def body(r, size):
    """Mesh, material of each cell, and the woods."""
    half = outline(r)
    along, block, braced, cut = stops(half, r, size["steps"], size["teeth"])
    # A glue line is there only if it is given (demo_rim.py).
    film = r.get("film_m", 0.0)
    thick = r["outer_m"] + film + r["inner_m"]
    # Outwards positive; the first ply is the outer one.
    layers = [0.5 * thick]
    for ply in [r["outer_m"], film, r["inner_m"]]:
        if ply > 0:
            layers += list(np.linspace(layers[-1], layers[-1] - ply, size["ply"] + 1)[1:])
    face = len(layers) - 1
    more = set()
    web = r["lining_m"]
    if r["lining"] != "none":
        more.add(r["lining_m"])
        if r["lining"] == "solid":
            more.add(0.5 * r["lining_m"])
        else:
            web = WEB
            if not CUT:
                ply = "inner" if r["inner_m"] > 0 else "outer"
                lining, side = light_wood(r, "lining", False), side_wood(r, ply)
                of = lambda w: (w["e"][0], w["e"][1], w["g"][2], 0.0)
                web += kerfs.thicker(thick, r["lining_m"], of(side), of(lining))
            more.add(web)
            if size["ply"] > 1:
                more.add(0.5 * (web + r["lining_m"]))
    if r["block_m"] > 0:
        more.add(r["block_m"])
        if max(more) < 0.6 * r["block_m"] or len(more) == 1:
            more.add(0.5 * r["block_m"])
    if r["brace_share"] > 0:
        more.add(r["brace_height_m"])
    layers += [-0.5 * thick - m for m in sorted(more)]
    layers = np.array(layers)
    top = 0.5 * r["depth_m"]
    if r["lining"] != "none":
        under = top - r["lining_high_m"]
        levels = np.concatenate([under * np.array(size["middle"]), np.linspace(under, top, size["edge"] + 1)[1:]])
    else:
        under = top
        levels = top * np.array(size["bare"])
    wood_list, material = [], {}

    def known(name, wood):
        material[name] = len(wood_list)
        wood_list.append(wood)

    known("outer", side_wood(r, "outer"))
    if r["inner_m"] > 0:
        known("inner", side_wood(r, "inner"))
    if film > 0:
        known("film", r["film"])
    if r["lining"] != "none":
        known("lining", light_wood(r, "lining", False))
        if web < r["lining_m"] and not CUT:
            known("blocks", spread(light_wood(r, "lining", False), r["lining_m"], web))
    if r["block_m"] > 0:
        known("block", light_wood(r, "block", True))
    if r["brace_share"] > 0:
        known("brace", light_wood(r, "brace", True))
    number, places, cells, of = {}, [], [], []

    def vertex(*key):
        if key not in number:
            number[key] = len(places)
            places.append(key)
        return number[key]

    corners = ((0, 0, 0), (0, 0, 1), (0, 1, 0), (1, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 0), (1, 1, 1))
    for i in range(len(along) - 1):
        for j in range(len(layers) - 1):
            inward = -layers[j + 1] - 0.5 * thick
            for k in range(len(levels) - 1):
                edge = 0.5 * (levels[k] + levels[k + 1]) > under
                if j < face:
                    depth_in = 0.5 * thick - 0.5 * (layers[j] + layers[j + 1])
                    name = "outer" if depth_in < r["outer_m"] else "film" if depth_in < r["outer_m"] + film else "inner"
                elif block[i]:
                    name = "block" if inward < r["block_m"] + 1e-9 and r["block_m"] > 0 else None
                    if r["block_m"] == 0 and edge:
                        name = "lining"
                elif edge:
                    name = "lining" if inward < web + 1e-9 else "lining" if CUT else "blocks"
                    if inward > r["lining_m"] + 1e-9 or (cut[i] and inward > web + 1e-9):
                        name = None
                else:
                    name = "brace" if braced[i] and inward < r["brace_height_m"] + 1e-9 else None
                if name is None:
                    continue
                cells.append([vertex(i + a, j + b, k + c) for a, b, c in corners])
                of.append(material[name])
    mesh = MeshHex2.from_mesh(MeshHex(np.array(places, float).T.copy(), np.array(cells).T.copy()))
    halves = lambda ends: np.interp(0.5 * np.arange(2 * len(ends) - 1), np.arange(len(ends)), ends)
    index = np.rint(2 * mesh.doflocs).astype(int)
    assert np.max(np.abs(2 * mesh.doflocs - index)) < 1e-9
    point, slope = half.at(halves(along)[index[0]])
    offset = halves(layers)[index[1]]
    height = halves(levels)[index[2]]
    if "taper_m" in r:
        tail, neck = r["taper_m"]
        ends_y = half.at(np.array([0.0, half.length]))[0][1]
        height = height * (tail + (neck - tail) * (point[1] - ends_y[0]) / (ends_y[1] - ends_y[0])) / r["depth_m"]
    moved = np.array([point[0] + offset * slope[1], point[1] - offset * slope[0], height])
    return replace(mesh, doflocs=moved), np.array(of), wood_list, half, index, along, face


def matrices(mesh, of, woods):
    """Stiffness and mass, unknowns node by node (x, y, z)."""
    basis = Basis(mesh, ElementHex2(), intorder=4)
    dofs = basis.element_dofs
    n, count = dofs.shape[0], dofs.shape[1]
    slopes = np.stack([np.asarray(basis.basis[a][0].grad) for a in range(n)])
    values = np.stack([np.broadcast_to(np.asarray(basis.basis[a][0].value), slopes.shape[2:]) for a in range(n)])
    dx = np.abs(basis.dx)
    # Direction along the curve: how the place moves with the cell's first axis, which is the lattice's (body).
    tangent = np.asarray(basis.mapping.DF(basis.X))[:, 0]
    tangent = tangent / np.linalg.norm(tangent, axis=0)
    rows, columns, kvals, mvals = [], [], [], []
    for start in range(0, count, 200):
        part = slice(start, min(start + 200, count))
        g, v, w = slopes[:, :, part], values[:, part], dx[part]
        t = tangent[:, part]
        turn = np.zeros((3, 3, *w.shape))
        # Rows: along, outwards, up, in x, y, z.
        turn[0] = t
        turn[1, 0], turn[1, 1] = t[1], -t[0]
        turn[2, 2] = 1.0
        local = np.einsum("pdcq,adcq->apcq", turn, g)
        # Strains in the own axes from displacements in x, y, z: e_pq = (d_p u_q + d_q u_p)/2.
        strain = np.zeros((6, n, 3, *w.shape))
        for row, (p, q) in enumerate(((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))):
            if p == q:
                strain[row] = local[:, p, None] * turn[p][None]
            else:
                strain[row] = local[:, p, None] * turn[q][None] + local[:, q, None] * turn[p][None]
        c = np.array([stiffness_of(wood) for wood in woods])[of[part]]
        rho = np.array([wood["rho"] for wood in woods])[of[part]]
        b = strain.reshape(6, 3 * n, *w.shape).transpose(2, 3, 0, 1)
        cb = np.einsum("cij,cqjx->cqix", c, b) * w[:, :, None, None]
        m = b.shape[0]
        k = np.matmul(b.transpose(0, 3, 1, 2).reshape(m, 3 * n, -1), cb.reshape(m, -1, 3 * n))
        vv = v.transpose(1, 2, 0)
        mass = np.matmul((vv * (w * rho[:, None])[:, :, None]).transpose(0, 2, 1), vv)
        place = (3 * dofs[:, part].T[:, :, None] + np.arange(3)).reshape(m, -1)
        rows.append(np.repeat(place, 3 * n, axis=1).ravel())
        columns.append(np.tile(place, (1, 3 * n)).ravel())
        kvals.append(k.ravel())
        mvals.append(np.einsum("cab,de->cadbe", mass, np.eye(3)).ravel())
    total = 3 * basis.N
    where = (np.concatenate(rows), np.concatenate(columns))
    make = lambda vals: sp.coo_matrix((np.concatenate(vals), where), shape=(total, total)).tocsc()
    return make(kvals), make(mvals), basis


def in_order(index):
    """Unknowns from tail to neck, for a narrow band."""
    order = np.lexsort((index[1], index[2], index[0]))
    return (3 * order[:, None] + np.arange(3)).ravel()


def factored(matrix):
    """Solves with a banded symmetric matrix."""
    entries = matrix.tocoo()
    low = entries.row >= entries.col
    row, column, value = entries.row[low], entries.col[low], entries.data[low]
    band = np.zeros((int(np.max(row - column)) + 1, matrix.shape[0]))
    band[row - column, column] = value
    factor = cholesky_banded(band, overwrite_ab=True, lower=True, check_finite=False)
    return lambda x: cho_solve_banded((factor, True), x, check_finite=False)


def tones(stiffness, mass, order, held, count):
    free = order[~np.isin(order, held)]
    k, m = stiffness[free][:, free], mass[free][:, free]
    inverse = LinearOperator(k.shape, matvec=factored(k - SHIFT * m), dtype=float)
    start = np.random.default_rng(1).standard_normal(len(free))
    squares, shapes = eigsh(k, count + 3, M=m, sigma=SHIFT, OPinv=inverse, v0=start)
    order = np.argsort(squares)
    hz = np.sqrt(np.abs(squares[order])) / (2 * np.pi)
    full = np.zeros((stiffness.shape[0], len(hz)))
    full[free] = shapes[:, order]
    elastic = hz > 3.0
    return hz[elastic], full[:, elastic]


def squeeze(mesh, stiffness, held, half, r, index, along, face):
    """How far (m/N) the places at PRESSED and 1 - PRESSED of the way around come together under 1 N, spread evenly over the depth."""
    i = int(np.argmin(np.abs(along - 2 * PRESSED * half.length)))
    # The side's own middle, or the joint of its plies: half of the lattice's steps from the outer face to the inner one.
    column = np.flatnonzero((index[0] == 2 * i) & (index[1] == face))
    column = column[np.argsort(index[2][column])]
    z = mesh.doflocs[2, column]
    weight = np.zeros(len(column))
    for a in range(0, len(column) - 2, 2):
        weight[a : a + 3] += (z[a + 2] - z[a]) * np.array([1, 4, 1]) / 6
    weight /= weight.sum()
    total = stiffness.shape[0]
    # A quarter of the body: half of the force, towards the middle.
    force = np.zeros(total)
    force[3 * column] = -0.5 * weight
    pinned = 3 * int(np.argmin(np.abs(mesh.doflocs[0]) + 1e3 * (mesh.doflocs[1] > mesh.doflocs[1].min() + 1e-9))) + 1
    order = in_order(index)
    free = order[~np.isin(order, np.append(held, pinned))]
    moved = np.zeros(total)
    moved[free] = factored(stiffness[free][:, free])(force[free])
    return -2.0 * weight @ moved[3 * column]


COARSE = {"steps": 50, "teeth": 1, "ply": 1, "middle": [0, 0.5, 1], "edge": 1, "bare": [0, 0.6, 1]}
FINE = {"steps": 70, "teeth": 1, "ply": 1, "middle": [0, 0.5, 1], "edge": 2, "bare": [0, 0.5, 0.85, 1]}
FINER = {"steps": 120, "teeth": 2, "ply": 2, "middle": [0, 0.3, 0.6, 0.85, 1], "edge": 3, "bare": [0, 0.3, 0.6, 0.85, 0.96, 1]}
# Every so many a rim is solved on a coarser mesh too.
COMPARED = 5


def solve(r, size, pressed=True):
    mesh, of, woods, half, index, along, face = body(r, size)
    stiffness, mass, basis = matrices(mesh, of, woods)
    assert np.allclose(basis.doflocs, mesh.doflocs)
    places = mesh.doflocs
    ends = np.flatnonzero((index[0] == 0) | (index[0] == index[0].max()))
    low = np.flatnonzero(index[2] == 0)
    mirror = {"alike": 3 * ends, "opposite": np.concatenate([3 * ends + 1, 3 * ends + 2])}
    level = {"in": 3 * low + 2, "out": np.concatenate([3 * low, 3 * low + 1])}
    rows, order = [], in_order(index)
    for plane, count in (("in", IN_PLANE), ("out", OUT_OF_PLANE)):
        found = np.concatenate([tones(stiffness, mass, order, np.concatenate([m, level[plane]]), count + 1)[0] for m in mirror.values()])
        rows += [(plane, n + 1, hz) for n, hz in enumerate(np.sort(found)[:count])]
    ones = np.zeros(stiffness.shape[0])
    ones[0::3] = 1.0
    rows.append(("mass_kg", 0, 4 * ones @ mass @ ones))
    if pressed:
        held = np.concatenate([mirror["alike"], level["in"]])
        rows.append(("squeeze_m_n", 0, squeeze(mesh, stiffness, held, half, r, index, along, face)))
    return rows, f"{mesh.t.shape[1]} cells, {stiffness.shape[0]} unknowns"


def wood(rng, r, ply):
    along = rng.uniform(9e9, 15e9)
    r[f"{ply}_along_pa"] = along
    r[f"{ply}_across_pa"] = along * rng.uniform(0.07, 0.2)
    r[f"{ply}_shear_pa"] = along * rng.uniform(0.06, 0.13)
    r[f"{ply}_poisson"] = rng.uniform(0.32, 0.5)
    r[f"{ply}_density_kg_m3"] = rng.uniform(450, 750)
    r[f"hidden_{ply}_through"] = rng.uniform(0.5, 1.2)
    r[f"hidden_{ply}_rolling"] = rng.uniform(0.15, 0.35)
    r[f"hidden_{ply}_shear_through"] = rng.uniform(0.7, 1.1)


def light(rng, r, part):
    r[f"{part}_along_pa"] = rng.uniform(8e9, 12e9)
    r[f"{part}_shear_pa"] = rng.uniform(0.5e9, 0.9e9)
    r[f"{part}_density_kg_m3"] = rng.uniform(350, 520)
    r[f"hidden_{part}_across"] = rng.uniform(9, 16)
    r[f"hidden_{part}_rolling"] = rng.uniform(0.12, 0.3)


def draw(number):
    """A rim by its number."""
    rng = np.random.default_rng(7000 + number)
    kinds = ["oval", "parlour", "concert", "large", "oval"]
    r = {"rim": number, "outline": kinds[number % 5]}
    circle = number % 5 == 4
    across = rng.uniform(0.16, 0.21)
    r["half_width_m"], r["half_length_m"] = across, across if circle else across * rng.uniform(1.1, 1.5)
    r["depth_m"] = rng.uniform(0.08, 0.12)
    laminated = rng.random() < 0.5
    r["outer_m"] = rng.uniform(1.8e-3, 2.4e-3 if laminated else 3.2e-3)
    r["inner_m"] = rng.uniform(1.0e-3, 1.6e-3) if laminated else 0.0
    wood(rng, r, "outer")
    wood(rng, r, "inner")
    r["lining"] = ["solid", "kerfed", "kerfed", "solid", "none", "kerfed", "solid", "kerfed"][number % 8]
    r["lining_m"], r["lining_high_m"] = rng.uniform(5e-3, 7e-3), rng.uniform(12e-3, 16e-3)
    light(rng, r, "lining")
    r["block_m"] = rng.uniform(15e-3, 25e-3) if rng.random() < 0.6 else 0.0
    r["block_length_m"] = 60e-3
    light(rng, r, "block")
    half = outline(r)
    braced = rng.random() < 0.5
    waist = half.length
    if r["outline"] in WAISTS:
        waist = half.knots[[y for y, _ in HALVES[r["outline"]]].index(WAISTS[r["outline"]])]
    r["brace_share"] = (0.5 * waist / half.length if r["outline"] in WAISTS else 0.3) if braced else 0.0
    r["brace_width_m"], r["brace_height_m"] = 8e-3, rng.uniform(4e-3, 6e-3)
    light(rng, r, "brace")
    return r


def known():
    """A glued-up ring: R 200 mm, 100 mm deep, linings of 6 x 14 mm. With eccentric bands on a shell, of the same stiffness and
    weight, it was found at 104.7 and 301.9 Hz in its plane, 129.8 Hz out of it."""
    r = draw(4)
    r.update(rim=-1, half_width_m=0.2, half_length_m=0.2, depth_m=0.1, lining="solid", lining_m=6e-3, lining_high_m=14e-3, block_m=0.0, brace_share=0.0)
    # Walnut 1.9 mm, maple 1.4 mm, and the program's light hardwood.
    for ply, values in (("outer", (1.9e-3, 12.76e9, 1.353e9, 1.085e9, 0.495, 616.0)), ("inner", (1.4e-3, 13.86e9, 1.83e9, 1.538e9, 0.424, 705.6))):
        r[f"{ply}_m"], r[f"{ply}_along_pa"], r[f"{ply}_across_pa"], r[f"{ply}_shear_pa"], r[f"{ply}_poisson"], r[f"{ply}_density_kg_m3"] = values
    r["lining_along_pa"], r["lining_shear_pa"], r["lining_density_kg_m3"], r["hidden_lining_across"] = 9e9, 0.7e9, 470.0, 12.0
    return r


def job(number):
    begin = time.time()
    r = known() if number < 0 else draw(number)
    fine, size = solve(r, FINE)
    other = FINER if "--finer" in sys.argv else COARSE if number % COMPARED == 0 or number < 0 else None
    compared = solve(r, other)[0] if other else None
    return r, fine, compared, f"{number}: {r['outline']} {r['lining']} {size}, {time.time() - begin:.0f} s"


def main():
    arguments = [a for a in sys.argv[1:] if not a.startswith("--")]
    wanted = [-1 if a == "known" else int(a) for a in arguments] or [-1, *range(40)]
    rims, lines, worst = [], [], {}
    with ProcessPoolExecutor(2) as pool:
        for number, (r, fine, compared, told) in zip(wanted, pool.map(job, wanted)):
            rims.append(r)
            for n, (plane, tone, hz) in enumerate(fine):
                change = None if compared is None else compared[n][2] / hz - 1
                if change is not None:
                    worst[plane] = max(worst.get(plane, 0.0), abs(change))
                lines.append(f"{number},{plane},{tone},{hz:.7g},{'' if change is None else f'{change:.1e}'}\n")
                if arguments:
                    print(lines[-1], end="")
            print(told, flush=True)
            if not arguments:
                write(rims, lines, worst)


def write(rims, lines, worst):
    with open(os.path.join(HERE, "rims_built.csv"), "w") as out:
        keys = list(rims[0])
        out.write("# Rims as built; written by rims_built.py (what the columns mean stands there). hidden_: what the program is not given.\n")
        out.write(",".join(keys) + "\n")
        for r in rims:
            out.write(",".join(f"{r[k]:.7g}" if isinstance(r[k], float) else str(r[k]) for k in keys) + "\n")
    with open(os.path.join(HERE, "rims_built_tones.csv"), "w") as out:
        out.write("# Tones (Hz), mass (kg) and how far the rim gives (m/N) of rims_built.csv; written by rims_built.py.\n")
        out.write(f"# python {platform.python_version()}, scikit-fem {skfem.__version__}, scipy {scipy.__version__}, numpy {np.__version__}; {datetime.date.today()}\n")
        told = ", ".join(f"{plane} {c:.1e}" for plane, c in worst.items())
        out.write(f"# coarse: what a coarser mesh gives, relative to it (every {COMPARED}th rim). It differs by at most: {told}\n")
        out.write("rim,plane,number,value,coarse\n")
        out.writelines(lines)


if __name__ == "__main__":
    main()
