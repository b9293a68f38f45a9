"""Seeded random plausible baits, their mirror images, and a hand on the right-hand side.

Shared by the property tests: every bait is a plain mapping keyed like the TOML file, so that a
test can change one key and build both.
"""

from __future__ import annotations

import copy
import math
from typing import Any, NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from sim.bait.assembly import Assembly, assemble
from sim.config import Config, config_from_dict
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.rhs import Scratch, derivative, make_scratch
from sim.kernels.stepper import integrate
from sim.model import build_model
from sim.start import start_state

LOADS = (
    "weight", "buoyancy", "added_mass", "bill", "plates", "wake", "body_drag", "tail",
    "axial_drag", "hooks", "line",
)  # fmt: skip
SPINDLE = np.array([0.18, 0.62, 0.88, 1.0, 0.88, 0.55, 0.2])  # nose to tail, share of the greatest


def generator(*key: int) -> np.random.Generator:
    """A random generator that belongs to one case of one test."""
    return np.random.default_rng([20240607, *key])


def random_bait(rng: np.random.Generator, symmetric: bool = False) -> dict[str, Any]:
    """A plausible bait on a 3 m line, 1 m/s: one body, bill, fin, two weights, two hooks, a tie.

    The number of parts is always the same, so that baits can be stepped side by side. Mounting
    errors, side offsets, a crooked start and a current are drawn unless ``symmetric``.
    """

    def some(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def error(size: float) -> float:
        return 0.0 if symmetric else float(rng.uniform(-size, size))

    length = some(50.0, 110.0)
    height = length * some(0.2, 0.32)
    width = height * some(0.45, 0.9)
    body: dict[str, Any] = {"length_mm": length, "density_g_cm3": some(0.3, 0.5)}
    if rng.random() < 0.3:
        body |= {"form": "ellipsoid", "height_mm": height, "width_mm": width}
    else:
        at = np.array([0.0, 0.07, 0.2, 0.37, 0.6, 0.83, 1.0]) * length
        shares = SPINDLE * rng.uniform(0.9, 1.0, 7)
        lower = shares * rng.uniform(0.9, 1.1, 7)
        body["exponent"] = some(2.0, 4.0)
        body["station"] = [
            {
                "from_nose_mm": float(x),
                "upper_mm": 0.5 * height * float(up),
                "lower_mm": 0.5 * height * float(low),
                "half_width_mm": 0.5 * width * float(up),
            }
            for x, up, low in zip(at, shares, lower, strict=True)
        ]
    if rng.random() < 0.3:
        body |= {"wall_mm": some(1.0, 1.6), "density_g_cm3": some(1.0, 1.1)}

    def plate(**values: Any) -> dict[str, Any]:
        return {
            "outline": ("square", "rounded", "tapered", "coffin")[int(rng.integers(4))],
            "thickness_mm": some(0.8, 2.0),
            "density_g_cm3": some(1.0, 1.4),
            "right_mm": error(0.5),
            "yaw_error_deg": error(1.0),
            "roll_error_deg": error(1.0),
            **values,
        }

    bait = {
        "body": body,
        "bill": plate(
            from_nose_mm=0.1 * length,
            above_centreline_mm=-0.3 * height,
            length_mm=length * some(0.2, 0.35),
            width_mm=height * some(0.7, 1.0),
            angle_deg=some(35.0, 88.0),
        ),
        "plate": [
            plate(
                name="fin",
                from_nose_mm=0.8 * length,
                above_centreline_mm=-0.2 * height,
                length_mm=0.3 * height,
                width_mm=0.15 * length,
                angle_deg=some(80.0, 120.0),
                cant_deg=90.0 if symmetric else 90.0 + some(-5.0, 5.0),
            )
        ],
        "ballast": [
            {
                "name": "belly",
                "mass_g": 1.2e-4 * length * height * width,
                "from_nose_mm": length * some(0.35, 0.5),
                "above_centreline_mm": -0.3 * height,
                "right_mm": error(0.5),
            },
            {
                "name": "outside",
                "mass_g": some(0.2, 0.6),
                "from_nose_mm": 0.6 * length,
                "above_centreline_mm": -0.6 * height,
                "right_mm": error(0.5),
                "inside": False,
            },
        ],
        "hook": [
            {
                "name": name,
                "mass_g": some(0.3, 1.0),
                "from_nose_mm": at * length,
                "above_centreline_mm": up * height,
                "right_mm": error(0.5),
                "hang_mm": some(5.0, 10.0),
                "drag_area_mm2": some(20.0, 60.0),
            }
            for name, at, up in (("belly hook", 0.4, -0.5), ("tail hook", 1.0, 0.0))
        ],
        "tie": {
            "from_nose_mm": 0.03 * length,
            "above_centreline_mm": height * some(-0.25, 0.1),
            "right_mm": error(0.5),
        },
    }
    return {
        "bait": bait,
        "line": {"length_m": 3.0},
        "retrieve": {"speed_m_s": some(0.7, 1.4), "heading_deg": error(40.0)},
        "water": {
            "current_m_s": 0.0 if symmetric else some(0.05, 0.3),
            "current_toward_deg": error(180.0),
        },
        "start": {
            "y_m": error(0.3),
            "depth_m": some(0.4, 0.8),
            "roll_deg": error(10.0),
            "pitch_deg": some(-15.0, 10.0),
            "yaw_deg": error(10.0),
            "rates_deg_s": [error(50.0), some(-50.0, 50.0), error(50.0)],
            "wake": error(1.0),
            "wake_rate": error(10.0),
        },
    }


def changed(data: dict[str, Any], **tables: Any) -> dict[str, Any]:
    """A copy with keys of top-level tables replaced; None removes a table."""
    copied = copy.deepcopy(data)
    for name, values in tables.items():
        if values is None:
            copied.pop(name, None)
        else:
            copied.setdefault(name, {}).update(values)
    return copied


def mirrored(data: dict[str, Any]) -> dict[str, Any]:
    """The same bait and start seen in a mirror on the plane y = 0."""
    image = copy.deepcopy(data)
    bait, start = image["bait"], image["start"]
    plates = [bait["bill"], *bait.get("plate", [])]
    for part in [*plates, *bait.get("ballast", []), *bait.get("hook", []), bait["tie"]]:
        part["right_mm"] = -part["right_mm"]
    for plate in plates:
        for key in ("yaw_error_deg", "roll_error_deg", "cant_deg"):
            if key in plate:
                plate[key] = -plate[key]
        if "outline_mm" in plate:
            plate["outline_mm"] = [[along, -across] for along, across in plate["outline_mm"]]
    for key in ("y_m", "roll_deg", "yaw_deg", "wake", "wake_rate"):
        start[key] = -start[key]
    p, q, r = start["rates_deg_s"]
    start["rates_deg_s"] = [-p, q, -r]
    image["retrieve"]["heading_deg"] *= -1.0
    image["water"]["current_toward_deg"] *= -1.0
    return image


class Set(NamedTuple):
    """A bait ready to be stepped: one lane."""

    config: Config
    bait: Assembly
    model: Model
    scratch: Scratch
    start: np.ndarray  # (15,)


def ready(data: dict[str, Any]) -> Set:
    """Build kernel arrays and the state at the start."""
    config = config_from_dict(data)
    bait = assemble(config)
    start, rod = start_state(config, bait)
    model = build_model(config, bait, rod)
    return Set(config, bait, model, make_scratch(model), start)


def rates(case: Set, state: np.ndarray, t: float = 0.0) -> np.ndarray:
    """Time derivative of one state, shape (15,)."""
    out = np.zeros((lo.N_STATE, 1))
    derivative(t, np.ascontiguousarray(state[:, None]), case.model, case.scratch, out)
    return out[:, 0]


def run(
    case: Set, records: int, step: float = 1e-3, every: int = 4, start: np.ndarray | None = None
) -> np.ndarray:
    """States at even steps, shape (records, 15)."""
    state = (case.start if start is None else start)[:, None].copy()
    states = np.empty((records, lo.N_STATE, 1))
    tensions = np.empty((records, 1))
    good = np.zeros(1, dtype=np.int64)
    integrate(0, every, step, state, case.model, case.scratch, states, tensions, good)
    assert good[0] == records
    return states[:, :, 0]


def mass_matrix(case: Set) -> np.ndarray:
    """Rigid plus added mass, shape (6, 6)."""
    return case.model.mass[0, :, :, 0]


def rotation_of(state: np.ndarray) -> np.ndarray:
    """Rotation matrix, bait frame to earth, shape (3, 3)."""
    matrix: np.ndarray = Rotation.from_quat(state[lo.QW : lo.QZ + 1], scalar_first=True).as_matrix()
    return matrix


def random_state(rng: np.random.Generator, case: Set, fast: float = 1.0) -> np.ndarray:
    """A generic state in deep water: any attitude, about 1 m/s and 10 rad/s times ``fast``."""
    state = case.start.copy()
    quat = rng.normal(size=4)
    state[lo.Z] = 1.0
    state[lo.QW : lo.QZ + 1] = quat / math.sqrt(float(quat @ quat))
    state[lo.U : lo.W + 1] = rng.normal(size=3) * fast
    state[lo.P : lo.R + 1] = rng.normal(size=3) * 10.0 * fast
    state[lo.S], state[lo.SDOT] = rng.normal(size=2)
    return state
