"""What came of a run: whether the numerics worked, why it ended, and what the motion is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from sim.classify import classify, margins
from sim.config.models import Config, Limits
from sim.kernels import layout as lo
from sim.measure import Stationary
from sim.plan import reel_time

ROW_NAMES = (
    "position x", "position y", "position z", "attitude", "attitude", "attitude", "attitude",
    "surge u", "sway v", "heave w", "roll rate p", "pitch rate q", "yaw rate r", "wake s",
    "wake rate",
)  # fmt: skip


CREEP_MM_S, CREEP_SHARE = 5.0, 0.01  # depth that changes faster than both, a second, still changes


class Outcome(NamedTuple):
    """Three separate facts: ``status``, ``motion_class`` and why."""

    status: str
    message: str
    motion_class: str | None
    reason: str  # why this class, or why none
    margins: dict[str, float]


def settled(part: Stationary, turns: float, limits: Limits) -> bool:
    """A stationary motion; one that turns must have made its full turns in it.

    ``turns`` are the net turns about the track over the part.
    """
    return part.found and (not part.turning or abs(turns) >= limits.spin_turns)


def judge(
    config: Config,
    part: Stationary,
    is_settled: bool,
    measures: Mapping[str, float],
    window: tuple[float, float],
    end: float,
) -> Outcome:
    """Status and class of a run whose states are all sound.

    Parameters
    ----------
    config : Config
    part : Stationary             the part measured
    is_settled : bool             see :func:`settled`
    measures : mapping            over that part
    window : tuple of 2 floats    its first and last time [s]
    end : float                   time of the last record [s]
    """
    if config.line is None:
        return Outcome(
            "free",
            f"no line: {end:g} s of free motion, measured over the second half",
            None,
            "no class: classes are for a bait on a line",
            {},
        )
    if is_settled:
        motion_class, reason, distance = classify(measures, part.turning, config.limits)
        message = f"stationary from {window[0]:.2f} s to {window[1]:.2f} s"
        return Outcome("settled", message, motion_class, reason, distance)
    if reel_time(config) < config.solver.max_duration_s:
        status = "line in"
        message = (
            f"the line was in after {end:.2f} s, before the motion settled. Give a"
            " longer line or a lower speed."
        )
    else:
        status = "not settled"
        message = (
            f"not stationary after {end:g} s. Raise solver.max_duration_s or"
            " solver.settle_tolerance, or look at the motion: it may never settle."
        )
    reason = "no class: the motion did not settle"
    return Outcome(status, message, None, reason, margins(measures, config.limits))


def diverged(time: float, last: np.ndarray, step: float) -> Outcome:
    """Where a run blew up: the time and the fastest of its last sound rates.

    Parameters
    ----------
    time : float                          of the first state that is not sound [s]
    last : ndarray, shape (0 or 1, 15)    the last sound state, where there is one
    step : float                          [s]
    """
    fastest = ""
    if last.size:
        rates = np.abs(last[0, lo.P : lo.R + 1])
        if np.isfinite(rates).any() and rates.max() > 0.0:
            worst = lo.P + int(np.argmax(rates))
            fastest = f" (fastest: {ROW_NAMES[worst]}, last {last[0, worst]:.4g} rad/s)"
    message = (
        f"state not finite or turning too fast at t = {time:.3f} s{fastest};"
        f" stopped. Try solver.step_ms below {step * 1e3:.3g}, and look for a part without"
        " mass or size, or a tie point far from the bait."
    )
    return Outcome("diverged", message, None, "no class: the run diverged", {})


def creeps(measures: Mapping[str, float]) -> bool:
    """True when the depth of the part measured still changes."""
    depth, rate = measures.get("depth_m", 0.0), measures.get("depth_rate_mm_s", 0.0)
    return abs(rate) > max(CREEP_MM_S, CREEP_SHARE * 1e3 * abs(depth))
