"""A run in words and in JSON."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.text import Text

from sim.classify import nearest_limit
from sim.config import config_digest
from sim.report.text import (
    SHORT_DIGEST,
    config_document,
    fixed,
    labelled,
    made_by,
    name_of,
    sided,
    title,
)
from sim.result import RunResult

GRAVITY = 9.80665  # standard gravity [m/s^2], to give a force as the weight of so many grams
# Limit -> what is compared with it, its unit, and the side on which a positive margin lies.
LIMITS = {
    "spin": ("spin", "turns", "below"),
    "roll": ("roll", "deg", "below"),
    "lean": ("lean", "deg", "below"),
    "roll_to_yaw": ("roll to yaw", "", "below"),
    "tight_yaw": ("tight yaw", "deg", "above"),
}


def nearest(run: RunResult) -> dict[str, Any] | None:
    """The limit that decides or comes nearest: name, distance (negative beyond it), unit."""
    known = {name: value for name, value in run.margins.items() if math.isfinite(value)}
    if run.motion_class is None or not known:
        return None
    name, distance = nearest_limit(known, run.config.limits)
    return {"name": name, "distance": float(distance), "unit": LIMITS[name][1] or "1"}


def nearest_in_words(run: RunResult) -> str:
    """For instance "tight yaw, 2.3 deg above"; "" for a run without a class."""
    found = nearest(run)
    if found is None:
        return ""
    words, unit, side = LIMITS[found["name"]]
    other = {"above": "below", "below": "above"}[side]
    digits = 1 if unit == "deg" else 2
    distance = found["distance"]
    if float(f"{distance:.{digits}f}") == 0.0:
        return f"{words}, at the limit"
    return f"{words}, {fixed(abs(distance), digits, unit)} {side if distance > 0.0 else other}"


def run_document(
    run: RunResult, output: str | None = None, picture: str | None = None
) -> dict[str, Any]:
    """A run as a dictionary, without its trajectory.

    Parameters
    ----------
    run : RunResult
    output, picture : str, optional    files that hold it

    Returns
    -------
    dict
        ``name``, ``config`` (``source``, ``digest``, ``overrides``), ``status``, ``message``,
        ``motion_class`` (None without one), ``class_reason``, ``nearest_limit`` (``name``,
        ``distance``, ``unit``, or None), ``measures`` and ``margins`` (units at the end of the
        keys; margins in the unit of their limit), ``window_s`` (start and end of the part
        measured), ``duration_s``, ``stats``, ``warnings``, ``output``, ``picture``,
        ``provenance``.
    """
    config = run.config
    return {
        "name": name_of(config),
        "config": config_document(config),
        "status": run.status,
        "message": run.message,
        "motion_class": run.motion_class,
        "class_reason": run.class_reason,
        "nearest_limit": nearest(run),
        "measures": dict(run.measures),
        "margins": dict(run.margins),
        "window_s": list(run.window),
        "duration_s": _duration(run),
        "stats": dict(run.stats),
        "warnings": list(run.warnings),
        "output": output,
        "picture": picture,
        "provenance": dict(run.provenance),
    }


def _duration(run: RunResult) -> float:
    """How long the simulated time is that came out sound [s]."""
    sound = run.time[np.isfinite(run.position).all(axis=1)]
    return float(sound[-1]) if sound.size else 0.0


def run_summary(run: RunResult, *, provenance: bool = False) -> RenderableType:
    """A run in a few lines: what it is, how it moves, what to know about it.

    Parameters
    ----------
    run : RunResult
    provenance : bool    tell when and by which versions it was made
    """
    parts: list[RenderableType] = [title(name_of(run.config)), labelled(_verdict(run))]
    if run.measures:
        parts += [Text(""), Text(_measured_over(run)), labelled(_measures(run))]
    if run.warnings:
        parts += [Text(""), Text("Warnings", style="bold")]
        parts += [labelled([("-", text)]) for text in run.warnings]
    parts += [Text(""), labelled(_origin(run, provenance))]
    return Group(*parts)


def _verdict(run: RunResult) -> list[tuple[str, RenderableType]]:
    reason = run.class_reason.removeprefix("no class: ")
    kind = Text.assemble((run.motion_class or "none", "bold" if run.motion_class else ""))
    rows: list[tuple[str, RenderableType]] = [
        ("Class", kind.append(f": {reason}" if reason else ""))
    ]
    words = nearest_in_words(run)
    if words:
        rows.append(("", f"nearest limit: {words}"))
    status = run.status
    # The message of a run that is not settled begins with the same words.
    text = run.message if run.message.startswith(status) else f"{status}: {run.message}"
    rows.append(("Status", text))
    return rows


def _measured_over(run: RunResult) -> str:
    start, end = run.window
    over = f"{fixed(start, 2)} s to {fixed(end, 2)} s"
    if run.status == "settled":
        extensions = int(run.stats.get("extensions", 0))
        times = "once" if extensions == 1 else f"{extensions} times"
        return f"Settled motion, {over}" + (f" (run extended {times})" if extensions else "")
    if run.status == "free":
        return f"Second half of the free motion, {over}"
    return f"Second half of a motion that has not settled, {over}"


def _measures(run: RunResult) -> list[tuple[str, RenderableType]]:
    m = {name: float(value) for name, value in run.measures.items()}

    def get(name: str) -> float:
        return m.get(name, math.nan)

    swing = "to each side"
    rows = [
        ("Wobble", fixed(get("wobble_frequency_hz"), 2, "Hz")),
        ("Yaw amplitude", _with(fixed(get("yaw_amplitude_deg"), 1, "deg"), swing)),
        ("Roll amplitude", _with(fixed(get("roll_amplitude_deg"), 1, "deg"), swing)),
        ("Lean", sided(get("lean_deg"), 1, "deg", "to starboard", "to port")),
        ("Pitch", sided(get("pitch_deg"), 1, "deg", "nose up", "nose down")),
        ("Nose sweep", _with(fixed(get("nose_sweep_mm"), 1, "mm"), "from side to side")),
        ("Tail sweep", _with(fixed(get("tail_sweep_mm"), 1, "mm"), "from side to side")),
        ("Depth", _depth(get("depth_m"))),
    ]
    if run.config.line is not None:
        pull = get("line_tension_n")
        grams = fixed(pull / GRAVITY * 1e3, 0, "g")
        rows.append(("Line tension", _with(fixed(pull, 2, "N"), f"(weight of {grams})")))
    drift = 1e3 * get("side_drift_m_per_m")
    turns = sided(get("turns"), 2, "", "starboard side down", "port side down")
    rate = abs(get("turn_rate_hz"))
    if run.motion_class == "spinning" and math.isfinite(rate):
        turns += f", {fixed(rate, 2)} per second"
    elif (most := get("most_turns")) >= run.config.limits.spin_turns:
        turns += f"; went round {fixed(most, 1)} times on the way"
    rows += [
        ("Side drift", sided(drift, 1, "mm per m", "to starboard", "to port")),
        ("Turns", turns),
    ]
    return list(rows)


def _with(number: str, more: str) -> str:
    return number if number == "-" else f"{number} {more}"


def _depth(value: float) -> str:
    if value < -0.005:
        return f"{fixed(-value, 2, 'm')} above the surface"
    return fixed(value, 2, "m")


def _origin(run: RunResult, provenance: bool) -> list[tuple[str, RenderableType]]:
    config = run.config
    source = config.source_path or "-"
    rows: list[tuple[str, RenderableType]] = [
        ("Config", f"{source} (sha256 {config_digest(config)[:SHORT_DIGEST]})")
    ]
    rows += [("", f"{key} = {value}") for key, value in config.overrides.items()]
    if not provenance:
        return rows
    rows += made_by(run.provenance)
    return rows
