"""One retrieve: integrate, wait until the motion is stationary, measure, class."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from sim import provenance
from sim.bait.frame import heading_deg
from sim.config.models import Config
from sim.kernels import layout as lo
from sim.kernels.rhs import derivative, make_scratch
from sim.kernels.stepper import FASTEST_TURN, integrate
from sim.measure import Angles, Stationary, run_measures, stationary_part, track_angles
from sim.outcome import creeps, diverged, judge, settled
from sim.plan import Plan, plan_retrieve
from sim.result import RunResult

Progress = Callable[[float, float], None]

COARSE_S = 0.015  # states farther apart than this may miss a fast wobble [s]
FEWEST_RECORDS = 12  # a wobble sampled more coarsely is measured too small
PIECE_S = 0.5  # simulated time between two reports of progress


class _Recorder:
    """Grows a trajectory record by record; keeps the state to go on from."""

    def __init__(self, plan: Plan):
        self.config, self.model = plan.config, plan.model
        self.scratch = make_scratch(plan.model)
        self.step, self.every = plan.step, plan.every
        self.state = np.ascontiguousarray(plan.start[:, None])
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
            tensions.append(np.array([self.tension(self.count * self.every * self.step, last)]))
        return np.concatenate(rows), np.concatenate(tensions)


class _Motion(NamedTuple):
    """What the integration left to measure."""

    states: np.ndarray  # (n, 15)
    tensions: np.ndarray  # (n,) [N]
    angles: Angles
    part: Stationary
    aim: float  # end of the run [s]


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
    solver = config.solver
    plan = plan_retrieve(config)
    record_step, longest = plan.record_step, plan.longest
    recorder = _Recorder(plan)

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
        if settled(part, _turns(part, angles), config.limits) or aim >= longest - 0.5 * record_step:
            break
        aim = min(longest, aim + 0.5 * solver.duration_s)
        extensions += 1
    stats = {
        "steps": float(recorder.count * plan.every),
        "rhs_calls": float(recorder.calls),
        "step_ms": record_step / plan.every * 1e3,
        "extensions": float(extensions),
    }
    return _finish(plan, recorder, _Motion(states, tensions, angles, part, aim), stats)


def _turns(part: Stationary, angles: Angles) -> float:
    """Net turns about the track over the part."""
    return float(angles.twist[part.last] - angles.twist[part.first])


def _finish(plan: Plan, recorder: _Recorder, motion: _Motion, stats: dict[str, float]) -> RunResult:
    """Measure and class what was integrated."""
    config, warnings = plan.config, plan.warnings
    states, tensions, angles, part, aim = motion
    step = recorder.record_step
    n = max(1, round(aim / step)) + 1
    good = states.shape[0]
    time = np.arange(n) * step
    full = np.full((n, lo.N_STATE), math.nan)
    full[:good] = states
    tension = np.full(n, math.nan)
    tension[:good] = tensions
    rods = plan.rod_path(time)

    measures: dict[str, float] = {}
    window = (math.nan, math.nan)
    if recorder.good:
        measures = run_measures(
            config, plan.bait, part, angles, step, states[:, :3], states[:, lo.QW : lo.QZ + 1],
            tensions, rods,
        )  # fmt: skip
        window = (float(time[part.first]), float(time[part.last]))
        verdict = judge(
            config, part, settled(part, _turns(part, angles), config.limits), measures, window,
            recorder.count * step,
        )  # fmt: skip
    else:
        verdict = diverged(recorder.count * step, states[-1:], recorder.step)
    sinking = measures.get("depth_rate_mm_s", 0.0)
    if config.line is not None and creeps(measures):
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
        status=verdict.status,
        message=verdict.message,
        motion_class=verdict.motion_class,
        class_reason=verdict.reason,
        measures=measures,
        margins=verdict.margins,
        window=window,
        stats=stats,
        warnings=warnings,
        provenance=provenance.collect(config),
    )
