"""Outlines of a bait's parts seen from the side, for drawings to scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from sim.bait.frame import MM, from_nose
from sim.bait.plates import plate_axes, plate_outline
from sim.bait.sections import outline_at
from sim.config.models import Bait, Ballast, Bill, Body


@dataclass(frozen=True)
class SideOutline:
    """A bait seen from its starboard side.

    All points are (distance behind the nose tip, height above the centreline) [mm].

    Attributes
    ----------
    body : ndarray, shape (n, 2), or None          along the back from nose to tail, then the belly
    bill : ndarray, shape (k, 2), or None
    plates : tuple of (name, ndarray)              further plates
    ballast : tuple of (name, ndarray (2,), radius, inside)  drawn as spheres of their volume
    hooks : tuple of (name, ndarray (2,), ndarray (2,))      hanger and centre of mass
    tie : ndarray, shape (2,), or None
    """

    body: np.ndarray | None
    bill: np.ndarray | None
    plates: tuple[tuple[str, np.ndarray], ...]
    ballast: tuple[tuple[str, np.ndarray, float, bool], ...]
    hooks: tuple[tuple[str, np.ndarray, np.ndarray], ...]
    tie: np.ndarray | None

    def extent(self) -> tuple[float, float, float, float]:
        """Foremost, aftmost, lowest and highest point of all parts [mm]; NaN without any part."""
        points = [p for p in (self.body, self.bill) if p is not None]
        points += [p for _, p in self.plates]
        for _, centre, radius, _ in self.ballast:
            points.append(np.array([centre - radius, centre + radius]))
        points += [np.array([a, b]) for _, a, b in self.hooks]
        if self.tie is not None:
            points.append(self.tie[None, :])
        if not points:
            return (math.nan, math.nan, math.nan, math.nan)
        every = np.vstack(points)
        low, high = every.min(axis=0), every.max(axis=0)
        return float(low[0]), float(high[0]), float(low[1]), float(high[1])


def body_outline(body: Body, points: int = 200) -> np.ndarray:
    """Side outline of the body, shape (n, 2) [mm]: the back from nose to tail, the belly back.

    Parameters
    ----------
    body : Body
    points : int    places along the length, the stations come on top of them
    """
    # cosine spacing draws the round ends of an ellipsoid with few points
    share = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, points)))
    stations = [s.from_nose_mm for s in body.station if s.from_nose_mm <= body.length_mm]
    aft = np.unique(np.concatenate([share * body.length_mm, stations]))
    aft[-1] = body.length_mm
    shape = outline_at(body, aft * MM)
    back = np.column_stack([aft, shape.upper / MM])
    belly = np.column_stack([aft, -shape.lower / MM])
    return np.vstack([back, belly[::-1]])


def side_view_of_plate(plate: Bill, cant_deg: float = 0.0) -> np.ndarray:
    """A plate with its thickness seen from the side, shape (k, 2) [mm].

    Parameters
    ----------
    plate : Bill        a bill, fin or keel
    cant_deg : float    turn about its own length, 0 flat, 90 on edge

    Notes
    -----
    A plate with a hollow corner is drawn by its face when that is what one sees, and filled out
    when it is seen nearly edge on.
    """
    corners = plate_outline(plate)
    axes = plate_axes(plate, cant_deg)
    root = from_nose(plate.from_nose_mm, plate.above_centreline_mm, plate.right_mm)
    face = root + corners @ axes[:2]
    edge = np.roll(corners, -1, axis=0) - corners
    after = np.roll(edge, -1, axis=0)
    turn = edge[:, 0] * after[:, 1] - edge[:, 1] * after[:, 0]
    convex = bool((turn >= -1e-15).all() or (turn <= 1e-15).all())
    half = 0.5 * plate.thickness_mm * MM * axes[2]
    seen = face if not convex and abs(axes[2, 1]) > 0.3 else np.vstack([face + half, face - half])
    flat = np.column_stack([-seen[:, 0], -seen[:, 2]]) / MM
    return flat if seen is face else flat[ConvexHull(flat).vertices]


def ballast_radius_mm(ballast: Ballast) -> float:
    """Radius of a sphere with the weight's volume [mm]."""
    volume_mm3 = ballast.mass_g / ballast.density_g_cm3 * 1000.0
    return float((0.75 * volume_mm3 / math.pi) ** (1.0 / 3.0))


def side_outline(bait: Bait) -> SideOutline:
    """Everything of a bait that a side view shows."""
    return SideOutline(
        body=None if bait.body is None else body_outline(bait.body),
        bill=None if bait.bill is None else side_view_of_plate(bait.bill),
        plates=tuple((p.name, side_view_of_plate(p, p.cant_deg)) for p in bait.plate),
        ballast=tuple(
            (
                b.name,
                np.array([b.from_nose_mm, b.above_centreline_mm]),
                ballast_radius_mm(b),
                b.inside,
            )
            for b in bait.ballast
        ),
        hooks=tuple(
            (
                h.name,
                np.array([h.from_nose_mm, h.above_centreline_mm]),
                np.array([h.from_nose_mm, h.above_centreline_mm - h.hang_mm]),
            )
            for h in bait.hook
        ),
        tie=None
        if bait.tie is None
        else np.array([bait.tie.from_nose_mm, bait.tie.above_centreline_mm]),
    )
