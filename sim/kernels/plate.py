"""Quasi-steady loads on a flat plate (bill, fin, keel) in the bait's motion."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.lanes import choose, every_lane
from sim.kernels.layout import (
    EL_1, EL_2, EL_SHARE, PL_1X, PL_1Y, PL_1Z, PL_2X, PL_2Y, PL_2Z, PL_CD, PL_CE, PL_FRICTION,
    PL_K1, PL_K2, PL_L1, PL_L2, PL_MUNK, PL_NX, PL_NY, PL_NZ, PL_ON, PL_REACH, PL_WAKE, PL_X,
    PL_Y, PL_Z,
)  # fmt: skip
from sim.kernels.wake import WIDEST

# Centre of pressure ahead of the centre in chords over cos a: at small incidence (thin aerofoil,
# exact), and what it loses toward 90 degrees (fitted to Holmes, Letchford & Lin 2006).
CP_SHIFT, CP_FALL = 0.25, 0.05


@kernel
def stream_coefficient(normal, tangential, slope, side_edge):
    """The part of C_N |V|^2 that needs a stream along the plate.

    slope sin a cos^2 a + side_edge sin^2 a cos^3 a times |V|^2, with the sign of the normal
    velocity; a is the incidence, 0 to 90 degrees between stream and plate. The whole normal force
    coefficient is this plus broadside sin^2 a.

    Parameters
    ----------
    normal, tangential : float    velocity components at the plate, tangential >= 0 [m/s]
    slope : float                 dC_N/da at a = 0 [1/rad]
    side_edge : float             [-]

    Returns
    -------
    float    [m^2/s^2]
    """
    speed2 = normal * normal + tangential * tangential + 1e-30
    cosine = tangential / math.sqrt(speed2)
    return normal * cosine * (slope * tangential + abs(normal) * side_edge * cosine * cosine)


@kernel
def pressure_shift(normal, speed):
    """How far the centre of pressure sits upstream of the centre, in chords, over cos a.

    0.25 - 0.05 sin a: a quarter chord at small incidence, and in proportion to the stream along
    the plate near 90 degrees.
    """
    return CP_SHIFT - CP_FALL * abs(normal) / (speed + 1e-15)


@kernel
def plate_load(u, v, w, p, q, r, g1, g2, g3, depth, s, plates, elements, i, k):
    """Load of plate ``i`` in lane ``k``.

    Parameters
    ----------
    u, v, w, p, q, r : float    velocity through the water and turning rates [m/s, rad/s]
    g1, g2, g3 : float          downward unit vector in the bait frame
    depth : float               of the centre of gravity [m]; large where all is submerged
    s : float                   wake oscillator
    plates : ndarray, shape (plates, N_PLATE, lanes)
    elements : ndarray, shape (plates, 3, elements, lanes)
    i, k : int

    Returns
    -------
    tuple of 6 floats    force [N] and moment [N m] about the centre of gravity, bait frame

    Notes
    -----
    The broadside part acts on every element with the element's own velocity, which gives damping
    in rotation without a coefficient of its own. The part that needs a stream along the plate is
    taken once a plate: its size from the velocity three quarters of the chord downstream of the
    leading edge, its moment from the velocity at the centre, as thin-aerofoil theory has it (the
    rotational lift about mid-chord is then exact in two dimensions). Measured coefficients hold
    the steady couple of the plate's own added mass, which the momentum equations bring in once
    more: it is taken off here. Sources and limits: docs/equations.md. Checked in
    tests/verification/plates.py and tests/reference/test_plate.py. Never raises.
    """
    x, yy, z = plates[i, PL_X, k], plates[i, PL_Y, k], plates[i, PL_Z, k]
    e1x, e1y, e1z = plates[i, PL_1X, k], plates[i, PL_1Y, k], plates[i, PL_1Z, k]
    e2x, e2y, e2z = plates[i, PL_2X, k], plates[i, PL_2Y, k], plates[i, PL_2Z, k]
    nx, ny, nz = plates[i, PL_NX, k], plates[i, PL_NY, k], plates[i, PL_NZ, k]
    l1, l2 = plates[i, PL_L1, k], plates[i, PL_L2, k]
    vx = u + q * z - r * yy
    vy = v + r * x - p * z
    vz = w + p * yy - q * x
    vn = vx * nx + vy * ny + vz * nz
    v1 = vx * e1x + vy * e1y + vz * e1z
    v2 = vx * e2x + vy * e2y + vz * e2z
    # d(v.n)/d(x1) = (omega x e1).n = -omega.e2 and d/d(x2) = omega.e1, since n = e1 x e2
    slope1 = -(p * e2x + q * e2y + r * e2z)
    slope2 = p * e1x + q * e1y + r * e1z

    broad = broad1 = broad2 = 0.0
    wet = 1.0
    down1 = g1 * e1x + g2 * e1y + g3 * e1z
    down2 = g1 * e2x + g2 * e2y + g3 * e2z
    centre = depth + g1 * x + g2 * yy + g3 * z
    # an element counts as wet over the depth that one of its size spans
    span = 0.25 * (abs(down1) * l1 + abs(down2) * l2) + 1e-4
    deep = centre > plates[i, PL_REACH, k] + 0.5 * span
    if every_lane(deep):
        for j in range(elements.shape[2]):
            x1, x2 = elements[i, EL_1, j, k], elements[i, EL_2, j, k]
            at = vn + slope1 * x1 + slope2 * x2
            load = elements[i, EL_SHARE, j, k] * abs(at) * at
            broad += load
            broad1 += load * x1
            broad2 += load * x2
    else:
        wet = 0.0
        for j in range(elements.shape[2]):
            x1, x2 = elements[i, EL_1, j, k], elements[i, EL_2, j, k]
            below = 0.5 + (centre + down1 * x1 + down2 * x2) / span
            share = elements[i, EL_SHARE, j, k] * min(1.0, max(0.0, below))
            at = vn + slope1 * x1 + slope2 * x2
            load = share * abs(at) * at
            wet += share
            broad += load
            broad1 += load * x1
            broad2 += load * x2
        wet = choose(deep, 1.0, wet)
    broadside = plates[i, PL_CD, k]

    along2 = v1 * v1 + v2 * v2 + 1e-30
    along = math.sqrt(along2)
    speed = math.sqrt(along2 + vn * vn)
    slope = (plates[i, PL_K1, k] * v1 * v1 + plates[i, PL_K2, k] * v2 * v2) / along2
    stream = stream_coefficient(vn, along, slope, plates[i, PL_CE, k]) * wet
    # rotation as felt a quarter chord behind the centre
    turn = -0.25 * (slope1 * v1 * l1 + slope2 * v2 * l2) * wet
    lift = slope * along / speed * turn
    force = stream + broadside * broad
    ahead = pressure_shift(vn, speed) / speed
    at1 = l1 * v1 * ahead
    at2 = l2 * v2 * ahead + plates[i, PL_WAKE, k] * min(WIDEST, max(-WIDEST, s))
    on = -plates[i, PL_ON, k]
    total = on * (force + lift)
    moment1 = on * (broadside * broad1 + force * at1)  # first moments of the normal force
    moment2 = on * (broadside * broad2 + force * at2)
    friction = -plates[i, PL_FRICTION, k] * math.sqrt(speed) * wet
    f1, f2 = friction * v1, friction * v2
    fx = total * nx + f1 * e1x + f2 * e2x
    fy = total * ny + f1 * e1y + f2 * e2y
    fz = total * nz + f1 * e1z + f2 * e2z
    # r x F n with r = x1 e1 + x2 e2 is -x1 F e2 + x2 F e1; the couple of the added mass,
    # v x (m vn n) = m vn (-v1 e2 + v2 e1), has the same shape. Out of the water nothing is taken
    # off: without the load that goes with it the couple would spin the plate up.
    munk = plates[i, PL_MUNK, k] * vn * wet
    c1 = moment2 + munk * v2
    c2 = -(moment1 + munk * v1)
    return (
        fx,
        fy,
        fz,
        yy * fz - z * fy + c1 * e1x + c2 * e2x,
        z * fx - x * fz + c1 * e1y + c2 * e2y,
        x * fy - yy * fx + c1 * e1z + c2 * e2z,
    )
