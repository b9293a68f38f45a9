"""From an assembled bait to the kernels' arrays: switches and coefficients end here."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from sim.bait.assembly import Assembly
from sim.bait.cached import KEPT, read_only
from sim.bait.frame import (
    MM,
    cross,
    current,
    from_nose,
    gauss,
    heading,
    squared_lengths,
    through_water,
)
from sim.bait.plates import SIDE_EDGE, PlateProperties
from sim.bait.sections import (
    BodyProperties,
    Strips,
    axial_coefficient,
    crossflow_coefficients,
    crossflow_end_factor,
)
from sim.bait.side_force import SideForce, side_force
from sim.config.models import Config
from sim.kernels import layout as lo
from sim.kernels.layout import Model

BEATS_A_LENGTH = 0.45  # wobbles of the demonstration baits in a body length of travel
BARE_LENGTH_M = 0.05  # stands in for the length of a bare weight
SIDE = read_only(np.array([0.0, 1.0, 0.0]))
CORNERS = read_only(
    np.array([[x, y, z] for x in (0.0, -1.0) for z in (-1.0, 1.0) for y in (-1.0, 1.0)])
)


def _profile(config: Config) -> np.ndarray:
    """Knots of the retrieve speed, shape (3, knots): time [s], speed [m/s], path [m]."""
    speed, ramp = config.retrieve.speed_m_s, config.retrieve.ramp_s
    if ramp > 0.0:
        return np.array([[0.0, ramp], [0.0, speed], [0.0, 0.5 * speed * ramp]])
    return np.array([[0.0], [speed], [0.0]])


@lru_cache(maxsize=KEPT)
def _plate_alone(plate: PlateProperties) -> np.ndarray:
    """The row of a plate, with the centroid from the nose tip and without loads."""
    row = np.zeros(lo.N_PLATE)
    row[lo.PL_X : lo.PL_Z + 1] = plate.centroid
    row[lo.PL_1X : lo.PL_NZ + 1] = plate.axes.ravel()
    row[lo.PL_L1], row[lo.PL_L2] = plate.length, plate.mean_width
    row[lo.PL_REACH] = plate.reach
    row[lo.PL_K1], row[lo.PL_K2] = plate.slopes
    row[lo.PL_CD], row[lo.PL_CE] = plate.broadside, SIDE_EDGE
    return read_only(row)


def _plate_row(plate: PlateProperties, config: Config, bait: Assembly, is_bill: bool) -> np.ndarray:
    """The row of one plate, shape (N_PLATE,)."""
    loads, rho = config.loads, bait.water.density
    row = _plate_alone(plate).copy()
    row[lo.PL_X : lo.PL_Z + 1] -= bait.centre_of_gravity
    if loads.bill if is_bill else loads.plates:
        friction = math.sqrt(bait.water.viscosity / plate.length)
        row[lo.PL_FRICTION] = 1.328 * rho * plate.area * friction
        row[lo.PL_MUNK] = plate.fluid_mass if loads.added_mass else 0.0
        row[lo.PL_ON] = 0.5 * rho * plate.area
    if is_bill and loads.wake:
        row[lo.PL_WAKE] = 0.5 * config.coefficients.wake_offset * plate.width
    return row


def body_side_force(config: Config, bait: Assembly, heave: bool) -> SideForce:
    """Linear side force (lift with ``heave``) of the body, coefficients of the config applied."""
    assert bait.body is not None
    found = side_force(bait.body, heave)
    return SideForce(
        factor=found.factor * config.coefficients.side_force_factor,
        tail_share=found.tail_share,
        aft_of_mid=found.aft_of_mid + config.coefficients.side_force_shift,
        spread=found.spread,
    )


def crossflow_factor(config: Config, body: BodyProperties) -> float:
    """Share of the crossflow drag that the body keeps: as configured, or by its slenderness."""
    factor = config.coefficients.crossflow_end_factor
    if factor is not None:
        return factor
    diameter = math.sqrt(4.0 * body.frontal_area / math.pi)
    return crossflow_end_factor(body.length, diameter)


def _strip_rows(config: Config, bait: Assembly) -> np.ndarray:
    """Crossflow strips, shape (strips, N_STRIP)."""
    body, settings = bait.body, config.bait.body
    if body is None or settings is None:
        return np.zeros((0, lo.N_STRIP))
    strips = body.strips
    factor = crossflow_factor(config, body)
    sway, heave = crossflow_coefficients(settings, body)
    scale = 0.5 * bait.water.density * factor if config.loads.body_drag else 0.0
    kept = np.ones(strips.x.shape)
    shadow = config.coefficients.bill_shadow
    if shadow > 0.0 and config.bait.bill is not None:
        behind = -strips.x - config.bait.bill.from_nose_mm * MM
        reach = config.coefficients.bill_shadow_reach_mm * MM
        kept = np.where(behind >= 0.0, 1.0 - shadow * np.exp(-behind / reach), 1.0)
    rows = np.zeros((strips.x.size, lo.N_STRIP))
    rows[:, lo.ST_X] = strips.x - bait.centre_of_gravity[0]
    rows[:, lo.ST_Z] = strips.z - bait.centre_of_gravity[2]
    rows[:, lo.ST_HALF] = strips.half_height
    rows[:, lo.ST_SHARE] = strips.length / strips.length.sum()
    rows[:, lo.ST_SWAY] = scale * sway * strips.side_area * kept
    rows[:, lo.ST_HEAVE] = scale * heave * strips.plan_area * kept
    return rows


@lru_cache(maxsize=KEPT)
def _strip_volumes(strips: Strips) -> np.ndarray:
    """Displaced volumes of a body, places from the nose tip, shape (strips, N_VOLUME)."""
    # every slab brings the spread of its own length, which the sum over the sections already
    # holds: drawn together by that much the waterplane keeps its second moment, and force and
    # moment still come from one potential
    mean = float(strips.volume @ strips.x) / strips.volume.sum()
    spread = float(strips.volume @ (strips.x - mean) ** 2)
    own = float(strips.volume @ strips.reach[:, 0] ** 2) / 4.0
    x = mean + (strips.x - mean) * math.sqrt(max(0.0, 1.0 - own / spread))
    return read_only(np.column_stack([x, np.zeros(x.size), strips.z, strips.volume, strips.reach]))


@lru_cache(maxsize=KEPT)
def _plate_volume(plate: PlateProperties) -> np.ndarray:
    """Displaced volume of a plate, place from the nose tip, shape (N_VOLUME,)."""
    e1, e2, _ = plate.axes
    reach = np.hypot(plate.length * e1, plate.mean_width * e2) / math.sqrt(3.0) + 1e-4
    return read_only(np.concatenate([plate.centroid, [plate.volume], reach]))


def _volume_rows(config: Config, bait: Assembly) -> np.ndarray:
    """Displaced volumes, the body's strips first, shape (volumes, N_VOLUME)."""
    rows: list[np.ndarray | list[float]] = []
    if bait.body is not None:
        rows.extend(_strip_volumes(bait.body.strips))
    for part in bait.parts:
        if part.volume > 0.0 and part.kind in ("ballast", "hook"):
            reach = (0.75 * part.volume / math.pi) ** (1.0 / 3.0)
            rows.append([*part.position.tolist(), part.volume, reach, reach, reach])
    rows.extend(_plate_volume(plate) for plate in bait.plates)
    table = np.array(rows, dtype=float).reshape(-1, lo.N_VOLUME)
    table[:, : lo.VO_Z + 1] -= bait.centre_of_gravity
    weight = bait.water.density * config.water.gravity_m_s2
    table[:, lo.VO_BUOY] *= weight if config.loads.buoyancy else 0.0
    return table


def _hook_rows(config: Config, bait: Assembly) -> np.ndarray:
    """Hooks, shape (hooks, 4)."""
    rows = np.zeros((len(config.bait.hook), 4))
    for row, h in zip(rows, config.bait.hook, strict=True):
        at = from_nose(h.from_nose_mm, h.above_centreline_mm - h.hang_mm, h.right_mm)
        row[:3] = at - bait.centre_of_gravity
        if config.loads.hooks:
            row[3] = 0.5 * bait.water.density * h.drag_area_mm2 * MM * MM
    return rows


def bounding_radius(bait: Assembly, volumes: np.ndarray) -> float:
    """Distance from the centre of gravity that no part exceeds [m].

    Parameters
    ----------
    bait : Assembly
    volumes : ndarray, shape (volumes, N_VOLUME)    displaced volumes with their half extents
    """
    points = [np.array([p.position for p in bait.parts]), *(p.outline for p in bait.plates)]
    if bait.body is not None:
        body = bait.body
        points.append(CORNERS * (body.length, body.half_width, 2.0 * body.half_height))
    from_centre = np.concatenate(points) - bait.centre_of_gravity
    reach = math.sqrt(squared_lengths(from_centre).max())
    if volumes.size:
        places, halves = volumes[:, lo.VO_X : lo.VO_Z + 1], volumes[:, lo.VO_AX : lo.VO_AZ + 1]
        far = np.sqrt(squared_lengths(places)) + halves.max(axis=1)
        reach = max(reach, float(far.max()))
    return 1.1 * reach + 0.005


def build_model(config: Config, bait: Assembly, rod: np.ndarray) -> Model:
    """One lane of kernel arrays for a configured bait.

    Parameters
    ----------
    config : Config
    bait : Assembly             ``assemble(config)``
    rod : ndarray, shape (3,)   rod tip at the start, earth frame [m]

    Notes
    -----
    A load that is switched off has its coefficients zeroed here, so the kernels have no switches.
    """
    loads, coefficients = config.loads, config.coefficients
    rho, gravity = bait.water.density, config.water.gravity_m_s2
    cg = bait.centre_of_gravity
    s = np.zeros(lo.N_SCALAR)
    s[lo.WEIGHT] = bait.mass * gravity if loads.weight else 0.0
    s[lo.BUOY] = rho * gravity * bait.volume if loads.buoyancy else 0.0
    s[lo.CB_X : lo.CB_Z + 1] = bait.r_b_cb
    volumes = _volume_rows(config, bait)
    s[lo.RADIUS] = bounding_radius(bait, volumes)
    s[lo.SURFACE] = 1.0 if config.water.surface else 0.0
    s[lo.CUR_X : lo.CUR_Z + 1] = current(config)

    body = bait.body
    if body is not None:
        s[lo.TAIL_PX] = -0.5 * body.length - cg[0]
        for extent, heave, slope, aft, spread in (
            (body.half_height, False, lo.TAIL_Y, lo.TAIL_AFT_Y, lo.TAIL_SPREAD_Y),
            (body.half_width, True, lo.TAIL_Z, lo.TAIL_AFT_Z, lo.TAIL_SPREAD_Z),
        ):
            drift = body_side_force(config, bait, heave)
            if loads.tail:
                s[slope] = drift.factor * rho * math.pi * extent**2
            s[aft] = drift.aft_of_mid * body.length
            s[spread] = (drift.spread * body.length) ** 2
        s[lo.TAIL_PZ] = body.centroid[2] - cg[2]
        s[lo.BODY_PZ] = body.centroid[2] - cg[2]
        if loads.axial_drag:
            speed = 1.0  # where no retrieve sets it
            if config.line is not None:
                speed = float(np.linalg.norm(through_water(config)))
            drag = axial_coefficient(body, speed * body.length / bait.water.viscosity)
            s[lo.AXIAL] = 0.5 * rho * body.frontal_area * (drag + coefficients.bluff_drag_share)

    bill = bait.bill
    if bill is not None:
        s[lo.EPS] = coefficients.wake_damping
        s[lo.STROUHAL] = 2.0 * math.pi * coefficients.strouhal / bill.width
        s[lo.COUPLING] = coefficients.wake_coupling / bill.width
        s[lo.BILL_X : lo.BILL_Z + 1] = bill.centroid - cg
        s[lo.BILL_SX : lo.BILL_SZ + 1] = bill.axes[1]
        s[lo.BILL_NX : lo.BILL_NZ + 1] = bill.axes[2]

    mass = bait.rigid_mass + (bait.added_mass if loads.added_mass else 0.0)
    inverse = np.linalg.inv(mass)
    line = config.line
    if line is not None and bait.r_b_tie is not None:
        s[lo.TIE_X : lo.TIE_Z + 1] = bait.r_b_tie
        diameter = line.diameter_mm * MM
        s[lo.LINE_ON] = 1.0 if loads.line else 0.0
        s[lo.EA] = line.modulus_gpa * 1e9 * math.pi * diameter**2 / 4.0
        s[lo.LINE_DAMP] = 2.0 * line.damping_ratio * math.sqrt(bait.mass)
        s[lo.LENGTH] = line.length_m
        s[lo.LINE_CN] = 0.25 * rho * diameter * line.normal_drag_coefficient
        length = _longest(bait)
        s[lo.LINE_WAVE] = 2.0 * math.pi * BEATS_A_LENGTH / length
        s[lo.LINE_NODE] = _percussion(inverse, bait.r_b_tie, length)
        s[lo.LINE_CT] = 0.25 * rho * math.pi * diameter * line.tangential_drag_coefficient
        s[lo.ROD_X : lo.ROD_Z + 1] = rod
        s[lo.HEAD_X : lo.HEAD_Y + 1] = heading(config)[:2]
        s[lo.REEL] = 1.0 if config.retrieve.mode == "reel" else 0.0
    else:
        s[lo.LENGTH], s[lo.HEAD_X] = 1.0, 1.0

    plates = np.array(
        [_plate_row(p, config, bait, p is bill) for p in bait.plates], dtype=float
    ).reshape(-1, lo.N_PLATE)
    count = config.solver.plate_elements_along * config.solver.plate_elements_across
    elements = np.array([p.elements.T for p in bait.plates], dtype=float).reshape(-1, 3, count)
    places, weights = gauss(config.solver.body_slices)
    profile = _profile(config)
    return Model(
        scalar=_lane(s),
        mass=_lane(np.array([mass, inverse])),
        plates=_lane(plates),
        elements=_lane(elements),
        strips=_lane(_strip_rows(config, bait)),
        slices=np.column_stack([places, 0.5 * weights]),
        volumes=_lane(volumes),
        hooks=_lane(_hook_rows(config, bait)),
        speed=_lane(profile),
    )


def _longest(bait: Assembly) -> float:
    """Length of the body, or of the longest plate of a bait without one [m]."""
    if bait.body is not None:
        return bait.body.length
    return max([p.length for p in bait.plates], default=BARE_LENGTH_M)


def _percussion(inverse: np.ndarray, tie: np.ndarray, length: float) -> float:
    """Where along the bait a sideways tug at the tie point leaves it at rest [m].

    From the centre of gravity, forward positive: the centre of percussion, the water's mass
    included; within a length, since a bait tied at its centre of gravity moves as a whole.
    """
    moved = inverse @ np.concatenate([SIDE, cross(tie, SIDE)])
    sway, yaw = float(moved[1]), float(moved[5])
    if abs(yaw) * length <= abs(sway):
        return -math.copysign(length, tie[0]) if tie[0] else 0.0
    return -sway / yaw


def _lane(values: np.ndarray) -> np.ndarray:
    """Give an array its lane axis."""
    return np.ascontiguousarray(values[..., None])
