"""Rays through convex bodies that are nested or apart (compiled).

A body is a row of `bodies`: kind, centre x y z, three sizes. Box: half sizes. Cylinder along x, y or z: radius and
half length. Ball: radius. All lengths in mm. Body number -1 is the empty world. Row `i + 1` of `nest` holds the parent
of body `i` and then the bodies directly inside it, -1 where there are no more; row 0 is that of the world.
"""

from __future__ import annotations

from math import sqrt

from truekev.transport.compiled import Array, Integers, compiled, inlined

__all__ = [
    "BALL",
    "BOX",
    "CYLINDER_X",
    "CYLINDER_Y",
    "CYLINDER_Z",
    "FAR",
    "NUDGE_MM",
    "body_at",
    "clearance",
    "next_boundary",
]

BOX = 0.0
CYLINDER_X = 1.0
CYLINDER_Y = 2.0
CYLINDER_Z = 3.0
BALL = 4.0
FAR = 1e30
NUDGE_MM = 1e-7  # how far past a boundary a particle is set down


@inlined
def _depth(bodies: Array, i: int, x: float, y: float, z: float) -> float:
    """Shortest way to the surface [mm]: exact from inside, a lower bound (negative) from outside."""
    kind = bodies[i, 0]
    dx = abs(x - bodies[i, 1])
    dy = abs(y - bodies[i, 2])
    dz = abs(z - bodies[i, 3])
    if kind == BOX:
        return min(bodies[i, 4] - dx, bodies[i, 5] - dy, bodies[i, 6] - dz)
    if kind == BALL:
        return bodies[i, 4] - sqrt(dx * dx + dy * dy + dz * dz)
    if kind == CYLINDER_Z:
        return min(bodies[i, 4] - sqrt(dx * dx + dy * dy), bodies[i, 5] - dz)
    if kind == CYLINDER_X:
        return min(bodies[i, 4] - sqrt(dy * dy + dz * dz), bodies[i, 5] - dx)
    return min(bodies[i, 4] - sqrt(dx * dx + dz * dz), bodies[i, 5] - dy)


@compiled
def body_at(bodies: Array, nest: Integers, here: int, x: float, y: float, z: float) -> int:
    """Number of the innermost body that holds a point, -1 for the empty world; the search starts at body `here`."""
    while here >= 0 and _depth(bodies, here, x, y, z) < 0:
        here = nest[here + 1, 0]
    column = 1
    while column < nest.shape[1]:
        child = nest[here + 1, column]
        if child < 0:
            break
        if _depth(bodies, child, x, y, z) >= 0:
            here = child
            column = 1
        else:
            column += 1
    return here


@inlined
def clearance(bodies: Array, nest: Integers, here: int, x: float, y: float, z: float) -> float:
    """Distance [mm] that can be walked from a point in body `here` without leaving it; a lower bound."""
    free = _depth(bodies, here, x, y, z)
    for column in range(1, nest.shape[1]):
        child = nest[here + 1, column]
        if child < 0:
            break
        free = min(free, -_depth(bodies, child, x, y, z))
    return free


@inlined
def _slab(p: float, d: float, half: float) -> tuple[float, float]:
    # a ray along the slab: a tiny slope sends the crossings far away or keeps the ray out
    inverse = 1.0 / d if d != 0.0 else 1e300
    one = (-half - p) * inverse
    two = (half - p) * inverse
    return min(one, two), max(one, two)


@inlined
def _round(p: float, q: float, dp: float, dq: float, radius: float) -> tuple[float, float]:
    a = dp * dp + dq * dq
    c = p * p + q * q - radius * radius
    if a < 1e-24:
        if c > 0:
            return FAR, -FAR
        return -FAR, FAR
    b = p * dp + q * dq
    root = b * b - a * c
    if root <= 0:
        return FAR, -FAR
    root = sqrt(root)
    return (-b - root) / a, (-b + root) / a


@compiled
def _curved_crossings(
    bodies: Array, i: int, x: float, y: float, z: float, u: float, v: float, w: float
) -> tuple[float, float]:
    """Where a ray, from a point relative to the centre, enters and leaves a ball or cylinder [mm]."""
    kind = bodies[i, 0]
    if kind == BALL:
        b = x * u + y * v + z * w
        root = b * b - (x * x + y * y + z * z - bodies[i, 4] * bodies[i, 4])
        if root <= 0:
            return FAR, -FAR
        root = sqrt(root)
        return -b - root, -b + root
    if kind == CYLINDER_Z:
        near, far = _round(x, y, u, v, bodies[i, 4])
        n2, f2 = _slab(z, w, bodies[i, 5])
    elif kind == CYLINDER_X:
        near, far = _round(y, z, v, w, bodies[i, 4])
        n2, f2 = _slab(x, u, bodies[i, 5])
    else:
        near, far = _round(x, z, u, w, bodies[i, 4])
        n2, f2 = _slab(y, v, bodies[i, 5])
    return max(near, n2), min(far, f2)


@inlined
def _crossings(
    bodies: Array, i: int, x: float, y: float, z: float, u: float, v: float, w: float
) -> tuple[float, float]:
    """Where a ray enters and leaves a body [mm]; the first is larger than the second when it misses."""
    x -= bodies[i, 1]
    y -= bodies[i, 2]
    z -= bodies[i, 3]
    if bodies[i, 0] != BOX:
        return _curved_crossings(bodies, i, x, y, z, u, v, w)
    near, far = _slab(x, u, bodies[i, 4])
    n2, f2 = _slab(y, v, bodies[i, 5])
    n3, f3 = _slab(z, w, bodies[i, 6])
    return max(near, n2, n3), min(far, f2, f3)


@inlined
def next_boundary(
    bodies: Array, nest: Integers, here: int, x: float, y: float, z: float, u: float, v: float, w: float
) -> tuple[float, int]:
    """Distance [mm] along the unit vector (u, v, w) to the next boundary and the body behind it.

    FAR and -1 when the ray leaves everything. A body that is left together with its parent, or that touches another,
    shows at the next call: the distance is then 0.
    """
    distance = FAR
    behind = -1
    if here >= 0:
        _, distance = _crossings(bodies, here, x, y, z, u, v, w)
        distance = max(distance, 0.0)
        behind = nest[here + 1, 0]
    for column in range(1, nest.shape[1]):
        child = nest[here + 1, column]
        if child < 0:
            break
        near, far = _crossings(bodies, child, x, y, z, u, v, w)
        if near < far and near < distance and far > 0.0:
            # a start on the surface of the body counts as a crossing at once
            distance = max(near, 0.0)
            behind = child
    return distance, behind
