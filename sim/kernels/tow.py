"""Balance of a bait that is led along upright at a steady speed."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.layout import (
    EA, LENGTH, N_STATE, QW, QY, ROD_X, ROD_Y, ROD_Z, SP_VALUE, SURFACE, TIE_X, TIE_Y, TIE_Z, Q, U,
    W, X, Y, Z,
)  # fmt: skip
from sim.kernels.rhs import lane_derivative

BALANCED = 1e-6  # largest acceleration left in a balance [m/s^2, rad/s^2]
SETTLED = 1e-11  # below this there is nothing left to gain [m/s^2, rad/s^2]
ITERATIONS = 30  # from one guess; a balance takes some 5
HALVINGS = 8  # of one step
DIFFERENCE = 1e-7  # of the forward differences [rad], and of the tension as a share of it
LEAST_PULL = 1e-3  # that share is taken of no less than this [N]
STEEPEST = 0.5 * math.pi + 1e-6  # no bait is towed on its back [rad]


@kernel
def led_along(tension, down, pitch, model, scratch, k):
    """Rates of u, w and q of an upright bait that moves with the rod tip.

    Parameters
    ----------
    tension : float     of the line's spring [N]
    down : float        angle of the line below the horizontal [rad]
    pitch : float       nose up positive [rad]
    model : Model       the rod tip moves along x through water at rest
    scratch : Scratch   ``stage`` is set to the state, ``rate`` to its rates, and ``tension``
    k : int             lane

    Returns
    -------
    tuple of 3 floats    [m/s^2, m/s^2, rad/s^2]; zero in a balance
    """
    scalar, mass, plates, elements, strips, slices, volumes, hooks, speed = model
    wet, pull, y, rate, _ = scratch
    out = scalar[LENGTH, k] * (1.0 + tension / scalar[EA, k])
    c, s = math.cos(pitch), math.sin(pitch)
    tx, tz = scalar[TIE_X, k], scalar[TIE_Z, k]
    along = speed[SP_VALUE, 0, k]
    for i in range(N_STATE):
        y[i, k] = 0.0
    y[X, k] = scalar[ROD_X, k] - out * math.cos(down) - (c * tx + s * tz)
    y[Y, k] = scalar[ROD_Y, k] - scalar[TIE_Y, k]
    y[Z, k] = scalar[ROD_Z, k] + out * math.sin(down) - (c * tz - s * tx)
    y[QW, k], y[QY, k] = math.cos(0.5 * pitch), math.sin(0.5 * pitch)
    y[U, k], y[W, k] = along * c, along * s
    lane_derivative(
        0.0, y, scalar, mass, plates, elements, strips, slices, volumes, hooks, speed, wet, pull,
        rate, k,
    )  # fmt: skip
    return rate[U, k], rate[W, k], rate[Q, k]


@kernel
def solve_three(one, two, three, right):
    """Solve x one + y two + z three = right for three columns; not finite where that fails."""
    a1, b1, c1 = one
    a2, b2, c2 = two
    a3, b3, c3 = three
    a, b, c = right
    # Cramer's rule
    minor1, minor2, minor3 = b2 * c3 - b3 * c2, b3 * c1 - b1 * c3, b1 * c2 - b2 * c1
    whole = a1 * minor1 + a2 * minor2 + a3 * minor3
    return (
        (a * minor1 + a2 * (b3 * c - b * c3) + a3 * (b * c2 - b2 * c)) / whole,
        (a1 * (b * c3 - b3 * c) + a * minor2 + a3 * (b1 * c - b * c1)) / whole,
        (a1 * (b2 * c - b * c2) + a2 * (b * c1 - b1 * c) + a * minor3) / whole,
    )


@kernel
def settle(tension, down, pitch, model, scratch, k):
    """Damped Newton iteration on :func:`led_along`: its arguments as near to zero as it gets."""
    a, b, c = led_along(tension, down, pitch, model, scratch, k)
    left = a * a + b * b + c * c
    small = DIFFERENCE
    for _ in range(ITERATIONS):
        if not left > SETTLED * SETTLED:
            break
        part = DIFFERENCE * max(abs(tension), LEAST_PULL)
        a1, b1, c1 = led_along(tension + part, down, pitch, model, scratch, k)
        a2, b2, c2 = led_along(tension, down + small, pitch, model, scratch, k)
        a3, b3, c3 = led_along(tension, down, pitch + small, model, scratch, k)
        step = solve_three(
            ((a1 - a) / part, (b1 - b) / part, (c1 - c) / part),
            ((a2 - a) / small, (b2 - b) / small, (c2 - c) / small),
            ((a3 - a) / small, (b3 - b) / small, (c3 - c) / small),
            (-a, -b, -c),
        )
        if not abs(step[0]) + abs(step[1]) + abs(step[2]) < math.inf:
            break  # singular: no step leads on
        share, before = 1.0, left
        for _ in range(HALVINGS):
            t, d, p = tension + share * step[0], down + share * step[1], pitch + share * step[2]
            a1, b1, c1 = led_along(t, d, p, model, scratch, k)
            after = a1 * a1 + b1 * b1 + c1 * c1
            if after < before:
                tension, down, pitch = t, d, p
                a, b, c, left = a1, b1, c1, after
                break
            if before < BALANCED * BALANCED:
                break  # what is left is rounding
            share *= 0.5
        if not left < before:
            break
    return tension, down, pitch


@kernel
def upright_balance(model, scratch, guesses, k, out_found):
    """Balance of surge, heave and pitch of a bait led along upright.

    Parameters
    ----------
    model : Model
        The rod tip moves steadily along x through water at rest, wake off: ``sim.trim.tow_model``.
    scratch : Scratch                      all but ``total`` is changed in lane ``k``
    guesses : ndarray, shape (guesses, 3)  tension of the line [N], its angle below the horizontal
                                           and pitch [rad], tried in this order
    k : int                                lane
    out_found : ndarray, shape (4,)        tension, angle, pitch and depth [m] of the balance

    Returns
    -------
    int    the guess that led to it, -1 when none did; ``out_found`` is then left as it was

    Notes
    -----
    A balance has a taut line and no nose beyond the vertical, and does not hang in the air above a
    surface. Damped Newton iteration with forward differences (Dennis & Schnabel 1996, Numerical
    Methods for Unconstrained Optimization and Nonlinear Equations, ch. 6; from memory): the step
    is halved until less is left. Looks at lane ``k`` alone, and nothing is carried from call to
    call. Checked against SciPy in tests/unit/test_trim_modes.py. Never raises: what is not finite
    is no balance.
    """
    for n in range(guesses.shape[0]):
        tension, down, pitch = settle(
            guesses[n, 0], guesses[n, 1], guesses[n, 2], model, scratch, k
        )  # fmt: skip
        a, b, c = led_along(tension, down, pitch, model, scratch, k)
        balanced = abs(a) < BALANCED and abs(b) < BALANCED and abs(c) < BALANCED
        depth = scratch.stage[Z, k]
        in_air = model.scalar[SURFACE, k] > 0.5 and depth < 0.0
        if balanced and scratch.tension[k] > 0.0 and abs(pitch) <= STEEPEST and not in_air:
            out_found[0], out_found[1], out_found[2], out_found[3] = tension, down, pitch, depth
            return n
    return -1
