"""Steady tow and modes in words, in a table and in JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.config.models import Config
from sim.report.text import config_document, fixed, labelled, name_of, sided, significant, title
from sim.small_motion import Mode, Modes, TiePoint
from sim.trim import Trim

NAMES = {"wobble": "wobble", "lean": "lean"}
LINE_SIDEWAYS, LINE_UP_AND_DOWN = "back onto the track", "back to its depth"
HARDLY_S = 60.0  # a motion that takes longer to double or halve hardly changes during a retrieve


def has_wake(config: Config) -> bool:
    """Whether a bill sheds a wake that can drive the bait."""
    loads = config.loads
    on = config.bait.bill is not None and loads.bill and loads.wake
    return on and config.coefficients.wake_offset > 0.0


def _seconds(mode: Mode) -> str:
    """Time in which a motion doubles or halves, in two figures."""
    value = mode.doubling_s
    if math.isinf(value):
        return "-"
    return f"{float(f'{value:.1e}'):.0f} s" if value >= 10.0 else f"{significant(value, 2)} s"


def _travel(mode: Mode, trim: Trim, length_m: float | None) -> str:
    """Time in which a motion doubles or halves, as travel in body lengths where there are any."""
    seconds = _seconds(mode)
    if not length_m or trim.speed_m_s == 0.0:
        return seconds
    lengths = mode.doubling_s * trim.speed_m_s / length_m
    return f"{significant(lengths, 2)} body lengths of travel ({seconds})"


def explain(modes: Modes, length_m: float | None = None, wake: bool = True) -> tuple[str, str]:
    """Two sentences for a maker: what a small wobble does, and what a lean does.

    Parameters
    ----------
    modes : Modes
    length_m : float, optional    length of the body, to give travel in body lengths
    wake : bool                   a bill sheds a wake
    """
    wobble, lean = modes.wobble, modes.lean
    wake = wake and modes.trim.speed_m_s > 0.0
    if wobble is None:
        follows = "it only follows the bill's wake" if wake else "nothing makes it wobble"
        first = f"The bait has no wobble of its own: {follows}."
    elif wobble.doubling_s > HARDLY_S:
        at = f"a small wobble of {significant(wobble.frequency_hz, 2)} Hz"
        if wobble.growth_1_s > 0.0:
            first = f"Once disturbed, {at} swings on and hardly grows, doubling in"
        else:
            first = f"Left alone, {at} swings on and hardly dies out, halving in"
        first += f" {_seconds(wobble)}."
    else:
        swings = f"{significant(wobble.doubling_s * wobble.frequency_hz, 2)} swings"
        at = f"a small wobble of {significant(wobble.frequency_hz, 2)} Hz"
        if wobble.growth_1_s > 0.0:
            first = (
                f"Once disturbed, {at} grows by itself, doubling every {swings}, until drag holds"
                " it: the bait wobbles "
                + ("without any help from the bill's wake." if wake else "by itself.")
            )
        else:
            first = f"Left alone, {at} dies out, halving every {swings}: " + (
                "the bill's wake has to keep it going." if wake else "nothing keeps it going."
            )
    if lean is None:
        return first, "No slow lean was found."
    travel = _travel(lean, modes.trim, length_m)
    if lean.doubling_s > HARDLY_S:
        how = "grows, doubling" if lean.growth_1_s > 0.0 else "comes back, halving"
        second = f"A lean to one side hardly {how} within {travel}."
    elif lean.growth_1_s > 0.0:
        second = f"A lean to one side grows by itself, doubling within {travel}: it goes over."
    else:
        how = "swings back" if lean.oscillates else "comes back"
        second = (
            f"A lean to one side {how} by itself, halving within {travel}; the longer that takes,"
            " the more an error in bill, ballast or eye shows."
        )
    return first, second


def _mode_document(mode: Mode | None) -> dict[str, Any] | None:
    if mode is None:
        return None
    return {
        "name": mode.name or None,
        "growth_1_s": mode.growth_1_s,
        "frequency_hz": mode.frequency_hz,
        "doubling_or_halving_s": mode.doubling_s,
        "roll_to_yaw": mode.roll_to_yaw,
        "roll_after_yaw_deg": mode.roll_after_yaw_deg,
        "sideways_share": mode.sideways,
    }


def _trim_document(trim: Trim) -> dict[str, float]:
    return {
        "speed_m_s": trim.speed_m_s,
        "pitch_deg": trim.pitch_deg,
        "lean_deg": trim.lean_deg,
        "yaw_deg": trim.yaw_deg,
        "depth_m": trim.depth_m,
        "side_m": trim.side_m,
        "line_angle_deg": trim.line_angle_deg,
        "line_tension_n": trim.line_tension_n,
    }


def modes_document(
    config: Config,
    found: Modes,
    length_m: float | None,
    path: Sequence[TiePoint] = (),
    picture: str | None = None,
) -> dict[str, Any]:
    """Steady tow and modes as a dictionary.

    Returns
    -------
    dict
        ``name``, ``config``, ``trim`` (angles in degrees, nose up, starboard down and nose to
        starboard positive; ``depth_m``, ``side_m``, ``line_angle_deg`` below the horizontal,
        ``line_tension_n``), ``wobble`` and ``lean`` (None where there is none), ``modes`` (all),
        ``in_words`` (two sentences), ``tie_path`` (a list of places in mm with ``trim``,
        ``wobble`` and ``lean``; empty unless asked for), ``picture``.
    """
    return {
        "name": name_of(config),
        "config": config_document(config),
        "trim": _trim_document(found.trim),
        "wobble": _mode_document(found.wobble),
        "lean": _mode_document(found.lean),
        "modes": [_mode_document(m) for m in found.modes],
        "in_words": list(explain(found, length_m, has_wake(config))),
        "tie_path": [
            {
                "distance_mm": p.distance_mm,
                "from_nose_mm": p.from_nose_mm,
                "above_centreline_mm": p.above_centreline_mm,
                "trim": None if p.modes is None else _trim_document(p.modes.trim),
                "wobble": None if p.modes is None else _mode_document(p.modes.wobble),
                "lean": None if p.modes is None else _mode_document(p.modes.lean),
            }
            for p in path
        ],
        "picture": picture,
    }


def modes_summary(
    config: Config, found: Modes, length_m: float | None, path: Sequence[TiePoint] = ()
) -> RenderableType:
    """Steady tow, the two sentences, and the table of all modes."""
    trim = found.trim
    line = (
        f"{fixed(trim.line_angle_deg, 1, 'deg')} below the horizontal at the rod tip,"
        f" {fixed(trim.line_tension_n, 2, 'N')}"
    )
    sentences = explain(found, length_m, has_wake(config))
    through = " through the water" if config.water.current_m_s else ""
    parts: list[RenderableType] = [
        title(name_of(config), f"  steady tow at {trim.speed_m_s:.4g} m/s{through}, wake at rest"),
        labelled(
            [
                ("pitch", sided(trim.pitch_deg, 1, "deg", "nose up", "nose down")),
                ("lean", sided(trim.lean_deg, 1, "deg", "to starboard", "to port")),
                ("yaw", sided(trim.yaw_deg, 1, "deg", "to starboard", "to port")),
                ("depth", fixed(trim.depth_m, 2, "m")),
                ("off track", sided(1e3 * trim.side_m, 0, "mm", "to starboard", "to port")),
                ("line", line),
            ]
        ),
        Text(),
        *(Padding(Text(sentence), (0, 0, 0, 2)) for sentence in sentences),
        Text(),
        _table(found),
    ]
    if path:
        parts += [Text(), _path_table(path)]
    return Group(*parts)


def _table(found: Modes) -> RenderableType:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    table.add_column("mode")
    table.add_column("growth\n1/s", justify="right")
    table.add_column("frequency\nHz", justify="right")
    table.add_column("", justify="left")
    table.add_column("roll\nover yaw", justify="right")
    for mode in found.modes:
        across = mode.sideways > 0.5
        name = NAMES.get(mode.name, "sideways" if across else "up and down")
        if mode.name == "line":
            name = LINE_SIDEWAYS if across else LINE_UP_AND_DOWN
        grows = "doubles in" if mode.growth_1_s > 0.0 else "halves in"
        table.add_row(
            name,
            fixed(mode.growth_1_s, 2),
            fixed(mode.frequency_hz, 2) if mode.oscillates else "-",
            f"{grows} {_seconds(mode)}" if mode.growth_1_s else "-",
            significant(mode.roll_to_yaw, 2) if across else "-",
        )
    return Padding(table, (0, 0, 0, 2))


def _path_table(path: Sequence[TiePoint]) -> RenderableType:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    heads = (
        "tie path\nmm", "from nose\nmm", "above\nmm", "pitch\ndeg", "wobble\nHz", "growth\n1/s",
        "lean\n1/s",
    )  # fmt: skip
    for head in heads:
        table.add_column(head, justify="right")
    for p in path:
        place = (fixed(p.distance_mm, 0), fixed(p.from_nose_mm, 1), fixed(p.above_centreline_mm, 1))
        if p.modes is None:
            table.add_row(*place, "no steady tow")
            continue
        wobble, lean = p.modes.wobble, p.modes.lean
        table.add_row(
            *place,
            fixed(p.modes.trim.pitch_deg, 1),
            fixed(None if wobble is None else wobble.frequency_hz, 2),
            fixed(None if wobble is None else wobble.growth_1_s, 1),
            fixed(None if lean is None else lean.growth_1_s, 1)
            + ("~" if lean is not None and lean.oscillates else ""),
        )
    return Padding(table, (0, 0, 0, 2))
