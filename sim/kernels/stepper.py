"""Classical fixed-step Runge-Kutta over the lanes, with records at even steps."""

from __future__ import annotations

import math

from sim.kernels import kernel
from sim.kernels.layout import N_STATE, P, Q, R
from sim.kernels.pose import renormalise
from sim.kernels.rhs import derivative_of_arrays

FASTEST_TURN = 1.0e4  # a body rate beyond this [rad/s] is taken as a run that blew up


@kernel
def stage_state(share, step, y, rate, weight, total, stage):
    """Sum up ``weight`` times the rate and set the state of the next stage."""
    for i in range(N_STATE):
        for k in range(y.shape[1]):
            total[i, k] += weight * rate[i, k]
            stage[i, k] = y[i, k] + share * step * rate[i, k]


@kernel
def integrate(first, every, step, y, model, scratch, out_state, out_tension, out_good):
    """Step all lanes by classical Runge-Kutta, recording the state every ``every`` steps.

    Parameters
    ----------
    first : int      number of the first record; its time is ``first * every * step``
    every : int      steps between records
    step : float     [s]
    y : ndarray, shape (15, lanes)    state, advanced in place to the record after the last
    model, scratch : Model, Scratch
    out_state : ndarray, shape (records, 15, lanes)
    out_tension : ndarray, shape (records, lanes)    [N]
    out_good : ndarray of int64, shape (lanes,)
        Records before the first state that is not finite or turns faster than FASTEST_TURN.

    Notes
    -----
    Times are products, not sums, so that a run made in pieces has the bits of one made at once.
    """
    sc, ma, pl, el, st, sl, vo, ho, sp = model
    wet, tension, stage, rate, total = scratch
    records, lanes = out_state.shape[0], y.shape[1]
    for k in range(lanes):
        out_good[k] = records
    for n in range(records):
        base = (first + n) * every
        for m in range(every):
            t = (base + m) * step
            half, end = t + 0.5 * step, t + step
            derivative_of_arrays(t, y, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate)
            if m == 0:
                alive = False
                for k in range(lanes):
                    check = 0.0
                    for i in range(N_STATE):
                        out_state[n, i, k] = y[i, k]
                        check += y[i, k]
                    out_tension[n, k] = tension[k]
                    turn = abs(y[P, k]) + abs(y[Q, k]) + abs(y[R, k])
                    if not (math.isfinite(check) and turn < FASTEST_TURN):
                        out_good[k] = min(out_good[k], n)
                    if out_good[k] == records:
                        alive = True
                if not alive:
                    return
            for i in range(N_STATE):
                for k in range(lanes):
                    total[i, k] = 0.0
            stage_state(0.5, step, y, rate, 1.0, total, stage)
            derivative_of_arrays(
                half, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate
            )
            stage_state(0.5, step, y, rate, 2.0, total, stage)
            derivative_of_arrays(
                half, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate
            )
            stage_state(1.0, step, y, rate, 2.0, total, stage)
            derivative_of_arrays(end, stage, sc, ma, pl, el, st, sl, vo, ho, sp, wet, tension, rate)
            for i in range(N_STATE):
                for k in range(lanes):
                    y[i, k] += step / 6.0 * (total[i, k] + rate[i, k])
            renormalise(y)
