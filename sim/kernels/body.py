"""Loads on the body and its hangers: weight, buoyancy, crossflow, side force, axial drag, hooks."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.lanes import choose, every_lane
from sim.kernels.layout import (
    AXIAL, BODY_PZ, BUOY, CB_X, CB_Y, CB_Z, HK_DRAG, HK_X, HK_Y, HK_Z, RADIUS, ST_HALF, ST_HEAVE,
    ST_SHARE, ST_SWAY, ST_X, ST_Z, TAIL_AFT_Y, TAIL_AFT_Z, TAIL_PX, TAIL_PZ,
    TAIL_SPREAD_Y, TAIL_SPREAD_Z, TAIL_Y, TAIL_Z, VO_AX, VO_AY, VO_AZ,
    VO_BUOY, VO_X, VO_Y, VO_Z, WEIGHT,
)  # fmt: skip


@kernel
def immersed_share(depth, reach):
    """Share of an ellipse below the surface, and the first moment of that share.

    Parameters
    ----------
    depth : float    depth of its centre [m]
    reach : float    half of the depth it spans, > 0 [m]

    Returns
    -------
    share, moment : float
        Immersed area over area (0 to 1), and immersed area times the offset of its centroid
        downward, over area and ``reach``.

    Notes
    -----
    An ellipse is a stretched circle: the segment formulas of the circle hold in the stretched
    frame, so heel and trim need no further term. Exact for elliptic sections.
    """
    t = min(1.0, max(-1.0, depth / reach))
    rest = 1.0 - t * t
    root = math.sqrt(rest)
    share = 0.5 + (t * root + math.asin(t)) / math.pi
    return share, 2.0 / (3.0 * math.pi) * rest * root


@kernel
def weight_and_buoyancy(g1, g2, g3, depth, scalar, volumes, k, wet):
    """Weight and buoyancy; the wet share of every displaced volume when near the surface.

    Parameters
    ----------
    g1, g2, g3 : float    downward unit vector in the bait frame
    depth : float         of the centre of gravity [m]; large without a surface
    scalar, volumes : ndarray          see ``layout``
    k : int                            lane
    wet : ndarray, shape (volumes, lanes)    set only when not deep

    Returns
    -------
    tuple of 6 floats    force [N] and moment [N m] about the centre of gravity
    bool                 True when everything is submerged and all shares are 1
    """
    weight = scalar[WEIGHT, k]
    deep = depth > scalar[RADIUS, k]
    buoy = scalar[BUOY, k]
    lift = weight - buoy
    bx, by, bz = scalar[CB_X, k] * buoy, scalar[CB_Y, k] * buoy, scalar[CB_Z, k] * buoy
    if not every_lane(deep):
        left = weight
        sx = sy = sz = 0.0
        for i in range(volumes.shape[0]):
            ax, ay, az = volumes[i, VO_AX, k], volumes[i, VO_AY, k], volumes[i, VO_AZ, k]
            x, yy, z = volumes[i, VO_X, k], volumes[i, VO_Y, k], volumes[i, VO_Z, k]
            ex, ey, ez = ax * ax * g1, ay * ay * g2, az * az * g3
            reach = math.sqrt(ex * g1 + ey * g2 + ez * g3) + 1e-9
            share, moment = immersed_share(depth + g1 * x + g2 * yy + g3 * z, reach)
            wet[i, k] = choose(deep, 1.0, share)
            buoy = volumes[i, VO_BUOY, k]
            left -= buoy * share
            along = moment / reach
            sx += buoy * (share * x + along * ex)
            sy += buoy * (share * yy + along * ey)
            sz += buoy * (share * z + along * ez)
        lift = choose(deep, lift, left)
        bx, by, bz = choose(deep, bx, sx), choose(deep, by, sy), choose(deep, bz, sz)
    load = (
        lift * g1, lift * g2, lift * g3, bz * g2 - by * g3, bx * g3 - bz * g1, by * g1 - bx * g2
    )  # fmt: skip
    return load, deep


@kernel
def body_load(u, v, w, p, q, r, deep, wet, scalar, strips, slices, k):
    """Crossflow drag, linear side force and lift, axial drag of the body in lane ``k``.

    Parameters
    ----------
    u, v, w, p, q, r : float    velocity through the water and turning rates [m/s, rad/s]
    deep : bool                 all shares of ``wet`` are 1
    wet : ndarray, shape (volumes, lanes)      the body's strips come first
    scalar : ndarray, shape (N_SCALAR, lanes)
    strips : ndarray, shape (strips, N_STRIP, lanes)
    slices : ndarray, shape (slices, 2)        place (-1 to 1 of the half height) and weight
    k : int

    Returns
    -------
    tuple of 6 floats    force [N] and moment [N m] about the centre of gravity

    Notes
    -----
    Crossflow per slice: -0.5 rho C_d dA |V_c| v_c with V_c the velocity across the axis
    (independence principle; Hoerner 1965, Fluid-Dynamic Drag, ch. 3); slices through the height
    damp a rolling slab. Side force: -k rho pi a^2 |u| v, a the greatest half height (the greatest
    half width for lift), from the velocity at each place that it acts on: since that runs straight
    along the body, centre and spread of those places are enough. Sources: ``sim.bait.side_force``.
    """
    fy = fz = mx = my = mz = 0.0
    wet_length = 0.0
    for i in range(strips.shape[0]):
        share = choose(deep, 1.0, wet[i, k])
        wet_length += share * strips[i, ST_SHARE, k]
        x, z, half = strips[i, ST_X, k], strips[i, ST_Z, k], strips[i, ST_HALF, k]
        v0 = v + r * x - p * z
        wx = w - q * x
        side = turn = speed = 0.0
        for j in range(slices.shape[0]):
            vs = v0 - p * half * slices[j, 0]
            across = slices[j, 1] * math.sqrt(vs * vs + wx * wx)
            side += across * vs
            turn += across * vs * slices[j, 0]
            speed += across
        sway = strips[i, ST_SWAY, k] * share
        y_strip = -sway * side
        z_strip = -strips[i, ST_HEAVE, k] * share * speed * wx
        fy += y_strip
        fz += z_strip
        mx += sway * half * turn - z * y_strip
        my -= x * z_strip
        mz += x * y_strip
    share = wet_length if strips.shape[0] > 0 else 1.0 + 0.0 * u
    share = choose(deep, 1.0, share)

    # downstream of mid-length: the flow leaves the body before its trailing end, whichever that is
    downstream = choose(u >= 0.0, 1.0, -1.0)
    z = scalar[TAIL_PZ, k]
    xy = scalar[TAIL_PX, k] - downstream * scalar[TAIL_AFT_Y, k]
    xz = scalar[TAIL_PX, k] - downstream * scalar[TAIL_AFT_Z, k]
    forward = abs(u) * share
    slope_y, slope_z = scalar[TAIL_Y, k] * forward, scalar[TAIL_Z, k] * forward
    y_tail = -slope_y * (v + r * xy - p * z)
    z_tail = -slope_z * (w - q * xz)
    axial = u + q * scalar[BODY_PZ, k]
    fx = -scalar[AXIAL, k] * share * abs(axial) * axial
    return (
        fx,
        fy + y_tail,
        fz + z_tail,
        mx - z * y_tail,
        my + scalar[BODY_PZ, k] * fx - xz * z_tail - slope_z * scalar[TAIL_SPREAD_Z, k] * q,
        mz + xy * y_tail - slope_y * scalar[TAIL_SPREAD_Y, k] * r,
    )


@kernel
def hook_load(u, v, w, p, q, r, g1, g2, g3, depth, hooks, i, k):
    """Drag of hook ``i``, -0.5 rho C_d A |V| V at its centre; hooks (n, 4, lanes)."""
    x, yy, z = hooks[i, HK_X, k], hooks[i, HK_Y, k], hooks[i, HK_Z, k]
    vx = u + q * z - r * yy
    vy = v + r * x - p * z
    vz = w + p * yy - q * x
    speed = math.sqrt(vx * vx + vy * vy + vz * vz)
    under = depth + g1 * x + g2 * yy + g3 * z > 0.0
    load = choose(under, -hooks[i, HK_DRAG, k] * speed, 0.0)
    return (
        load * vx,
        load * vy,
        load * vz,
        load * (yy * vz - z * vy),
        load * (z * vx - x * vz),
        load * (x * vy - yy * vx),
    )
