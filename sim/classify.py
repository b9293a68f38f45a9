"""From measures to a class: only the stationary motion decides, with limits from the config."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from sim.config.models import Limits

CLASSES = ("tight", "balanced", "over-rolling", "spinning")

NEEDED = ("yaw_amplitude_deg", "roll_amplitude_deg", "lean_deg")  # by a bait that does not turn


class Verdict(NamedTuple):
    """Class of a motion, why, and how far every limit is."""

    motion_class: str | None
    reason: str
    margins: dict[str, float]


def margins(measures: Mapping[str, float], limits: Limits) -> dict[str, float]:
    """Distance to each limit, in the unit of that limit; negative beyond it.

    Keys: spin [turns], roll, lean, tight_yaw [degrees] (tight_yaw is negative for a tight bait),
    roll_to_yaw [-], NaN where the roll is too small for the ratio to count or the bait spins.
    """
    roll, yaw = measures["roll_amplitude_deg"], measures["yaw_amplitude_deg"]
    ratio = math.nan
    if roll > limits.roll_to_yaw_from_deg:
        ratio = limits.roll_to_yaw - roll / max(yaw, 1e-9)
    return {
        "spin": limits.spin_turns - abs(measures["turns"]),
        "roll": limits.roll_deg - roll,
        "lean": limits.lean_deg - abs(measures["lean_deg"]),
        "roll_to_yaw": ratio,
        "tight_yaw": yaw - limits.tight_yaw_deg,
    }


def classify(measures: Mapping[str, float], turning: bool, limits: Limits) -> Verdict:
    """Class a stationary motion.

    Parameters
    ----------
    measures : mapping    of the stationary part, see ``measure.run_measures``
    turning : bool        the bait keeps turning about the track in one sense
    limits : Limits

    Notes
    -----
    Order: spinning, over-rolling, tight, balanced. A measure that is not known gives no class. The
    tie position plays no part.
    """
    distance = margins(measures, limits)
    yaw, roll = measures["yaw_amplitude_deg"], measures["roll_amplitude_deg"]
    lean = measures["lean_deg"]
    if turning and distance["spin"] <= 0.0:
        return Verdict(
            "spinning",
            f"{abs(measures['turns']):.1f} net turns about the track in one sense, limit"
            f" {limits.spin_turns:g}",
            distance,
        )
    unknown = [name for name in NEEDED if not math.isfinite(measures[name])]
    if unknown:
        return Verdict(None, f"no class: not measured: {', '.join(unknown)}", distance)
    if distance["roll"] < 0.0:
        reason = f"roll amplitude {roll:.1f} deg above {limits.roll_deg:g} deg"
        return Verdict("over-rolling", reason, distance)
    if distance["lean"] < 0.0:
        side = "starboard" if lean > 0.0 else "port"
        reason = f"leans {abs(lean):.1f} deg to {side}, limit {limits.lean_deg:g} deg"
        return Verdict("over-rolling", reason, distance)
    if distance["roll_to_yaw"] < 0.0:
        times = roll / max(yaw, 1e-9)
        reason = f"rolls {times:.1f} times as far as it yaws, limit {limits.roll_to_yaw:g}"
        return Verdict("over-rolling", reason, distance)
    if distance["tight_yaw"] < 0.0:
        reason = f"yaw amplitude {yaw:.1f} deg below {limits.tight_yaw_deg:g} deg"
        if max(yaw, roll) < limits.no_action_deg:
            reason += "; no visible action"
        return Verdict("tight", reason, distance)
    reason = (
        f"yaw amplitude {yaw:.1f} deg at or above {limits.tight_yaw_deg:g} deg, roll {roll:.1f}"
        f" deg within {limits.roll_deg:g} deg"
    )
    return Verdict("balanced", reason, distance)


def goes_round(
    motion_class: np.ndarray, most_turns: np.ndarray, spin_turns: float | np.ndarray
) -> np.ndarray:
    """Runs that go round at any time: class spinning, or turned over on the way.

    A corkscrewing bait mostly rises, and at the surface does something else; its class is that of
    the end.

    Parameters
    ----------
    motion_class : ndarray of int8    places in ``CLASSES``, -1 for no class
    most_turns : ndarray              most net turns between two moments of the whole run
    spin_turns : float or ndarray     limit
    """
    # a comparison with NaN is False
    return np.asarray((motion_class == CLASSES.index("spinning")) | (most_turns >= spin_turns))


def nearest_limit(distance: Mapping[str, float], limits: Limits) -> tuple[str, float]:
    """Name of the limit that decides or comes nearest, and the distance to it in its own unit.

    Of a bait beyond limits the one that is relatively farthest behind (spinning counts first):
    the way back to balanced. Otherwise the relatively nearest limit.

    Raises ``ValueError`` when no distance is known; ask only for a motion that has a class.
    """
    scale = {
        "spin": limits.spin_turns,
        "roll": limits.roll_deg,
        "lean": limits.lean_deg,
        "roll_to_yaw": limits.roll_to_yaw,
        "tight_yaw": limits.tight_yaw_deg,
    }
    known = {k: v for k, v in distance.items() if math.isfinite(v)}
    beyond = {k: v for k, v in known.items() if v < 0.0 and k != "tight_yaw"}
    if "spin" in beyond:
        name = "spin"
    elif beyond:
        name = min(beyond, key=lambda k: beyond[k] / scale[k])
    else:
        name = min(known, key=lambda k: abs(known[k]) / scale[k])
    return name, known[name]
