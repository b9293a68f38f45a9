"""Starts of a cell: that of the configuration, set ones, and ones drawn at random."""

from __future__ import annotations

from typing import Any

import numpy as np

__all__ = ["LIMITS", "RANDOM_KEYS", "STARTS", "STEADY", "random_start"]

STEADY = "steady"
STARTS: dict[str, dict[str, Any]] = {
    STEADY: {},
    "rolled": {"start.roll_deg": 150.0},
    "kick": {"start.yaw_deg": 50.0},
}
# Limits of the starts drawn at random, either side: any roll, nose and tail never swapped, and up
# to one turn a second.
ROLL_DEG, PITCH_DEG, YAW_DEG, RATE_DEG_S = 180.0, 45.0, 60.0, 360.0
LIMITS = np.array([ROLL_DEG, PITCH_DEG, YAW_DEG, RATE_DEG_S, RATE_DEG_S, RATE_DEG_S])
RANDOM_KEYS = ("start.roll_deg", "start.pitch_deg", "start.yaw_deg", "start.rates_deg_s")


def random_start(seed: int, cell: int, number: int) -> dict[str, Any]:
    """Overrides of one start drawn at random, evenly within the limits.

    Parameters
    ----------
    seed : int           entropy of the study
    cell, number : int   flat index of the cell and number of the start: they alone decide, not
                         what was drawn before
    """
    sequence = np.random.SeedSequence(seed, spawn_key=(cell, number))
    roll, pitch, yaw, *rates = np.random.default_rng(sequence).uniform(-LIMITS, LIMITS).tolist()
    return dict(zip(RANDOM_KEYS, (roll, pitch, yaw, rates), strict=True))
