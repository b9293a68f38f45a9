"""Where the bait of a study lies on the axes that vary it."""

from __future__ import annotations

import math
from typing import Any

from sim.bait.assembly import assemble
from sim.bait.tie_path import tie_path
from sim.config.models import Config
from sim.errors import RuntrueError

__all__ = ["own_place"]

NEAR_MM = 0.5  # a tie point this near the tie path lies on it


def own_place(config: Config, key: str) -> float:
    """Value of an axis at which a configuration is what it is.

    Parameters
    ----------
    config : Config
    key : str          of the axis: named, or a dotted key of the configuration

    Returns
    -------
    float
        NaN where there is none: a key that is not set, a tie point beside the tie path.
    """
    try:
        value = _NAMED[key](config) if key in _NAMED else _held(config, key)
    except RuntrueError:  # a bait without what the axis needs
        return math.nan
    return float(value) if isinstance(value, int | float) else math.nan


def _held(config: Config, key: str) -> Any:
    """What a dotted key holds, None where there is nothing."""
    held: Any = config
    for part in key.split("."):
        if part.isdecimal():
            held = held[int(part)] if held and int(part) < len(held) else None
        else:
            held = getattr(held, part, None)
    return held


def _tie(config: Config) -> float:
    tie = config.bait.tie
    if tie is None:
        return math.nan
    path = tie_path(config)
    distance, gap = path.nearest(tie.from_nose_mm, tie.above_centreline_mm)
    return distance if gap <= NEAR_MM else math.nan


def _rise(config: Config) -> float:
    line = config.line
    if line is None or abs(line.rod_tip_height_m) > line.length_m:
        return math.nan
    return math.degrees(math.asin(line.rod_tip_height_m / line.length_m))


def _buoyancy(config: Config) -> float:
    bait = assemble(config)
    return (bait.water.density * bait.volume - bait.mass) * 1e3


def _bend(config: Config) -> float:
    return math.nan if config.bait.tie is None else 0.0


_NAMED = {
    "tie_path_mm": _tie,
    "line_rise_deg": _rise,
    "reserve_buoyancy_g": _buoyancy,
    "eye_bend_deg": _bend,
}
