"""The bent side and the rims of the demonstration as solid bodies: writes src/simulate/example/solids.csv.

python3 demo_rim.py        (five minutes on one core)

Bodies, woods and meshes as in rims_built.py (kerfed linings as an even body on a web, kerfs.py). The outline is the parlour's; the side
is 95 mm deep, the rims taper from 98 mm at the tail to 92 mm at the neck. Only movement alike above and below mid-depth is kept: what a tap at
mid-depth excites. A bent side is the right half, free all around; a rim's modes are alike or opposite left and right.

For each mode, the free body's own motions included: frequency (Hz) and, of unit modal mass, the movement at mid-depth of two spots, outwards
and along (1/sqrt(kg)). mass_kg stands in the column of the frequency.
"""

import os
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from scipy.sparse.linalg import LinearOperator, eigsh

import rims_built as built

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = os.path.join(HERE, "..", "..", "..", "src", "simulate", "example", "solids.csv")
# Widest place of the parlour's lower bout, as a share of the way around.
BOUT = 0.166
MOST_HZ = 1800.0
SIZE = {"steps": 90, "teeth": 1, "ply": 1, "middle": [0, 0.5, 1], "edge": 2, "bare": [0, 0.5, 0.85, 1]}


def side(r, ply, thickness, along, across, shear, poisson, density):
    r[f"{ply}_m"], r[f"{ply}_along_pa"], r[f"{ply}_across_pa"], r[f"{ply}_shear_pa"] = thickness, along, across, shear
    r[f"{ply}_poisson"], r[f"{ply}_density_kg_m3"] = poisson, density
    # What nobody measures: through the thickness.
    r[f"hidden_{ply}_through"], r[f"hidden_{ply}_rolling"], r[f"hidden_{ply}_shear_through"] = 0.7, 0.25, 0.85


def light(r, part, along, shear, density, across):
    r[f"{part}_along_pa"], r[f"{part}_shear_pa"], r[f"{part}_density_kg_m3"] = along, shear, density
    r[f"hidden_{part}_across"], r[f"hidden_{part}_rolling"] = across, 0.2


def stage(laminated, joined, stiffer=1.0, taper=(0.098, 0.092)):
    """The demonstration's boards, as src/simulate/example/woods.rs has them, and light hardwood inside."""
    r = {"outline": "parlour", "depth_m": 0.095, "taper_m": taper, "lining": "none", "block_m": 0.0, "brace_share": 0.0, "inner_m": 0.0, "lining_m": 0.0}
    side(r, "outer", 1.912e-3, 12.3e9 * stiffer, 1.29e9 * stiffer, 1.03e9 * stiffer, 0.48, 616.0)
    if laminated:
        side(r, "inner", 1.409e-3, 13.2e9, 1.78e9, 1.47e9, 0.424, 706.0)
        r["film_m"], r["film"] = 0.1e-3, {"e": (3e9,) * 3, "nu": (0.35,) * 3, "g": (1.1e9,) * 3, "rho": 1150.0}
    if joined:
        r.update(lining="kerfed", lining_m=6e-3, lining_high_m=14e-3, block_m=20e-3, block_length_m=60e-3)
        half = built.outline(r)
        waist = half.knots[[y for y, _ in built.HALVES["parlour"]].index(built.WAISTS["parlour"])]
        r.update(brace_share=0.5 * waist / half.length, brace_width_m=8e-3, brace_height_m=5e-3)
        light(r, "lining", 9e9, 0.7e9, 470.0, 12)
        light(r, "block", 9e9, 0.7e9, 470.0, 12)
        light(r, "brace", 10e9, 0.7e9, 400.0, 12)
    r["spot_share"] = BOUT
    return r


def modes(stiffness, mass, order, held, count):
    free = order[~np.isin(order, held)]
    k, m = stiffness[free][:, free], mass[free][:, free]
    inverse = LinearOperator(k.shape, matvec=built.factored(k - built.SHIFT * m), dtype=float)
    squares, shapes = eigsh(k, count, M=m, sigma=built.SHIFT, OPinv=inverse, v0=np.random.default_rng(1).standard_normal(len(free)))
    full = np.zeros((stiffness.shape[0], count))
    full[free] = shapes
    hz = np.sqrt(np.abs(squares)) / (2 * np.pi)
    return np.where(hz < 3.0, 0.0, hz), full


def solve(job):
    part, name, r, whole = job
    mesh, of, woods, half, index, along, face = built.body(r, SIZE)
    stiffness, mass, _ = built.matrices(mesh, of, woods)
    ends = np.flatnonzero((index[0] == 0) | (index[0] == index[0].max()))
    low = np.flatnonzero(index[2] == 0)
    order = built.in_order(index)
    classes = {"alike": 3 * ends, "opposite": np.concatenate([3 * ends + 1, 3 * ends + 2])} if whole else {"free": np.array([], int)}
    # Of the whole body: the half above mid-depth is modelled, and for a rim the right half.
    parts = 4 if whole else 2
    place = [int(np.argmin(np.abs(along - 2 * s * half.length))) for s in (BOUT, 0.0)]
    spots = [int(np.flatnonzero((index[0] == 2 * i) & (index[1] == face) & (index[2] == 0))[0]) for i in place]
    ones = np.zeros(stiffness.shape[0])
    ones[0::3] = 1.0
    lines, found = [f"{part},{name},mass_kg,{parts * ones @ mass @ ones:.9g},,,,\n"], []
    for held in classes.values():
        hz, shapes = modes(stiffness, mass, order, np.concatenate([held, 3 * low + 2]), 26 if whole else 30)
        for f, shape in zip(hz, shapes.T):
            moved = []
            for i, spot in zip(place, spots):
                tangent = half.at(along[i : i + 1])[1][:, 0]
                x, y = shape[3 * spot], shape[3 * spot + 1]
                moved += [x * tangent[1] - y * tangent[0], x * tangent[0] + y * tangent[1]]
            found.append((f, np.array(moved) / np.sqrt(parts)))
    # Opposite modes are solved as far as alike ones; none between is missed below the lower of the two ends.
    for f, moved in sorted(found, key=lambda m: m[0]):
        if f < MOST_HZ:
            lines.append(f"{part},{name},mode,{f:.9g}," + ",".join(f"{v:.7g}" for v in moved) + "\n")
    print(part, name, len(lines), lines[0].strip(), flush=True)
    return lines


def main():
    even = (0.095, 0.095)
    jobs = [
        ("left-side", "bent", stage(False, False, taper=even), False),
        ("left-side", "laminated", stage(True, False, taper=even), False),
        ("rim", "plain", stage(False, False), True),
        ("rim", "laminated", stage(True, False), True),
        ("rim", "braced", stage(True, True), True),
        ("rim-1", "braced", stage(True, True, 0.96), True),
        ("rim-2", "braced", stage(True, True, 1.03), True),
    ]
    with ProcessPoolExecutor(1) as pool:
        lines = [line for answer in pool.map(solve, jobs) for line in answer]
    with open(OUT, "w") as out:
        out.write("# Bent side and rims of the demonstration as solid bodies; written by tests/outside/fem/demo_rim.py (columns there).\n")
        out.write("part,stage,kind,value,bout_outwards,bout_along,tail_outwards,tail_along\n")
        out.writelines(lines)


if __name__ == "__main__":
    main()
