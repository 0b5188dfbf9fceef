"""A period of a kerfed lining on a side by finite elements: by how much the blocks between the kerfs make the web thicker.

python3 kerfs.py        prints the table of kerfs.csv (ten seconds)

Plane stress in the plane of length and thickness: side, web and half a block beside half a kerf, quadratic rectangles. The two cut faces
stay plane, at a strain and a curvature; the energy gives stretching, coupling and bending. What side and web alone have is known in closed
form; the thicker web that bends as the whole about its neutral line is what is told.
"""

import itertools

import numpy as np
import scipy.sparse as sp
from scipy.optimize import brentq
from scipy.sparse.linalg import splu

KERF, PITCH, WEB = 1.5e-3, 8e-3, 1e-3


def rectangles(xs, ys, material, c):
    """Stiffness of 9-node rectangles; material(x, y) of a cell's middle, None for none."""
    nx, ny = len(xs) - 1, len(ys) - 1
    across = 2 * ny + 1
    x, y = (np.interp(np.arange(2 * n + 1) / 2, np.arange(n + 1), s) for n, s in ((nx, xs), (ny, ys)))
    gauss, weight = np.array([-np.sqrt(0.6), 0, np.sqrt(0.6)]), np.array([5, 8, 5]) / 9
    shape = lambda t: (np.array([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2]), np.array([t - 0.5, -2 * t, t + 0.5]))
    rows, columns, values = [], [], []
    for i, j in itertools.product(range(nx), range(ny)):
        kind = material(0.5 * (xs[i] + xs[i + 1]), 0.5 * (ys[j] + ys[j + 1]))
        if kind is None:
            continue
        hx, hy = xs[i + 1] - xs[i], ys[j + 1] - ys[j]
        k = np.zeros((18, 18))
        for a, b in itertools.product(range(3), range(3)):
            (n, dn), (m, dm) = shape(gauss[a]), shape(gauss[b])
            gx, gy = np.outer(dn, m).ravel() * 2 / hx, np.outer(n, dm).ravel() * 2 / hy
            strain = np.zeros((3, 18))
            strain[0, 0::2], strain[1, 1::2], strain[2, 0::2], strain[2, 1::2] = gx, gy, gy, gx
            k += strain.T @ c[kind] @ strain * weight[a] * weight[b] * hx * hy / 4
        nodes = [(2 * i + a) * across + 2 * j + b for a in range(3) for b in range(3)]
        dofs = np.array([[2 * n, 2 * n + 1] for n in nodes]).ravel()
        rows.append(np.repeat(dofs, 18))
        columns.append(np.tile(dofs, 18))
        values.append(k.ravel())
    size = 2 * len(x) * across
    return sp.coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(size, size)).tocsr(), x, y


def plane_stress(along, through, shear, nu):
    free = 1 - nu * nu * through / along
    return np.array([[along / free, nu * through / free, 0], [nu * through / free, through / free, 0], [0, 0, shear]])


def cell(side_m, thick, side, lining, fine=1):
    """Stretching, coupling and bending per width about the side's middle; woods as (along, through, shear, nu)."""
    length = PITCH / 2
    block = length - KERF / 2
    steps = lambda n, power: np.linspace(0, 1, n * fine + 1)[1:] ** power
    xs = np.concatenate([block * (1 - (1 - np.linspace(0, 1, 10 * fine + 1)) ** 2), block + (length - block) * steps(5, 1.5)])
    face = side_m / 2
    ys = np.concatenate([np.linspace(-face, face, 6 * fine + 1), face + WEB * steps(4, 1), face + WEB + (thick - WEB) * steps(10, 1.7)])
    kind = lambda x, y: 0 if y < face else 1 if y < face + WEB or x < block else None
    k, x, y = rectangles(xs, ys, kind, [plane_stress(*side), plane_stress(*lining)])
    used = np.unique(k.nonzero()[0])
    there = set(used)
    place = lambda i, j: 2 * (i * len(y) + j)
    low = [place(0, j) for j in range(len(y))]
    high = [place(len(x) - 1, j) for j in range(len(y)) if place(len(x) - 1, j) in there]
    heights = np.array([y[j] for j in range(len(y)) if place(len(x) - 1, j) in there])
    free = np.setdiff1d(used, np.array(low + high + [place(0, 0) + 1]))
    factor = splu(k[free][:, free].tocsc())
    moved = []
    for strain, curvature in ((1, 0), (0, 1)):
        u = np.zeros(k.shape[0])
        u[high] = (strain + curvature * heights) * length
        u[free] = -factor.solve(k[free] @ u)
        moved.append(u)
    return np.array([[a @ (k @ b) for b in moved] for a in moved]) / length


def layer(along, low, high):
    return along * np.array([[high - low, (high**2 - low**2) / 2], [(high**2 - low**2) / 2, (high**3 - low**3) / 3]])


def own(m):
    return m[1, 1] - m[0, 1] ** 2 / m[0, 0]


def thicker(side_m, thick, side, lining, fine=1):
    """By how much (m) the web has to be thicker to bend as the web with its blocks."""
    whole, face = own(cell(side_m, thick, side, lining, fine)), side_m / 2
    return brentq(lambda x: own(layer(side[0], -face, face) + layer(lining[0], face, face + WEB + x)) - whole, -5e-4, thick)


def main():
    side = (12e9, 1e9, 0.9e9, 0.0)
    lines = ["side_m,thick_m,along_over_shear,thicker_m,finer\n"]
    for side_m, thick, (along, shear) in itertools.product((2e-3, 3.3e-3), (5e-3, 7e-3), ((9e9, 0.7e9), (12e9, 0.5e9), (8e9, 0.9e9))):
        x, finer = (thicker(side_m, thick, side, (along, along / 12, shear, 0.0), fine) for fine in (1, 2))
        lines.append(f"{side_m},{thick},{along / shear:.4g},{x:.5g},{finer:.5g}\n")
    print("".join(lines), end="")


if __name__ == "__main__":
    main()
