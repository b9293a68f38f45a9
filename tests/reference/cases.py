"""Small baits for the comparison cases, and the loads the program puts on them.

Where a value comes from is said beside it in one of these words:

* read in the source
* read in a secondary copy: public code or notes that quote the source
* computed from the formula: a closed form evaluated here, or once with the same formula
* from memory, high (or medium) confidence: to be read up; none of low confidence decides a test
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

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


class FluidLoads(NamedTuple):
    """What acts at one state: SI, bait frame, about the centre of gravity.

    ``force`` and ``moment`` are the loads of the program. ``rate`` is M times the accelerations,
    shape (6,): loads together with the terms of the momentum equations, which hold the couple of
    the added mass.
    """

    force: np.ndarray
    moment: np.ndarray
    rate: np.ndarray
    bait: sim.Assembly


def fluid_loads(
    cfg: sim.Config,
    velocity: Sequence[float],
    rates: Sequence[float] = (0.0, 0.0, 0.0),
    level: bool = True,
) -> FluidLoads:
    """Loads at a velocity [m/s] and turning rates [rad/s], no line.

    The attitude is level, or that of the configured start.
    """
    start, bait = cfg.start, sim.assemble(cfg)
    attitude = (0.0, 0.0, 0.0) if level else (start.roll_deg, start.pitch_deg, start.yaw_deg or 0.0)
    found = sim.captive(cfg, velocity, rates, attitude, wake=start.wake)
    momentum = bait.rigid_mass @ np.concatenate([velocity, rates])
    rate = np.concatenate([found.total_force, found.total_moment])
    rate[:3] -= np.cross(rates, momentum[:3])
    rate[3:] -= np.cross(rates, momentum[3:]) + np.cross(velocity, momentum[:3])
    return FluidLoads(found.force, found.moment, rate, bait)


def crossings(time: np.ndarray, series: np.ndarray) -> np.ndarray:
    """Times of the upward zero crossings, by a cubic through the four points around each."""
    found = []
    for i in np.flatnonzero((series[:-1] < 0.0) & (series[1:] >= 0.0)):
        low = min(max(i - 1, 0), time.size - 4)
        four = slice(low, low + 4)
        # series against time runs one way here, so time is a smooth function of the series
        found.append(float(BarycentricInterpolator(series[four], time[four])(0.0)))
    return np.array(found)
