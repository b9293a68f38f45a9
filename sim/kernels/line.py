"""The chord line: a spring and damper between rod tip and tie point, with half of its own drag."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.lanes import choose
from sim.kernels.layout import (
    CUR_X, CUR_Y, CUR_Z, EA, HEAD_X, HEAD_Y, LENGTH, LINE_CN, LINE_CT, LINE_DAMP, LINE_ON,
    LINE_NODE, LINE_WAVE, P, Q, R, REEL, ROD_X, ROD_Y, ROD_Z, SP_PATH, SP_TIME, SP_VALUE, SURFACE,
    TIE_X, TIE_Y, TIE_Z, U, V, W, X, Y, Z,
)  # fmt: skip

SLOWEST = 1.0  # least angular frequency that the line's end is taken to swing at [rad/s]
SHORTEST = 0.05  # a line is never reeled shorter than this [m]


@kernel
def retrieve_speed(t, lane, knots):
    """Speed [m/s] and path [m] at time ``t`` of a speed that runs straight between its knots.

    Parameters
    ----------
    t : float    time [s]
    lane : int
    knots : ndarray, shape (3, knots, lanes)
        Times, speeds and the integral of the speed; past the last knot the speed stays.
    """
    last = knots.shape[1] - 1
    start = knots[SP_TIME, 0, lane]
    from_speed, from_path = knots[SP_VALUE, 0, lane], knots[SP_PATH, 0, lane]
    slope = 0.0 * start
    for i in range(last + 1):
        time, value = knots[SP_TIME, i, lane], knots[SP_VALUE, i, lane]
        reached = t >= time
        start = choose(reached, time, start)
        from_speed = choose(reached, value, from_speed)
        from_path = choose(reached, knots[SP_PATH, i, lane], from_path)
        if i < last:
            rise = (knots[SP_VALUE, i + 1, lane] - value) / (knots[SP_TIME, i + 1, lane] - time)
            slope = choose(reached, rise, slope)
        else:
            slope = choose(reached, 0.0, slope)
    since = t - start
    path = from_path + (from_speed + 0.5 * slope * since) * since
    return from_speed + slope * since, path


@kernel
def chord_line(t, y, rot, scalar, knots, k):
    """Pull and drag of the line at the tie point in lane ``k``.

    Parameters
    ----------
    t : float                              time [s]
    y : ndarray, shape (15, lanes)         state
    rot : tuple of 9 floats                rotation, bait frame to earth, row by row
    scalar : ndarray, shape (N_SCALAR, lanes)
    knots : ndarray, shape (3, knots, lanes)    retrieve speed
    k : int

    Returns
    -------
    tuple of 6 floats    force [N] and moment [N m] about the centre of gravity, bait frame
    float                tension of the spring [N]

    Notes
    -----
    Tension EA/L (l - L) plus damping, never below zero. Half of the line's normal and tangential
    drag (a smooth cylinder: White, Fluid Mechanics) is carried by the tie point, the other half by
    the rod; it goes with the bait on the whole, that is with the point of the bait that a tug at
    the tie point leaves at rest (its centre of percussion). What the tie point swings to and fro
    beyond that takes only the near end of the line along: a taut string in a viscous fluid, whose
    end resists with sqrt(T c / 2 omega) times its velocity (T y'' = c dy/dt; c the drag per length
    and velocity), never more than half of the line would.
    Weight, sag and inertia of the line are left out. Checked in tests/verification/line_water.py.
    """
    r11, r12, r13, r21, r22, r23, r31, r32, r33 = rot
    tx, ty, tz = scalar[TIE_X, k], scalar[TIE_Y, k], scalar[TIE_Z, k]
    p, q, r = y[P, k], y[Q, k], y[R, k]
    vbx = y[U, k] + q * tz - r * ty
    vby = y[V, k] + r * tx - p * tz
    vbz = y[W, k] + p * ty - q * tx
    px = y[X, k] + r11 * tx + r12 * ty + r13 * tz
    py = y[Y, k] + r21 * tx + r22 * ty + r23 * tz
    pz = y[Z, k] + r31 * tx + r32 * ty + r33 * tz
    vx = r11 * vbx + r12 * vby + r13 * vbz
    vy = r21 * vbx + r22 * vby + r23 * vbz
    vz = r31 * vbx + r32 * vby + r33 * vbz

    speed, path = retrieve_speed(t, k, knots)
    reel = scalar[REEL, k]
    tow, tow_speed = (1.0 - reel) * path, (1.0 - reel) * speed
    hx, hy = scalar[HEAD_X, k], scalar[HEAD_Y, k]
    dx = scalar[ROD_X, k] + hx * tow - px
    dy = scalar[ROD_Y, k] + hy * tow - py
    dz = scalar[ROD_Z, k] - pz
    span = math.sqrt(dx * dx + dy * dy + dz * dz) + 1e-12
    ex, ey, ez = dx / span, dy / span, dz / span
    out = scalar[LENGTH, k] - reel * path
    shorten = choose(out < SHORTEST, 0.0, reel * speed)
    out = max(out, SHORTEST)
    stretch = span - out
    rate = (hx * tow_speed - vx) * ex + (hy * tow_speed - vy) * ey - vz * ez + shorten
    stiffness = scalar[EA, k] / out
    spring = stiffness * stretch + scalar[LINE_DAMP, k] * math.sqrt(stiffness) * rate
    tension = choose(stretch > 0.0, max(0.0, spring), 0.0) * scalar[LINE_ON, k]

    # velocities through the water: of the line's end on the whole, taken where a tug at the tie
    # point leaves the bait at rest, and of the tie point beyond that
    node = scalar[LINE_NODE, k]
    wx, wy, wz = q * tz - r * ty, r * (tx - node) - p * tz, p * ty - q * (tx - node)
    gx = r11 * wx + r12 * wy + r13 * wz
    gy = r21 * wx + r22 * wy + r23 * wz
    gz = r31 * wx + r32 * wy + r33 * wz
    mx, my, mz = vx - scalar[CUR_X, k] - gx, vy - scalar[CUR_Y, k] - gy, vz - scalar[CUR_Z, k] - gz
    along = mx * ex + my * ey + mz * ez
    nx, ny, nz = mx - along * ex, my - along * ey, mz - along * ez
    beyond = gx * ex + gy * ey + gz * ez
    wx, wy, wz = gx - beyond * ex, gy - beyond * ey, gz - beyond * ez
    top, bottom = min(pz, scalar[ROD_Z, k]), max(pz, scalar[ROD_Z, k])
    wet = choose(bottom <= 0.0, 0.0, choose(top < 0.0, bottom / (bottom - top), 1.0))
    wet = choose(scalar[SURFACE, k] > 0.5, wet, 1.0)
    length = out * wet * scalar[LINE_ON, k]
    normal = -scalar[LINE_CN, k] * length * math.sqrt(nx * nx + ny * ny + nz * nz)
    qx, qy, qz = nx + wx, ny + wy, nz + wz
    across = math.sqrt(qx * qx + qy * qy + qz * qz)
    fast = scalar[LINE_WAVE, k] * math.sqrt(mx * mx + my * my + mz * mz) + SLOWEST
    follows = math.sqrt(tension * scalar[LINE_CN, k] * across / fast)
    damping = -min(follows, scalar[LINE_CN, k] * length * across)
    pull = tension - scalar[LINE_CT, k] * length * abs(along) * along
    ax = pull * ex + normal * nx + damping * wx
    ay = pull * ey + normal * ny + damping * wy
    az = pull * ez + normal * nz + damping * wz
    fx = r11 * ax + r21 * ay + r31 * az
    fy = r12 * ax + r22 * ay + r32 * az
    fz = r13 * ax + r23 * ay + r33 * az
    load = (fx, fy, fz, ty * fz - tz * fy, tz * fx - tx * fz, tx * fy - ty * fx)
    return load, tension
