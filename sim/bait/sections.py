"""The body: stations to sections, and sections to volume, mass and strips."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from operator import attrgetter

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.special import beta

from sim.bait.added_mass import ellipsoid_added_mass, shift_matrix
from sim.bait.cached import KEPT, Keyed, read_only
from sim.bait.frame import MM, gauss
from sim.bait.panels import Rings, panel_added_mass
from sim.config.models import Body, Station

FINE = 960  # slices for integrals over the body
# Keys of a body that its form follows from; the others are material and coefficients.
FORM_KEYS = {"form", "length_mm", "height_mm", "width_mm", "station", "exponent", "wall_mm"}
FLOW_KEYS = {"station", "exponent"}  # that the flow about a body of stations follows from

# Drag of elliptic sections across the flow, on the extent across it, against (extent along the
# flow) / (extent across): White, Fluid Mechanics, table 7.2 and DNV-RP-C205 App. E (0.5: 1.6;
# the circle between their 1.2 and 1.0); the plate limit from Hoerner 1965, ch. 3. From memory.
SECTION_RATIO = np.array([0.01, 0.5, 1.0, 2.0, 4.0, 8.0])
SECTION_CD = np.array([1.98, 1.6, 1.1, 0.6, 0.35, 0.25])
# The same for rectangles with sharp edges (Hoerner 1965, ch. 3; DNV-RP-C205 App. E: square 2.05).
BOX_RATIO = np.array([0.01, 0.5, 1.0, 2.0, 4.0, 8.0])
BOX_CD = np.array([1.98, 2.5, 2.05, 1.6, 1.3, 1.1])
SPHERE_CD = 0.47  # White, Fluid Mechanics, table 7.3, Re 1e4 to 1e5; from memory
LOG_SECTION_RATIO, LOG_BOX_RATIO = np.log(SECTION_RATIO), np.log(BOX_RATIO)
CIRCLE_CD = float(np.interp(0.0, LOG_SECTION_RATIO, SECTION_CD))

_STATION = attrgetter("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")


@dataclass(frozen=True)
class SuperEllipse:
    """Shape numbers of |y/a|^n + |z/b|^n = 1: area over 4 a b, and moments of a half of it."""

    exponent: float

    @property
    def fullness(self) -> float:
        """Area over the bounding rectangle (pi/4 for an ellipse)."""
        n = self.exponent
        return float(beta(1.0 / n, 1.0 + 1.0 / n) / n)

    @property
    def centroid(self) -> float:
        """Centroid of one half over its height (4 / (3 pi) for an ellipse)."""
        n = self.exponent
        return float(beta(2.0 / n, 1.0 + 1.0 / n) / n) / self.fullness

    @property
    def second(self) -> float:
        """Mean square of z over b^2 (1/4 for an ellipse)."""
        n = self.exponent
        return float(beta(3.0 / n, 1.0 + 1.0 / n) / n) / self.fullness


@dataclass(frozen=True)
class Outline:
    """Upper height, lower height and half width [m] at distances ``aft`` [m] from the nose tip."""

    aft: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    half_width: np.ndarray


def outline_at(body: Body, aft: np.ndarray) -> Outline:
    """Interpolate the body's outline, monotone cubic between stations, exact for an ellipsoid."""
    length = body.length_mm * MM
    aft = np.asarray(aft, dtype=float)
    if body.form == "ellipsoid":
        t = 2.0 * aft / length - 1.0
        round_off = np.sqrt(np.maximum(0.0, 1.0 - t * t))
        half_height = 0.5 * float(body.height_mm or 0.0) * MM * round_off
        return Outline(
            aft, half_height, half_height, 0.5 * float(body.width_mm or 0.0) * MM * round_off
        )
    return Outline(aft, *_between(body.station, aft))


def _between(stations: tuple[Station, ...], aft: np.ndarray) -> Rings:
    rows = np.array([_STATION(s) for s in stations])
    # each column in one piece, as sums over it expect
    return Rings(*np.ascontiguousarray(np.moveaxis(_curves(rows.tobytes())(aft), -1, 0)))


@lru_cache(maxsize=KEPT)
def _curves(rows: bytes) -> PchipInterpolator:
    """Curves through the stations, whose four numbers each come as the bytes of the table."""
    table = np.frombuffer(rows).reshape(-1, 4) * MM
    return PchipInterpolator(table[:, 0], table[:, 1:])


@dataclass(frozen=True, eq=False)
class Strips:
    """Sections of the body with their share of its length; bait axes from the nose tip, SI.

    Attributes
    ----------
    x, z : ndarray, shape (n,)           centroid of each section [m]
    volume : ndarray, shape (n,)         [m^3]
    half_height, length : ndarray        of each section [m]
    reach : ndarray, shape (n, 3)        semi-axes of the ellipse of equal second moments [m]
    side_area, plan_area : ndarray       areas seen from the side and from above [m^2]
    """

    x: np.ndarray
    z: np.ndarray
    volume: np.ndarray
    half_height: np.ndarray
    length: np.ndarray
    reach: np.ndarray
    side_area: np.ndarray
    plan_area: np.ndarray


@dataclass(frozen=True, eq=False)
class BodyForm:
    """What follows from the form of a body; see :class:`BodyProperties`."""

    key: Keyed[Body]
    length: float
    half_height: float
    half_width: float
    volume: float
    centroid: np.ndarray
    solid_volume: float
    solid_centroid: np.ndarray
    solid_inertia: np.ndarray
    filling_volume: float
    filling_centroid: np.ndarray
    filling_inertia: np.ndarray
    frontal_area: float
    strips: Strips


@dataclass(frozen=True, eq=False)
class BodyProperties(BodyForm):
    """What the body contributes; vectors in the bait axes from the nose tip, SI.

    All arrays but the added mass are shared by bodies of one form, and closed for writing.

    Attributes
    ----------
    key : Keyed                                the body's table, of which the form counts
    length, half_height, half_width : float    greatest extents [m]
    volume, centroid                           displaced [m^3], [m]
    solid_volume, solid_centroid               of the material [m^3], [m]
    solid_inertia, filling_inertia : (3, 3)    about the own centroid, per unit density [m^5]
    filling_volume, filling_centroid           inside of a shell
    frontal_area : float                       greatest section [m^2]
    added_mass : ndarray, shape (6, 6)         about the nose tip [kg, kg m, kg m^2]
    strips : Strips
    """

    added_mass: np.ndarray


@dataclass(frozen=True)
class _Slabs:
    """Thin slices of a (possibly hollowed) body."""

    dx: float
    x: np.ndarray
    area: np.ndarray
    z: np.ndarray
    var_y: np.ndarray
    var_z: np.ndarray

    def moments(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Volume, centroid (3,) and inertia (3, 3) about it, per unit density."""
        dv = self.area * self.dx
        volume = float(dv.sum())
        if volume <= 0.0:
            return 0.0, np.zeros(3), np.zeros((3, 3))
        cx, cz = float(dv @ self.x) / volume, float(dv @ self.z) / volume
        xx = float(dv @ ((self.x - cx) ** 2)) + volume * self.dx**2 / 12.0
        yy = float(dv @ self.var_y)
        zz = float(dv @ (self.var_z + (self.z - cz) ** 2))
        xz = float(dv @ ((self.x - cx) * (self.z - cz)))
        inertia = np.array([[yy + zz, 0.0, -xz], [0.0, xx + zz, 0.0], [-xz, 0.0, xx + yy]])
        return volume, np.array([cx, 0.0, cz]), inertia


def _slabs(outline: Outline, shape: SuperEllipse, dx: float, wall: float, length: float) -> _Slabs:
    """Slices of the outline, moved inward by ``wall`` [m]."""
    inside = (outline.aft >= wall) & (outline.aft <= length - wall)
    upper, lower = outline.upper - wall, outline.lower - wall
    # a half thinner than the wall: the hollow begins that much on the other side
    start = np.where(upper < 0.0, -upper, np.where(lower < 0.0, lower, 0.0))
    upper, lower = upper + np.minimum(lower, 0.0), lower + np.minimum(upper, 0.0)
    upper = np.where(inside, np.maximum(0.0, upper), 0.0)
    lower = np.where(inside, np.maximum(0.0, lower), 0.0)
    half_width = np.where(inside, np.maximum(0.0, outline.half_width - wall), 0.0)
    height = upper + lower
    area = 2.0 * half_width * height * shape.fullness
    safe = np.where(height > 0.0, height, 1.0)
    # z down: the lower half counts positive
    z = shape.centroid * (lower**2 - upper**2) / safe
    var_z = shape.second * (lower**3 + upper**3) / safe - z**2
    z = z + start
    return _Slabs(dx, -outline.aft, area, z, shape.second * half_width**2, var_z)


def body_properties(body: Body, strips: int, rho: float) -> BodyProperties:
    """Integrate the body.

    Parameters
    ----------
    body : Body        checked configuration
    strips : int       strips for the loads
    rho : float        water density [kg/m^3], for the added mass
    """
    form = _form(Keyed(body, FORM_KEYS), strips)
    if body.form == "ellipsoid":
        added = _lamb(form, rho)
    else:
        added = rho * _flow_about(Keyed(body, FLOW_KEYS))
    return BodyProperties(**vars(form), added_mass=added)


@lru_cache(maxsize=KEPT)
def _form(key: Keyed[Body], strips: int) -> BodyForm:
    """Integrate a body's form, kept for bodies seen before."""
    body = key.table
    length = body.length_mm * MM
    dx = length / FINE
    aft = (np.arange(FINE) + 0.5) * dx
    outline = outline_at(body, aft)
    shape = SuperEllipse(body.exponent)
    outer = _slabs(outline, shape, dx, 0.0, length)
    volume, centroid, inertia = outer.moments()
    if body.form == "ellipsoid":
        # the sums above converge slowly at the round ends; the ellipsoid is known exactly
        axes = 0.5 * MM * np.array([body.length_mm, body.width_mm or 0.0, body.height_mm or 0.0])
        exact = 4.0 / 3.0 * math.pi * float(np.prod(axes))
        outer = _Slabs(dx, outer.x, outer.area * exact / volume, outer.z, outer.var_y, outer.var_z)
        squares = axes**2 / 5.0
        volume = exact
        inertia = exact * np.diag(squares.sum() - squares)
    filling_volume, filling_centroid, filling_inertia = 0.0, centroid, np.zeros((3, 3))
    solid_volume, solid_centroid, solid_inertia = volume, centroid, inertia
    if body.wall_mm is not None:
        inner = _slabs(outline, shape, dx, body.wall_mm * MM, length)
        filling_volume, filling_centroid, filling_inertia = inner.moments()
        solid_volume = volume - filling_volume
        solid_centroid = (volume * centroid - filling_volume * filling_centroid) / solid_volume
        solid_inertia = _about(inertia, volume, centroid - solid_centroid) - _about(
            filling_inertia, filling_volume, filling_centroid - solid_centroid
        )

    half_height = 0.5 * (outline.upper + outline.lower)
    table = _strips(body, strips, shape, volume, centroid)
    return BodyForm(
        key=key,
        length=length,
        half_height=float(half_height.max()),
        half_width=float(outline.half_width.max()),
        volume=volume,
        centroid=read_only(centroid),
        solid_volume=solid_volume,
        solid_centroid=read_only(solid_centroid),
        solid_inertia=read_only(solid_inertia),
        filling_volume=filling_volume,
        filling_centroid=read_only(filling_centroid),
        filling_inertia=read_only(filling_inertia),
        frontal_area=float(outer.area.max()),
        strips=table,
    )


def _strips(
    body: Body, count: int, shape: SuperEllipse, volume: float, centroid: np.ndarray
) -> Strips:
    """Sections at Gauss points, which integrate a smooth body far better than even cuts.

    The volumes are scaled and shifted as a whole (by a fraction of a percent) to the body's own
    volume and centroid, so that a body that dives under has the buoyancy of the deep one.
    """
    length = body.length_mm * MM
    points, weights = gauss(count)
    dx = 0.5 * length * weights
    outline = outline_at(body, 0.5 * length * (points + 1.0))
    slabs = _slabs(outline, shape, 0.0, 0.0, length)
    half_height = 0.5 * (outline.upper + outline.lower)
    part = slabs.area * dx
    part *= volume / part.sum()
    columns = {
        "x": slabs.x + (centroid[0] - float(part @ slabs.x) / volume),
        "z": slabs.z + (centroid[2] - float(part @ slabs.z) / volume),
        "volume": part,
        "half_height": half_height,
        "length": dx,
        "reach": 2.0 * np.sqrt(np.column_stack([dx**2 / 12.0, slabs.var_y, slabs.var_z])),
        "side_area": 2.0 * half_height * dx,
        "plan_area": 2.0 * outline.half_width * dx,
    }
    return Strips(**{name: read_only(column) for name, column in columns.items()})


def _about(inertia: np.ndarray, amount: float, r: np.ndarray) -> np.ndarray:
    """Parallel-axis theorem: inertia about a point ``-r`` away from the centroid."""
    return inertia + amount * (float(r @ r) * np.eye(3) - np.outer(r, r))


@lru_cache(maxsize=KEPT)
def _lamb(form: BodyForm, rho: float) -> np.ndarray:
    """Added mass of an ellipsoid about the nose tip, exact."""
    body = form.key.table
    axes = 0.5 * MM * np.array([body.length_mm, body.width_mm or 0.0, body.height_mm or 0.0])
    exact = ellipsoid_added_mass(axes, rho)
    return read_only(shift_matrix(np.diag([*exact.mass, *exact.inertia]), -form.centroid))


@lru_cache(maxsize=1024)
def _flow_about(key: Keyed[Body]) -> np.ndarray:
    """Added mass over the water's density about the nose tip: potential flow about the outline.

    Kept for more bodies than the rest, since it takes far longer.
    """
    stations = key.table.station
    last = stations[-1].from_nose_mm * MM
    return read_only(
        panel_added_mass(lambda aft: _between(stations, aft), last, key.table.exponent)
    )


def crossflow_coefficients(body: Body, properties: BodyProperties) -> tuple[float, float]:
    """Section drag coefficients in sway and heave, before the end factor.

    Elliptic sections from the table above; slab sides lean toward the sharp rectangle once the
    corner is tighter than a sixth of the section (exponent above about 6; assumed in between).
    """
    ratio = properties.half_width / properties.half_height
    edge = min(1.0, max(0.0, (body.exponent - 6.0) / 14.0))
    values = []
    for axis_ratio, given in ((ratio, body.crossflow_sway), (1.0 / ratio, body.crossflow_heave)):
        if given is not None:
            values.append(given)
            continue
        at = math.log(axis_ratio)
        smooth = float(np.interp(at, LOG_SECTION_RATIO, SECTION_CD))
        sharp = float(np.interp(at, LOG_BOX_RATIO, BOX_CD))
        values.append(smooth + edge * (sharp - smooth))
    return values[0], values[1]


def crossflow_end_factor(length: float, diameter: float) -> float:
    """Share of the two-dimensional crossflow drag that a short body keeps.

    From the sphere (0.47 on its frontal area against 1.1 for the circle) at length over diameter
    1 up to 0.9 from 3 on. In steady drift a cylinder of that slenderness keeps about 0.6; in the
    small strokes of a wobble the wake has no time to spread, and 0.8 to 1 is assumed.
    """
    low = SPHERE_CD / CIRCLE_CD
    return low + (0.9 - low) * min(1.0, max(0.0, 0.5 * (length / diameter - 1.0)))


def axial_coefficient(properties: BodyProperties, reynolds: float) -> float:
    """Drag coefficient along the axis on the greatest section.

    0.44 d/l + 4 C_f l/d + 4 C_f (d/l)^0.5, laminar separation (Hoerner 1965, ch. 6; from memory,
    medium confidence), C_f = 1.328 / sqrt(Re) (Blasius), Re on the length, not below 1000.
    """
    diameter = math.sqrt(4.0 * properties.frontal_area / math.pi)
    friction = 1.328 / math.sqrt(max(1000.0, reynolds))
    slender = properties.length / diameter
    return 0.44 / slender + 4.0 * friction * slender + 4.0 * friction / math.sqrt(slender)
