"""Baits of one part in water without end, on which only chosen loads act."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sim

RHO = 1000.0  # [kg/m^3]
MM = 1e-3
GRAVITY = 9.80665
LOADS = (
    "weight", "buoyancy", "added_mass", "bill", "plates", "wake", "body_drag", "tail",
    "axial_drag", "hooks", "line",
)  # fmt: skip


# deep, of round numbers
WATER: dict[str, Any] = {"density_kg_m3": RHO, "viscosity_m2_s": 1e-6, "surface": False}


def only(*on: str) -> dict[str, bool]:
    """Table of loads with all but the named ones off."""
    return {name: name in on for name in LOADS}


def lone(bait: Mapping[str, Any], on: Sequence[str] = (), **tables: Any) -> sim.Config:
    """A bait in water without end on which only the named loads act."""
    data = {
        "bait": bait,
        **tables,
        "water": {**WATER, **tables.get("water", {})},
        "loads": only(*on),
    }
    return sim.config_from_dict(data)


def ellipsoid(size: Sequence[float], density: float = 1.0) -> dict[str, Any]:
    """Table of an ellipsoid body; size are its whole axes in mm, density in g/cm3."""
    length, width, height = size
    return {
        "form": "ellipsoid",
        "length_mm": length,
        "width_mm": width,
        "height_mm": height,
        "density_g_cm3": density,
    }


def plate(length: float, width: float, **more: Any) -> dict[str, Any]:
    """Table of a square-cornered plate in the plane of x and y about the origin; sizes in mm."""
    return {
        "from_nose_mm": 0.5 * length,
        "above_centreline_mm": 0.0,
        "length_mm": length,
        "width_mm": width,
        "angle_deg": 0.0,
        "outline": "square",
        "thickness_mm": 1.0,
        "density_g_cm3": 1.2,
        **more,
    }
