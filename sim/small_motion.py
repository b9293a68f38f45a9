"""Modes of the steady tow: small motions about it, their frequency and their growth."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial.transform import Rotation

from sim.bait.tie_path import tie_path
from sim.config import with_overrides
from sim.config.models import Config
from sim.errors import RunError
from sim.trim import Towed, Trim, balance

STEP = 1e-5  # of the central differences [m, rad, m/s, rad/s],
SLACK = 0.1  # or this share of the line's stretch, so that a stiff line does not go slack
# Small motions: position from the rod tip [m], turn about the bait axes [rad], nu [m/s, rad/s].
MOTIONS = ("x", "y", "z", "roll", "pitch", "yaw", "u", "v", "w", "p", "q", "r")
SIDEWAYS = np.array([1, 3, 5, 7, 9, 11])


@dataclass(frozen=True, eq=False)
class Mode:
    """One root of the linearised motion, a pair counted once.

    Attributes
    ----------
    name : str           "wobble", "lean", "line", or "" for the others
    root : complex       growth rate [1/s] and angular frequency [rad/s], imaginary part >= 0
    sideways : float     share of the motion that is sideways (sway, roll, yaw), 0 to 1
    shape : ndarray, shape (12,), complex    eigenvector over ``MOTIONS``, its largest angle 1 rad,
                                             or its largest shift 1 m where it hardly turns
    """

    name: str
    root: complex
    sideways: float
    shape: np.ndarray

    @property
    def growth_1_s(self) -> float:
        """Growth rate [1/s]; negative dies out."""
        return self.root.real

    @property
    def frequency_hz(self) -> float:
        """Frequency [Hz], 0 for a real root."""
        return self.root.imag / (2.0 * math.pi)

    @property
    def oscillates(self) -> bool:
        """True for a pair, False for a real root."""
        return self.root.imag > 0.0

    @property
    def doubling_s(self) -> float:
        """Time in which the motion doubles, or halves where it dies out [s]."""
        return math.log(2.0) / abs(self.root.real) if self.root.real != 0.0 else math.inf

    @property
    def roll_to_yaw(self) -> float:
        """Amplitude of roll over that of yaw, about the bait axes."""
        yaw = abs(self.shape[5])
        return abs(self.shape[3]) / yaw if yaw > 0.0 else math.inf

    @property
    def roll_after_yaw_deg(self) -> float:
        """Phase by which roll follows yaw [degrees]; negative leads."""
        return -math.degrees(cmath.phase(self.shape[3] / self.shape[5])) if self.shape[5] else 0.0


@dataclass(frozen=True, eq=False)
class Modes:
    """Steady tow and the modes about it.

    Attributes
    ----------
    trim : Trim
    matrix : ndarray, shape (12, 12)    of the linearised motion over ``MOTIONS``
    modes : tuple of Mode               all of them, sideways ones first, slowest decay first
    wobble : Mode or None               the oscillatory yaw-roll pair; None where there is none
    lean : Mode or None                 the slow root: how a lean, once there, goes on; a real one,
                                        or a second pair where it has met another root
    """

    trim: Trim
    matrix: np.ndarray
    modes: tuple[Mode, ...]
    wobble: Mode | None
    lean: Mode | None


def linearise(towed: Towed, pose: np.ndarray) -> np.ndarray:
    """Matrix of small motions about a steady tow, shape (12, 12), over ``MOTIONS``.

    Central differences of the right-hand side. The turn is a rotation vector about the bait axes,
    so no order of angles enters.
    """
    place, attitude, nu = towed.steady(pose)

    def motion(small: np.ndarray) -> np.ndarray:
        turn, rates = small[3:6], nu + small[6:]
        rate = towed.rate(place + small[:3], attitude * Rotation.from_rotvec(turn), rates)
        drift = rate[:3] - np.array([towed.speed, 0.0, 0.0])
        omega = rates[3:]
        return np.concatenate([drift, omega + 0.5 * np.cross(turn, omega), rate[3:]])

    towed.imbalance(pose)
    step = min(STEP, SLACK * towed.length * towed.tension / towed.stiffness)
    matrix = np.empty((12, 12))
    for i in range(12):
        small = np.zeros(12)
        small[i] = step
        matrix[:, i] = (motion(small) - motion(-small)) / (2.0 * step)
    return matrix


def _of_the_line(
    matrix: np.ndarray, roots: np.ndarray, vectors: np.ndarray, line: np.ndarray
) -> set[int]:
    """Which of all roots are those by which a bait swings back behind its rod tip.

    With the line's direction held there are two fewer, one sideways and one up and down. The others
    are matched one by one, by the nearness of the roots and by how far the turn is sideways, since
    roots of the one kind may lie near those of the other.
    """
    # positions along the line and across it
    across = np.linalg.svd(line[None, :])[2]
    turned = np.eye(12)
    turned[:3, :3] = across
    kept = np.array([0, *range(3, 12)])
    held, moves = np.linalg.eig((turned @ matrix @ turned.T)[np.ix_(kept, kept)])

    def aside(turns: np.ndarray) -> np.ndarray:
        parts = np.abs(turns) ** 2
        return parts[[0, 2]].sum(axis=0) / (parts.sum(axis=0) + 1e-30)

    far = np.abs(held[:, None] - roots[None, :]) / (1.0 + np.abs(roots[None, :]))
    far += np.abs(aside(moves[1:4])[:, None] - aside(vectors[3:6])[None, :])
    _, matched = linear_sum_assignment(far)
    return set(range(roots.size)) - set(matched.tolist())


def _named(roots: np.ndarray, sideways: np.ndarray, of_the_line: set[int]) -> dict[int, str]:
    """Names of roots: index into ``roots`` to name.

    Of those that are mostly sideways, and not the line's, the pair that swings fastest for its
    decay (the largest sum of growth and angular frequency) is the wobble, and the slowest of the
    rest the lean.
    """
    names = dict.fromkeys(of_the_line, "line")
    found = [
        i
        for i in range(roots.size)
        if i not in of_the_line and sideways[i] > 0.5 and roots[i].imag >= 0.0
    ]
    pairs = [i for i in found if roots[i].imag > 0.0]
    wobble = max(pairs, key=lambda i: roots[i].imag + roots[i].real, default=None)
    if wobble is not None:
        names[wobble] = "wobble"
    rest = [i for i in found if i != wobble]
    if rest:
        names[max(rest, key=lambda i: roots[i].real)] = "lean"
    return names


def modes(config: Config) -> Modes:
    """Solve the steady tow of a bait and the modes of small motions about it.

    Parameters
    ----------
    config : Config    with a line

    Returns
    -------
    Modes

    Raises
    ------
    RunError
        Without a line, or where no steady tow is found.
    ConfigError
        When the parts of the bait contradict each other.

    Notes
    -----
    The bill's wake is left out: about its mean it is an oscillator of its own that drives the
    bait and, uncoupled (the default), is not driven by it. With ``coefficients.wake_coupling``
    above 0 the modes are those of the bait with the wake uncoupled.
    """
    return _modes(Towed(config))


def _modes(towed: Towed) -> Modes:
    trim = balance(towed)
    matrix = linearise(towed, trim.pose)
    roots, vectors = np.linalg.eig(matrix)
    length = towed.bait.body.length if towed.bait.body is not None else 0.1
    weights = np.abs(vectors[:6] * np.repeat([1.0 / length, 1.0], 3)[:, None]) ** 2
    share = weights[SIDEWAYS[:3]].sum(axis=0) / weights.sum(axis=0)
    names = _named(roots, share, _of_the_line(matrix, roots, vectors, trim.pose[:3]))
    found = []
    for i in np.flatnonzero(roots.imag >= 0.0):  # of a pair one is enough
        # a shift of a thousand lengths without a turn is one that hardly turns
        largest = int((weights[:, i] * np.repeat([1e-6, 1.0], 3)).argmax())
        shape = vectors[:, i] / vectors[largest, i]
        found.append(Mode(names.get(int(i), ""), complex(roots[i]), float(share[i]), shape))
    found.sort(key=lambda m: (m.sideways <= 0.5, -m.root.real))
    by_name = {m.name: m for m in found if m.name}
    return Modes(trim, matrix, tuple(found), by_name.get("wobble"), by_name.get("lean"))


@dataclass(frozen=True, eq=False)
class TiePoint:
    """Modes with the line tied at one point of the tie path; None without a steady tow there."""

    config: Config
    distance_mm: float
    from_nose_mm: float
    above_centreline_mm: float
    modes: Modes | None


def modes_along(
    config: Config,
    pitch_mm: float = 1.0,
    progress: Callable[[float, float], None] | None = None,
) -> tuple[TiePoint, ...]:
    """Modes of a bait tied at every ``pitch_mm`` of its tie path, top of the nose first.

    Parameters
    ----------
    config : Config     with a line, a body and a bill
    pitch_mm : float    spacing along the path; the place where the bill leaves the nose (0) is
                        one of the points
    progress : callable, optional    called with the points done and their number

    Raises
    ------
    RunError
        Without a line, a body or a bill.
    """
    path = tie_path(config)
    first = math.ceil(path.distance_mm[0] / pitch_mm)
    last = math.floor(path.distance_mm[-1] / pitch_mm)
    points = []
    for i in range(first, last + 1):
        if progress is not None:
            progress(i - first, last + 1 - first)
        aft, above = path.at(i * pitch_mm)
        tied = with_overrides(
            config, {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
        )
        towed = Towed(tied)
        try:
            found = _modes(towed)
        except RunError:  # no balance there, which is an answer
            found = None
        points.append(TiePoint(tied, i * pitch_mm, aft, above, found))
    return tuple(points)
