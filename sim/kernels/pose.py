"""Attitude and Kirchhoff's momentum equations."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.layout import QW, QX, QY, QZ, U


@kernel
def rotation(qw, qx, qy, qz):
    """Rotation matrix of a unit quaternion, row by row, bait frame to earth.

    R = R_nb (Hamilton, scalar first), so v_n = R v_b. Fossen (2011), Handbook of Marine Craft
    Hydrodynamics and Motion Control, eq. 2.72. Never raises.
    """
    return (
        1.0 - 2.0 * (qy * qy + qz * qz),
        2.0 * (qx * qy - qz * qw),
        2.0 * (qx * qz + qy * qw),
        2.0 * (qx * qy + qz * qw),
        1.0 - 2.0 * (qx * qx + qz * qz),
        2.0 * (qy * qz - qx * qw),
        2.0 * (qx * qz - qy * qw),
        2.0 * (qy * qz + qx * qw),
        1.0 - 2.0 * (qx * qx + qy * qy),
    )


@kernel
def kirchhoff(u, v, w, p, q, r, load, mass, k, dy):
    """Accelerations from the loads: Kirchhoff's equations about the centre of gravity.

    Parameters
    ----------
    u, v, w, p, q, r : float    velocity through the water and turning rates [m/s, rad/s]
    load : tuple of 6 floats    force [N] and moment [N m] about the centre of gravity
    mass : ndarray, shape (2, 6, 6, lanes)    rigid plus added mass, and its inverse
    k : int                     lane
    dy : ndarray, shape (15, lanes)    rows U to R are set

    Notes
    -----
    (P, H) = M nu; dP/dt = F - omega x P; dH/dt = N - omega x H - v x P (Lamb 1932, Hydrodynamics,
    Art. 124). The couple v x P holds the Munk moment. Checked in tests/verification/rigid_body.py.
    """
    px = (mass[0, 0, 0, k] * u + mass[0, 0, 1, k] * v + mass[0, 0, 2, k] * w
          + mass[0, 0, 3, k] * p + mass[0, 0, 4, k] * q + mass[0, 0, 5, k] * r)  # fmt: skip
    py = (mass[0, 1, 0, k] * u + mass[0, 1, 1, k] * v + mass[0, 1, 2, k] * w
          + mass[0, 1, 3, k] * p + mass[0, 1, 4, k] * q + mass[0, 1, 5, k] * r)  # fmt: skip
    pz = (mass[0, 2, 0, k] * u + mass[0, 2, 1, k] * v + mass[0, 2, 2, k] * w
          + mass[0, 2, 3, k] * p + mass[0, 2, 4, k] * q + mass[0, 2, 5, k] * r)  # fmt: skip
    hx = (mass[0, 3, 0, k] * u + mass[0, 3, 1, k] * v + mass[0, 3, 2, k] * w
          + mass[0, 3, 3, k] * p + mass[0, 3, 4, k] * q + mass[0, 3, 5, k] * r)  # fmt: skip
    hy = (mass[0, 4, 0, k] * u + mass[0, 4, 1, k] * v + mass[0, 4, 2, k] * w
          + mass[0, 4, 3, k] * p + mass[0, 4, 4, k] * q + mass[0, 4, 5, k] * r)  # fmt: skip
    hz = (mass[0, 5, 0, k] * u + mass[0, 5, 1, k] * v + mass[0, 5, 2, k] * w
          + mass[0, 5, 3, k] * p + mass[0, 5, 4, k] * q + mass[0, 5, 5, k] * r)  # fmt: skip
    fx, fy, fz, mx, my, mz = load
    a = fx - (q * pz - r * py)
    b = fy - (r * px - p * pz)
    c = fz - (p * py - q * px)
    d = mx - (q * hz - r * hy) - (v * pz - w * py)
    e = my - (r * hx - p * hz) - (w * px - u * pz)
    f = mz - (p * hy - q * hx) - (u * py - v * px)
    for i in range(6):
        dy[U + i, k] = (mass[1, i, 0, k] * a + mass[1, i, 1, k] * b
                        + mass[1, i, 2, k] * c + mass[1, i, 3, k] * d
                        + mass[1, i, 4, k] * e + mass[1, i, 5, k] * f)  # fmt: skip


@kernel
def renormalise(y, k):
    """Scale the quaternion rows of ``y``, shape (15, lanes), to unit length in lane ``k``."""
    qw, qx, qy, qz = y[QW, k], y[QX, k], y[QY, k], y[QZ, k]
    scale = 1.0 / math.sqrt(qw * qw + qx * qx + qy * qy + qz * qz)
    y[QW, k] = qw * scale
    y[QX, k] = qx * scale
    y[QY, k] = qy * scale
    y[QZ, k] = qz * scale
