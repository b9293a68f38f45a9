"""Small baits for the comparison cases.

Where a value comes from is said beside it in one of these words:

* read in the source
* read in a secondary copy: public code or notes that quote the source
* computed from the formula: a closed form evaluated here, or once with the same formula
* from memory, high (or medium) confidence: to be read up; none of low confidence decides a test
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.interpolate import BarycentricInterpolator

import sim

SECONDARY = "read in a secondary copy"
COMPUTED = "computed from the formula"
MEMORY_HIGH = "from memory, high confidence"

GRAVITY = 9.80665
WATER = {"kind": "fresh", "temperature_c": 20.0, "surface": False}
NO_LOADS = dict.fromkeys(
    (
        "weight", "buoyancy", "added_mass", "bill", "plates", "wake", "body_drag", "tail",
        "axial_drag", "hooks", "line",
    ),
    False,
)  # fmt: skip


def config(bait: Mapping[str, Any], loads: Sequence[str] = (), **tables: Any) -> sim.Config:
    """A configuration in water without end in which only the named loads act."""
    data: dict[str, Any] = {
        "bait": bait,
        "water": dict(WATER),
        "loads": {**NO_LOADS, **dict.fromkeys(loads, True)},
    }
    for key, table in tables.items():
        data[key] = {**data.get(key, {}), **table}
    return sim.config_from_dict(data)


def ellipsoid(
    length_mm: float, width_mm: float, height_mm: float, density_g_cm3: float = 1.0
) -> dict[str, Any]:
    """The table of an ellipsoid body; sizes are whole axes."""
    return {
        "form": "ellipsoid",
        "length_mm": length_mm,
        "width_mm": width_mm,
        "height_mm": height_mm,
        "density_g_cm3": density_g_cm3,
    }


def flat_plate(length_mm: float, width_mm: float, **more: Any) -> dict[str, Any]:
    """The table of a plate in the plane of x and y, its length along x, centred at the origin."""
    return {
        "from_nose_mm": 0.5 * length_mm,
        "above_centreline_mm": 0.0,
        "length_mm": length_mm,
        "width_mm": width_mm,
        "angle_deg": 0.0,
        "outline": "square",
        "thickness_mm": 1.0,
        "density_g_cm3": 1.2,
        **more,
    }


def lone_plate(length_mm: float, width_mm: float, **more: Any) -> sim.Config:
    """One plate with its loads and its added mass, and nothing else.

    ``solver`` may be given as a keyword; everything else goes to the plate.
    """
    solver = more.pop("solver", {})
    plate = flat_plate(length_mm, width_mm, **more)
    return config({"plate": [plate]}, ("plates", "added_mass"), solver=solver)


def crossings(time: np.ndarray, series: np.ndarray) -> np.ndarray:
    """Times of the upward zero crossings, by a cubic through the four points around each."""
    found = []
    for i in np.flatnonzero((series[:-1] < 0.0) & (series[1:] >= 0.0)):
        low = min(max(i - 1, 0), time.size - 4)
        four = slice(low, low + 4)
        # series against time runs one way here, so time is a smooth function of the series
        found.append(float(BarycentricInterpolator(series[four], time[four])(0.0)))
    return np.array(found)
