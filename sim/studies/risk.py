"""Risk of a bait: what its builds come to, which error matters most, which tolerance is needed.

Everything here is a function of what the builds of a study came to (:class:`RiskResult`), stored or
just calculated.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.stats import binomtest, bootstrap, sobol_indices

from sim.classify import goes_round
from sim.config import Config, with_overrides
from sim.config.models import Solver
from sim.config.schema import within
from sim.kernels.motion import MEASURES
from sim.studies.builds import (
    ALL,
    BOTH,
    DOUBT,
    MEANT,
    MIXED,
    SCALES,
    SEARCH,
    SECOND,
    SHOP,
    BuildStudy,
    Design,
)
from sim.studies.engine import CLASSES, FAILED, MARGINS, NO_CLASS, STATUSES, CaseTable
from sim.studies.run import Plan
from sim.studies.speeds import drift_time_s

__all__ = [
    "BAD",
    "OUTCOMES",
    "Index",
    "RiskResult",
    "Search",
    "Share",
    "Trial",
    "gather",
    "good_somewhere",
    "indices",
    "judged",
    "long_enough",
    "outcomes",
    "risk_plan",
    "searches",
    "severity",
    "shares",
    "worst_outcomes",
]

CONFIDENCE = 0.95
NOT_RUN = STATUSES.index("not run")
# What a build comes to at a speed, from bad to good; over the speeds the first of these counts.
OUTCOMES = (
    "goes round",
    "over-rolls",
    "runs off",
    "failed",
    "does not settle",
    "tight",
    "balanced",
)
BAD = OUTCOMES[:5]
UNSETTLED = 1.1  # severity at least: beyond the limits, nobody knows by how much
WORST = 2.0  # where severity is cut off: a bait that turns over is not the worse the more it turns
RESAMPLES = 200


@dataclass(frozen=True, eq=False)
class RiskResult:
    """What the builds of a study came to. Shapes: (designs, builds, speeds).

    Attributes
    ----------
    study : BuildStudy
    designs : tuple of int                numbers of the designs that were run, rising
    status, motion_class : ndarray of int8
        Places in STATUSES and CLASSES, -1 for no class; "not run" where a design has fewer builds.
    measures, margins : dict of str to ndarray    names end in the unit; NaN where not run
    early : ndarray of bool
    message : ndarray of str objects
    provenance : dict of str to str
    """

    study: BuildStudy
    designs: tuple[int, ...]
    status: np.ndarray
    motion_class: np.ndarray
    measures: dict[str, np.ndarray]
    margins: dict[str, np.ndarray]
    early: np.ndarray
    message: np.ndarray
    provenance: dict[str, str]

    def rows(self, design: int) -> tuple[int, int]:
        """Place of a design along the first dimension, and its number of builds; KeyError."""
        if design not in self.designs:
            raise KeyError(design)
        return self.designs.index(design), self.study.count(design)


def gather(
    study: BuildStudy, tables: Iterable[CaseTable], provenance: dict[str, str] | None = None
) -> RiskResult:
    """Finished cases in arrays over designs, builds and speeds."""
    kept = list(tables)
    cases = np.concatenate([table.case for table in kept])
    design, build, speed = study.place(cases)
    designs = tuple(int(number) for number in np.unique(design))
    at = (np.searchsorted(designs, design), build, speed)
    shape = (len(designs), study.builds, len(study.speeds))

    def filled(columns: Iterable[np.ndarray], empty: object, dtype: object) -> np.ndarray:
        array = np.full(shape, empty, dtype=dtype)  # type: ignore[call-overload]
        array[at] = np.concatenate(list(columns))
        return array

    return RiskResult(
        study=study,
        designs=designs,
        status=filled((t.status for t in kept), NOT_RUN, np.int8),
        motion_class=filled((t.motion_class for t in kept), NO_CLASS, np.int8),
        measures={
            name: filled((t.measures[:, n] for t in kept), math.nan, float)
            for n, name in enumerate(MEASURES)
        },
        margins={
            name: filled((t.margins[:, n] for t in kept), math.nan, float)
            for n, name in enumerate(MARGINS)
        },
        early=filled((t.early for t in kept), False, bool),
        message=filled((np.array(t.message, dtype=object) for t in kept), "", object),
        provenance=provenance or {},
    )


# -------------------------------------------------------------------------------- length of a run


def long_enough(config: Config, speeds: Iterable[float]) -> Config:
    """The same bait with runs so long that the side drift is full at the fastest speed.

    Parameters
    ----------
    config : Config
    speeds : iterable of float    [m/s]

    Notes
    -----
    Slower speeds would need longer ones yet, and those cost every build: at which of them the drift
    is not full, :func:`sim.studies.speeds.not_full` tells. What is changed is among the overrides.
    """
    solver = config.solver
    need = within(Solver.model_fields["duration_s"], drift_time_s(config, max(speeds)))
    if need <= solver.duration_s:
        return config
    changes = {"solver.duration_s": need}
    if need > solver.max_duration_s:
        changes["solver.max_duration_s"] = need
    return with_overrides(config, changes)


# ---------------------------------------------------------------------------- what a build comes to


def outcomes(result: RiskResult, design: int) -> np.ndarray:
    """What every build of a design comes to at every speed.

    Returns
    -------
    ndarray of int8, shape (builds, speeds)    index into ``OUTCOMES``

    Notes
    -----
    A build goes round when its class is spinning, or when it made ``limits.spin_turns`` net turns
    at any time: a bait that corkscrews mostly comes up and then lies on its side. It runs off when
    the line, seen from above, stands more than ``limits.run_off_deg`` to one side.
    """
    row, count = result.rows(design)
    limits = result.study.base.limits
    status, kind = result.status[row, :count], result.motion_class[row, :count]
    measure = {name: array[row, :count] for name, array in result.measures.items()}
    off = np.degrees(np.arctan(np.abs(measure["side_drift_m_per_m"])))
    found = np.full(kind.shape, OUTCOMES.index("does not settle"), dtype=np.int8)
    for name in ("tight", "balanced"):
        found[kind == CLASSES.index(name)] = OUTCOMES.index(name)
    found[(kind != NO_CLASS) & (off > limits.run_off_deg)] = OUTCOMES.index("runs off")
    found[kind == CLASSES.index("over-rolling")] = OUTCOMES.index("over-rolls")
    found[goes_round(kind, measure["most_turns"], limits.spin_turns)] = OUTCOMES.index("goes round")
    for name in FAILED:
        found[status == STATUSES.index(name)] = OUTCOMES.index("failed")
    return found


def judged(result: RiskResult) -> np.ndarray:
    """Speeds that count: those at which the bait as meant is not bad itself.

    Returns
    -------
    ndarray of bool, shape (speeds,)    all where it is bad at every speed
    """
    good = outcomes(result, MEANT)[0] >= len(BAD)
    return np.asarray(good if good.any() else ~good)


def severity(result: RiskResult, design: int) -> np.ndarray:
    """How near every build of a design comes to the limits, the worst over the speeds judged.

    Returns
    -------
    ndarray, shape (builds,)
        The largest of roll, lean, roll over yaw, side angle of the line and turns over their
        limits, cut off at 2; above 1 just where a build is bad. 2 for one that goes round or
        failed.
    """
    row, count = result.rows(design)
    limits = result.study.base.limits
    measure = {name: array[row, :count] for name, array in result.measures.items()}
    ratio = 1.0 - result.margins["roll_to_yaw"][row, :count] / limits.roll_to_yaw
    parts = [
        measure["roll_amplitude_deg"] / limits.roll_deg,
        np.abs(measure["lean_deg"]) / limits.lean_deg,
        ratio,
        np.degrees(np.arctan(np.abs(measure["side_drift_m_per_m"]))) / limits.run_off_deg,
        measure["most_turns"] / limits.spin_turns,
    ]
    worst = np.nan_to_num(np.array(parts), nan=0.0).max(axis=0)
    # a bait that keeps turning has neither roll nor lean
    bad = outcomes(result, design)
    worst[(bad == OUTCOMES.index("goes round")) | (bad == OUTCOMES.index("failed"))] = WORST
    unsettled = bad == OUTCOMES.index("does not settle")
    worst[unsettled] = np.maximum(worst[unsettled], UNSETTLED)
    return np.asarray(np.minimum(worst, WORST)[:, judged(result)].max(axis=1))


# ------------------------------------------------------------------------------------------ shares


class Share(NamedTuple):
    """A share of builds, with the interval in which it lies with 95 % confidence."""

    hits: int
    builds: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.hits / self.builds

    @classmethod
    def of(cls, mask: np.ndarray) -> Share:
        """Share of True; the interval is Wilson's, which is fair to rare cases.

        The draws fill the space more evenly than independent ones, so it is on the wide side.
        """
        hits, builds = int(mask.sum()), int(mask.size)
        low, high = binomtest(hits, builds).proportion_ci(CONFIDENCE, method="wilson")
        return cls(hits, builds, float(low), float(high))


def worst_outcomes(result: RiskResult, design: int) -> np.ndarray:
    """The worst of what every build comes to over the speeds judged, shape (builds,)."""
    return np.asarray(outcomes(result, design)[:, judged(result)].min(axis=1))


def shares(result: RiskResult, design: int) -> dict[str, Share]:
    """Share of the builds of a design that come to each of OUTCOMES, and "bad" for all of BAD."""
    worst = worst_outcomes(result, design)
    found = {name: Share.of(worst == n) for n, name in enumerate(OUTCOMES)}
    return found | {"bad": Share.of(worst < len(BAD))}


# ------------------------------------------------------------------------------------- what matters


class Index(NamedTuple):
    """Sobol indices of one error: share of the variance of ``severity`` that goes back to it.

    ``first`` by itself, ``total`` together with others; each as (value, low, high), an interval of
    95 % confidence by bootstrap.
    """

    error: int
    first: tuple[float, float, float]
    total: tuple[float, float, float]


def indices(result: RiskResult, *, intervals: bool = True) -> tuple[Index, ...]:
    """Sobol indices of the errors, the largest total first; empty when nothing varies.

    Parameters
    ----------
    result : RiskResult
    intervals : bool    without, NaN stands for their ends

    Notes
    -----
    Saltelli's estimators as SciPy has them, on pairs of builds that swap one error.
    """
    study = result.study
    active = [n for n in study.active if MIXED + n in result.designs]
    if not active:
        return ()
    f_a = severity(result, SHOP)[: study.pairs]
    f_b = severity(result, SECOND)
    # an error without effect comes last: SciPy wants two at least
    f_ab = np.array([*(severity(result, MIXED + n) for n in active), f_a])
    if np.ptp(np.concatenate([f_a, f_b])) == 0.0:
        return ()

    def estimate(pairs: np.ndarray) -> np.ndarray:
        func = {"f_A": f_a[None, pairs], "f_B": f_b[None, pairs], "f_AB": f_ab[:, None, pairs]}
        found = sobol_indices(func=func, n=pairs.size)
        return np.array([found.first_order[:-1].ravel(), found.total_order[:-1].ravel()])

    everyone = np.arange(study.pairs)
    ends = np.full((2, 2, len(active)), math.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a few pairs alone may not vary
        first, total = estimate(everyone)
        if intervals:
            # SciPy's own for these indices takes no seed, and a stored result shall say the same
            found = bootstrap(
                [everyone], estimate, vectorized=False, n_resamples=RESAMPLES,
                confidence_level=CONFIDENCE, method="percentile",
                rng=np.random.default_rng(study.seed),
            )  # fmt: skip
            low, high = found.confidence_interval
            ends = np.stack([low, high], axis=1)
    rows = [
        Index(
            n,
            (float(first[k]), float(ends[0, 0, k]), float(ends[0, 1, k])),
            (float(total[k]), float(ends[1, 0, k]), float(ends[1, 1, k])),
        )
        for k, n in enumerate(active)
    ]
    return tuple(sorted(rows, key=lambda row: -row.total[0]))


# ---------------------------------------------------------------------------------- the tolerance


class Trial(NamedTuple):
    """A share of the tolerance that was tried, and what it came to."""

    scale: float
    bad: Share


class Search(NamedTuple):
    """The tolerance needed on one error, or on all of them.

    Attributes
    ----------
    error : int              number in ERRORS; ALL for all tolerances together
    scale : float or None    the largest share of the tolerance tried that meets the target; None
                             when not even none of the error does, or nothing was tried
    trials : tuple of Trial  rising scale; the last is the tolerance of the configuration, with all
                             builds
    """

    error: int
    scale: float | None
    trials: tuple[Trial, ...]

    @property
    def holds(self) -> bool:
        """The tolerance of the configuration is close enough."""
        return self.scale == 1.0


def searches(result: RiskResult) -> tuple[Search, ...]:
    """What the search for a closer tolerance came to.

    On the worst error first and, where not even a perfect one meets the target, on all of them; on
    all of them alone where no error stands out because all builds are bad. Empty where nothing
    varies.
    """
    study = result.study
    whole = Trial(1.0, shares(result, SHOP)["bad"])
    found = []
    for error in _sought(result):
        tried = [d for d in result.designs if d >= SEARCH and Design.of(d).error == error]
        trials = [Trial(Design.of(d).scale, shares(result, d)["bad"]) for d in tried] + [whole]
        if error == ALL:
            if not tried:
                continue
            # without any error it is the bait as meant, which is sound where it is judged
            trials.insert(0, Trial(0.0, Share(0, 1, 0.0, 0.0)))
        good = [trial.scale for trial in trials if trial.bad.share <= study.target]
        found.append(Search(error, max(good) if good else None, tuple(trials)))
    return tuple(found)


def _sought(result: RiskResult) -> tuple[int, ...]:
    """Errors whose tolerance is looked for, one after the other until the target is met."""
    ranked = indices(result, intervals=False)
    if ranked:
        return (ranked[0].error, ALL)
    return (ALL,) if result.study.active and shares(result, SHOP)["bad"].hits else ()


# ------------------------------------------------------------------------------------------- plan


def risk_plan(study: BuildStudy) -> Plan:
    """Ask for the builds of a risk: samples, then tolerances by bisection."""
    meant: list[CaseTable] = yield study.cases(MEANT)
    alone = gather(study, meant)
    counts, sound = judged(alone), good_somewhere(alone)
    asked = [study.cases(design) for design in (SHOP, BOTH, DOUBT)]
    if sound and study.active:
        # these tell nothing by themselves, so that speeds that do not count can be left out
        asked += [study.cases(d, counts) for d in (SECOND, *(MIXED + n for n in study.active))]
    sampled = gather(study, meant + (yield np.concatenate(asked)))
    holds = shares(sampled, SHOP)["bad"].share <= study.target
    for error in () if holds or not sound else _sought(sampled):
        design = SEARCH + error * len(SCALES)
        low, high = 0, len(SCALES) - 1
        # without any error at all it is the bait as meant
        step = 0 if error != ALL else (low + high) // 2
        while True:
            tables = yield study.cases(design + step, counts)
            bad = shares(gather(study, meant + tables), design + step)["bad"]
            if bad.share <= study.target:
                low = step
            elif step == 0:
                break  # other errors alone are too much
            else:
                high = step
            if high - low == 1:
                return
            step = (low + high) // 2


def good_somewhere(result: RiskResult) -> bool:
    """Whether the bait as meant is anything but bad at one speed at least."""
    return bool((outcomes(result, MEANT) >= len(BAD)).any())
