"""Many retrieves at once: prepared one by one, stepped eight abreast, measured and classed.

Cases that still run are put together anew, eight abreast, whenever some have ended. What comes of a
case depends on nothing but its configuration: not on the company it ran in, nor on the process.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from sim.classify import CLASSES
from sim.config.models import Config
from sim.errors import RuntrueError
from sim.kernels import layout as lo
from sim.kernels.lanes import WIDTH
from sim.kernels.layout import Model
from sim.kernels.motion import (
    FIRST,
    FIRST_MEASURE,
    FOUND,
    LAST,
    MEASURES,
    N_OUT,
    N_SCRATCH,
    TURNING,
    measure_run,
)  # fmt: skip
from sim.kernels.rhs import make_scratch
from sim.kernels.stepper import integrate_eight, split_lane, tension_of_eight
from sim.measure import Stationary, run_params
from sim.outcome import Outcome, creeps, diverged, judge, settled
from sim.plan import Plan, plan_retrieve

if TYPE_CHECKING:
    from sim.studies.kinds import AnyStudy

STATUSES = ("settled", "not settled", "line in", "diverged", "invalid", "not run")
MARGINS = ("spin", "roll", "lean", "roll_to_yaw", "tight_yaw")
FAILED = ("diverged", "invalid")
NO_CLASS = -1

GANG, GANG_RECORDS = 128, 260_000  # cases in hand at a time, and records of their first look
# One bad cell must not end a map, whatever is wrong with it.
NOT_BUILT = (RuntrueError, ArithmeticError, ValueError, MemoryError)
PIECE = 125  # records between copies: what a piece fills stays in the near cache
SHARED = ("slices",)  # arrays of the model that have no lanes
# A run may be over early, at these shares of its duration, when it is stationary by a closer
# tolerance, keeps its depth (a spinning bait mostly rises, and at the surface it does something
# else) and is near no limit of a class: no cell of the shipped maps then changes its class.
EARLY_LOOKS = (0.375, 0.625)
CLOSER = 0.2  # share of what may change from block to block
CLEAR = 0.15  # least distance from every limit, share of the limit
EARLY_TURNS = 3.0  # share of the turns that make a bait spin
POSE = 7  # position and quaternion


@dataclass(frozen=True, eq=False)
class CaseTable:
    """Finished cases, one row each.

    Attributes
    ----------
    case : ndarray of int64, shape (n,)         case number: cell times starts plus start
    status, motion_class : ndarray of int8      places in STATUSES and CLASSES; -1 is no class
    measures : ndarray, shape (n, measures)     in the order of MEASURES
    margins : ndarray, shape (n, margins)       in the order of MARGINS
    first_s, last_s, end_s : ndarray            the part measured and the end of the run [s]
    early : ndarray of bool                     stopped before its time was over
    message : tuple of str                      why there is no class, "" for one that settled
    states : ndarray or None, shape (n, records, 7)
        Position [m] and quaternion at ``study.keep_states_ms``, NaN after the end.
    """

    case: np.ndarray
    status: np.ndarray
    motion_class: np.ndarray
    measures: np.ndarray
    margins: np.ndarray
    first_s: np.ndarray
    last_s: np.ndarray
    end_s: np.ndarray
    early: np.ndarray
    message: tuple[str, ...]
    states: np.ndarray | None


@dataclass(eq=False)
class _Case:
    """One retrieve under way, and what came of it."""

    plan: Plan | None
    outcome: Outcome | None = None
    measures: np.ndarray = field(default_factory=lambda: np.full(len(MEASURES), math.nan))
    window: tuple[float, float] = (math.nan, math.nan)
    end: float = math.nan
    early: bool = False
    looks: list[tuple[int, bool]] = field(default_factory=list)  # (records, early look)
    params: np.ndarray = field(default_factory=lambda: np.empty(0))  # for measuring
    state: np.ndarray = field(default_factory=lambda: np.empty(0))
    count: int = 0  # records so far, the state in hand comes after
    # records, with room for more
    position: np.ndarray = field(default_factory=lambda: np.empty((0, 3)))
    attitude: np.ndarray = field(default_factory=lambda: np.empty((0, 4)))
    tension: np.ndarray = field(default_factory=lambda: np.empty(0))
    rod: np.ndarray = field(default_factory=lambda: np.empty((0, 3)))
    known: int = 0  # records whose angles are known
    angles: np.ndarray = field(default_factory=lambda: np.empty((4, 0)))
    kept: np.ndarray = field(default_factory=lambda: np.empty((0, POSE)))

    def let_go(self, keep_ms: float) -> None:
        """Drop the records of a case that is over, but for poses ``keep_ms`` apart."""
        if keep_ms > 0.0 and self.plan is not None:
            stride = round(keep_ms * 1e-3 / self.plan.record_step)
            broken = self.outcome is not None and self.outcome.status in FAILED
            n = self.count + (0 if broken else 1)  # the state in hand closes a sound record
            self.kept = np.hstack([self.position[:n:stride], self.attitude[:n:stride]])
        self.plan = None
        self.position = self.attitude = self.tension = self.rod = self.angles = np.empty(0)

    def make_room(self) -> None:
        """Room for the records up to the next look at a run that has its whole time."""
        need = next(records for records, early in self.looks if not early) + 1
        if self.plan is None or need <= self.tension.size:
            return
        for name in ("position", "attitude", "tension"):
            old = getattr(self, name)
            new = np.empty((need, *old.shape[1:]))
            new[: self.count] = old[: self.count]
            setattr(self, name, new)
        angles = np.empty((4, need))
        angles[:, : self.known] = self.angles[:, : self.known]
        self.angles = angles
        self.rod = np.ascontiguousarray(self.plan.rod_path(np.arange(need) * self.plan.record_step))

    @property
    def alike(self) -> tuple[object, ...]:
        """What cases must share to be stepped side by side from here."""
        assert self.plan is not None
        shapes = tuple(a.shape for a in self.plan.model)
        return (shapes, self.plan.every, self.plan.step, self.count, self.looks[0][0])


def run_configs(
    configs: Iterable[Config | Exception], stop_early: bool = True
) -> list[tuple[Outcome, np.ndarray]]:
    """Run retrieves side by side, without a study.

    Returns
    -------
    list of (Outcome, measures)    as :func:`sim.simulate` would have them, unless stopped early
    """
    cases = _run_gang(list(configs), stop_early)
    return [(case.outcome, case.measures) for case in cases if case.outcome is not None]


def run_cases(study: AnyStudy, cases: Sequence[int]) -> CaseTable:
    """Run cases of a study.

    Parameters
    ----------
    study : a study of any kind
    cases : sequence of int    case numbers

    Returns
    -------
    CaseTable
        A row for each case in the order given; the same bits whatever the company.
    """
    solver = study.base.solver
    records = max(1.0, 1e3 * solver.duration_s / solver.output_step_ms)
    size = max(WIDTH, min(GANG, int(GANG_RECORDS / records)))
    found = []
    for i in range(0, len(cases), size):
        gang = _run_gang([_config(study, case) for case in cases[i : i + size]], study.stop_early)
        for case in gang:
            case.let_go(study.keep_states_ms)
        found += gang
    return _table(study, cases, found)


def _config(study: AnyStudy, case: int) -> Config | Exception:
    """Configuration of a case, or what is wrong with it."""
    try:
        return study.case_config(case)
    except NOT_BUILT as error:
        return error


def _run_gang(configs: Sequence[Config | Exception], stop_early: bool) -> list[_Case]:
    """Work off some cases, all in memory at once."""
    cases = [_prepare(config, stop_early) for config in configs]
    active = [case for case in cases if case.outcome is None]
    while active:
        active.sort(key=lambda case: repr(case.alike))  # stable: the order given within a kind
        for _, kind in groupby(active, key=lambda case: case.alike):
            members = list(kind)
            for i in range(0, len(members), WIDTH):
                _step(members[i : i + WIDTH])
        for case in active:
            _look(case)
        active = [case for case in active if case.outcome is None]
    return cases


def _prepare(config: Config | Exception, stop_early: bool) -> _Case:
    """Put a case together, or say why that does not go."""
    if isinstance(config, Config):
        try:
            plan = plan_retrieve(config)
        except NOT_BUILT as error:
            config = error
    if isinstance(config, Exception):
        text = str(config)
        if not isinstance(config, RuntrueError):  # numbers beyond all measure
            text = f"cannot be worked out ({type(config).__name__}: {text}). Look at its values."
        return _Case(None, Outcome("invalid", text, None, "no class: not run", {}))
    case = _Case(plan, state=plan.start, params=run_params(config, plan.bait))
    solver, step = config.solver, plan.record_step
    duration = min(solver.duration_s, plan.longest)
    aims = [duration]
    while config.line is not None and aims[-1] < plan.longest - 0.5 * step:
        aims.append(min(plan.longest, aims[-1] + 0.5 * solver.duration_s))
    case.looks = [(max(1, round(aim / step)), False) for aim in aims]
    if stop_early and config.line is not None:
        early = [(round(share * duration / step), True) for share in EARLY_LOOKS]
        case.looks = [look for look in early if 0 < look[0] < case.looks[0][0]] + case.looks
    return case


def _abreast(models: Sequence[Model]) -> Model:
    """One model of eight lanes; lanes left over repeat the first."""
    filled = [*models, *[models[0]] * (WIDTH - len(models))]
    return Model(
        *(
            getattr(models[0], name)
            if name in SHARED
            else np.ascontiguousarray(np.concatenate([getattr(m, name) for m in filled], axis=-1))
            for name in Model._fields
        )
    )


def _step(cases: Sequence[_Case]) -> None:
    """Step up to eight cases to their next look."""
    plans = [case.plan for case in cases if case.plan is not None]
    plan, done = plans[0], cases[0].count
    records = cases[0].looks[0][0] - done
    model = _abreast([p.model for p in plans])
    scratch = make_scratch(model)
    lanes = [*cases, *[cases[0]] * (WIDTH - len(cases))]
    y = np.ascontiguousarray(np.array([case.state for case in lanes]).T)
    for case in cases:
        case.make_room()
    good, sound = np.zeros(WIDTH), [True] * len(cases)
    states, tensions = np.empty((PIECE, lo.N_STATE, WIDTH)), np.empty((PIECE, WIDTH))
    before = np.empty((0, lo.N_STATE, WIDTH))  # the record before the piece
    for first in range(done, done + records, PIECE):
        n = min(PIECE, done + records - first)
        integrate_eight(
            first, plan.every, plan.step, y, model, scratch, states[:n], tensions[:n], good
        )
        for k, case in enumerate(cases):
            if not sound[k]:
                continue
            count = int(good[k])
            split_lane(
                states, tensions, k, count, case.position[first:], case.attitude[first:],
                case.tension[first:],
            )  # fmt: skip
            case.count = first + count
            if count < n:
                sound[k] = False
                last = states[count - 1 : count, :, k] if count else before[:, :, k]
                _break_off(case, last)
        if not any(sound):
            return
        before = states[n - 1 : n].copy()
    pulls = tension_of_eight((done + records) * plan.every * plan.step, y, model, scratch)
    for k, case in enumerate(cases):
        if not sound[k]:
            continue
        case.state = y[:, k].copy()
        if not np.isfinite(case.state).all():
            _break_off(case, before[:, :, k])
            continue
        # the state in hand closes the record, and is the first of the next piece
        case.position[case.count] = case.state[:3]
        case.attitude[case.count] = case.state[lo.QW : lo.QZ + 1]
        case.tension[case.count] = pulls[k]


def _break_off(case: _Case, last: np.ndarray) -> None:
    """End a case that blew up after its state ``last``, shape (0 or 1, 15)."""
    assert case.plan is not None
    case.end = case.count * case.plan.record_step
    case.outcome = diverged(case.end, last, case.plan.step)


def _look(case: _Case) -> None:
    """Measure a case where it stands; decide whether it is over."""
    plan, (_, early) = case.plan, case.looks.pop(0)
    if case.outcome is not None or plan is None:
        return
    config, step, n = plan.config, plan.record_step, case.count + 1
    out = np.empty(N_OUT)
    measure_run(
        case.position[:n], case.attitude[:n], case.tension[:n], case.rod[:n], step,
        config.solver.settle_tolerance, CLOSER if early else 1.0, case.params, case.known,
        case.angles, np.empty((N_SCRATCH, n)), out,
    )  # fmt: skip
    case.known = n
    part = Stationary(int(out[FIRST]), int(out[LAST]), bool(out[FOUND]), bool(out[TURNING]))
    values = out[FIRST_MEASURE:]
    measures = dict(zip(MEASURES, values.tolist(), strict=True))
    found = settled(part, measures["turns"], config.limits)
    if not found and case.looks:
        return
    window = (part.first * step, part.last * step)
    outcome = judge(config, part, found, measures, window, case.count * step)
    if early and not _for_good(outcome, part, measures, config):
        return
    case.outcome, case.measures, case.window = outcome, values, window
    case.end, case.early = case.count * step, early


def _for_good(
    outcome: Outcome, part: Stationary, measures: dict[str, float], config: Config
) -> bool:
    """True when the class of a run that is not over can no longer change."""
    limits, margins = config.limits, outcome.margins
    if outcome.motion_class is None or creeps(measures):
        return False
    if part.turning:
        return abs(measures["turns"]) >= EARLY_TURNS * limits.spin_turns
    near = {
        "roll": limits.roll_deg,
        "lean": limits.lean_deg,
        "roll_to_yaw": limits.roll_to_yaw,
        "tight_yaw": limits.tight_yaw_deg,
    }
    return all(not abs(margins[name]) < CLEAR * scale for name, scale in near.items())


def _table(study: AnyStudy, cases: Sequence[int], found: Sequence[_Case]) -> CaseTable:
    """Rows of finished cases."""
    outcomes = [case.outcome for case in found if case.outcome is not None]
    return CaseTable(
        case=np.array(cases, dtype=np.int64),
        status=np.array([STATUSES.index(o.status) for o in outcomes], dtype=np.int8),
        motion_class=np.array(
            [CLASSES.index(o.motion_class) if o.motion_class else NO_CLASS for o in outcomes],
            dtype=np.int8,
        ),
        measures=np.array([case.measures for case in found]).reshape(-1, len(MEASURES)),
        margins=np.array(
            [[o.margins.get(name, math.nan) for name in MARGINS] for o in outcomes]
        ).reshape(-1, len(MARGINS)),
        first_s=np.array([case.window[0] for case in found]),
        last_s=np.array([case.window[1] for case in found]),
        end_s=np.array([case.end for case in found]),
        early=np.array([case.early for case in found], dtype=bool),
        message=tuple("" if o.status == "settled" else o.message for o in outcomes),
        states=_kept(found) if study.keep_states_ms > 0.0 else None,
    )


def _kept(found: Sequence[_Case]) -> np.ndarray:
    """Poses kept, shape (cases, records, 7), NaN after the end of a run."""
    kept = np.full((len(found), max((len(c.kept) for c in found), default=0), POSE), math.nan)
    for row, case in zip(kept, found, strict=True):
        row[: len(case.kept)] = case.kept
    return kept
