"""Where small motions neither grow nor die out: growth of two modes over the axes of a study."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from sim.config.models import Config
from sim.errors import RuntrueError
from sim.small_motion import modes

if TYPE_CHECKING:
    from sim.studies.study import Study

NAMES = ("wobble", "lean")
# Values used of an axis, by how fast the growth changes along it; 5 ms a point: 2 to 4 s.
POINTS = {"tie_path_mm": 40, "retrieve.speed_m_s": 12}
OTHER, ALONE = 20, 480


def growth_rates(config: Config) -> tuple[float, float]:
    """Growth of the sideways motion that swings, and of the one that does not [1/s].

    Parameters
    ----------
    config : Config    with a line

    Returns
    -------
    tuple of 2 floats    NaN where there is no steady tow, or no such motion

    Notes
    -----
    Of the sideways roots that are not the line's, the fastest growing pair and the fastest growing
    real root. Where ``sim.modes`` gives a name to another root than next door (docs/modes.md) its
    growth jumps; the greatest growth of all pairs does not, so that a line at growth 0 runs
    through. Where the root named "wobble" or "lean" grows is the same either way.
    """
    try:
        found = modes(config).modes
    # no steady tow, or loads that overflow far from any bait: one point without an answer
    except (RuntrueError, ArithmeticError, ValueError):
        return math.nan, math.nan
    aside = [m for m in found if m.sideways > 0.5 and m.name != "line"]
    swings = max((m.growth_1_s for m in aside if m.oscillates), default=math.nan)
    straight = max((m.growth_1_s for m in aside if not m.oscillates), default=math.nan)
    return swings, straight


def neutral_grid(
    study: Study, points: tuple[int, ...] | None = None
) -> tuple[tuple[np.ndarray, ...], dict[str, np.ndarray]]:
    """Growth of the wobble and of the lean over a study, on some of its own values.

    Parameters
    ----------
    study : Study
    points : tuple of ints, optional    at most so many values of each axis; left out, by its key

    Returns
    -------
    mode_axes : tuple of ndarray      values used of each axis, the ends among them
    growth : dict of str to ndarray   "wobble" and "lean" [1/s], shape as long as ``mode_axes``;
                                      NaN where there is no steady tow. Empty without a line

    Notes
    -----
    The modes are those of the steady tow with the bill's wake at rest, and of small motions. Where
    "wobble" is 0 a small wobble neither grows nor dies out: on the side where it grows the bait
    wobbles without any help of its wake, on the other the wake has to keep it going. Where "lean"
    is 0 a small lean neither grows nor comes back; where it grows the bait goes over. Neither is a
    limit between classes, which go by how far the motion swings in the end.

    The start of a run has no part in it. Steps of one axis larger than a feature of the growth
    miss it: a line at 0 is as fine as the values used.
    """
    most = points
    if most is None:
        two = tuple(POINTS.get(axis.key, OTHER) for axis in study.axes)
        most = two if len(two) > 1 else (ALONE,)
    used = [_spread(len(axis.values), n) for axis, n in zip(study.axes, most, strict=True)]
    mode_axes = tuple(
        np.asarray(axis.values, dtype=float)[at] for axis, at in zip(study.axes, used, strict=True)
    )
    if study.base.line is None:
        return mode_axes, {}
    shape = tuple(len(at) for at in used)
    growth = {name: np.full(shape, math.nan) for name in NAMES}
    for place in np.ndindex(shape):
        index = tuple(int(at[i]) for at, i in zip(used, place, strict=True))
        try:
            config = study.cell_config(int(np.ravel_multi_index(index, study.shape)))
        except RuntrueError:  # the map has such a cell as invalid
            continue
        for name, value in zip(NAMES, growth_rates(config), strict=True):
            growth[name][place] = value
    return mode_axes, growth


def _spread(count: int, most: int) -> np.ndarray:
    """Indices of at most ``most`` of ``count`` values, as even as they go, both ends among them."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(int))
