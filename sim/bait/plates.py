"""Bill, fins and keels: outline to area, load elements, mass and added mass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from sim.bait.added_mass import plate_added_mass, plate_gyration, point_added_mass
from sim.bait.frame import GRAM_PER_CM3, MM, from_nose, gauss
from sim.config.models import Bill

SIDE_EDGE = 2.4  # fitted to Holmes, Letchford & Lin (2006) and Joessel, see docs/equations.md


def helmbold_slope(aspect_ratio: float) -> float:
    """Slope of the normal force coefficient at zero incidence [1/rad].

    2 pi AR / (2 + sqrt(4 + AR^2)), Helmbold (1942), from memory, high confidence.
    """
    return 2.0 * math.pi * aspect_ratio / (2.0 + math.sqrt(4.0 + aspect_ratio**2))


def broadside_coefficient(aspect_ratio: float) -> float:
    """Normal force coefficient of a plate across the stream.

    1.98 [1 - 0.41 (1 - exp(-17 / AR))], AR the longer side over the shorter: 1.17 up to AR 3,
    then rising (Lindenburg 2001, ECN-RX--01-004, read in a secondary copy).
    """
    long = max(aspect_ratio, 1.0 / aspect_ratio)
    return 1.98 * (1.0 - 0.41 * (1.0 - math.exp(-17.0 / long)))


def plate_outline(plate: Bill) -> np.ndarray:
    """Corners of the outline, shape (n, 2): along the length from the root and across [m].

    square: a rectangle; rounded: a rectangle whose outer half is half an ellipse; tapered:
    straight sides, the tip ``taper`` times as wide as the root; coffin: straight sides from
    a corner at two fifths of the length to both ends, which are ``taper`` times as wide; polygon:
    as given. The greatest width is ``width_mm`` for all but the polygon.
    """
    length, half = plate.length_mm * MM, 0.5 * plate.width_mm * MM
    if plate.outline == "polygon":
        return np.array(plate.outline_mm, dtype=float) * MM
    wide = half / max(1.0, plate.taper)
    if plate.outline == "square":
        right = [(0.0, half), (length, half)]
    elif plate.outline == "tapered":
        right = [(0.0, wide), (length, wide * plate.taper)]
    elif plate.outline == "coffin":
        right = [
            (0.0, wide * plate.taper), (0.4 * length, wide), (length, wide * plate.taper)
        ]  # fmt: skip
    else:
        turn = np.linspace(0.0, 0.5 * math.pi, 24)
        right = [(0.0, half)]
        right += [(0.5 * length * (1.0 + math.sin(a)), half * math.cos(a)) for a in turn]
    left = [(along, -across) for along, across in reversed(right)]
    corners = [*right, *left]
    keep = [c for i, c in enumerate(corners) if i == 0 or math.dist(c, corners[i - 1]) > 1e-12]
    return np.array(keep)


@dataclass(frozen=True)
class PlateProperties:
    """A plate; vectors in the bait axes from the nose tip, SI.

    Attributes
    ----------
    name : str
    centroid : ndarray, shape (3,)
    axes : ndarray, shape (3, 3)       rows e1 (from the root outward), e2 (across), n = e1 x e2
    length, width, mean_width : float  overall length, greatest and mean width [m]
    area : float                       [m^2]
    elements : ndarray, shape (n, 3)   place along e1 and e2 from the centroid [m], share of area
    outline : ndarray, shape (k, 3)    corners
    mass, volume : float
    inertia : ndarray, shape (3, 3)    about the centroid, bait axes [kg m^2]
    fluid_mass : float                 broadside added mass [kg]
    added_mass : ndarray, shape (6, 6) about the nose tip
    slopes : tuple                     normal force slopes for flow along e1 and along e2 [1/rad]
    broadside : float                  normal force coefficient at 90 degrees
    """

    name: str
    centroid: np.ndarray
    axes: np.ndarray
    length: float
    width: float
    mean_width: float
    area: float
    elements: np.ndarray
    outline: np.ndarray
    mass: float
    volume: float
    inertia: np.ndarray
    fluid_mass: float
    added_mass: np.ndarray
    slopes: tuple[float, float]
    broadside: float


def plate_axes(plate: Bill, cant_deg: float) -> np.ndarray:
    """Rows e1, e2, n of a plate in the bait axes, mounting errors included, shape (3, 3)."""
    angle, cant = math.radians(plate.angle_deg), math.radians(cant_deg)
    e1 = np.array([math.cos(angle), 0.0, math.sin(angle)])
    side = np.array([0.0, 1.0, 0.0])
    e2 = math.cos(cant) * side + math.sin(cant) * np.cross(e1, side)
    axes = np.array([e1, e2, np.cross(e1, e2)])
    error = Rotation.from_euler("ZX", [plate.yaw_error_deg, plate.roll_error_deg], degrees=True)
    return error.apply(axes)


def _elements(corners: np.ndarray, along: int, across: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss points inside a polygon that is one interval wide at every place along it."""
    points, weights = gauss(along)
    near, far = corners[:, 0].min(), corners[:, 0].max()
    places = near + 0.5 * (far - near) * (points + 1.0)
    x0, y0 = corners[:, 0], corners[:, 1]
    x1, y1 = np.roll(x0, -1), np.roll(y0, -1)
    crosses = (x0 <= places[:, None]) != (x1 <= places[:, None])
    run = np.where(x1 == x0, 1.0, x1 - x0)
    at = y0 + (y1 - y0) * (places[:, None] - x0) / run
    low = np.where(crosses, at, np.inf).min(axis=1)
    high = np.where(crosses, at, -np.inf).max(axis=1)
    fine, fine_weights = gauss(across)
    half = 0.5 * (high - low)
    y = low[:, None] + half[:, None] * (fine + 1.0)
    area = (weights * 0.5 * (far - near) * half)[:, None] * fine_weights
    x = np.broadcast_to(places[:, None], y.shape)
    return np.column_stack([x.ravel(), y.ravel()]), area.ravel()


def _polygon(corners: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Area, centroid (2,) and mean products about the centroid (2, 2) of a polygon.

    The shoelace formula and its second moments, exact.
    """
    x, y = corners.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = 0.5 * float(cross.sum())
    centroid = np.array([((x + x1) * cross).sum(), ((y + y1) * cross).sum()]) / (6.0 * area)
    xx = float(((x * x + x * x1 + x1 * x1) * cross).sum()) / (12.0 * area)
    yy = float(((y * y + y * y1 + y1 * y1) * cross).sum()) / (12.0 * area)
    xy = float(((2.0 * (x * y + x1 * y1) + x * y1 + x1 * y) * cross).sum()) / (24.0 * area)
    return abs(area), centroid, np.array([[xx, xy], [xy, yy]]) - np.outer(centroid, centroid)


def plate_properties(
    plate: Bill, name: str, cant_deg: float, along: int, across: int, rho: float
) -> PlateProperties:
    """Geometry, elements, mass and added mass of one plate.

    Parameters
    ----------
    plate : Bill             checked configuration (a fin or keel is one as well)
    name : str
    cant_deg : float         turn about its own length axis, 0 flat, 90 on edge
    along, across : int      load elements along the length and across it
    rho : float              water density [kg/m^3], for the added mass

    Notes
    -----
    Camber is left out. The mass is the outline's area times the thickness.
    """
    corners = plate_outline(plate)
    area, centre, products = _polygon(corners)
    at, part = _elements(corners, along, across)
    share = part / part.sum()
    local = at - (share @ at)
    axes = plate_axes(plate, cant_deg)
    root = from_nose(plate.from_nose_mm, plate.above_centreline_mm, plate.right_mm)
    centroid = root + centre @ axes[:2]
    length = float(np.ptp(corners[:, 0]))
    width = float(np.ptp(corners[:, 1]))
    thickness = plate.thickness_mm * MM
    volume = area * thickness
    mass = plate.density_g_cm3 * GRAM_PER_CM3 * volume
    (var1, mixed), (_, var2) = products
    var3 = thickness**2 / 12.0
    own = np.array(
        [[var2 + var3, -mixed, 0.0], [-mixed, var1 + var3, 0.0], [0.0, 0.0, var1 + var2]]
    )
    fluid = plate_added_mass(length, width, area, rho)
    k1, k2 = plate_gyration(length, width, area)
    added = np.zeros((6, 6))
    for s1, s2 in ((1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)):
        place = centroid + s1 * k1 * axes[0] + s2 * k2 * axes[1]
        added += point_added_mass(0.25 * fluid, axes[2], place)
    return PlateProperties(
        name=name,
        centroid=centroid,
        axes=axes,
        length=length,
        width=width,
        mean_width=area / length,
        area=area,
        elements=np.column_stack([local, share]),
        outline=root + corners @ axes[:2],
        mass=mass,
        volume=volume,
        inertia=mass * axes.T @ own @ axes,
        fluid_mass=fluid,
        added_mass=added,
        slopes=(helmbold_slope(width**2 / area), helmbold_slope(length**2 / area)),
        broadside=broadside_coefficient(max(length, width) ** 2 / area),
    )
