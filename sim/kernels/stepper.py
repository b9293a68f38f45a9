"""Classical fixed-step Runge-Kutta, one bait or eight at a time, with records at even steps."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.lanes import ALL, choose, every_lane
from sim.kernels.layout import N_STATE, P, Q, QW, R, X
from sim.kernels.pose import renormalise
from sim.kernels.rhs import lane_derivative

FASTEST_TURN = 1.0e4  # a body rate beyond this [rad/s] is taken as a run that blew up


@kernel
def stage_state(share, step, y, rate, weight, total, stage, k):
    """Sum up ``weight`` times the rate and set the state of the next stage."""
    for i in range(N_STATE):
        total[i, k] += weight * rate[i, k]
        stage[i, k] = y[i, k] + share * step * rate[i, k]


@kernel
def step_lane(first, every, step, y, model, scratch, out_state, out_tension, out_good, k):
    """Step lane ``k`` (all eight with ``ALL``): :func:`integrate` for it alone."""
    sc, ma, pl, el, st, sl, vo, ho, sp = model
    wet, tension, stage, rate, total = scratch
    records = out_state.shape[0]
    out_good[k] = records
    good = out_good[k]
    for n in range(records):
        base = (first + n) * every
        for m in range(every):
            t = (base + m) * step
            half, end = t + 0.5 * step, t + step
            lane_derivative(t, y, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate, k)
            if m == 0:
                check = y[0, k]
                out_state[n, 0, k] = check
                for i in range(1, N_STATE):
                    out_state[n, i, k] = y[i, k]
                    check += y[i, k]
                out_tension[n, k] = tension[k]
                turn = abs(y[P, k]) + abs(y[Q, k]) + abs(y[R, k])
                fine = (abs(check) < math.inf) & (turn < FASTEST_TURN)
                good = choose(fine, good, min(good, n))
                out_good[k] = good
                if every_lane(good <= n):
                    return
            for i in range(N_STATE):
                total[i, k] = 0.0
            stage_state(0.5, step, y, rate, 1.0, total, stage, k)
            lane_derivative(half, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate, k)
            stage_state(0.5, step, y, rate, 2.0, total, stage, k)
            lane_derivative(half, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate, k)
            stage_state(1.0, step, y, rate, 2.0, total, stage, k)
            lane_derivative(end, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate, k)
            for i in range(N_STATE):
                y[i, k] += step / 6.0 * (total[i, k] + rate[i, k])
            renormalise(y, k)


@kernel
def integrate(first, every, step, y, model, scratch, out_state, out_tension, out_good):
    """Step every lane by classical Runge-Kutta, recording the state every ``every`` steps.

    Parameters
    ----------
    first : int      number of the first record; its time is ``first * every * step``
    every : int      steps between records
    step : float     [s]
    y : ndarray, shape (15, lanes)    state, advanced in place to the record after the last
    model, scratch : Model, Scratch
    out_state : ndarray, shape (records, 15, lanes)
    out_tension : ndarray, shape (records, lanes)    [N]
    out_good : ndarray, shape (lanes,)
        Records before the first state that is not finite or turns faster than FASTEST_TURN.

    Notes
    -----
    Times are products, not sums, so that a run made in pieces has the bits of one made at once.
    """
    for k in range(y.shape[1]):
        step_lane(first, every, step, y, model, scratch, out_state, out_tension, out_good, k)


@kernel
def integrate_eight(first, every, step, y, model, scratch, out_state, out_tension, out_good):
    """:func:`integrate` for arrays of eight lanes, all at once and with the same bits."""
    step_lane(first, every, step, y, model, scratch, out_state, out_tension, out_good, ALL)


@kernel
def tension_of_eight(t, y, model, scratch):
    """Line tension [N] in eight lanes at state ``y``, shape (15, 8); a copy, shape (8,)."""
    sc, ma, pl, el, st, sl, vo, ho, sp = model
    wet, tension, _, rate, _ = scratch
    lane_derivative(t, y, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate, ALL)
    return tension.copy()


@kernel
def split_lane(states, tensions, k, records, out_position, out_attitude, out_tension):
    """Take the first ``records`` of one lane out of the records of eight.

    Parameters
    ----------
    states : ndarray, shape (n, 15, 8)
    tensions : ndarray, shape (n, 8)    [N]
    k, records : int                    lane, and how many
    out_position : ndarray, shape (>= records, 3)    [m]
    out_attitude : ndarray, shape (>= records, 4)    quaternion
    out_tension : ndarray, shape (>= records,)       [N]
    """
    for n in range(records):
        for i in range(3):
            out_position[n, i] = states[n, X + i, k]
        for i in range(4):
            out_attitude[n, i] = states[n, QW + i, k]
        out_tension[n] = tensions[n, k]
