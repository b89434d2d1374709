#!/usr/bin/env python3
"""Writes tests/data/twist_table.csv: the twist of rotations about an axis, found by scipy without the formula that is checked. The
twist about an axis is the turn about it that comes nearest to the rotation, so the angle left over is made as small as can be
(scipy.optimize.minimize_scalar over scipy.spatial.transform.Rotation.magnitude); what is left over is the swing, applied after the twist.
Run once; the project itself does not need scipy.

  w,x,y,z, ax,ay,az, twist, sw,sx,sy,sz      twist in radians; quaternions (w, x, y, z), w >= 0
"""
import pathlib

import numpy
import scipy
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

SEED = 20024
random = numpy.random.default_rng(SEED)
rows = []


def quat(rotation):
    x, y, z, w = rotation.as_quat()
    q = numpy.array([w, x, y, z])
    return q if w >= 0 else -q


for case in range(40):
    axis = random.normal(size=3)
    axis /= numpy.linalg.norm(axis)
    q = random.normal(size=4)
    rotation = Rotation.from_quat(q / numpy.linalg.norm(q))
    # The square of the chord: smooth where the swing vanishes, unlike the angle.
    left = lambda angle: 2 - 2 * numpy.cos((rotation * Rotation.from_rotvec(-angle * axis)).magnitude())
    grid = numpy.linspace(-numpy.pi, numpy.pi, 721)
    best = grid[numpy.argmin([left(a) for a in grid])]
    found = minimize_scalar(left, bounds=(best - 0.02, best + 0.02), method="bounded", options={"xatol": 1e-12})
    swing = rotation * Rotation.from_rotvec(-found.x * axis)
    if swing.magnitude() > numpy.radians(165):
        continue
    rows.append(",".join(repr(float(v)) for v in numpy.concatenate([quat(rotation), axis, [found.x], quat(swing)])))

target = pathlib.Path(__file__).resolve().parent.parent / "data" / "twist_table.csv"
head = f"# scipy {scipy.__version__}, numpy {numpy.__version__}, seed {SEED}; made by tests/reference/make_twist_table.py\n"
target.write_text(head + "\n".join(rows) + "\n")
print(f"{target}: {len(rows)} rows")
