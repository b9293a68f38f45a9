"""A row of trial holes down the nose and out along the bill, and the sweet spot in it.

The row is run at a quarter of the pitch, so that the ends of the sweet spot are known to that.
Everything below :func:`holes_study` reads a finished result and changes nothing; any map over the
tie path and the speed will do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim import classify
from sim.bait.tie_path import tie_path
from sim.config import Config
from sim.errors import ConfigError
from sim.studies.axes import axis_label, axis_unit
from sim.studies.engine import CLASSES
from sim.studies.store import MapResult
from sim.studies.study import Axis, Study

__all__ = [
    "Nearest",
    "OwnTie",
    "SweetSpot",
    "balanced_throughout",
    "depth_angle_deg",
    "goes_round",
    "hole_places",
    "holes_study",
    "longest",
    "nearest",
    "own_tie",
    "pitch_of",
    "spots_of",
    "sweet_spot",
    "sweet_spots",
    "told_holes",
    "unbroken",
    "widest_range",
]

TIE, SPEED = "tie_path_mm", "retrieve.speed_m_s"
FINER = 4  # holes run for each one that is told
FEWEST = 3  # holes that make a row
DIGITS = 9  # decimals of a place [mm]: 0.3 and not 0.30000000000000004
NEAR = 1e-6  # of a step, within which a place is at a whole multiple
BALANCED = CLASSES.index("balanced")


# ----------------------------------------------------------------------------------------- the row


def row_of_holes(config: Config, step_mm: float) -> np.ndarray:
    """Whole multiples of a step that lie on the tie path [mm], rising; 0 is one of them.

    Raises
    ------
    RunError
        Without a body or a bill there is no tie path.
    """
    path = tie_path(config)
    first = math.ceil(float(path.distance_mm[0]) / step_mm - NEAR)
    last = math.floor(float(path.distance_mm[-1]) / step_mm + NEAR)
    return np.round(np.arange(first, last + 1) * step_mm, DIGITS) + 0.0


def holes_study(
    config: Config, pitch: float, speeds: Sequence[float], *, finer: int = FINER
) -> Study:
    """Lay out a row of trial holes at a row of speeds.

    Parameters
    ----------
    config : Config             with a line, a body and a bill
    pitch : float               distance from hole to hole along the tie path [mm]
    speeds : sequence of float  strictly rising [m/s], as :func:`sim.studies.speeds.speed_row`
    finer : int                 holes run for each one of the pitch

    Returns
    -------
    Study
        Axes ``tie_path_mm`` (whole multiples of ``pitch / finer``) and ``retrieve.speed_m_s``.

    Raises
    ------
    ConfigError
        When the tie path is too short for such a pitch.
    RunError
        Without a body or a bill there is no tie path.
    """
    if row_of_holes(config, pitch).size < FEWEST:
        path = tie_path(config).distance_mm
        raise ConfigError(
            f"{config.source_path or 'config'}: a tie path from {path[0]:.1f} to {path[-1]:.1f} mm"
            f" has fewer than {FEWEST} holes {pitch:g} mm apart. Give a smaller pitch."
        )
    values = ((TIE, row_of_holes(config, pitch / finer)), (SPEED, np.asarray(speeds, dtype=float)))
    return Study(
        name=f"{config.name or 'bait'}-holes",
        note="",
        text="",
        source_path=config.source_path or "",
        base=config,
        fixed=dict(config.overrides),
        axes=tuple(Axis(key, axis_label(config, key), axis_unit(key), v) for key, v in values),
        kind="holes",
    )


def pitch_of(study: Study) -> float:
    """Pitch of the holes that are told [mm]: four steps of a row as :func:`holes_study` has it."""
    return round(float(np.diff(study.axes[0].values).min()) * FINER, DIGITS)


def told_holes(study: Study) -> np.ndarray:
    """Places in the row, shape (k,) of int, of the holes at whole multiples of the pitch."""
    times = study.axes[0].values / pitch_of(study)
    return np.flatnonzero(np.abs(times - np.round(times)) < 0.1 / FINER)


def hole_places(study: Study) -> np.ndarray:
    """Where the holes are, shape (n, 2): behind the nose tip, above the centreline [mm]."""
    path = tie_path(study.base)
    return np.array([path.at(float(distance)) for distance in study.axes[0].values])


@dataclass(frozen=True)
class OwnTie:
    """Where the configuration's own tie point lies on the tie path.

    Attributes
    ----------
    distance_mm : float    of the nearest place of the path
    gap_mm : float         from there to the tie point, side offsets left out
    """

    distance_mm: float
    gap_mm: float


def own_tie(config: Config) -> OwnTie | None:
    """Place of the configuration's own tie point; None without one."""
    tie = config.bait.tie
    if tie is None:
        return None
    return OwnTie(*tie_path(config).nearest(tie.from_nose_mm, tie.above_centreline_mm))


def depth_angle_deg(config: Config, depth_m: np.ndarray) -> np.ndarray:
    """Angle of a straight line from rod tip to bait below the horizontal, shape of ``depth_m``.

    The sine is depth of the bait and height of the rod tip together over the length of the line;
    NaN where they exceed it.
    """
    line = config.line
    if line is None:
        return np.full(np.shape(depth_m), math.nan)
    sine = (np.asarray(depth_m, dtype=float) + line.rod_tip_height_m) / line.length_m
    return np.degrees(np.arcsin(np.where(np.abs(sine) <= 1.0, sine, math.nan)))


# ------------------------------------------------------------------------------------ what is good


def goes_round(result: MapResult) -> np.ndarray:
    """Runs that went round, shape (cells..., starts) of bool.

    Classed spinning, or with ``limits.spin_turns`` net turns on the way: a corkscrewing bait mostly
    rises and then lies on its side, and its class is that of the end.
    """
    turns, limits = result.measures["most_turns"], result.study.base.limits
    return classify.goes_round(result.motion_class, turns, limits.spin_turns)


def balanced_throughout(result: MapResult) -> np.ndarray:
    """Cells balanced from every start that never go round, shape (holes, speeds) of bool."""
    _check(result.study)
    good = (result.motion_class == BALANCED) & ~goes_round(result)
    return np.asarray(good.all(axis=-1))


def _check(study: Study) -> None:
    if [axis.key for axis in study.axes] != [TIE, SPEED]:
        raise ValueError(f"a row of holes has the axes {TIE} and {SPEED}")


@dataclass(frozen=True)
class SweetSpot:
    """Where a bait may be tied so that it runs balanced at every speed of a range.

    Attributes
    ----------
    first_mm, last_mm : float      its ends along the tie path: the outermost holes that were run
                                   and found good
    first_at, last_at, middle_at : (float, float)
                                   the same places, and its middle: behind the nose tip, above the
                                   centreline [mm]
    step_mm : float                distance of holes in the row: each end lies less than that inside
                                   the true one
    top, tip : bool                it reaches to the first or the last hole of the row
    slowest_m_s, fastest_m_s : float
    """

    first_mm: float
    last_mm: float
    first_at: tuple[float, float]
    last_at: tuple[float, float]
    middle_at: tuple[float, float]
    step_mm: float
    top: bool
    tip: bool
    slowest_m_s: float
    fastest_m_s: float

    @property
    def length_mm(self) -> float:
        """Length along the tie path; 0 for a single hole [mm]."""
        return self.last_mm - self.first_mm

    @property
    def middle_mm(self) -> float:
        """Middle along the tie path [mm]."""
        return 0.5 * (self.first_mm + self.last_mm)

    @property
    def drift_mm(self) -> float:
        """How far a hole in the middle may drift up or down [mm]."""
        return 0.5 * self.length_mm

    def room_mm(self, distance_mm: float) -> tuple[float, float]:
        """How far a place is inside of the upper and of the lower end, negative outside [mm]."""
        return distance_mm - self.first_mm, self.last_mm - distance_mm

    def holds(self, distance_mm: float) -> bool:
        """Whether a place of the tie path lies in it."""
        return min(self.room_mm(distance_mm)) >= 0.0


def sweet_spot(result: MapResult, speeds: slice = slice(None)) -> SweetSpot | None:
    """The longest unbroken stretch of holes balanced at every speed that never go round.

    Parameters
    ----------
    result : MapResult    over ``tie_path_mm`` and ``retrieve.speed_m_s``
    speeds : slice        of the row of speeds; all of them when left out

    Returns
    -------
    SweetSpot or None     of stretches alike in length the one higher up the nose

    Raises
    ------
    ValueError
        For a map over other axes.
    """
    return longest(sweet_spots(result, speeds))


def longest(spots: Sequence[SweetSpot]) -> SweetSpot | None:
    """The longest of several; of those alike in length the one higher up the nose."""
    return max(spots, key=lambda spot: (round(spot.length_mm, 6), -spot.first_mm), default=None)


def sweet_spots(result: MapResult, speeds: slice = slice(None)) -> list[SweetSpot]:
    """All such stretches, down the tie path."""
    return spots_of(result.study, balanced_throughout(result), speeds)


def spots_of(study: Study, good: np.ndarray, speeds: slice = slice(None)) -> list[SweetSpot]:
    """Sweet spots of a row of holes, from ``good``, shape (holes, speeds) of bool."""
    row, at = np.asarray(good[:, speeds].all(axis=1)), study.axes[0].values
    range_ = study.axes[1].values[speeds]
    path = tie_path(study.base)
    step = float(np.diff(at).min(initial=math.inf))
    found = []
    for first, last in unbroken(row):
        a, b = float(at[first]), float(at[last])
        spot = SweetSpot(
            first_mm=a,
            last_mm=b,
            first_at=path.at(a),
            last_at=path.at(b),
            middle_at=path.at(0.5 * (a + b)),
            step_mm=step,
            top=first == 0,
            tip=last == at.size - 1,
            slowest_m_s=float(range_[0]),
            fastest_m_s=float(range_[-1]),
        )
        found.append(spot)
    return found


def unbroken(inside: np.ndarray) -> list[tuple[int, int]]:
    """First and last place of every unbroken row of True, shape (n,)."""
    turns = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(turns[::2], turns[1::2], strict=True)]


# ------------------------------------------------------------------------- when there is none


@dataclass(frozen=True)
class Nearest:
    """The hole balanced at most of the speeds.

    Attributes
    ----------
    hole : int                     its place in the row
    distance_mm : float
    at : (float, float)            behind the nose tip, above the centreline [mm]
    balanced : int                 number of speeds at which it is balanced and does not go round
    good : tuple of bool           the same for each speed
    """

    hole: int
    distance_mm: float
    at: tuple[float, float]
    balanced: int
    good: tuple[bool, ...]


def nearest(result: MapResult) -> Nearest | None:
    """The hole that comes nearest to a sweet spot; None when none is balanced at any speed.

    Of holes balanced at equally many speeds the middle of their longest unbroken stretch.
    """
    good = balanced_throughout(result)
    count = good.sum(axis=1)
    if not count.any():
        return None
    first, last = max(unbroken(count == count.max()), key=lambda s: (s[1] - s[0], -s[0]))
    hole = (first + last) // 2
    distance = float(result.study.axes[0].values[hole])
    return Nearest(
        hole,
        distance,
        tie_path(result.study.base).at(distance),
        int(count[hole]),
        tuple(good[hole].tolist()),
    )


def widest_range(result: MapResult) -> SweetSpot | None:
    """Sweet spot of the widest unbroken part of the row of speeds that has one.

    Of parts equally wide the one whose sweet spot is longer; None when there is none at any speed.
    """
    speeds = result.study.axes[1].values
    best: tuple[tuple[float, float], SweetSpot] | None = None
    for first in range(speeds.size):
        for last in range(first, speeds.size):
            spot = sweet_spot(result, slice(first, last + 1))
            if spot is None:
                break  # nor has any wider part from here
            rank = (round(float(speeds[last] - speeds[first]), 6), spot.length_mm)
            if best is None or rank > best[0]:
                best = rank, spot
    return None if best is None else best[1]
