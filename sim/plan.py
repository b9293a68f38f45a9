"""What a retrieve needs before its first step: bait, kernel arrays, start, step, longest time."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sim.bait.assembly import Assembly, assemble
from sim.bait.frame import heading
from sim.config.models import Config, Line
from sim.errors import ConfigError
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.line import SHORTEST
from sim.model import build_model
from sim.start import start_state

LINE_LEFT_M = 1.0  # a reeled line is followed down to this length, or to this many rod heights:
ROD_HEIGHTS_LEFT = 3.0  # on a shorter one the bait is lifted out of the water
# Largest line frequency, and largest line decay rate, times step: classical Runge-Kutta is
# stable to 2.8 on either axis.
STEP_ANGLE, STEP_DECAY = 1.5, 2.0
MOST_STEPS = 2000  # between two records


class Plan(NamedTuple):
    """A retrieve that is ready to be stepped."""

    config: Config
    bait: Assembly
    model: Model
    start: np.ndarray  # (15,) state
    rod: np.ndarray  # (3,) rod tip at the start [m]
    step: float  # [s]
    every: int  # steps between two records
    longest: float  # time that the run may take [s]
    warnings: tuple[str, ...]

    @property
    def record_step(self) -> float:
        """Time between two records [s]."""
        return self.step * self.every

    def rod_path(self, time: np.ndarray) -> np.ndarray:
        """Rod tip at the times (n,) [s], shape (n, 3) [m]; NaN without a line."""
        if self.config.line is None:
            return np.full((time.size, 3), math.nan)
        if self.config.retrieve.mode == "reel":
            return np.tile(self.rod, (time.size, 1))
        knots = self.model.speed[:, :, 0]
        if knots.shape[1] == 1:
            path = knots[lo.SP_VALUE, 0] * time
            return self.rod + path[:, None] * heading(self.config)
        i = np.searchsorted(knots[lo.SP_TIME], time, side="right") - 1
        since = time - knots[lo.SP_TIME, i]
        ahead = np.minimum(i + 1, knots.shape[1] - 1)
        span = np.where(ahead > i, knots[lo.SP_TIME, ahead] - knots[lo.SP_TIME, i], 1.0)
        slope = (knots[lo.SP_VALUE, ahead] - knots[lo.SP_VALUE, i]) / span
        path = knots[lo.SP_PATH, i] + (knots[lo.SP_VALUE, i] + 0.5 * slope * since) * since
        return self.rod + path[:, None] * heading(self.config)


def plan_retrieve(config: Config) -> Plan:
    """Put bait, start and step of a retrieve together.

    Raises
    ------
    ConfigError
        When the parts of the bait contradict each other, or the line does not reach the bait.
    """
    bait = assemble(config)
    model = build_model(config, bait, np.zeros(3))  # the start is sought with it, the rod follows
    start, rod = start_state(config, bait, model)
    if config.line is not None:
        model.scalar[lo.ROD_X : lo.ROD_Z + 1, 0] = rod
    solver = config.solver
    record_step = solver.output_step_ms * 1e-3
    every = round(solver.output_step_ms / solver.step_ms)
    shortest = SHORTEST
    if config.line is not None:
        shortest = config.line.length_m
        if config.retrieve.mode == "reel":
            shortest = max(SHORTEST, line_left(config.line))
    limit = line_step(config, bait, model, shortest)
    warnings: tuple[str, ...] = ()
    if solver.method == "rk4" and record_step / every > limit:
        every = math.ceil(record_step / limit) if record_step < MOST_STEPS * limit else 0
        if not 0 < every <= MOST_STEPS:
            raise ConfigError(
                f"{config.source_path or 'config'}: line: so stiff for its length and this bait"
                f" that steps below {1e3 * record_step / MOST_STEPS:.2g} ms would be needed. Give"
                " a longer, thinner or softer line."
            )
        warnings = (
            f"the line is too stiff for a step of {solver.step_ms:g} ms:"
            f" {record_step / every * 1e3:.3g} ms used",
        )
    longest = min(solver.max_duration_s, reel_time(config))
    return Plan(config, bait, model, start, rod, record_step / every, every, longest, warnings)


def line_step(config: Config, bait: Assembly, model: Model, shortest: float) -> float:
    """Largest stable step for the line's stretching motion [s].

    The line pulls at the tie point, where the bait answers with the inverse of
    n^T M^-1 n, n = (d, r x d): the lightest direction d decides.
    """
    if config.line is None or bait.r_b_tie is None or not config.loads.line:
        return math.inf
    inverse = model.mass[1, :, :, 0]
    moves = _at_point(bait.r_b_tie)
    answers = moves @ inverse @ moves.T
    mobility = float(np.linalg.eigvalsh(answers)[-1])
    stiffness = model.scalar[lo.EA, 0] / shortest
    damping = float(model.scalar[lo.LINE_DAMP, 0]) * math.sqrt(stiffness)
    # half of the line goes with another point of the bait, at twice the speed of the retrieve
    dragged = 4.0 * float(model.scalar[lo.LINE_CN, 0]) * config.line.length_m
    there = _at_point(np.array([float(model.scalar[lo.LINE_NODE, 0]), 0.0, 0.0]))
    answer = float(np.linalg.norm(there @ inverse @ moves.T, 2))
    decay = damping * mobility + dragged * max(1.0, config.retrieve.speed_m_s) * answer
    limit = STEP_ANGLE / math.sqrt(stiffness * mobility)
    return min(limit, STEP_DECAY / decay) if decay > 0.0 else limit


def _at_point(r: np.ndarray) -> np.ndarray:
    """Rows (d, r x d) of the three axes d, shape (3, 6): force at a point to load at the CG."""
    x, y, z = r
    return np.array(
        [[1.0, 0, 0, 0, z, -y], [0, 1.0, 0, -z, 0, x], [0, 0, 1.0, y, -x, 0]], dtype=float
    )


def line_left(line: Line) -> float:
    """Length down to which a reeled line is followed, at most half of it [m]."""
    left = max(LINE_LEFT_M, ROD_HEIGHTS_LEFT * line.rod_tip_height_m)
    return min(left, 0.5 * line.length_m)


def reel_time(config: Config) -> float:
    """Time until a reeled line is in [s]; infinite when the rod moves."""
    line, retrieve = config.line, config.retrieve
    if line is None or retrieve.mode == "tow" or retrieve.speed_m_s == 0.0:
        return math.inf
    path = line.length_m - line_left(line)
    ramp = 0.5 * retrieve.ramp_s * retrieve.speed_m_s
    if path >= ramp:
        return retrieve.ramp_s + (path - ramp) / retrieve.speed_m_s
    return math.sqrt(2.0 * path * retrieve.ramp_s / retrieve.speed_m_s)
