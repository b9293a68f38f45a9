"""The row of speeds at which a study judges a bait, and how long it takes to run off at each."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sim.config import Config

DIGITS = 9  # decimals of a speed: 0.6 and not 0.6000000000000001
SAME = 1e-6  # of a speed, within which the bait's own is one of the even steps
DRIFT_LINE_LENGTHS = 2.5  # towed until the drift is full


def speed_row(
    config: Config, slowest: float, fastest: float, count: int, *, add_own: bool = True
) -> tuple[float, ...]:
    """Speeds from the slowest to the fastest in even steps, with the bait's own among them.

    Parameters
    ----------
    config : Config
    slowest, fastest : float    ends of the range [m/s]; ``0 < slowest < fastest``
    count : int                 number of even steps, ends included; at least 2
    add_own : bool              put the bait's own among them; without, a count of 1 is allowed and
                                gives the bait's own alone

    Returns
    -------
    tuple of float, strictly rising [m/s]
        ``retrieve.speed_m_s`` is added where it lies within the range and is none of the steps;
        outside the range it is left out.

    Raises
    ------
    ValueError
    """
    own = config.retrieve.speed_m_s
    if count == 1 and not add_own:
        return (own,)
    if not 0.0 < slowest < fastest or count < 2:
        raise ValueError(f"no row of {count} speeds from {slowest} to {fastest} m/s")
    row = np.round(np.linspace(slowest, fastest, count), DIGITS)
    row[0], row[-1] = slowest, fastest
    if add_own and slowest <= own <= fastest:
        row = np.append(row[np.abs(row - own) > SAME * own], own)
    return tuple(np.sort(row).tolist())


def own_speed_index(speeds: tuple[float, ...] | np.ndarray, own: float) -> int:
    """Place of the speed nearest to the bait's own in a row of speeds."""
    return int(np.abs(np.asarray(speeds, dtype=float) - own).argmin())


def drift_time_s(config: Config, speed_m_s: float) -> float:
    """How long a run must last for its side drift to be full [s], in whole seconds.

    A bait that runs off swings out along the line until the line stands still. That takes about as
    long as towing it by a length of the line, and as what is told of a run is read over its second
    half, it is to be towed by 2.5 of them.

    Parameters
    ----------
    config : Config      of whose line the length counts; without one 0
    speed_m_s : float    > 0
    """
    if config.line is None:
        return 0.0
    return float(math.ceil(DRIFT_LINE_LENGTHS * config.line.length_m / speed_m_s))


def not_full(config: Config, speeds: Sequence[float] | np.ndarray) -> tuple[float, ...]:
    """Speeds at which a run of ``solver.duration_s`` ends before the side drift is full [m/s]."""
    lasts = config.solver.duration_s
    return tuple(float(v) for v in speeds if drift_time_s(config, v) > lasts)
