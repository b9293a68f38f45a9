"""Measures of a motion: angles about the track, blocks, the stationary part, amplitudes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from sim.bait.assembly import Assembly
from sim.bait.frame import heading
from sim.config.models import Config

CYCLES_A_BLOCK = 4.0  # a block holds at least so many wobbles
SHORTEST_BLOCK_S = 1.0
FEWEST_BLOCKS = 2  # alike blocks that make a motion stationary
FLOOR_DEG = 0.5  # differences below this count as none
PITCH_FLOOR_DEG = 2.0  # the same for mean pitch, which creeps with depth and decides no class
STEEPEST_DEG = 85.0  # of a free motion; beyond it Euler angles flip
STILL_DEG = 0.02  # a yaw that moves less (rms) has no frequency


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


def track_angles(attitude: np.ndarray, heading_deg: float) -> Angles:
    """Angles of a series of attitudes about the track.

    Parameters
    ----------
    attitude : ndarray, shape (n, 4)    unit quaternions, scalar first, bait frame to earth
    heading_deg : float                 direction of the track about the earth's z axis
    """
    half = -0.5 * math.radians(heading_deg)
    c, s = math.cos(half), math.sin(half)
    w, x, y, z = np.asarray(attitude).T
    w, x, y, z = c * w - s * z, c * x - s * y, c * y + s * x, c * z + s * w
    yaw = np.arctan2(2.0 * (w * z + x * y), 1.0 - 2.0 * (y * y + z * z))
    pitch = np.arcsin(np.clip(2.0 * (w * y - z * x), -1.0, 1.0))
    roll = np.arctan2(2.0 * (w * x + y * z), 1.0 - 2.0 * (x * x + y * y))
    twist = np.unwrap(2.0 * np.arctan2(x, w)) / (2.0 * math.pi)
    return Angles(np.degrees(np.unwrap(yaw)), np.degrees(pitch), np.degrees(np.unwrap(roll)), twist)


def mean_crossing_frequency(series: np.ndarray, step: float) -> float:
    """Frequency [Hz] from the crossings of the mean, NaN without two in one sense.

    A crossing counts once the series has been beyond the mean by a fifth of its standard
    deviation, so that a ripple on the wobble is not counted; times are interpolated. The mean of
    both senses is given, so a mirrored motion has the same frequency.
    """
    x = series - series.mean()
    found = [f for f in (_upward(x, step), _upward(-x, step)) if math.isfinite(f)]
    return sum(found) / len(found) if found else math.nan


def _upward(x: np.ndarray, step: float) -> float:
    """Frequency [Hz] of the upward crossings of zero."""
    spread = float(x.std())
    if spread == 0.0:
        return math.nan
    below = x < -0.2 * spread
    crossings = np.flatnonzero((x[:-1] < 0.0) & (x[1:] >= 0.0))
    # a crossing counts when the series has been well below since the crossing before
    depths = np.concatenate([[0], np.cumsum(below)])
    kept, before = [], 0
    for i in crossings:
        if depths[i + 1] > depths[before]:
            kept.append(i + x[i] / (x[i] - x[i + 1]))
            before = int(i) + 1
    if len(kept) < 2:
        return math.nan
    return float((len(kept) - 1) / ((kept[-1] - kept[0]) * step))


def half_range(series: np.ndarray) -> float:
    """Half of peak to peak."""
    return 0.5 * float(np.ptp(series))


def wrapped(angle_deg: float) -> float:
    """The same angle within -180 to 180 degrees."""
    return (angle_deg + 180.0) % 360.0 - 180.0


class Block(NamedTuple):
    """Statistics of one block, compared to find the stationary part."""

    yaw: float  # root-mean-square amplitude about the mean, times sqrt(2) [deg]
    roll: float
    lean: float  # [deg]
    pitch: float
    turn_rate: float  # [turns/s]
    yaw_mean: float


def _block(angles: Angles, part: slice, step: float) -> Block:
    def swing(series: np.ndarray) -> float:
        return math.sqrt(2.0) * float(series[part].std())

    twist = angles.twist[part]
    return Block(
        swing(angles.yaw),
        swing(angles.roll),
        float(angles.roll[part].mean()),
        float(angles.pitch[part].mean()),
        float(twist[-1] - twist[0]) / ((twist.size - 1) * step),
        float(angles.yaw[part].mean()),
    )


def _alike(a: Block, b: Block, tolerance: float, turning: bool) -> bool:
    """True when two blocks show the same motion to within the tolerance."""
    if turning:
        rate = max(abs(a.turn_rate), abs(b.turn_rate))
        return (
            a.turn_rate * b.turn_rate > 0.0
            and abs(a.turn_rate - b.turn_rate) <= 4.0 * tolerance * rate
        )

    def near(x: float, y: float, scale: float, floor: float = FLOOR_DEG) -> bool:
        return abs(x - y) <= max(floor, tolerance * scale)

    return (
        near(a.yaw, b.yaw, max(a.yaw, b.yaw))
        and near(a.roll, b.roll, max(a.roll, b.roll))
        and near(a.lean, b.lean, max(a.roll, abs(a.lean)))
        and near(a.pitch, b.pitch, abs(a.pitch), PITCH_FLOOR_DEG)
        and near(a.yaw_mean, b.yaw_mean, max(a.yaw, abs(a.yaw_mean)))
    )


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
    n = angles.yaw.size
    half = n // 2
    tail = slice(half, n)
    length = max(SHORTEST_BLOCK_S, (n - 1) * step / 8.0)
    frequency = mean_crossing_frequency(angles.yaw[tail], step)
    net = angles.twist[-1] - angles.twist[half]
    turning = abs(net) >= 0.5
    if math.isfinite(frequency) and frequency > 0.0 and not turning:
        length = max(length, CYCLES_A_BLOCK / frequency)
    if turning:
        length = max(length, 1.25 * (n - half) * step / abs(net))
    size = round(length / step)
    count = (n - 1) // max(size, 1)
    if count < FEWEST_BLOCKS:
        return Stationary(half, n - 1, False, turning)
    starts = [n - 1 - (i + 1) * size for i in range(count)]
    blocks = [_block(angles, slice(s, s + size + 1), step) for s in starts]
    most = max(FEWEST_BLOCKS, (n - 1 - half) // size)
    kept = 1
    while kept < min(count, most) and _alike(blocks[0], blocks[kept], tolerance, turning):
        kept += 1
    if kept < FEWEST_BLOCKS:
        return Stationary(half, n - 1, False, turning)
    return Stationary(starts[kept - 1], n - 1, True, turning)


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
        The depth rate is positive for a bait that still goes down.
    """
    cut = slice(part.first, part.last + 1)
    span = (part.last - part.first) * step
    along = heading(config)
    side = np.array([-along[1], along[0], 0.0])
    rotation = Rotation.from_quat(attitude[cut], scalar_first=True)
    place = position[cut]
    length = bait.body.length if bait.body is not None else 0.0
    # straight up or down yaw and roll mean nothing; only free motions come there and stay upright
    steep = config.line is None and float(np.abs(angles.pitch[cut]).max()) > STEEPEST_DEG
    lost = part.turning or steep
    steady = lost or float(angles.yaw[cut].std()) < STILL_DEG
    frequency = math.nan if steady else mean_crossing_frequency(angles.yaw[cut], step)

    def sweep(from_nose: float) -> float:
        at = place + rotation.apply(np.array([-from_nose, 0.0, 0.0]) - bait.centre_of_gravity)
        across = at @ side
        if not math.isfinite(frequency):
            time = np.arange(across.size)
            return float(np.ptp(across - np.polyval(np.polyfit(time, across, 1), time))) * 1e3
        cycle = min(across.size, round(1.0 / (frequency * step)) + 1)
        count = across.size // cycle
        cycles = across[: count * cycle].reshape(count, -1)
        return float(np.ptp(cycles, axis=1).mean()) * 1e3

    if config.line is not None and bait.r_b_tie is not None:
        tie = place + rotation.apply(bait.r_b_tie)
        reach = rod[cut] - tie
        drift = -float((reach @ side).mean()) / float((reach @ along).mean())
    else:
        ahead, across = np.ptp((place @ along)[[0, -1]]), (place[-1] - place[0]) @ side
        drift = float(across) / float(ahead) if ahead > 1e-3 else math.nan
    quarter = max(1, place.shape[0] // 4)
    twist, depth = angles.twist[cut], place[:, 2]
    # of a bait that does not turn, what is left after the wobble: nothing but a change of lean
    turns = float(twist[-1] - twist[0])
    if not part.turning:
        turns = float(twist[-quarter:].mean() - twist[:quarter].mean())
    sinking = float(depth[-quarter:].mean() - depth[:quarter].mean())
    between = max(step, (place.shape[0] - quarter) * step)
    return {
        "wobble_frequency_hz": frequency,
        "yaw_amplitude_deg": math.nan if lost else half_range(angles.yaw[cut]),
        "roll_amplitude_deg": math.nan if lost else half_range(angles.roll[cut]),
        "pitch_amplitude_deg": half_range(angles.pitch[cut]),
        "lean_deg": math.nan if lost else wrapped(float(angles.roll[cut].mean())),
        "pitch_deg": float(angles.pitch[cut].mean()),
        "turns": turns,
        "turn_rate_hz": turns / span if span > 0.0 else 0.0,
        "depth_m": float(depth.mean()),
        "depth_rate_mm_s": 1e3 * sinking / between,
        "line_tension_n": float(tension[cut].mean()) if config.line is not None else math.nan,
        "side_drift_m_per_m": drift,
        "nose_sweep_mm": sweep(0.0),
        "tail_sweep_mm": sweep(length),
        "speed_m_s": float(np.linalg.norm(place[-1] - place[0])) / span if span > 0.0 else 0.0,
    }
