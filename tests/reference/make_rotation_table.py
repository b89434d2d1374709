#!/usr/bin/env python3
"""Writes tests/data/rotation_table.csv: rotations worked out by scipy.spatial.transform, against which core/math/quat.h
and the BVH reader are checked. Run once (Debian: python3-scipy); the project itself does not need scipy.

Quaternions are (w, x, y, z) with w >= 0 unless noted, matrices row by row, angles in degrees for Euler rows and radians
in rotation vectors. scipy keeps quaternions as (x, y, z, w) and its product a * b applies b first, as ours does.

  euler,ORDER,a,b,c,               w,x,y,z   intrinsic, in the order written, as the channels of a BVH joint compose
  matrix,,w,x,y,z,                 m00 ... m22
  slerp,,w,x,y,z,w,x,y,z,t,        w,x,y,z   the short way round; the second is given in either sign
  log,,w,x,y,z,                    rx,ry,rz
  exp,,rx,ry,rz,                   w,x,y,z
  product,,w,x,y,z,w,x,y,z,        w,x,y,z
  rotate,,w,x,y,z,vx,vy,vz,        vx,vy,vz
"""
import pathlib

import numpy
import scipy
from scipy.spatial.transform import Rotation, Slerp

SEED = 20021
random = numpy.random.default_rng(SEED)
rows = []


def quat(rotation):
    x, y, z, w = rotation.as_quat()
    q = numpy.array([w, x, y, z])
    return q if w >= 0 else -q


def rotation_of(q):
    return Rotation.from_quat([q[1], q[2], q[3], q[0]])


def any_quat():
    q = random.normal(size=4)
    return q / numpy.linalg.norm(q)


def small_turn(angle):
    axis = random.normal(size=3)
    return Rotation.from_rotvec(axis / numpy.linalg.norm(axis) * angle)


def row(kind, order, *values):
    numbers = numpy.concatenate([numpy.atleast_1d(v) for v in values])
    rows.append(",".join([kind, order] + [repr(float(n)) for n in numbers]))


for order in ("XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX"):
    for case in range(10):
        # Also the singular middle angle, angles past a full turn and angles of one axis only.
        angles = random.uniform(-180, 180, 3)
        if case == 7:
            angles[1] = 90
        if case == 8:
            angles = random.uniform(-720, 720, 3)
        if case == 9:
            angles = angles * numpy.eye(3)[random.integers(3)]
        row("euler", order, angles, quat(Rotation.from_euler(order, angles, degrees=True)))

for _ in range(20):
    q = any_quat()
    row("matrix", "", q, rotation_of(q).as_matrix().ravel())
for angle in (numpy.pi, numpy.pi - 1e-5):  # the three branches without a positive trace
    for axis in numpy.eye(3):
        r = Rotation.from_rotvec(axis * angle)
        row("matrix", "", quat(r), r.as_matrix().ravel())

for case in range(40):
    a = any_quat()
    b = any_quat()
    if case >= 32:  # close together: 10, 5, 1, 0.1 degrees
        b = quat(rotation_of(a) * small_turn(numpy.radians((10, 5, 1, 0.1)[case % 4])))
        if case % 2:
            b = -b
    t = (0.0, 1.0)[case] if case < 2 else random.uniform()
    between = Slerp([0, 1], Rotation.concatenate([rotation_of(a), rotation_of(b)]))(t)
    row("slerp", "", a, b, t, quat(between))

for case in range(24):
    r = rotation_of(any_quat()) if case < 16 else small_turn((3.14, 3.1, 1e-1, 1e-2, 1e-3, 1e-4, 1e-6, 1e-8)[case - 16])
    row("log", "", quat(r), r.as_rotvec())
for case in range(24):
    # Past a half turn too: the sign of the quaternion is then not fixed.
    size = random.uniform(0, 9) if case < 16 else (3.15, 6.28, 1e-1, 1e-2, 1e-3, 1e-4, 1e-6, 1e-8)[case - 16]
    axis = random.normal(size=3)
    v = axis / numpy.linalg.norm(axis) * size
    row("exp", "", v, quat(Rotation.from_rotvec(v)))

for _ in range(20):
    a, b = any_quat(), any_quat()
    row("product", "", a, b, quat(rotation_of(a) * rotation_of(b)))
for _ in range(20):
    q, v = any_quat(), random.uniform(-2, 2, 3)
    row("rotate", "", q, v, rotation_of(q).apply(v))

target = pathlib.Path(__file__).resolve().parent.parent / "data" / "rotation_table.csv"
target.parent.mkdir(exist_ok=True)
head = f"# scipy {scipy.__version__}, numpy {numpy.__version__}, seed {SEED}; made by tests/reference/make_rotation_table.py\n"
target.write_text(head + "\n".join(rows) + "\n")
print(f"{target}: {len(rows)} rows")
