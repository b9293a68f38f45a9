"""One retrieve: integrate, wait until the motion is stationary, measure, class."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from sim import provenance
from sim.bait.assembly import Assembly, assemble
from sim.bait.frame import heading, heading_deg
from sim.classify import classify, margins
from sim.config.models import Config, Line
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.line import SHORTEST
from sim.kernels.rhs import derivative, make_scratch
from sim.kernels.stepper import FASTEST_TURN, integrate
from sim.measure import Angles, Stationary, run_measures, stationary_part, track_angles
from sim.model import build_model
from sim.result import RunResult
from sim.start import start_state

Progress = Callable[[float, float], None]

LINE_LEFT_M = 1.0  # a reeled line is followed down to this length, or to this many rod heights:
ROD_HEIGHTS_LEFT = 3.0  # on a shorter one the bait is lifted out of the water
# Largest line frequency, and largest line decay rate, times step: classical Runge-Kutta is
# stable to 2.8 on either axis.
STEP_ANGLE, STEP_DECAY = 1.5, 2.0
CREEP_MM_S, CREEP_SHARE = 5.0, 0.01  # depth that changes faster than both, a second, is told
COARSE_S = 0.015  # states farther apart than this may miss a fast wobble [s]
FEWEST_RECORDS = 12  # a wobble sampled more coarsely is measured too small
PIECE_S = 0.5  # simulated time between two reports of progress
ROW_NAMES = (
    "position x", "position y", "position z", "attitude", "attitude", "attitude", "attitude",
    "surge u", "sway v", "heave w", "roll rate p", "pitch rate q", "yaw rate r", "wake s",
    "wake rate",
)  # fmt: skip


class _Recorder:
    """Grows a trajectory record by record; keeps the state to go on from."""

    def __init__(self, config: Config, model: Model, start: np.ndarray, step: float, every: int):
        self.config, self.model, self.scratch = config, model, make_scratch(model)
        self.step, self.every = step, every
        self.state = np.ascontiguousarray(start[:, None])
        self.rows: list[np.ndarray] = []
        self.tensions: list[np.ndarray] = []
        self.count = 0
        self.good = True
        self.calls = 0

    @property
    def record_step(self) -> float:
        return self.step * self.every

    def advance(self, records: int) -> None:
        """Add ``records`` rows, the state at the start of each step group."""
        if self.config.solver.method == "dop853":
            states, tensions, good = self._dop853(records)
        else:
            states = np.empty((records, lo.N_STATE, 1))
            tensions = np.empty((records, 1))
            count = np.zeros(1, dtype=np.int64)
            integrate(
                self.count, self.every, self.step, self.state, self.model, self.scratch, states,
                tensions, count,
            )  # fmt: skip
            good = int(count[0])
            self.calls += 4 * self.every * records
        self.rows.append(states[:good, :, 0])
        self.tensions.append(tensions[:good, 0])
        self.count += good
        self.good = good == records and bool(np.isfinite(self.state).all())

    def _dop853(self, records: int) -> tuple[np.ndarray, np.ndarray, int]:
        """The same right-hand side under SciPy's adaptive integrator."""
        model, scratch = self.model, self.scratch
        rate = np.zeros((lo.N_STATE, 1))

        def rhs(t: float, y: np.ndarray) -> np.ndarray:
            derivative(t, np.ascontiguousarray(y[:, None]), model, scratch, rate)
            return rate[:, 0].copy()

        times = (self.count + np.arange(records + 1)) * self.record_step
        with np.errstate(all="ignore"):
            solution = solve_ivp(
                rhs,
                (times[0], times[-1]),
                self.state[:, 0],
                method="DOP853",
                t_eval=times,
                rtol=self.config.solver.rtol,
                atol=self.config.solver.atol,
            )
        self.calls += int(solution.nfev)
        found = solution.y.T
        found[:, lo.QW : lo.QZ + 1] /= np.linalg.norm(
            found[:, lo.QW : lo.QZ + 1], axis=1, keepdims=True
        )
        fine = np.isfinite(found).all(axis=1)
        fine &= np.abs(found[:, lo.P : lo.R + 1]).sum(axis=1) < FASTEST_TURN
        good = int(np.argmin(fine)) if not fine.all() else found.shape[0]
        good = min(good, records) if good == records + 1 else good
        tensions = np.array(
            [[self.tension(t, y)] for t, y in zip(times[:good], found, strict=False)]
        )
        if good == records and found.shape[0] == records + 1:
            self.state = np.ascontiguousarray(found[-1][:, None])
        return found[:good, :, None], tensions.reshape(-1, 1), good

    def tension(self, t: float, y: np.ndarray) -> float:
        """Line tension [N] at one state."""
        rate = np.zeros((lo.N_STATE, 1))
        derivative(t, np.ascontiguousarray(y[:, None]), self.model, self.scratch, rate)
        return float(self.scratch.tension[0])

    def collect(self) -> tuple[np.ndarray, np.ndarray]:
        """States (n, 15) and tensions (n,) so far, the state in hand included when it is sound."""
        rows, tensions = list(self.rows), list(self.tensions)
        last = self.state[:, 0]
        if self.good:
            rows.append(last[None].copy())
            tensions.append(np.array([self.tension(self.count * self.record_step, last)]))
        return np.concatenate(rows), np.concatenate(tensions)


class _Motion(NamedTuple):
    """What the integration left to measure."""

    states: np.ndarray  # (n, 15)
    tensions: np.ndarray  # (n,) [N]
    angles: Angles
    part: Stationary
    rod: np.ndarray  # (3,) rod tip at the start [m]
    aim: float  # end of the run [s]


def line_step(config: Config, bait: Assembly, model: Model, shortest: float) -> float:
    """Largest stable step for the line's stretching motion [s].

    The line pulls at the tie point, where the bait answers with the inverse of
    n^T M^-1 n, n = (d, r x d): the lightest direction d decides.
    """
    if config.line is None or bait.r_b_tie is None or not config.loads.line:
        return math.inf
    inverse = model.mass[1, :, :, 0]
    r = bait.r_b_tie
    moves = np.hstack([np.eye(3), np.array([np.cross(r, d) for d in np.eye(3)])])
    mobility = float(np.linalg.eigvalsh(moves @ inverse @ moves.T)[-1])
    stiffness = model.scalar[lo.EA, 0] / shortest
    damping = float(model.scalar[lo.LINE_DAMP, 0]) * math.sqrt(stiffness)
    # half of the line goes with another point of the bait, at twice the speed of the retrieve
    dragged = 4.0 * float(model.scalar[lo.LINE_CN, 0]) * config.line.length_m
    node = np.array([float(model.scalar[lo.LINE_NODE, 0]), 0.0, 0.0])
    there = np.hstack([np.eye(3), np.array([np.cross(node, d) for d in np.eye(3)])])
    answer = float(np.linalg.norm(there @ inverse @ moves.T, 2))
    decay = damping * mobility + dragged * max(1.0, config.retrieve.speed_m_s) * answer
    limit = STEP_ANGLE / math.sqrt(stiffness * mobility)
    return min(limit, STEP_DECAY / decay) if decay > 0.0 else limit


def _line_left(line: Line) -> float:
    """Length down to which a reeled line is followed, at most half of it [m]."""
    left = max(LINE_LEFT_M, ROD_HEIGHTS_LEFT * line.rod_tip_height_m)
    return min(left, 0.5 * line.length_m)


def _reel_time(config: Config) -> float:
    """Time until a reeled line is in [s]; infinite when the rod moves."""
    line, retrieve = config.line, config.retrieve
    if line is None or retrieve.mode == "tow" or retrieve.speed_m_s == 0.0:
        return math.inf
    path = line.length_m - _line_left(line)
    ramp = 0.5 * retrieve.ramp_s * retrieve.speed_m_s
    if path >= ramp:
        return retrieve.ramp_s + (path - ramp) / retrieve.speed_m_s
    return math.sqrt(2.0 * path * retrieve.ramp_s / retrieve.speed_m_s)


def simulate(config: Config, progress: Progress | None = None) -> RunResult:
    """Run one retrieve and class it.

    Parameters
    ----------
    config : Config
    progress : callable, optional
        Called with the simulated time so far and the time now aimed at [s].

    Returns
    -------
    RunResult

    Raises
    ------
    ConfigError
        When the parts of the bait contradict each other.
    """
    bait = assemble(config)
    solver = config.solver
    start, rod = start_state(config, bait)
    model = build_model(config, bait, rod)
    warnings: list[str] = []

    record_step = solver.output_step_ms * 1e-3
    every = round(solver.output_step_ms / solver.step_ms)
    reel_time = _reel_time(config)
    longest = min(solver.max_duration_s, reel_time)
    shortest = SHORTEST
    if config.line is not None:
        shortest = config.line.length_m
        if config.retrieve.mode == "reel":
            shortest = max(SHORTEST, _line_left(config.line))
    limit = line_step(config, bait, model, shortest)
    if solver.method == "rk4" and record_step / every > limit:
        every = math.ceil(record_step / limit)
        warnings.append(
            f"the line is too stiff for a step of {solver.step_ms:g} ms:"
            f" {record_step / every * 1e3:.3g} ms used"
        )
    recorder = _Recorder(config, model, start, record_step / every, every)

    aim = min(solver.duration_s, longest)
    extensions = 0
    while True:
        target = max(1, round(aim / record_step))
        piece = max(1, round(PIECE_S / record_step))
        while recorder.good and recorder.count < target:
            recorder.advance(min(piece, target - recorder.count))
            if progress is not None:
                progress(recorder.count * record_step, aim)
        states, tensions = recorder.collect()
        angles = track_angles(states[:, lo.QW : lo.QZ + 1], heading_deg(config))
        last = angles.twist.size - 1
        part = Stationary(last // 2, last, False, False)
        if not recorder.good or config.line is None:
            break
        part = stationary_part(angles, record_step, solver.settle_tolerance)
        if _settled(part, angles.twist, config) or aim >= longest - 0.5 * record_step:
            break
        aim = min(longest, aim + 0.5 * solver.duration_s)
        extensions += 1
    stats = {
        "steps": float(recorder.count * every),
        "rhs_calls": float(recorder.calls),
        "step_ms": record_step / every * 1e3,
        "extensions": float(extensions),
    }
    motion = _Motion(states, tensions, angles, part, rod, aim)
    return _finish(config, bait, model, recorder, motion, stats, tuple(warnings))


def _settled(part: Stationary, twist: np.ndarray, config: Config) -> bool:
    """A stationary motion; one that turns must have made its full turns in it."""
    turns = abs(float(twist[part.last] - twist[part.first]))
    return part.found and (not part.turning or turns >= config.limits.spin_turns)


def _rod_path(config: Config, model: Model, rod: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Rod tip over time, shape (n, 3) [m]; NaN without a line."""
    if config.line is None:
        return np.full((time.size, 3), math.nan)
    if config.retrieve.mode == "reel":
        return np.tile(rod, (time.size, 1))
    knots = model.speed[:, :, 0]
    i = np.searchsorted(knots[lo.SP_TIME], time, side="right") - 1
    since = time - knots[lo.SP_TIME, i]
    ahead = np.minimum(i + 1, knots.shape[1] - 1)
    span = np.where(ahead > i, knots[lo.SP_TIME, ahead] - knots[lo.SP_TIME, i], 1.0)
    slope = (knots[lo.SP_VALUE, ahead] - knots[lo.SP_VALUE, i]) / span
    path = knots[lo.SP_PATH, i] + (knots[lo.SP_VALUE, i] + 0.5 * slope * since) * since
    return rod + path[:, None] * heading(config)


def _finish(
    config: Config,
    bait: Assembly,
    model: Model,
    recorder: _Recorder,
    motion: _Motion,
    stats: dict[str, float],
    warnings: tuple[str, ...],
) -> RunResult:
    """Measure and class what was integrated."""
    states, tensions, angles, part, rod, aim = motion
    step = recorder.record_step
    n = round(aim / step) + 1
    good = states.shape[0]
    time = np.arange(n) * step
    full = np.full((n, lo.N_STATE), math.nan)
    full[:good] = states
    tension = np.full(n, math.nan)
    tension[:good] = tensions
    rods = _rod_path(config, model, rod, time)

    motion_class, reason = None, ""
    measures: dict[str, float] = {}
    distance: dict[str, float] = {}
    window = (math.nan, math.nan)
    if not recorder.good:
        status, message = "diverged", _divergence(recorder, states, step, config)
        reason = "no class: the run diverged"
    else:
        measures = run_measures(
            config, bait, part, angles, step, states[:, :3], states[:, lo.QW : lo.QZ + 1],
            tensions, rods,
        )  # fmt: skip
        window = (float(time[part.first]), float(time[part.last]))
        if config.line is None:
            status = "free"
            message = f"no line: {time[-1]:g} s of free motion, measured over the second half"
            reason = "no class: classes are for a bait on a line"
        elif _settled(part, angles.twist, config):
            verdict = classify(measures, part.turning, config.limits)
            motion_class, reason, distance = verdict
            status = "settled"
            message = f"stationary from {window[0]:.2f} s to {window[1]:.2f} s"
        else:
            distance = margins(measures, config.limits)
            reason = "no class: the motion did not settle"
            if aim < config.solver.max_duration_s - 0.5 * step and math.isfinite(
                _reel_time(config)
            ):
                status = "line in"
                message = (
                    f"the line was in after {time[-1]:.2f} s, before the motion settled. Give a"
                    " longer line or a lower speed."
                )
            else:
                status = "not settled"
                message = (
                    f"not stationary after {time[-1]:g} s. Raise solver.max_duration_s or"
                    " solver.settle_tolerance, or look at the motion: it may never settle."
                )
    sinking = measures.get("depth_rate_mm_s", 0.0)
    if config.line is not None and abs(sinking) > max(
        CREEP_MM_S, CREEP_SHARE * 1e3 * abs(measures.get("depth_m", 0.0))
    ):
        warnings = (
            *warnings,
            f"depth still changes, {abs(sinking):.0f} mm/s {'down' if sinking > 0.0 else 'up'}:"
            " the depth given is that of the part measured. Raise solver.duration_s (and"
            " max_duration_s) to see where it ends.",
        )
    frequency = measures.get("wobble_frequency_hz", math.nan)
    if (step > COARSE_S and config.line is not None) or frequency * step * FEWEST_RECORDS > 1.0:
        warnings = (
            *warnings,
            f"states are {1e3 * step:g} ms apart: a wobble has few of them, so frequency may be"
            " wrong and amplitudes and sweeps come out small. Lower solver.output_step_ms.",
        )
    if recorder.good and config.water.surface and config.line is not None:
        above = float((states[:, lo.Z] < 0.0).mean())
        if above > 0.05:
            warnings = (
                *warnings,
                f"out of the water (centre of gravity) for {100 * above:.0f} % of the run",
            )
    return RunResult(
        config=config,
        time=time,
        position=full[:, lo.X : lo.Z + 1],
        attitude=full[:, lo.QW : lo.QZ + 1],
        velocity=full[:, lo.U : lo.R + 1],
        wake=full[:, lo.S : lo.SDOT + 1],
        line_tension=tension
        if config.line is not None
        else np.where(np.isnan(tension), tension, 0.0),
        rod_tip=rods,
        status=status,
        message=message,
        motion_class=motion_class,
        class_reason=reason,
        measures=measures,
        margins=distance,
        window=window,
        stats=stats,
        warnings=warnings,
        provenance=provenance.collect(config),
    )


def _divergence(recorder: _Recorder, states: np.ndarray, step: float, config: Config) -> str:
    """Where a run blew up: the time and the fastest of its last sound rates."""
    last = states[-1] if states.size else np.full(lo.N_STATE, math.nan)
    rates = np.abs(last[lo.P : lo.R + 1])
    fastest = ""
    if np.isfinite(rates).any() and rates.max() > 0.0:
        worst = lo.P + int(np.argmax(rates))
        fastest = f" (fastest: {ROW_NAMES[worst]}, last {last[worst]:.4g} rad/s)"
    return (
        f"state not finite or turning too fast at t = {recorder.count * step:.3f} s{fastest};"
        f" stopped. Try solver.step_ms below {recorder.step * 1e3:.3g}, and look for a part without"
        " mass or size, or a tie point far from the bait."
    )
