"""What could be changed about a bait, each tried by a row of trial holes of its own.

A study of holes comes first, see :mod:`sim.studies.holes`; the rows tried here are kept in no file.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np

from sim import classify
from sim.bait.assembly import assemble
from sim.config import Config, with_overrides
from sim.errors import ConfigError, RunError
from sim.kernels.motion import MEASURES
from sim.studies.engine import FAILED, STATUSES, CaseTable, run_cases
from sim.studies.holes import (
    BALANCED,
    DIGITS,
    SweetSpot,
    balanced_throughout,
    holes_study,
    longest,
    pitch_of,
    spots_of,
    told_holes,
)
from sim.studies.store import MapResult
from sim.studies.study import Axis, Study
from sim.studies.workers import workers_for

__all__ = ["Change", "Changes", "Tried", "changes_of", "try_changes"]

# What is tried, each to both sides.
BILL_SHARE, BILL_ANGLE_DEG = 0.10, 5.0
BALLAST_UP_MM, BALLAST_AFT_MM = 1.0, 2.0
MASS_SHARE = 0.15
CHUNK = 128  # runs that go to a process at a time


@dataclass(frozen=True)
class Change:
    """One thing about a bait made a little different.

    Attributes
    ----------
    label : str            in words, such as "bill 10 % longer"
    overrides : dict       dotted key to value
    """

    label: str
    overrides: Mapping[str, Any]


def changes_of(config: Config) -> tuple[Change, ...]:
    """What is tried: one thing at a time, to both sides.

    Bill length and width by 10 %, its angle by 5 degrees, all weights up or down 1 mm and fore or
    aft 2 mm, the mass of the rigged bait by 15 %. What the bait has not is left out.
    """
    found: list[Change] = []
    bill, ballast = config.bait.bill, config.bait.ballast
    if bill is not None:
        for key, more, less in (("length", "longer", "shorter"), ("width", "wider", "narrower")):
            for sign, word in ((1.0, more), (-1.0, less)):
                value = getattr(bill, f"{key}_mm") * (1.0 + sign * BILL_SHARE)
                label = f"bill {100 * BILL_SHARE:g} % {word}"
                found.append(Change(label, {f"bait.bill.{key}_mm": round(value, DIGITS)}))
        for sign, word in ((1.0, "steeper"), (-1.0, "flatter")):
            value = round(bill.angle_deg + sign * BILL_ANGLE_DEG, DIGITS)
            found.append(
                Change(f"bill {BILL_ANGLE_DEG:g} deg {word}", {"bait.bill.angle_deg": value})
            )
    if ballast:
        what = "weight" if len(ballast) == 1 else "weights"
        for key, by, words in (
            ("above_centreline_mm", BALLAST_UP_MM, ("higher", "lower")),
            ("from_nose_mm", BALLAST_AFT_MM, ("further back", "further forward")),
        ):
            for sign, word in zip((1.0, -1.0), words, strict=True):
                moved = {
                    f"bait.ballast.{i}.{key}": round(getattr(entry, key) + sign * by, DIGITS)
                    for i, entry in enumerate(ballast)
                }
                found.append(Change(f"{what} {by:g} mm {word}", moved))
    if config.bait.body is not None:
        mass = 1e3 * assemble(config).mass
        for sign, word in ((1.0, "heavier"), (-1.0, "lighter")):
            value = round(mass * (1.0 + sign * MASS_SHARE), 6)
            found.append(
                Change(f"bait {100 * MASS_SHARE:g} % {word}", {"bait.total_mass_g": value})
            )
    return tuple(found)


@dataclass(frozen=True)
class Tried:
    """What a row of holes came to with one thing changed.

    Attributes
    ----------
    change : Change                 without overrides for the bait as it is
    spot : SweetSpot or None        ends known to the pitch
    balanced, failed, runs : int    runs balanced that never went round, failed ones, all
    reserve_buoyancy_g : float      what it still carries submerged, negative when it sinks
    problem : str                   why it could not be built; "" when it could
    """

    change: Change
    spot: SweetSpot | None
    balanced: int
    failed: int
    runs: int
    reserve_buoyancy_g: float
    problem: str = ""

    @property
    def rank(self) -> tuple[float, int]:
        """Length of the sweet spot (-1 without one), then balanced runs: the more the better."""
        return (-1.0 if self.spot is None else round(self.spot.length_mm, 6), self.balanced)


@dataclass(frozen=True)
class Changes:
    """What was tried, and the bait as it is told at the same pitch.

    Attributes
    ----------
    as_is : Tried
    tried : tuple of Tried       the best first
    left_out : tuple of Tried    those that could not be built
    """

    as_is: Tried
    tried: tuple[Tried, ...]
    left_out: tuple[Tried, ...]

    @property
    def better(self) -> tuple[Tried, ...]:
        """Those whose sweet spot is longer than that of the bait as it is, the longest first."""
        return tuple(t for t in self.tried if t.rank[0] > self.as_is.rank[0])


def try_changes(
    result: MapResult,
    *,
    changes: Sequence[Change] | None = None,
    workers: int = 1,
    progress: Callable[[int, int, int], None] | None = None,
) -> Changes:
    """Run a row of holes at the pitch, at the same speeds, for each change.

    Parameters
    ----------
    result : MapResult               of a study from :func:`holes_study`
    changes : sequence of Change     left out, those of :func:`changes_of`
    workers : int                    as for :func:`sim.studies.run.run_study`
    progress : callable              told how many runs are done, planned and failed

    Returns
    -------
    Changes    the same bits whatever the number of workers
    """
    study, as_is = result.study, _as_is(result)
    pitch, speeds = pitch_of(study), tuple(study.axes[1].values.tolist())
    given = changes_of(study.base) if changes is None else tuple(changes)
    left_out, rows = [], []
    for change in given:
        try:
            row = _changed(study, change.overrides, pitch, speeds)
            rows.append((change, row, _reserve_g(row.base)))
        except (ConfigError, RunError) as error:
            left_out.append(Tried(change, None, 0, 0, 0, math.nan, str(error)))
    tables = _run_all(study, [row for _, row, _ in rows], pitch, speeds,
                      [change.overrides for change, _, _ in rows], workers, progress)  # fmt: skip
    tried = [
        _tried(change, row, reserve, table)
        for (change, row, reserve), table in zip(rows, tables, strict=True)
    ]
    tried.sort(key=lambda t: t.rank, reverse=True)  # stable: as given among equals
    return Changes(as_is, tuple(tried), tuple(left_out))


def _changed(
    study: Study, overrides: Mapping[str, Any], pitch: float, speeds: tuple[float, ...]
) -> Study:
    """The row of holes at the pitch of a bait with something changed, which can be built."""
    config = with_overrides(study.base, dict(overrides))
    assemble(config)
    return holes_study(config, pitch, speeds, finer=1)


def _reserve_g(config: Config) -> float:
    bait = assemble(config)
    return 1e3 * (bait.water.density * bait.volume - bait.mass)


def _tried(change: Change, row: Study, reserve_g: float, table: CaseTable) -> Tried:
    motion_class = table.motion_class.reshape(row.shape)
    turns = table.measures[:, _MOST_TURNS].reshape(row.shape)
    round_ = classify.goes_round(motion_class, turns, row.base.limits.spin_turns)
    good = (motion_class == BALANCED) & ~round_
    failed = int(np.isin(table.status, _FAILED).sum())
    return _summed(change, row, good, failed, reserve_g)


def _summed(change: Change, row: Study, good: np.ndarray, failed: int, reserve_g: float) -> Tried:
    spot = longest(spots_of(row, good))
    return Tried(change, spot, int(good.sum()), failed, good.size, reserve_g)


def _as_is(result: MapResult) -> Tried:
    """The bait as it is, seen at the pitch as the changed ones are."""
    study = result.study
    told = told_holes(study)
    at, speed = study.axes
    row = Study(
        study.name, "", "", study.source_path, study.base, study.fixed,
        (Axis(at.key, at.label, at.unit, at.values[told]), speed), kind="holes",
    )  # fmt: skip
    failed = int(np.isin(result.status[told], _FAILED).sum())
    good = balanced_throughout(result)[told]
    return _summed(Change("as it is", {}), row, good, failed, _reserve_g(study.base))


# ---- the runs of all changes, in one pool -------------------------------------------------------


def _run_all(
    study: Study,
    rows: Sequence[Study],
    pitch: float,
    speeds: tuple[float, ...],
    overrides: Sequence[Mapping[str, Any]],
    workers: int,
    progress: Callable[[int, int, int], None] | None,
) -> list[CaseTable]:
    """Every case of every row, by as many processes as asked for; a table for each row.

    One pool for all of them: a process takes longer to start than a row to run. A number of a case
    tells the row as well.
    """
    chunks: list[np.ndarray] = []
    for number, row in enumerate(rows):
        cases = np.arange(row.case_count) + number * _APART
        chunks += [cases[i : i + CHUNK] for i in range(0, cases.size, CHUNK)]
    calculate = partial(_run_some, tuple(dict(o) for o in overrides), pitch, speeds)
    planned = sum(chunk.size for chunk in chunks)
    done = failed = 0
    found: dict[int, CaseTable] = {}
    with workers_for(study, {}, None, workers, calculate) as work:
        for number, table in work(enumerate(chunks)):
            found[number] = table
            done += table.case.size
            failed += int(np.isin(table.status, _FAILED).sum())
            if progress is not None:
                progress(done, planned, failed)
    tables = []
    for number in range(len(rows)):
        mine = [found[i] for i, chunk in enumerate(chunks) if chunk[0] // _APART == number]
        tables.append(_joined(mine))
    return tables


def _joined(tables: Sequence[CaseTable]) -> CaseTable:
    names = ("case", "status", "motion_class", "measures", "margins", "first_s", "last_s", "end_s",
             "early")  # fmt: skip
    arrays = {name: np.concatenate([getattr(t, name) for t in tables]) for name in names}
    return CaseTable(
        **arrays, message=tuple(text for t in tables for text in t.message), states=None
    )


def _run_some(
    overrides: tuple[dict[str, Any], ...],
    pitch: float,
    speeds: tuple[float, ...],
    study: Study,
    cases: Sequence[int],
) -> CaseTable:
    """Cases of one row; what a process does."""
    number = cases[0] // _APART
    row = _row(study, tuple(sorted(overrides[number].items())), pitch, speeds)
    return run_cases(row, [case - number * _APART for case in cases])


@lru_cache(maxsize=4)
def _row(
    study: Study, overrides: tuple[tuple[str, Any], ...], pitch: float, speeds: tuple[float, ...]
) -> Study:
    return _changed(study, dict(overrides), pitch, speeds)


_APART = 1 << 32  # between the numbers of the cases of two rows
_MOST_TURNS = MEASURES.index("most_turns")
_FAILED = tuple(STATUSES.index(name) for name in FAILED)
