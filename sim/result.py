"""What one run returns: trajectory, status, class, measures, provenance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sim.config.models import Config

STATUSES = ("settled", "not settled", "diverged", "line in", "free")
MOTION_CLASSES = ("tight", "balanced", "over-rolling", "spinning")


@dataclass(frozen=True, eq=False)
class RunResult:
    """One simulated retrieve.

    Attributes
    ----------
    config : Config                    the resolved configuration
    time : ndarray, shape (n,)         [s]
    position : ndarray, shape (n, 3)   centre of gravity, earth frame, z down from the surface [m]
    attitude : ndarray, shape (n, 4)   unit quaternion, scalar first, bait frame to earth
    velocity : ndarray, shape (n, 6)   u, v, w [m/s] over ground and p, q, r [rad/s], bait frame
    wake : ndarray, shape (n, 2)       wake oscillator s [-] and ds/dt [1/s]
    line_tension : ndarray, shape (n,) in the line, the half of its own drag that the tie point
                                       carries included [N]; zeros without a line
    rod_tip : ndarray, shape (n, 3)    rod tip, earth frame [m]; NaN without a line
    status : str                       did the numerics and the motion settle: one of STATUSES
    message : str                      why the run ended, in plain words
    motion_class : str or None         what the bait did: one of MOTION_CLASSES, None where the
                                       motion cannot be classed
    class_reason : str                 which limit decided, with the figures
    measures : mapping of str to float measures of the window, names end in the unit; NaN where a
                                       measure does not apply; empty for a run that diverged
    margins : mapping of str to float  distance to each class limit, in the limit's own unit;
                                       negative beyond it
    window : tuple of float            start and end of the part measured [s]: the stationary part
                                       when status is "settled", else the second half of the run;
                                       (nan, nan) for a run that diverged
    stats : mapping of str to float    steps, right-hand sides, extensions
    warnings : tuple of str
    provenance : mapping of str to str versions, digests, date, host

    Notes
    -----
    Rows after a divergence are NaN: repeating the last state would look like steady motion.
    """

    config: Config
    time: np.ndarray
    position: np.ndarray
    attitude: np.ndarray
    velocity: np.ndarray
    wake: np.ndarray
    line_tension: np.ndarray
    rod_tip: np.ndarray
    status: str
    message: str
    motion_class: str | None
    class_reason: str
    measures: Mapping[str, float]
    margins: Mapping[str, float]
    window: tuple[float, float]
    stats: Mapping[str, float]
    warnings: tuple[str, ...] = ()
    provenance: Mapping[str, str] = field(default_factory=dict)
