"""Measures of a motion: angles about the track, the stationary part, amplitudes, sweeps.

What the measures mean, and their types; the numbers come from ``sim.kernels.motion``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sim.bait.assembly import Assembly
from sim.bait.frame import heading_deg as track_heading
from sim.config.models import Config
from sim.kernels import motion
from sim.kernels.motion import (
    CYCLES_A_BLOCK,
    FEWEST_BLOCKS,
    FLOOR_DEG,
    PITCH_FLOOR_DEG,
    SHORTEST_BLOCK_S,
    STEEPEST_DEG,
    STILL_DEG,
)

__all__ = [
    "CYCLES_A_BLOCK",
    "FEWEST_BLOCKS",
    "FLOOR_DEG",
    "PITCH_FLOOR_DEG",
    "SHORTEST_BLOCK_S",
    "STEEPEST_DEG",
    "STILL_DEG",
    "Angles",
    "Stationary",
    "half_range",
    "mean_crossing_frequency",
    "run_measures",
    "run_params",
    "stationary_part",
    "track_angles",
    "wrapped",
]


def _plain(series: np.ndarray) -> np.ndarray:
    """The series as the one kind of array that the kernels are compiled for."""
    return np.require(series, np.float64, ["C", "A", "W"])


class Angles(NamedTuple):
    """Attitude about the track, each shape (n,): yaw, pitch, roll [deg, unwrapped], twist [turns].

    Yaw, pitch and roll are the Euler angles of R = Rz(yaw) Ry(pitch) Rx(roll) after the heading of
    the retrieve is taken off; they are for reports. ``twist`` counts turns about the direction of
    the track (swing-twist split of the quaternion), which has no singular attitude short of the
    bait swimming backward; spinning is judged from it alone.
    """

    yaw: np.ndarray
    pitch: np.ndarray
    roll: np.ndarray
    twist: np.ndarray


def _plain_angles(angles: Angles) -> tuple[np.ndarray, ...]:
    """The four series of the angles, all as long as each other, for the kernels."""
    series = tuple(_plain(s) for s in angles)
    n = series[0].size
    if n == 0 or any(s.shape != (n,) for s in series):
        shapes = ", ".join(str(s.shape) for s in series)
        raise ValueError(f"angles of shapes {shapes}: must all be (n,) with n of 1 or more")
    return series


def track_angles(attitude: np.ndarray, heading_deg: float) -> Angles:
    """Angles of a series of attitudes about the track.

    Parameters
    ----------
    attitude : ndarray, shape (n, 4)    unit quaternions, scalar first, bait frame to earth
    heading_deg : float                 direction of the track about the earth's z axis
    """
    attitude = _plain(attitude)
    if attitude.ndim != 2 or attitude.shape[1] != 4:
        raise ValueError(f"attitude of shape {attitude.shape}: must be (n, 4)")
    angles = Angles(*np.empty((4, attitude.shape[0])))
    motion.track_angles(attitude, float(heading_deg), *angles)
    return angles


def mean_crossing_frequency(series: np.ndarray, step: float) -> float:
    """Frequency [Hz] from the crossings of the mean, NaN without two in one sense.

    A crossing counts once the series has been beyond the mean by a fifth of its standard
    deviation, so that a ripple on the wobble is not counted; times are interpolated. The mean of
    both senses is given, so a mirrored motion has the same frequency.
    """
    return float(motion.crossing_frequency(_plain(series), float(step)))


def half_range(series: np.ndarray) -> float:
    """Half of peak to peak."""
    return float(motion.half_range(_plain(series)))


def wrapped(angle_deg: float) -> float:
    """The same angle within -180 to 180 degrees."""
    return float(motion.wrapped(float(angle_deg)))


@dataclass(frozen=True)
class Stationary:
    """The stationary part of a run: first and last record, and whether there is one."""

    first: int
    last: int
    found: bool
    turning: bool


def stationary_part(angles: Angles, step: float, tolerance: float) -> Stationary:
    """Find the last stretch over which blocks of the motion look alike.

    Parameters
    ----------
    angles : Angles
    step : float         time between records [s]
    tolerance : float    largest relative change between blocks

    Notes
    -----
    Blocks are an eighth of the run, at least a second and at least four wobbles or, for a bait
    that turns over, one and a quarter turns. Going back from the end, every block that agrees with
    the last one belongs to the stationary part; two are the least, half of the run the most, so
    that what still creeps early in the run stays out. Without, the second half is returned, marked
    as not found.
    """
    found = motion.stationary_part(*_plain_angles(angles), float(step), float(tolerance), 1.0)
    return Stationary(*found)


def run_params(config: Config, bait: Assembly) -> np.ndarray:
    """What measuring a run needs to know of it, shape (N_PARAM,): see ``sim.kernels.motion``."""
    params = np.zeros(motion.N_PARAM)
    params[motion.HEADING_DEG] = track_heading(config)
    params[motion.ON_LINE] = config.line is not None
    params[motion.TIED] = bait.r_b_tie is not None
    if bait.r_b_tie is not None:
        params[motion.TIE : motion.TIE + 3] = bait.r_b_tie
    params[motion.CENTRE : motion.CENTRE + 3] = bait.centre_of_gravity
    params[motion.LENGTH] = bait.body.length if bait.body is not None else 0.0
    return params


def run_measures(
    config: Config,
    bait: Assembly,
    part: Stationary,
    angles: Angles,
    step: float,
    position: np.ndarray,
    attitude: np.ndarray,
    tension: np.ndarray,
    rod: np.ndarray,
) -> dict[str, float]:
    """Measures over the stationary part.

    Parameters
    ----------
    config, bait : Config, Assembly
    part : Stationary
    angles : Angles, each shape (n,)
    step : float                       time between records [s]
    position : ndarray, shape (n, 3)   of the centre of gravity, earth frame [m]
    attitude : ndarray, shape (n, 4)
    tension : ndarray, shape (n,)      [N]
    rod : ndarray, shape (n, 3)        rod tip [m], NaN without a line

    Returns
    -------
    dict
        Amplitudes are half of peak to peak; sweeps are peak to peak across the track, the mean
        over the wobbles, so that a drift does not count (without a wobble the drift is taken
        off). Side drift is metres to starboard per metre travelled: with a line the slope of the
        line as seen from above (a bait that runs off at a steady angle travels along it), without
        one the slope of the path. Turns are net turns about the track over the part, positive
        starboard side down. For a bait that keeps turning and a free one that comes near straight
        up or down, Euler angles mean nothing: yaw and roll amplitude, lean and frequency are NaN.
        The depth rate is positive for a bait that still goes down. The most turns are those between
        any two moments of the whole run, without sign.
    """
    yaw, pitch, roll, twist = _plain_angles(angles)
    place, quat, pull, tip = _plain(position), _plain(attitude), _plain(tension), _plain(rod)
    # compiled code reads on past the end of an array
    shortest = min(yaw.size, place.shape[0], quat.shape[0], pull.size, tip.shape[0])
    if not 0 <= part.first <= part.last < shortest:
        raise ValueError(
            f"records {part.first} to {part.last} of a series of {shortest}: must lie within it"
        )
    nose, tail, out = np.empty(yaw.size), np.empty(yaw.size), np.empty(motion.N_OUT)
    motion.part_measures(
        int(part.first), int(part.last), bool(part.turning), yaw, pitch, roll, twist, place, quat,
        pull, tip, float(step), run_params(config, bait), nose, tail, out,
    )  # fmt: skip
    return dict(zip(motion.MEASURES, out[motion.FIRST_MEASURE :].tolist(), strict=True))
