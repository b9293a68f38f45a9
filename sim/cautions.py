"""What may be meant differently in a configuration that is sound: plain warnings for a check."""

from __future__ import annotations

import math

import numpy as np

from sim.bait.frame import MM, from_nose
from sim.bait.plates import plate_axes, plate_outline
from sim.bait.sections import outline_at
from sim.config.models import Bait, Bill, Body, Config

TIE_FAR_MM = 30.0  # a wire tie stands out by less
HANGER_FAR_MM = 15.0  # a hanger on a wire through a thin tail stands out by less
BULGE_MM = 0.3  # a weight that comes out by less is let into the belly
SECTIONS, ROUND, PLATE_POINTS = 121, 72, 25  # points along, around, and along a plate's edges


def cautions(config: Config) -> list[str]:
    """Everything in a sound configuration that is likely a slip, one line each.

    Parameters
    ----------
    config : Config    as it was loaded; from a dictionary of all values, every key counts as given
    """
    where = f"{config.source_path or 'config'}: "
    return [where + text for text in (*_unused_keys(config), *_far_parts(config.bait))]


def _unused_keys(config: Config) -> list[str]:
    """Keys that are given but have no effect beside others."""
    found = []
    if "retrieve" in config.model_fields_set and config.line is None:
        found.append(
            "[retrieve] is given without [line]: the bait moves freely and is not retrieved. Add"
            " [line], or remove [retrieve]."
        )
    bait, water = config.bait, config.water
    if bait.total_mass_g is not None and bait.body and bait.body.density_g_cm3 is not None:
        found.append(
            f"bait.body.density_g_cm3 = {bait.body.density_g_cm3:g} is not used:"
            f" bait.total_mass_g = {bait.total_mass_g:g} decides. Remove one of them."
        )
    if water.density_kg_m3 is not None:
        unused = [key for key in ("kind", "temperature_c") if key in water.model_fields_set]
        if unused:
            names = " and ".join(f"water.{key}" for key in unused)
            are = "are" if len(unused) > 1 else "is"
            found.append(
                f"{names} {are} not used: water.density_kg_m3 ="
                f" {water.density_kg_m3:g} and viscosity_m2_s decide. Remove what you do not mean."
            )
    return found


def _far_parts(bait: Bait) -> list[str]:
    """Tie point, weights and hangers that are not where a bait has them."""
    found = []
    surface = _surface(bait)
    tie = bait.tie
    if tie is not None and surface.size:
        at = from_nose(tie.from_nose_mm, tie.above_centreline_mm, tie.right_mm)
        gap = _gap_mm(bait, surface, at)
        if gap > TIE_FAR_MM:
            found.append(
                f"bait.tie is {gap:.0f} mm away from body and bill. Check its position:"
                " from_nose_mm counts toward the tail, above_centreline_mm is negative below."
            )
    for i, b in enumerate(bait.ballast):
        if bait.body is None:
            continue
        at = from_nose(b.from_nose_mm, b.above_centreline_mm, b.right_mm)
        held = inside_body(bait.body, at)
        if b.inside and not held:
            found.append(
                f'bait.ballast.{i} ("{b.name}") has its centre outside the body, with inside ='
                " true. Check its position, or set inside = false."
            )
        elif held and not b.inside:
            found.append(
                f'bait.ballast.{i} ("{b.name}") has its centre inside the body, with inside ='
                " false. Check its position, or set inside = true."
            )
        elif b.inside and held:
            # a ball of the weight's volume, the roundest shape it can have
            radius = (0.75 * b.mass_g / b.density_g_cm3 / math.pi) ** (1.0 / 3.0) * 10.0
            low = from_nose(b.from_nose_mm, b.above_centreline_mm - radius + BULGE_MM, b.right_mm)
            if not inside_body(bait.body, low):
                found.append(
                    f'bait.ballast.{i} ("{b.name}") would come out of the belly as a ball of'
                    f" {2.0 * radius:.1f} mm. Move it up, or see that its own shape fits."
                )
        if b.above_centreline_mm > 0.0:
            found.append(
                f'bait.ballast.{i} ("{b.name}") sits above the centreline and makes the bait top'
                " heavy. Below the centreline above_centreline_mm is negative."
            )
    for i, h in enumerate(bait.hook):
        if h.drag_area_mm2 == 0.0:
            found.append(
                f'bait.hook.{i} ("{h.name}") has no drag_area_mm2: hook drag damps the roll and can'
                " decide the class. Give drag coefficient times frontal area, 30 to 60 for a small"
                " treble."
            )
        if not surface.size:
            continue
        gap = _gap_mm(bait, surface, from_nose(h.from_nose_mm, h.above_centreline_mm, h.right_mm))
        if gap > HANGER_FAR_MM:
            found.append(
                f'bait.hook.{i} ("{h.name}") has its hanger {gap:.0f} mm away from body and bill.'
                " Check its position: how far the hook hangs below it is hang_mm."
            )
    return found


def inside_body(body: Body, at: np.ndarray) -> bool:
    """Whether a point, shape (3,), bait axes from the nose tip [m], is in the body."""
    aft = -float(at[0])
    if not 0.0 <= aft <= body.length_mm * MM:
        return False
    cut = outline_at(body, np.array([aft]))
    # Two half sections, above and below the centreline.
    half_height = float(cut.lower[0] if at[2] > 0.0 else cut.upper[0])
    half_width = float(cut.half_width[0])
    if half_height <= 0.0 or half_width <= 0.0:
        return False
    across, down = abs(float(at[1])) / half_width, abs(float(at[2])) / half_height
    return across**body.exponent + down**body.exponent <= 1.0


def _gap_mm(bait: Bait, surface: np.ndarray, at: np.ndarray) -> float:
    """Distance [mm] from a point to the nearest one of the surface; none inside the body."""
    if bait.body is not None and inside_body(bait.body, at):
        return 0.0
    return float(np.min(np.linalg.norm(surface - at, axis=1))) / MM


def _surface(bait: Bait) -> np.ndarray:
    """Points all over body and plates, shape (n, 3), bait axes from the nose tip [m]."""
    points = [np.zeros((0, 3))]
    if bait.body is not None:
        points.append(_body_surface(bait.body))
    if bait.bill is not None:
        points.append(_plate_surface(bait.bill, 0.0))
    points += [_plate_surface(plate, plate.cant_deg) for plate in bait.plate]
    return np.vstack(points)


def _body_surface(body: Body) -> np.ndarray:
    cut = outline_at(body, np.linspace(0.0, body.length_mm * MM, SECTIONS))
    angle = np.linspace(0.0, 2.0 * math.pi, ROUND, endpoint=False)
    power = 2.0 / body.exponent
    across = np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** power
    down = np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power
    height = np.where(down > 0.0, cut.lower[:, None], cut.upper[:, None])
    return np.column_stack(
        [
            np.repeat(-cut.aft, ROUND),
            np.outer(cut.half_width, across).ravel(),
            (height * down).ravel(),
        ]
    )


def _plate_surface(plate: Bill, cant_deg: float) -> np.ndarray:
    corners = plate_outline(plate)
    # Edges, and the same drawn in toward the middle: enough for gaps of many millimetres.
    share = np.linspace(0.0, 1.0, PLATE_POINTS, endpoint=False)[:, None, None]
    edge = (corners + share * (np.roll(corners, -1, axis=0) - corners)).reshape(-1, 2)
    middle = edge.mean(axis=0)
    flat = np.vstack([middle + k * (edge - middle) for k in (0.0, 0.25, 0.5, 0.75, 1.0)])
    root = from_nose(plate.from_nose_mm, plate.above_centreline_mm, plate.right_mm)
    return root + flat @ plate_axes(plate, cant_deg)[:2]
