"""The bath-tub answers: how the bait rests, and how fast it rises or sinks when let go."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from sim.bait.assembly import Assembly
from sim.bait.frame import MM
from sim.config import with_overrides
from sim.config.models import Config
from sim.kernels import layout as lo
from sim.kernels.body import weight_and_buoyancy
from sim.model import build_model
from sim.run import simulate

STANDARD_GRAVITY = 9.80665  # [m/s^2]
SUSPENDS = 0.005  # reserve buoyancy over mass within which a bait counts as suspending
TRACE = 1e-4  # heel at the start, so that an upright balance that is unstable is left
RELAX_S = 200.0  # made-up time over which the attitude creeps to rest
FREE_RUN_S = 6.0
CALM = 0.05  # relative change of the mean speed between quarters that counts as steady


@dataclass(frozen=True)
class Rest:
    """How the bait rests in still water.

    Attributes
    ----------
    kind : str                 "floats", "suspends" or "sinks"
    reserve_buoyancy : float   mass it could still carry [kg]
    pitch_deg : float          nose up positive; for a bait that does not float as it hangs in the
                               water, centre of buoyancy above centre of gravity
    heel_deg : float           starboard side down positive
    depth_m : float            of the centre of gravity below the surface; NaN unless it floats
    waterline_nose_mm, waterline_tail_mm : float or None
        Height of the waterline above the centreline at the nose tip and at the tail.
    """

    kind: str
    reserve_buoyancy: float
    pitch_deg: float
    heel_deg: float
    depth_m: float
    waterline_nose_mm: float | None
    waterline_tail_mm: float | None


@dataclass(frozen=True)
class Terminal:
    """Speed of a bait let go in deep water; positive sinks, negative rises."""

    speed_m_s: float
    pitch_deg: float
    settled: bool
    note: str


def _angles(down: np.ndarray) -> tuple[float, float]:
    """Pitch (nose up) and heel [deg] from the downward unit vector in the bait frame."""
    return (
        -math.degrees(math.asin(min(1.0, max(-1.0, float(down[0]))))),
        math.degrees(math.atan2(float(down[1]), float(down[2]))),
    )


def _on_earth(config: Config) -> dict[str, object]:
    """Overrides that switch weight, buoyancy and gravity on: a bath tub has them."""
    gravity = config.water.gravity_m_s2 or STANDARD_GRAVITY
    return {
        "loads.weight": True,
        "loads.buoyancy": True,
        "water.gravity_m_s2": gravity,
    }


def rest(config: Config, bait: Assembly) -> Rest:
    """Find how the bait rests, from level and a trace of heel.

    Parameters
    ----------
    config : Config
    bait : Assembly    ``assemble(config)``

    Notes
    -----
    A floating bait creeps toward the balance of weight and buoyancy along its own moments, with
    the same immersion of elliptic slabs that the time-domain run uses; creeping finds a stable
    attitude, never a balanced unstable one.
    """
    reserve = bait.reserve_buoyancy
    if reserve <= SUSPENDS * bait.mass:
        kind = "suspends" if reserve >= -SUSPENDS * bait.mass else "sinks"
        arm = bait.r_b_cb
        height = float(np.linalg.norm(arm))
        down = -arm / height if height > 1e-9 else np.array([0.0, 0.0, 1.0])
        pitch, heel = _angles(down)
        return Rest(kind, reserve, pitch, heel, math.nan, None, None)

    level = with_overrides(config, {**_on_earth(config), "water.surface": True})
    model = build_model(level, bait, np.zeros(3))
    wet = np.ones((model.volumes.shape[0], 1))
    weight = float(model.scalar[lo.WEIGHT, 0])
    size = float(model.scalar[lo.RADIUS, 0])

    def creep(_: float, state: np.ndarray) -> np.ndarray:
        down = state[1:] / np.linalg.norm(state[1:])
        load, _deep = weight_and_buoyancy(
            down[0], down[1], down[2], state[0], model.scalar, model.volumes, 0, wet
        )
        force, moment = np.array(load[:3]), np.array(load[3:])
        turn = moment / (weight * size) * 20.0
        return np.concatenate([[size * float(force @ down) / weight * 5.0], -np.cross(turn, down)])

    first = np.array([0.0, 0.0, TRACE, 1.0])
    path = solve_ivp(creep, (0.0, RELAX_S), first, method="LSODA", rtol=1e-8, atol=1e-10)
    depth, down = float(path.y[0, -1]), path.y[1:, -1] / np.linalg.norm(path.y[1:, -1])
    pitch, heel = _angles(down)
    waterline: list[float | None] = [None, None]
    if bait.body is not None and down[2] > 0.1:
        for i, x in enumerate((0.0, -bait.body.length)):
            point = np.array([x, 0.0, 0.0]) - bait.centre_of_gravity
            waterline[i] = (depth + float(down @ point)) / float(down[2]) / MM
    return Rest("floats", reserve, pitch, heel, depth, waterline[0], waterline[1])


def terminal_speed(config: Config) -> Terminal:
    """Let the bait go in deep water, no line, and follow it until it rises or sinks steadily.

    Notes
    -----
    The same equations as any other run; the mean vertical speed of the last quarter is given, so
    a bait that flutters has its mean speed.
    """
    free = with_overrides(
        config,
        {
            **_on_earth(config),
            "line": None,
            "water.surface": False,
            "water.current_m_s": 0.0,
            "solver.method": "rk4",
            "solver.duration_s": FREE_RUN_S,
            "solver.max_duration_s": FREE_RUN_S,
            "start.velocity_m_s": [0.0, 0.0, 0.0],
            "start.rates_deg_s": [0.0, 0.0, 0.0],
            "start.yaw_deg": 0.0,
            "start.roll_deg": 0.0,
            "start.pitch_deg": 0.0,
        },
    )
    run = simulate(free)
    if run.status == "diverged":
        return Terminal(math.nan, math.nan, False, run.message)
    n = run.time.size
    quarters = [run.position[n // 2 : 3 * n // 4, 2], run.position[3 * n // 4 :, 2]]
    speeds = [float(np.ptp(q[[0, -1]]) * np.sign(q[-1] - q[0])) / (q.size - 1) for q in quarters]
    step = float(run.time[1] - run.time[0])
    before, after = speeds[0] / step, speeds[1] / step
    settled = abs(after - before) <= CALM * abs(after) + 1e-4
    note = "" if settled else f"still changing after {FREE_RUN_S:g} s"
    return Terminal(after, run.measures["pitch_deg"], settled, note)
