"""Bill, fins and keels: outline to area, load elements, mass and added mass."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial.transform import Rotation

from sim.bait.added_mass import plate_added_mass, plate_gyration, point_added_mass
from sim.bait.cached import KEPT, Keyed, read_only
from sim.bait.frame import GRAM_PER_CM3, MM, cross, from_nose, gauss, total
from sim.config.models import Bill

# where a quarter of the fluid goes, in radii of gyration along the plate and across it
SIGN_1 = read_only(np.array([[1.0], [1.0], [-1.0], [-1.0]]))
SIGN_2 = read_only(np.array([[1.0], [-1.0], [1.0], [-1.0]]))
# sines and cosines along the quarter of an ellipse that ends a rounded plate
TURN = read_only(
    np.array([(math.sin(a), math.cos(a)) for a in np.linspace(0.0, 0.5 * math.pi, 24)]).T
)
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
        right = np.array([(0.0, half), (length, half)])
    elif plate.outline == "tapered":
        right = np.array([(0.0, wide), (length, wide * plate.taper)])
    elif plate.outline == "coffin":
        ends = wide * plate.taper
        right = np.array([(0.0, ends), (0.4 * length, wide), (length, ends)])
    else:
        right = np.empty((TURN.shape[1] + 1, 2))
        right[0] = 0.0, half
        right[1:, 0], right[1:, 1] = 0.5 * length * (1.0 + TURN[0]), half * TURN[1]
    corners = np.concatenate([right, right[::-1] * (1.0, -1.0)])
    step = np.diff(corners, axis=0)
    return corners[np.concatenate([[True], np.hypot(step[:, 0], step[:, 1]) > 1e-12])]


@dataclass(frozen=True, eq=False)
class PlateProperties:
    """A plate; vectors in the bait axes from the nose tip, SI.

    Shared by all baits with this plate, so its arrays are closed for writing.

    Attributes
    ----------
    name : str
    centroid : ndarray, shape (3,)
    axes : ndarray, shape (3, 3)       rows e1 (from the root outward), e2 (across), n = e1 x e2
    length, width, mean_width : float  overall length, greatest and mean width [m]
    area : float                       [m^2]
    elements : ndarray, shape (n, 3)   place along e1 and e2 from the centroid [m], share of area
    outline : ndarray, shape (k, 3)    corners
    reach : float                      of the farthest corner from the centroid [m]
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
    reach: float
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
    e2 = math.cos(cant) * side + math.sin(cant) * cross(e1, side)
    axes = np.array([e1, e2, cross(e1, e2)])
    # with 0.0 added, -0.0 is the number that as a key it equals
    return (_mounting(plate.yaw_error_deg + 0.0, plate.roll_error_deg + 0.0) @ axes.T).T


@lru_cache(maxsize=KEPT)
def _mounting(yaw_error_deg: float, roll_error_deg: float) -> np.ndarray:
    """Matrix that turns a plate by its mounting errors, shape (3, 3)."""
    error = Rotation.from_euler("ZX", [yaw_error_deg, roll_error_deg], degrees=True)
    return read_only(error.as_matrix())


def _next(corners: np.ndarray) -> np.ndarray:
    """Of every corner the one that follows, the first after the last."""
    return np.concatenate([corners[1:], corners[:1]])


def _elements(corners: np.ndarray, along: int, across: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss points inside a polygon that is one interval wide at every place along it."""
    points, weights = gauss(along)
    near, far = corners[:, 0].min(), corners[:, 0].max()
    places = near + 0.5 * (far - near) * (points + 1.0)
    x0, y0 = corners[:, 0], corners[:, 1]
    x1, y1 = _next(x0), _next(y0)
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
    x1, y1 = _next(x), _next(y)
    twice = x * y1 - x1 * y
    area = 0.5 * float(twice.sum())
    centroid = np.array([((x + x1) * twice).sum(), ((y + y1) * twice).sum()]) / (6.0 * area)
    xx = float(((x * x + x * x1 + x1 * x1) * twice).sum()) / (12.0 * area)
    yy = float(((y * y + y * y1 + y1 * y1) * twice).sum()) / (12.0 * area)
    xy = float(((2.0 * (x * y + x1 * y1) + x * y1 + x1 * y) * twice).sum()) / (24.0 * area)
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
    # with 0.0 added, -0.0 is the number that as a key it equals
    return _plate_properties(Keyed(plate), name, cant_deg + 0.0, along, across, rho)


@lru_cache(maxsize=KEPT)
def _plate_properties(
    key: Keyed[Bill], name: str, cant_deg: float, along: int, across: int, rho: float
) -> PlateProperties:
    """Work out a plate, kept for plates seen before."""
    plate = key.table
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
    places = centroid + SIGN_1 * k1 * axes[0] + SIGN_2 * k2 * axes[1]
    added = total(point_added_mass(0.25 * fluid, axes[2], places))
    outline = root + corners @ axes[:2]
    return PlateProperties(
        name=name,
        centroid=read_only(centroid),
        axes=read_only(axes),
        length=length,
        width=width,
        mean_width=area / length,
        area=area,
        elements=read_only(np.column_stack([local, share])),
        outline=read_only(outline),
        reach=float(np.linalg.norm(outline - centroid, axis=1).max()),
        mass=mass,
        volume=volume,
        inertia=read_only(mass * axes.T @ own @ axes),
        fluid_mass=fluid,
        added_mass=read_only(added),
        slopes=(helmbold_slope(width**2 / area), helmbold_slope(length**2 / area)),
        broadside=broadside_coefficient(max(length, width) ** 2 / area),
    )
