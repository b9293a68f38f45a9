"""The one place where a maker's measures become metres in the bait frame.

A maker measures from the nose tip: aft, up from the centreline, to the right. The bait frame has
x forward, y to starboard and z toward the belly. Vectors here have their origin at the nose tip
on the centreline; subtracting the centre of gravity gives the frame of the equations.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from sim.config.models import Config

MM = 1.0e-3
GRAM = 1.0e-3
GRAM_PER_CM3 = 1.0e3
MOTIONS = ("surge", "sway", "heave", "roll", "pitch", "yaw")  # SNAME 1950, in the order of nu


def from_nose(from_nose_mm: float, above_centreline_mm: float, right_mm: float = 0.0) -> np.ndarray:
    """Position in the bait axes, origin at the nose tip, shape (3,) [m]."""
    return np.array([-from_nose_mm, right_mm, -above_centreline_mm]) * MM


def as_measured(position: np.ndarray) -> tuple[float, float, float]:
    """Inverse of :func:`from_nose`: (from_nose_mm, above_centreline_mm, right_mm)."""
    x, y, z = np.asarray(position) / MM
    return float(-x), float(-z), float(y)


def cross_matrix(r: np.ndarray) -> np.ndarray:
    """Matrix S, shape (3, 3), with S @ v = r x v (Fossen 2011, eq. 2.10)."""
    return np.array([[0.0, -r[2], r[1]], [r[2], 0.0, -r[0]], [-r[1], r[0], 0.0]])


@cache
def gauss(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (-1 to 1) and weights (sum 2) of Gauss-Legendre integration."""
    points, weights = np.polynomial.legendre.leggauss(count)
    return points, weights


def heading(config: Config) -> np.ndarray:
    """Unit vector of the retrieve in the earth frame, shape (3,)."""
    angle = math.radians(heading_deg(config))
    return np.array([math.cos(angle), math.sin(angle), 0.0])


def through_water(config: Config) -> np.ndarray:
    """Velocity of the retrieve through the water, earth frame, shape (3,) [m/s]."""
    return config.retrieve.speed_m_s * heading(config) - current(config)


def current(config: Config) -> np.ndarray:
    """Velocity of the water, earth frame, shape (3,) [m/s]."""
    toward = math.radians(config.water.current_toward_deg)
    return config.water.current_m_s * np.array([math.cos(toward), math.sin(toward), 0.0])


def heading_deg(config: Config) -> float:
    """Direction of the track about the earth's z axis; without a line there is no retrieve."""
    return config.retrieve.heading_deg if config.line is not None else 0.0
