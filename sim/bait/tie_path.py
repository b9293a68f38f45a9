"""The tie path: down the nose and out along the bill, where a maker drills trial holes."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from sim.bait.cached import Keyed, read_only
from sim.bait.frame import MM
from sim.bait.sections import FORM_KEYS, outline_at
from sim.config.models import Body, Config
from sim.errors import RunError

TOP_SHARE = 0.85  # the path starts where the nose has this share of the greatest upper height
POINTS = 400  # along each edge of the nose
KEPT = 128  # paths that are remembered, 30 kB each


class TiePath(NamedTuple):
    """Points of the tie path in the plane of symmetry.

    Attributes
    ----------
    distance_mm : ndarray, shape (n,)    along the path, 0 where the bill leaves the nose,
                                         negative up the nose, positive out along the bill
    from_nose_mm, above_centreline_mm : ndarray, shape (n,)
    """

    distance_mm: np.ndarray
    from_nose_mm: np.ndarray
    above_centreline_mm: np.ndarray

    def at(self, distance_mm: float) -> tuple[float, float]:
        """(from_nose_mm, above_centreline_mm) at a distance, held at the ends of the path."""
        return (
            float(np.interp(distance_mm, self.distance_mm, self.from_nose_mm)),
            float(np.interp(distance_mm, self.distance_mm, self.above_centreline_mm)),
        )

    def nearest(self, from_nose_mm: float, above_centreline_mm: float) -> tuple[float, float]:
        """Place on the path nearest to a point: its distance along the path, and the gap [mm]."""
        points = np.column_stack([self.from_nose_mm, self.above_centreline_mm])
        # onto the pieces between the points: the front of a blunt nose is one piece, mm long
        pieces = np.diff(points, axis=0)
        there = np.array([from_nose_mm, above_centreline_mm]) - points[:-1]
        share = np.clip((there * pieces).sum(axis=1) / (pieces**2).sum(axis=1), 0.0, 1.0)
        gap = np.hypot(*(there - share[:, None] * pieces).T)
        at = int(gap.argmin())
        step = self.distance_mm[at + 1] - self.distance_mm[at]
        return float(self.distance_mm[at] + share[at] * step), float(gap[at])


def tie_path(config: Config) -> TiePath:
    """Lay the tie path of a bait with a body and a bill.

    The path runs from the top of the nose around the nose tip to the place where the bill leaves
    the body (the outline's point nearest to the bill's centreline), then straight to the bill's
    tip. Mounting errors of the bill do not move it.

    Raises
    ------
    RunError
        Without a body or a bill there is no such path.
    """
    body, bill = config.bait.body, config.bait.bill
    if body is None or bill is None:
        raise RunError(
            f"{config.source_path or 'config'}: a tie path needs [bait.body] and [bait.bill]."
        )
    # with 0.0 added, -0.0 is the number that as a key it equals
    root_and_run = (
        bill.from_nose_mm + 0.0,
        bill.above_centreline_mm + 0.0,
        bill.length_mm,
        bill.angle_deg + 0.0,
    )
    return _path(Keyed(body, FORM_KEYS), *root_and_run)


@lru_cache(maxsize=KEPT)
def _nose(key: Keyed[Body]) -> tuple[np.ndarray, np.ndarray]:
    """The body's outline from the top of the nose round the tip to the greatest depth [mm]."""
    body = key.table
    length = body.length_mm * MM
    fine = outline_at(body, np.linspace(0.0, length, 2000))
    crest = int(np.argmax(fine.upper))
    top = float(
        np.interp(TOP_SHARE * fine.upper[crest], fine.upper[: crest + 1], fine.aft[: crest + 1])
    )
    deepest = float(fine.aft[fine.lower >= (1.0 - 1e-6) * fine.lower.max()][-1])
    # dense toward the tip, where a round nose is steep
    share = np.linspace(0.0, 1.0, POINTS) ** 2
    upper = outline_at(body, share[::-1] * top)
    lower = outline_at(body, share[1:] * deepest)
    return (
        read_only(np.concatenate([upper.aft, lower.aft]) / MM),
        read_only(np.concatenate([upper.upper, -lower.lower]) / MM),
    )


@lru_cache(maxsize=KEPT)
def _path(
    key: Keyed[Body],
    from_nose_mm: float,
    above_centreline_mm: float,
    length_mm: float,
    angle_deg: float,
) -> TiePath:
    """Path of a body and a bill, kept for those seen before."""
    x, z = _nose(key)
    angle = math.radians(angle_deg)
    root = np.array([from_nose_mm, above_centreline_mm])
    out = np.array([-math.cos(angle), -math.sin(angle)])  # in (from nose, above centreline)
    along = (x - root[0]) * out[0] + (z - root[1]) * out[1]
    nearest = np.clip(along, 0.0, length_mm)
    gap = np.hypot(x - root[0] - nearest * out[0], z - root[1] - nearest * out[1])
    leave = int(np.argmin(gap))
    start = float(nearest[leave])
    bill_points = root + np.linspace(start, length_mm, POINTS)[:, None] * out
    x = np.concatenate([x[: leave + 1], bill_points[:, 0]])
    z = np.concatenate([z[: leave + 1], bill_points[:, 1]])
    distance = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(z)))])
    keep = np.concatenate([[True], np.diff(distance) > 0.0])
    columns = distance[keep] - distance[leave], x[keep], z[keep]
    return TiePath(*(read_only(column) for column in columns))
