"""The right-hand side: every load, Kirchhoff's equations, the wake. One code for all solvers."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sim.kernels import kernel
from sim.kernels.body import body_load, hook_load, weight_and_buoyancy
from sim.kernels.layout import (
    CUR_X, CUR_Y, CUR_Z, N_STATE, QW, QX, QY, QZ, S, SDOT, SURFACE, P, Q, R, U, V, W, X, Y, Z,
    Model,
)  # fmt: skip
from sim.kernels.line import chord_line
from sim.kernels.plate import plate_load
from sim.kernels.pose import kirchhoff, rotation
from sim.kernels.wake import wake_oscillator

NO_SURFACE = 1.0e9  # added to the depth where the water has no surface [m]


class Scratch(NamedTuple):
    """Room for the right-hand side and the stepper, made once a run."""

    wet: np.ndarray  # (volumes, lanes), wet share of each displaced volume
    tension: np.ndarray  # (lanes,), line tension at the last state asked for [N]
    stage: np.ndarray  # (N_STATE, lanes)
    rate: np.ndarray  # (N_STATE, lanes)
    total: np.ndarray  # (N_STATE, lanes)


def make_scratch(model: Model) -> Scratch:
    """Allocate the scratch arrays that fit ``model``."""
    lanes = model.scalar.shape[1]
    return Scratch(
        wet=np.ones((model.volumes.shape[0], lanes)),
        tension=np.zeros(lanes),
        stage=np.zeros((N_STATE, lanes)),
        rate=np.zeros((N_STATE, lanes)),
        total=np.zeros((N_STATE, lanes)),
    )


@kernel
def add(a, b):
    """Sum of two loads."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2], a[3] + b[3], a[4] + b[4], a[5] + b[5])


@kernel
def lane_derivative(
    t, y, scalar, mass, plates, elements, strips, slices, volumes, hooks, speed, wet, tension, dy, k
):  # fmt: skip
    """Time derivative of the state in lane ``k``: :func:`derivative` with its arrays laid out.

    The fields of ``Model`` and ``Scratch`` one by one, because taking an array out of a tuple in
    the time loop costs two atomic counts each time.

    Notes
    -----
    The water moves uniformly, so a frame that moves with it is inertial: the momentum equations
    take the velocity through the water; the stored velocity is over ground, which adds
    omega x v_c to its rate. Never raises: a state that is not finite gives rates that are not
    finite, and the stepper finds them.
    """
    qw, qx, qy, qz = y[QW, k], y[QX, k], y[QY, k], y[QZ, k]
    rot = rotation(qw, qx, qy, qz)
    r11, r12, r13, r21, r22, r23, g1, g2, g3 = rot
    ug, vg, wg = y[U, k], y[V, k], y[W, k]
    p, q, r = y[P, k], y[Q, k], y[R, k]
    cx, cy, cz = scalar[CUR_X, k], scalar[CUR_Y, k], scalar[CUR_Z, k]
    cu = r11 * cx + r21 * cy + g1 * cz
    cv = r12 * cx + r22 * cy + g2 * cz
    cw = r13 * cx + r23 * cy + g3 * cz
    u, v, w = ug - cu, vg - cv, wg - cw
    depth = y[Z, k] + (1.0 - scalar[SURFACE, k]) * NO_SURFACE

    load, deep = weight_and_buoyancy(g1, g2, g3, depth, scalar, volumes, k, wet)
    load = add(load, body_load(u, v, w, p, q, r, deep, wet, scalar, strips, slices, k))
    for i in range(plates.shape[0]):
        load = add(
            load,
            plate_load(u, v, w, p, q, r, g1, g2, g3, depth, y[S, k], plates, elements, i, k),
        )
    for i in range(hooks.shape[0]):
        load = add(load, hook_load(u, v, w, p, q, r, g1, g2, g3, depth, hooks, i, k))
    pull, pulled = chord_line(t, y, rot, scalar, speed, k)
    tension[k] = pulled
    kirchhoff(u, v, w, p, q, r, add(load, pull), mass, k, dy)
    wake_oscillator(u, v, w, p, q, r, y[S, k], y[SDOT, k], scalar, k, dy)
    dy[U, k] -= q * cw - r * cv
    dy[V, k] -= r * cu - p * cw
    dy[W, k] -= p * cv - q * cu
    dy[X, k] = r11 * ug + r12 * vg + r13 * wg
    dy[Y, k] = r21 * ug + r22 * vg + r23 * wg
    dy[Z, k] = g1 * ug + g2 * vg + g3 * wg
    dy[QW, k] = -0.5 * (qx * p + qy * q + qz * r)
    dy[QX, k] = 0.5 * (qw * p + qy * r - qz * q)
    dy[QY, k] = 0.5 * (qw * q + qz * p - qx * r)
    dy[QZ, k] = 0.5 * (qw * r + qx * q - qy * p)


@kernel
def derivative(t, y, model, scratch, dy):
    """Time derivative of the state.

    Parameters
    ----------
    t : float                        time [s]
    y : ndarray, shape (15, lanes)   state, rows as in ``layout``
    model : Model
    scratch : Scratch                ``wet`` and ``tension`` are set
    dy : ndarray, shape (15, lanes)  set
    """
    for k in range(y.shape[1]):
        lane_derivative(
            t, y, model.scalar, model.mass, model.plates, model.elements, model.strips,
            model.slices, model.volumes, model.hooks, model.speed, scratch.wet, scratch.tension,
            dy, k,
        )  # fmt: skip
