"""One run in one picture: what the bait did, where it went, how hard it pulled."""

from __future__ import annotations

import math
import os
import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.text import Text

from sim.bait.frame import heading_deg
from sim.measure import Angles, track_angles
from sim.plots.panels import (
    ANGLES,
    CUT_NOTE,
    STOP,
    TURNS,
    attitude_panel,
    bait_panel,
    depth_panel,
    panel_title,
    plan_panel,
    tension_panel,
    turns_panel,
)
from sim.plots.save import save_figure
from sim.plots.style import FIGURE_INCHES, class_style, plot_style
from sim.result import RunResult

__all__ = [
    "along_and_side",
    "attitude_angles",
    "attitude_panel",
    "bait_panel",
    "depth_panel",
    "measures_line",
    "plan_panel",
    "run_figure",
    "run_title",
    "save_run_figure",
    "tension_panel",
    "turns_panel",
]

CLOSE_UP_WOBBLES = 12.0  # so many fit the panel's width and can still be told apart
CLOSE_UP_S = (1.0, 4.0)
SHADE = "#D9E6EF"
SHADE_DARK = "#BFD5E5"


def attitude_angles(attitude: np.ndarray, heading_deg: float) -> Angles:
    """Angles against the direction of the retrieve, NaN where the attitude is unknown.

    Parameters
    ----------
    attitude : ndarray, shape (n, 4)    unit quaternions, scalar first, bait frame to earth
    heading_deg : float                 direction of the retrieve

    Returns
    -------
    Angles    as :func:`sim.measure.track_angles`, the twist counted from the first known row
    """
    attitude = np.asarray(attitude, dtype=float).reshape(-1, 4)
    known = np.isfinite(attitude).all(axis=1)
    series = np.full((4, known.size), np.nan)
    if known.any():
        series[:, known] = track_angles(attitude[known], heading_deg)
        series[3] -= series[3][known][0]
    return Angles(*series)


def whole_turns_off(angles: Angles, part: np.ndarray) -> Angles:
    """Yaw and roll less the whole turns made before the part shown, shape of ``part``: (n,) bool.

    A bait that went round and then hung over on its side is shown at 90 degrees, not at 1530.
    """
    shifted = []
    for series in (angles.yaw, angles.roll):
        shown = series[part & np.isfinite(series)]
        turns = round(float(shown.mean()) / 360.0) if shown.size else 0
        shifted.append(series - 360.0 * turns)
    return angles._replace(yaw=shifted[0], roll=shifted[1])


def along_and_side(points: np.ndarray, heading_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Earth positions (n, 3) as distances along the retrieve and to starboard of it [m]."""
    angle = math.radians(heading_deg)
    x, y = points[:, 0], points[:, 1]
    return (
        x * math.cos(angle) + y * math.sin(angle),
        y * math.cos(angle) - x * math.sin(angle),
    )


def run_figure(run: RunResult) -> Figure:
    """One run at a glance, 1600 x 1000 pixels at the default resolution.

    Parameters
    ----------
    run : RunResult    of any status

    Returns
    -------
    Figure             save it inside :func:`sim.plots.style.plot_style`, or use
                       :func:`save_run_figure`
    """
    with plot_style():
        return _run_figure(run)


def save_run_figure(run: RunResult, path: str | os.PathLike[str]) -> Path:
    """Draw a run into a PNG, SVG or PDF file, replacing one of that name; returns its path.

    Raises
    ------
    RuntrueError
        For another suffix, or when the file cannot be written; an existing file is then kept.
    """
    return save_figure(lambda: _run_figure(run), path)


def _run_figure(run: RunResult) -> Figure:
    config = run.config
    has_line = config.line is not None
    heading = heading_deg(config)
    time = np.asarray(run.time, dtype=float)
    angles = attitude_angles(run.attitude, heading)
    along, side = along_and_side(run.position, heading)
    stopped = run.status == "diverged"
    window = run.window
    marked = (time >= window[0]) & (time <= window[1])
    span = _close_up(run)
    near = (time >= span[0]) & (time <= span[1])
    spins = _spins(run, angles.twist)
    angles = whole_turns_off(angles, near)

    figure = Figure(figsize=FIGURE_INCHES)
    FigureCanvasAgg(figure)
    _header(figure, run)

    left, right = (0.85, 8.3), (10.35, 15.8)
    top = 8.05
    floor = 2.35 if has_line else 0.6
    part = _part_name(run)
    length = span[1] - span[0]
    shown = f"last {length:.2g} s of the {part}" if length > 0.0 else f"the {part}"
    limits = config.limits if has_line else None
    if spins:
        upper = attitude_panel(
            time[near],
            {"yaw": angles.yaw[near], "pitch": angles.pitch[near]},
            ax=_panel(figure, *left, 6.75, top),
        )
        upper.set_xlabel("")
        upper.set_ylabel("angle [°]")
        panel_title(upper, f"Attitude, {shown}")
        _legend(upper)
        lower = turns_panel(time[near], angles.twist[near], ax=_panel(figure, *left, 4.85, 6.0))
        panel_title(lower, "Turns from the start of the run, + starboard side down")
        whole = turns_panel(
            time,
            angles.twist,
            spin_turns=config.limits.spin_turns,
            window=window,
            ax=_panel(figure, *left, floor, 3.8 if has_line else 3.35),
        )
        panel_title(whole, "Whole run: turns")
    else:
        upper = attitude_panel(
            time[near],
            {"yaw": angles.yaw[near], "roll": angles.roll[near], "pitch": angles.pitch[near]},
            limits=limits,
            ax=_panel(figure, *left, 4.85 if has_line else 4.4, top),
        )
        panel_title(upper, f"Attitude, {shown}" + _cut_part(upper))
        _legend(upper)
        whole = attitude_panel(
            time,
            {"roll": angles.roll, "yaw": angles.yaw, "pitch": angles.pitch},
            ax=_panel(figure, *left, floor, 3.8 if has_line else 3.35),
        )
        for line in whole.lines:
            line.set(linestyle="-", linewidth=0.9)
        whole.set_ylabel("angle [°]")
        panel_title(whole, "Whole run, same angles" + _cut_part(whole))
    last = whole
    if has_line:
        last = tension_panel(
            time,
            run.line_tension,
            mean=run.measures.get("line_tension_n", math.nan),
            window=window,
            ax=_panel(figure, *left, 0.6, 1.85),
        )
        whole.set_xlabel("")
        whole.tick_params(labelbottom=False)
        _legend(last, beside=True, skip=("tension",))
    for ax in (whole, last) if has_line else (whole,):
        large = window[1] - window[0] if marked.any() else float(np.ptp(time)) if time.size else 0.0
        within = 0.0 < length < 0.95 * large
        if marked.any():
            label = part if within else f"{part}, shown above"
            ax.axvspan(*window, color=SHADE, linewidth=0.0, zorder=0.6, label=label)
        if ax is whole and within:
            ax.axvspan(*span, color=SHADE_DARK, linewidth=0.0, zorder=0.7, label="shown above")
        if stopped:
            _stop_line(ax, time, angles.yaw)
    _legend(whole, beside=True, skip=(*(a[0] for a in ANGLES.values()), TURNS))

    drawing = bait_panel(config.bait, ax=_panel(figure, *right, 6.2, top))
    _legend(drawing)
    rod = rod_depth = None
    if has_line and np.isfinite(run.rod_tip).all(axis=1).any():
        rod = along_and_side(run.rod_tip, heading)
        rod_depth = (rod[0], run.rod_tip[:, 2])
    plan = plan_panel(
        along,
        side,
        rod=rod,
        marked=marked,
        mark=part,
        stopped=stopped,
        ax=_panel(figure, *right, 3.25, 5.1),
    )
    surface = config.water.surface
    below = _panel(figure, *right, 0.6, 2.3)
    if has_line:
        depth_panel(
            along,
            run.position[:, 2],
            rod=rod_depth,
            marked=marked,
            mark=part,
            surface=surface,
            stopped=stopped,
            ax=below,
        )
    else:
        plan.set_xlabel("distance along x [m]")
        depth_panel(
            time,
            run.position[:, 2],
            xlabel="time [s]",
            marked=marked,
            mark=part,
            surface=surface,
            stopped=stopped,
            ax=below,
        )
    # one legend for both paths: what does not fit above the one goes above the other
    rest = (part, "surface")
    _legend(plan, skip=rest)
    names = below.get_legend_handles_labels()[1]
    _legend(below, beside=True, skip=tuple(name for name in names if name not in rest))
    return figure


def _panel(figure: Figure, left: float, right: float, bottom: float, top: float) -> Axes:
    """A panel at a place in inches from the lower left corner; what is around it needs room too."""
    width, height = FIGURE_INCHES
    place = (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
    return figure.add_axes(place)


def _header(figure: Figure, run: RunResult) -> None:
    """Title, class patch and the lines below it."""
    style = class_style(run.motion_class)
    width, height = FIGURE_INCHES
    size = 0.85
    patch = Rectangle(
        (0.35 / width, 1.0 - (0.2 + size) / height),
        size / width,
        size / height,
        transform=figure.transFigure,
        facecolor=style.colour,
        edgecolor="#333333",
        hatch=style.hatch,
        linewidth=1.2,
        gid="class patch",
    )
    figure.add_artist(patch)
    figure.text(
        (0.35 + 0.5 * size) / width,
        1.0 - (0.2 + 0.5 * size) / height,
        style.letter,
        ha="center",
        va="center",
        fontsize=36,
        fontweight="bold",
        gid="class letter",
        path_effects=[withStroke(linewidth=5, foreground="white")],
    )
    left = (0.5 + size) / width
    room = width * (1.0 - left) - 0.3
    title = figure.suptitle(
        run_title(run),
        x=left,
        y=1.0 - 0.16 / height,
        ha="left",
        va="top",
        fontsize=19,
        fontweight="bold",
        parse_math=False,
    )
    _fit(title, room)
    lines = [measures_line(run)]
    lines += textwrap.wrap(_why(run), 165, max_lines=2, placeholder=" ...")
    if run.warnings:
        count = len(run.warnings)
        warned = f"{count} warning{'' if count == 1 else 's'}: {run.warnings[0]}"
        lines.append(textwrap.shorten(warned, 165, placeholder=" ..."))
    at = 0.53
    for i, line in enumerate(lines):
        text = figure.text(
            left,
            1.0 - at / height,
            line,
            ha="left",
            va="top",
            fontsize=14 if i == 0 else 11,
            color="#000000" if i == 0 else "#333333",
            parse_math=False,
        )
        _fit(text, room)
        at += 0.3 if i == 0 else 0.2


def run_title(run: RunResult) -> str:
    """Bait, retrieve and class in one line, the class with its letter."""
    style = class_style(run.motion_class)
    name = run.config.name or "unnamed bait"
    if run.config.line is None:
        how = "without a line"
    else:
        verb = {"tow": "towed", "reel": "reeled in"}[run.config.retrieve.mode]
        how = f"{verb} at {run.config.retrieve.speed_m_s:.3g} m/s"
    if run.motion_class is None:
        return f"{name} {how}: {style.words} [{style.letter}], {run.status}"
    return f"{name} {how}: class {style.letter}, {style.words}"


def measures_line(run: RunResult) -> str:
    """The main measures in one line; those that do not apply are left out.

    Those of a motion that did not settle are marked: they hold for the part measured only.
    """
    value = {key: float(v) for key, v in run.measures.items() if math.isfinite(v)}
    parts = []
    if "wobble_frequency_hz" in value:
        parts.append(f"wobble {value['wobble_frequency_hz']:.1f} Hz")
    if abs(value.get("turn_rate_hz", 0.0)) > 0.0 and run.motion_class == "spinning":
        parts.append(f"{abs(value['turn_rate_hz']):.2f} turns a second")
    for key in ("yaw", "roll"):
        if f"{key}_amplitude_deg" in value:
            parts.append(f"{key} ±{_degrees(value[f'{key}_amplitude_deg'])}")
    if "lean_deg" in value:
        lean = value["lean_deg"]
        to = "" if abs(lean) < 0.05 else " to starboard" if lean > 0.0 else " to port"
        parts.append(f"lean {_degrees(abs(lean))}{to}")
    if "depth_m" in value:
        parts.append(f"depth {value['depth_m']:.2f} m")
    if "line_tension_n" in value and run.config.line is not None:
        parts.append(f"line {value['line_tension_n']:.3g} N")
    if not parts:
        return "no measures of a stationary motion"
    lead = {"settled": "", "free": "free motion:   "}.get(run.status, "not stationary:   ")
    return lead + "   ".join(parts)


def _part_name(run: RunResult) -> str:
    """What the window of a run is: measures may also be taken of a motion that never settled."""
    if not all(map(math.isfinite, run.window)):
        return "run, which has no stationary part"
    return "stationary part" if run.motion_class is not None else "part measured"


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") or not text else ".")


def _why(run: RunResult) -> str:
    """What decided the class, or why there is none."""
    if run.motion_class is not None:
        return _sentence(run.class_reason)
    said = [f"Status: {run.status}."]
    for text in map(_sentence, (run.class_reason, run.message)):
        if text and text not in said:
            said.append(text)
    return " ".join(said)


def _spins(run: RunResult, turns: np.ndarray) -> bool:
    """Whether turns say more than roll: a spinner, or an unclassed run that turned over."""
    if run.motion_class is not None:
        return run.motion_class == "spinning"
    known = turns[np.isfinite(turns)]
    return known.size > 0 and abs(float(known[-1])) >= run.config.limits.spin_turns


def _close_up(run: RunResult) -> tuple[float, float]:
    """Stretch of time shown large [s]: the end of the stationary part, or of the run."""
    known = np.isfinite(run.attitude).all(axis=1)
    if not known.any():
        return (math.nan, math.nan)
    first, last = float(run.time[known][0]), float(run.time[known][-1])
    if all(map(math.isfinite, run.window)):
        first, last = max(first, run.window[0]), min(last, run.window[1])
    frequency = run.measures.get("wobble_frequency_hz", math.nan)
    spinning = run.motion_class == "spinning"
    length = CLOSE_UP_S[1]
    if math.isfinite(frequency) and frequency > 0.0 and not spinning:
        length = min(max(CLOSE_UP_WOBBLES / frequency, CLOSE_UP_S[0]), CLOSE_UP_S[1])
    return (max(first, last - length), last)


def _degrees(value: float) -> str:
    return f"{value:.0f}°" if abs(value) >= 9.95 else f"{value:.1f}°"


def _cut_part(ax: Axes) -> str:
    """The panel's own note that its scale leaves rows out, for a title that replaces its own."""
    return CUT_NOTE if ax.get_title(loc="left").endswith(CUT_NOTE) else ""


def _stop_line(ax: Axes, time: np.ndarray, values: np.ndarray) -> None:
    known = np.flatnonzero(np.isfinite(values))
    if known.size:
        ax.axvline(
            float(time[known[-1]]),
            color=STOP,
            linewidth=2.0,
            linestyle=":",
            label="stopped",
        )


def _legend(ax: Axes, beside: bool = False, skip: Sequence[str] = ()) -> None:
    """Legend above the panel, clear of the data: in a row of its own, or beside the title."""
    handles, labels = ax.get_legend_handles_labels()
    kept = [(h, text) for h, text in zip(handles, labels, strict=True) if text not in skip]
    if not kept:
        return
    if not beside:
        panel_title(ax, ax.get_title(loc="left"), pad=25.0)
    ax.legend(
        [h for h, _ in kept],
        [text for _, text in kept],
        ncols=len(kept),
        borderaxespad=0.0,
        loc="lower right" if beside else "lower left",
        bbox_to_anchor=(1.0, 1.02) if beside else (0.0, 1.02),
        columnspacing=1.2,
        handlelength=1.6,
        handletextpad=0.5,
        borderpad=0.1,
    )


def _fit(text: Text, inches: float) -> None:
    """Make a text smaller until it fits, and end it with dots when it still does not."""
    dpi = text.get_figure(root=True).dpi  # type: ignore[union-attr]

    def wide() -> bool:
        return text.get_window_extent().width / dpi > inches

    size = float(text.get_fontsize())
    while wide() and size > 9.0:
        size -= 0.5
        text.set_fontsize(size)
    whole = text.get_text()
    for end in range(len(whole) - 1, 0, -1):
        if not wide():
            break
        text.set_text(whole[:end].rstrip() + " ...")
