"""Made-up maps for tests of pictures and reports: every number is set here, none is simulated."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

import sim
from sim.studies.engine import CLASSES, MARGINS, STATUSES
from sim.studies.store import MapResult
from sim.studies.study import Axis, Study

CONFIGS = Path(__file__).parents[2] / "configs"
TIE = ("tie_path_mm", "tie point along the tie path", "mm")
SPEED = ("retrieve.speed_m_s", "retrieve speed", "m/s")
T, B, O, S = range(4)  # noqa: E741 letters of the classes, in the order of CLASSES
FAIL, INVALID, OPEN, LINE, NONE = -4, -5, -1, -2, -6  # a run without a class, and why
_STATUS = {FAIL: "diverged", INVALID: "invalid", OPEN: "not settled", LINE: "line in",
           NONE: "not run"}  # fmt: skip


def make_study(
    x: Any, y: Any = None, starts: tuple[str, ...] = ("steady",), fixed: Any = None
) -> Study:
    """A study of the shallow runner over the tie path, and over the speed where ``y`` is given."""
    fixed = fixed or {}
    base = sim.load_config(CONFIGS / "shallow-runner.toml", fixed)
    axes = [Axis(*TIE, np.asarray(x, float))]
    if y is not None:
        axes.append(Axis(*SPEED, np.asarray(y, float)))
    return Study("made-up", "", "", "made-up.toml", base, fixed, tuple(axes), starts=starts)


def make_map(kinds: Any, study: Study, inferred: Any = None, **changes: Any) -> MapResult:
    """A map of given kinds: classes by their code, or one of the codes without a class above.

    Parameters
    ----------
    kinds : array of int, shape (*shape) or (*shape, starts)
    changes : fields of the result in place of the made-up ones
    """
    kinds = np.asarray(kinds)
    if kinds.ndim == len(study.shape):
        kinds = kinds[..., None]
    inferred = np.zeros(study.shape, bool) if inferred is None else np.asarray(inferred)
    run = ~inferred[..., None] & (kinds != NONE)
    status = np.full(kinds.shape, STATUSES.index("settled"), np.int8)
    message = np.full(kinds.shape, "", object)
    for code, name in _STATUS.items():
        status[kinds == code] = STATUSES.index(name)
        message[kinds == code] = "" if code == NONE else f"{name}: made up"
    status[np.broadcast_to(inferred[..., None], kinds.shape)] = STATUSES.index("not run")
    motion = np.where(kinds >= 0, kinds, -1).astype(np.int8)
    sound = run & (kinds >= 0)
    x = np.asarray(study.axes[0].values).reshape(-1, *[1] * (kinds.ndim - 1))
    y = np.zeros(1) if len(study.axes) == 1 else np.asarray(study.axes[1].values)[:, None]

    def field(values: Any) -> np.ndarray:
        return np.where(sound, np.broadcast_to(values, kinds.shape), math.nan)

    measures = {
        "wobble_frequency_hz": field(8.0 - 0.1 * x + 2.0 * y),
        "yaw_amplitude_deg": field(5.0 + 0.3 * np.abs(x) + y),
        "roll_amplitude_deg": field(20.0 + 0.8 * x + y),
    }
    made = {
        "study": study, "starts": study.starts, "status": status, "motion_class": motion,
        "inferred": inferred, "measures": measures,
        "margins": {name: field(1.0) for name in MARGINS},
        "first_s": field(4.0), "last_s": field(8.0), "end_s": field(8.0),
        "early": np.zeros(kinds.shape, bool), "message": message, "states": None,
        "states_step_s": 0.0, "mode_axes": None, "growth": {},
        "shipped": (-3.0, 1.0)[: len(study.axes)], "complete": True, "provenance": {},
    }  # fmt: skip
    return MapResult(**(made | changes))


__all__ = ["CLASSES", "FAIL", "INVALID", "LINE", "NONE", "OPEN", "B", "O", "S", "T", "make_map",
           "make_study"]  # fmt: skip
