"""One run in one picture: what the bait did, where it went, how hard it pulled."""

from __future__ import annotations

import math
import os
import textwrap
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.gridspec import GridSpec
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from scipy.spatial.transform import Rotation

from sim.config.models import Bait, Limits
from sim.errors import RuntrueError
from sim.plots.outline import side_outline
from sim.plots.style import FIGURE_INCHES, OKABE_ITO, class_style, plot_style
from sim.result import RunResult

SUFFIXES = (".png", ".svg", ".pdf")
CLOSE_UP_WOBBLES = 12.0  # so many fit the panel's width and can still be told apart
CLOSE_UP_S = (1.0, 4.0)
STRETCHES = (1, 2, 5, 10, 20, 50, 100)
OFF_SCALE = 5.0  # a few rows further out than this many ordinary spans do not set the scale

ANGLES = {
    "yaw": ("yaw, + nose to starboard", OKABE_ITO["blue"], "-", 1.8),
    "roll": ("roll, + starboard side down", OKABE_ITO["vermillion"], "--", 1.8),
    "pitch": ("pitch, + nose up", "#555555", ":", 1.6),
}
PATH = OKABE_ITO["blue"]
ROD = "#555555"
STOP = OKABE_ITO["black"]
SHADE = "#D9E6EF"
SHADE_DARK = "#B3CDE0"


@dataclass(frozen=True)
class Angles:
    """Attitude against the direction of the retrieve, each of shape (n,); NaN where it is unknown.

    Attributes
    ----------
    yaw, pitch, roll : ndarray    ZYX angles, carried on over half a turn [degrees]
    turns : ndarray               turns about the direction of the retrieve since the start
    """

    yaw: np.ndarray
    pitch: np.ndarray
    roll: np.ndarray
    turns: np.ndarray


def attitude_angles(attitude: np.ndarray, heading_deg: float) -> Angles:
    """Angles of report from quaternions.

    Parameters
    ----------
    attitude : ndarray, shape (n, 4)    unit quaternions, scalar first, bait frame to earth
    heading_deg : float                 direction of the retrieve

    Notes
    -----
    The turns are the twist of the attitude about the direction of the retrieve, so a bait that
    pitches up to the vertical does not jump as its Euler roll would.
    """
    attitude = np.asarray(attitude, dtype=float).reshape(-1, 4)
    known = np.isfinite(attitude).all(axis=1) & (np.abs(attitude).max(axis=1) > 0.0)
    yaw, pitch, roll, turns = np.full((4, known.size), np.nan)
    if known.any():
        turned = Rotation.from_euler("Z", -heading_deg, degrees=True)
        relative = turned * Rotation.from_quat(attitude[known], scalar_first=True)
        with warnings.catch_warnings():
            # straight up or down yaw and roll are one angle; SciPy then sets roll to zero
            warnings.filterwarnings("ignore", message="Gimbal lock")
            euler = relative.as_euler("ZYX", degrees=True)
        yaw[known] = np.unwrap(euler[:, 0], period=360.0)
        pitch[known] = euler[:, 1]
        roll[known] = np.unwrap(euler[:, 2], period=360.0)
        quat = relative.as_quat(scalar_first=True)
        twist = np.unwrap(2.0 * np.arctan2(quat[:, 1], quat[:, 0])) / (2.0 * math.pi)
        turns[known] = twist - twist[0]
    return Angles(yaw, pitch, roll, turns)


def along_and_side(points: np.ndarray, heading_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Earth positions (n, 3) as distances along the retrieve and to starboard of it [m]."""
    angle = math.radians(heading_deg)
    x, y = points[:, 0], points[:, 1]
    return (
        x * math.cos(angle) + y * math.sin(angle),
        y * math.cos(angle) - x * math.sin(angle),
    )


# ---- panels -------------------------------------------------------------------------------------


def plan_panel(
    along: np.ndarray,
    side: np.ndarray,
    *,
    rod: tuple[np.ndarray, np.ndarray] | None = None,
    marked: np.ndarray | None = None,
    stopped: bool = False,
    ax: Axes | None = None,
) -> Axes:
    """Path over the water seen from above, starboard drawn downward as it is on a chart.

    Parameters
    ----------
    along, side : ndarray, shape (n,)    distances along the retrieve and to starboard [m]
    rod : pair of ndarray                the same for the rod tip, None without a line
    marked : ndarray of bool, shape (n,) rows of the stationary part
    stopped : bool                       the run broke off at its last finite row
    ax : Axes, optional
    """
    ax = _axes(ax)
    _paths(ax, along, side, rod, marked, stopped)
    include_x = () if rod is None else _finite(rod[0])
    include_y = (0.0,) if rod is None else (0.0, *_ends(rod[1]))
    left, right, cut_x = _view(along, include_x)
    low, high, cut_y = _view(side, include_y, least=0.02)
    stretch = _to_scale(ax, (left, right), (low, high), down=True)
    how = "true to scale" if stretch == 1 else f"sideways drawn {stretch}x"
    ax.set_title(f"Path from above, {how}" + _cut_note(cut_x or cut_y))
    ax.set_xlabel("distance along the retrieve [m]")
    ax.set_ylabel("to starboard [m]")
    return ax


def depth_panel(
    across: np.ndarray,
    depth: np.ndarray,
    *,
    xlabel: str = "distance along the retrieve [m]",
    rod: tuple[np.ndarray, np.ndarray] | None = None,
    marked: np.ndarray | None = None,
    surface: bool = True,
    stopped: bool = False,
    ax: Axes | None = None,
) -> Axes:
    """Depth below the surface, pointing down.

    Parameters
    ----------
    across : ndarray, shape (n,)         distance [m] or time [s], as ``xlabel`` says
    depth : ndarray, shape (n,)          [m]
    xlabel : str
    rod : pair of ndarray                the same for the rod tip, None without a line
    marked : ndarray of bool, shape (n,) rows of the stationary part
    surface : bool                       draw the surface at depth 0
    stopped : bool                       the run broke off at its last finite row
    ax : Axes, optional
    """
    ax = _axes(ax)
    _paths(ax, across, depth, rod, marked, stopped)
    include_y = [0.0] if surface else []
    if rod is not None:
        include_y += _ends(rod[1])
    left, right, cut_x = _view(across, () if rod is None else _finite(rod[0]))
    low, high, cut_y = _view(depth, include_y, least=0.02)
    ax.set_xlim(left, right)
    ax.set_ylim(high, low)
    if surface:
        ax.axhline(0.0, color=OKABE_ITO["sky blue"], linewidth=2.0, label="surface", zorder=1.5)
        ax.axhspan(low, 0.0, color="#F4F4F4", zorder=0.5, linewidth=0.0)
    ax.set_title("Depth" + _cut_note(cut_x or cut_y))
    ax.set_xlabel(xlabel)
    ax.set_ylabel("depth [m]" if surface else "depth below origin [m]")
    return ax


def attitude_panel(
    time: np.ndarray,
    angles: Mapping[str, np.ndarray],
    *,
    limits: Limits | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Angles against time, with the limits between the classes.

    Parameters
    ----------
    time : ndarray, shape (n,)     [s]
    angles : mapping               any of yaw, roll, pitch to ndarray, shape (n,) [degrees]
    limits : Limits, optional      yaw and roll limits are drawn about the middle of the swing,
                                   because a class goes by the amplitude; the lean limit is drawn
                                   once the mean roll comes past half of it
    ax : Axes, optional
    """
    ax = _axes(ax)
    for key, values in angles.items():
        label, colour, dash, width = ANGLES[key]
        ax.plot(
            time, values, dash, color=colour, linewidth=width, label=label,
            marker=_dot(values), markersize=4,
        )
    levels: list[tuple[float, str, str, str]] = []
    notes: list[str] = []
    every = np.concatenate([_finite(v) for v in angles.values()] or [np.zeros(0)])
    needed = []
    if limits is not None:
        if "yaw" in angles:
            middle = _middle(angles["yaw"])
            limit = limits.tight_yaw_deg
            levels += [
                (middle + limit, f"tight inside\n±{limit:g}° of yaw", "yaw", ":"),
                (middle - limit, "", "yaw", ":"),
            ]
            needed += [middle + limit, middle - limit]
        if "roll" in angles:
            middle = _middle(angles["roll"])
            limit = limits.roll_deg
            swing = float(np.abs(_finite(angles["roll"]) - middle).max(initial=0.0))
            levels += [
                (middle + limit, "", "roll", "-."),
                (middle - limit, f"over-rolling past\n±{limit:g}° of roll", "roll", "-."),
            ]
            if swing > limit / 4.0:
                needed += [middle + limit, middle - limit]
            else:
                notes.append(f"over-rolling past\n±{limit:g}° of roll,\noff scale")
            if abs(middle) > 0.5 * limits.lean_deg:
                lean = math.copysign(limits.lean_deg, middle)
                text = f"over-rolling past\n{limits.lean_deg:g}° of lean"
                levels.append((lean, text, "roll", (0, (8, 3))))
                needed.append(lean)
    low, high, cut = _view(every, needed, least=1.0)
    ax.set_ylim(low, high)
    for value, _, key, dash in levels:
        ax.axhline(value, color=ANGLES[key][1], linestyle=dash, linewidth=1.1, zorder=1.8)
    labels = [(v, text, ANGLES[key][1]) for v, text, key, _ in levels if text and low < v < high]
    _margin_labels(ax, labels, notes)
    _time_span(ax, time)
    ax.set_title("Attitude" + _cut_note(cut))
    ax.set_xlabel("time [s]")
    ax.set_ylabel("angle to the retrieve [°]")
    return ax


def turns_panel(
    time: np.ndarray,
    turns: np.ndarray,
    *,
    spin_turns: float | None = None,
    window: tuple[float, float] = (math.nan, math.nan),
    ax: Axes | None = None,
) -> Axes:
    """Turns about the direction of the retrieve against time.

    Parameters
    ----------
    time, turns : ndarray, shape (n,)    [s], [turns]
    spin_turns : float, optional         limit; drawn from the start of ``window`` on
    window : pair of float               stationary part [s]
    ax : Axes, optional
    """
    ax = _axes(ax)
    _, colour, _, width = ANGLES["roll"]
    ax.plot(
        time, turns, color=colour, linewidth=width, label="turns, + starboard side down",
        marker=_dot(turns), markersize=4,
    )
    inside = (time >= window[0]) & (time <= window[1]) & np.isfinite(turns)
    if spin_turns is not None and inside.any():
        first, last = turns[inside][0], turns[inside][-1]
        level = first + math.copysign(spin_turns, last - first)
        ax.plot(
            window, (level, level), linestyle="-.", color=colour, linewidth=1.1,
            label=f"spinning past {spin_turns:g} turn" + ("" if spin_turns == 1.0 else "s"),
        )
    low, high, cut = _view(turns, (), least=0.1)
    ax.set_ylim(low, high)
    _time_span(ax, time)
    ax.set_title("Turns about the track" + _cut_note(cut))
    ax.set_xlabel("time [s]")
    ax.set_ylabel("turns [-]")
    return ax


def tension_panel(
    time: np.ndarray,
    tension: np.ndarray,
    *,
    mean: float = math.nan,
    window: tuple[float, float] = (math.nan, math.nan),
    ax: Axes | None = None,
) -> Axes:
    """Pull of the line at the tie point against time.

    Parameters
    ----------
    time, tension : ndarray, shape (n,)    [s], [N]
    mean : float                           of the stationary part [N]; NaN draws none
    window : pair of float                 stationary part [s]
    ax : Axes, optional
    """
    ax = _axes(ax)
    ax.plot(
        time, tension, color=OKABE_ITO["black"], linewidth=1.0, label="tension",
        marker=_dot(tension), markersize=4,
    )
    if math.isfinite(mean) and all(map(math.isfinite, window)):
        ax.plot(
            window, (mean, mean), color=OKABE_ITO["blue"], linestyle="--", linewidth=2.0,
            label=f"mean {mean:.3g} N",
        )
    low, high, cut = _view(tension, (0.0,), least=0.1)
    ax.set_ylim(0.0 if low > -0.2 * high else low, high)
    _time_span(ax, time)
    peak = float(np.max(_finite(tension), initial=0.0))
    ax.set_title("Line tension" + (f" (peak {peak:.3g} N is off scale)" if cut else ""))
    ax.set_xlabel("time [s]")
    ax.set_ylabel("tension [N]")
    return ax


def bait_panel(bait: Bait, *, ax: Axes | None = None) -> Axes:
    """The bait from its starboard side, to scale, nose to the right as it swims in the paths."""
    ax = _axes(ax)
    parts = side_outline(bait)
    if parts.body is not None:
        ax.add_patch(
            Polygon(parts.body, facecolor="#EFE6D5", edgecolor="#333333", label="body", zorder=2)
        )
    for i, (_, corners) in enumerate(parts.plates):
        ax.add_patch(
            Polygon(
                corners, facecolor=OKABE_ITO["yellow"], edgecolor="#333333", linewidth=0.8,
                alpha=0.8, label="fin or keel" if i == 0 else None, zorder=3,
            )
        )
    if parts.bill is not None:
        ax.add_patch(
            Polygon(
                parts.bill, facecolor=OKABE_ITO["sky blue"], edgecolor=OKABE_ITO["blue"],
                linewidth=0.8, label="bill", zorder=3,
            )
        )
    for i, (_, centre, radius, _) in enumerate(parts.ballast):
        ax.add_patch(
            Circle(
                (float(centre[0]), float(centre[1])), radius, facecolor="#777777",
                edgecolor="#333333", linewidth=0.8, label="ballast" if i == 0 else None, zorder=4,
            )
        )
    for i, (_, hanger, mass) in enumerate(parts.hooks):
        ax.plot(
            *np.array([hanger, mass]).T, color=OKABE_ITO["reddish purple"], marker="o",
            markevery=[1], markersize=5, label="hook, its mass at the dot" if i == 0 else None,
            zorder=5,
        )
    if parts.tie is not None:
        ax.plot(
            *parts.tie[:, None], linestyle="none", marker="o", markersize=8, markeredgewidth=2.2,
            markerfacecolor="none", markeredgecolor=OKABE_ITO["vermillion"], label="tie point",
            zorder=6,
        )
    fore, aft, low, high = parts.extent()
    if math.isfinite(fore):
        gap = 0.04 * max(aft - fore, high - low, 1.0)
        ax.set_xlim(aft + gap, fore - gap)
        ax.set_ylim(low - gap, high + gap)
    else:
        ax.invert_xaxis()
    ax.set_aspect("equal", adjustable="datalim")
    ax.set_title("Bait from its starboard side, to scale")
    ax.set_xlabel("from nose tip [mm]")
    ax.set_ylabel("above centreline [mm]")
    return ax


# ---- the whole picture --------------------------------------------------------------------------


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
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        given = f'suffix "{path.suffix}"' if path.suffix else "no suffix"
        raise RuntrueError(
            f"{path}: {given}: the picture's file name must end in .png, .svg or .pdf. "
            f"Try {path.with_suffix('.png') if path.name else 'run.png'}."
        )
    # without a date the same run gives the same file
    metadata: dict[str, Any] = {
        ".png": {}, ".svg": {"Date": None}, ".pdf": {"CreationDate": None},
    }[suffix]
    with plot_style():
        figure = _run_figure(run)
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        try:
            try:
                with part.open("xb") as stream:
                    figure.savefig(stream, format=suffix[1:], metadata=metadata)
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
        except OSError as error:
            raise RuntrueError(
                f"{path}: cannot write the picture: {error.strerror or error}. "
                "Give a file name in a folder that exists and may be written to."
            ) from error
    return path


def _run_figure(run: RunResult) -> Figure:
    config = run.config
    has_line = config.line is not None
    heading = config.retrieve.heading_deg if has_line else 0.0
    time = np.asarray(run.time, dtype=float)
    angles = attitude_angles(run.attitude, heading)
    along, side = along_and_side(run.position, heading)
    stopped = run.status == "diverged"
    window = run.window
    marked = (time >= window[0]) & (time <= window[1])
    span = _close_up(run)
    near = (time >= span[0]) & (time <= span[1])
    spins = _spins(run, angles.turns)

    figure = Figure(figsize=FIGURE_INCHES)
    FigureCanvasAgg(figure)
    _header(figure, run)

    left = _column(figure, 0.05, 0.515, [3.3, 1.45, 1.25] if has_line else [3.6, 2.4])
    right = _column(figure, 0.655, 0.985, [1.9, 2.0, 2.0])
    part = "stationary part" if marked.any() else "run, which has no stationary part"
    shown = f"last {_seconds(span[1] - span[0])} of the {part}"
    if spins:
        both = left[0].subgridspec(2, 1, hspace=0.5)
        upper = attitude_panel(
            time[near], {"yaw": angles.yaw[near], "pitch": angles.pitch[near]},
            limits=config.limits, ax=figure.add_subplot(both[0]),
        )
        upper.set_xlabel("")
        upper.set_title(f"Attitude, {shown}")
        _legend(upper)
        lower = turns_panel(time[near], angles.turns[near], ax=figure.add_subplot(both[1]))
        lower.set_title("Turns about the track, + starboard side down, from the start of the run")
        whole = turns_panel(
            time, angles.turns, spin_turns=config.limits.spin_turns, window=window,
            ax=figure.add_subplot(left[1]),
        )
        whole.set_title("Whole run: turns about the track")
    else:
        upper = attitude_panel(
            time[near],
            {"yaw": angles.yaw[near], "roll": angles.roll[near], "pitch": angles.pitch[near]},
            limits=config.limits, ax=figure.add_subplot(left[0]),
        )
        upper.set_title(f"Attitude, {shown}" + _cut_part(upper))
        _legend(upper)
        whole = attitude_panel(
            time, {"roll": angles.roll, "yaw": angles.yaw, "pitch": angles.pitch},
            ax=figure.add_subplot(left[1]),
        )
        for line in whole.lines:
            line.set(linestyle="-", linewidth=0.9)
        whole.set_ylabel("angle [°]")
        whole.set_title("Whole run, same angles" + _cut_part(whole))
    last = whole
    if has_line:
        last = tension_panel(
            time, run.line_tension, mean=run.measures.get("line_tension_n", math.nan),
            window=window, ax=figure.add_subplot(left[2]),
        )
        whole.set_xlabel("")
        whole.tick_params(labelbottom=False)
        _legend(last, beside=True, skip=("tension",))
    for ax in (whole, last) if has_line else (whole,):
        if marked.any():
            ax.axvspan(*window, color=SHADE, linewidth=0.0, zorder=0.6, label="stationary part")
        if ax is whole and near.any():
            ax.axvspan(*span, color=SHADE_DARK, linewidth=0.0, zorder=0.7, label="shown above")
        if stopped:
            _stop_line(ax, time, angles.yaw)
    _legend(whole, beside=True, skip=tuple(a[0] for a in ANGLES.values()))

    drawing = bait_panel(config.bait, ax=figure.add_subplot(right[0]))
    _legend(drawing)
    rod = rod_depth = None
    if has_line and np.isfinite(run.rod_tip).all(axis=1).any():
        rod = along_and_side(run.rod_tip, heading)
        rod_depth = (rod[0], run.rod_tip[:, 2])
    plan = plan_panel(
        along, side, rod=rod, marked=marked, stopped=stopped, ax=figure.add_subplot(right[1])
    )
    surface = config.water.surface
    below = figure.add_subplot(right[2])
    if has_line:
        depth_panel(
            along, run.position[:, 2], rod=rod_depth, marked=marked, surface=surface,
            stopped=stopped, ax=below,
        )
    else:
        plan.set_xlabel("distance along x [m]")
        depth_panel(
            time, run.position[:, 2], xlabel="time [s]", marked=marked, surface=surface,
            stopped=stopped, ax=below,
        )
    _legend(plan)
    _legend(below, beside=True, skip=tuple(plan.get_legend_handles_labels()[1]))
    return figure


def _column(figure: Figure, left: float, right: float, heights: Sequence[float]) -> GridSpec:
    """Rows of panels; ``heights`` in inches, relative."""
    mean = sum(heights) / len(heights)
    return figure.add_gridspec(
        len(heights), 1, left=left, right=right, top=0.805, bottom=0.06,
        height_ratios=list(heights), hspace=0.85 / mean if len(heights) > 2 else 0.3,
    )


def _header(figure: Figure, run: RunResult) -> None:
    """Title, class patch and the lines below it."""
    style = class_style(run.motion_class)
    width, height = FIGURE_INCHES
    size = 0.85
    patch = Rectangle(
        (0.35 / width, 1.0 - (0.2 + size) / height), size / width, size / height,
        transform=figure.transFigure, facecolor=style.colour, edgecolor="#333333",
        hatch=style.hatch, linewidth=1.2, gid="class patch",
    )
    figure.add_artist(patch)
    figure.text(
        (0.35 + 0.5 * size) / width, 1.0 - (0.2 + 0.5 * size) / height, style.letter,
        ha="center", va="center", fontsize=36, fontweight="bold", gid="class letter",
        path_effects=[withStroke(linewidth=5, foreground="white")],
    )
    left = (0.5 + size) / width
    room = width * (1.0 - left) - 0.3
    title = figure.suptitle(
        run_title(run), x=left, y=1.0 - 0.16 / height, ha="left", va="top",
        fontsize=19, fontweight="bold", parse_math=False,
    )
    _fit(title, room)
    lines = [measures_line(run)]
    reason = run.class_reason if run.motion_class is not None else _why_no_class(run)
    lines += textwrap.wrap(reason, 165, max_lines=2, placeholder=" ...")
    if run.warnings:
        count = len(run.warnings)
        warned = f"{count} warning{'' if count == 1 else 's'}: {run.warnings[0]}"
        lines.append(textwrap.shorten(warned, 165, placeholder=" ..."))
    at = 0.57
    for i, line in enumerate(lines):
        text = figure.text(
            left, 1.0 - at / height, line, ha="left", va="top", fontsize=14 if i == 0 else 11,
            color="#000000" if i == 0 else "#333333", parse_math=False,
        )
        _fit(text, room)
        at += 0.32 if i == 0 else 0.22


def run_title(run: RunResult) -> str:
    """Bait, retrieve and class in one line, the class with its letter."""
    style = class_style(run.motion_class)
    name = run.config.name or "unnamed bait"
    if run.config.line is None:
        how = "free, no line"
    else:
        verb = {"tow": "towed", "reel": "reeled"}[run.config.retrieve.mode]
        how = f"{verb} at {run.config.retrieve.speed_m_s:.3g} m/s"
    if run.motion_class is None:
        return f"{name}, {how}: {style.words} [{style.letter}], {run.status}"
    return f"{name}, {how}: class {style.letter}, {style.words}"


def measures_line(run: RunResult) -> str:
    """The main measures in one line; those that do not apply are left out."""
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
    return "   ".join(parts) if parts else "no measures: no stationary part was found"


def _why_no_class(run: RunResult) -> str:
    words = [f"Status {run.status}."]
    for text in (run.class_reason, run.message):
        text = text.strip()
        if text and text not in words:
            words.append(text[0].upper() + text[1:] + ("" if text.endswith(".") else "."))
    return " ".join(words)


def _spins(run: RunResult, turns: np.ndarray) -> bool:
    """Whether turns say more than roll: a spinner, or an unclassed run that turned over."""
    if run.motion_class is not None:
        return run.motion_class == "spinning"
    known = _finite(turns)
    return known.size > 0 and abs(float(known[-1])) >= run.config.limits.spin_turns


def _close_up(run: RunResult) -> tuple[float, float]:
    """Stretch of time shown large [s]: the end of the stationary part, or of the run."""
    known = np.isfinite(run.attitude).all(axis=1)
    if not known.any():
        return (math.nan, math.nan)
    first, last = (float(t) for t in _ends(run.time[known]))
    if all(map(math.isfinite, run.window)):
        first, last = max(first, run.window[0]), min(last, run.window[1])
    frequency = run.measures.get("wobble_frequency_hz", math.nan)
    spinning = run.motion_class == "spinning"
    length = CLOSE_UP_S[1]
    if math.isfinite(frequency) and frequency > 0.0 and not spinning:
        length = min(max(CLOSE_UP_WOBBLES / frequency, CLOSE_UP_S[0]), CLOSE_UP_S[1])
    return (max(first, last - length), last)


# ---- helpers ------------------------------------------------------------------------------------


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    with plot_style():
        figure = Figure(figsize=(8.0, 4.0), layout="constrained")
        FigureCanvasAgg(figure)
        return figure.add_subplot()


def _finite(values: np.ndarray) -> np.ndarray:
    values = np.asarray(values, dtype=float)
    return values[np.isfinite(values)]


def _ends(values: np.ndarray) -> list[float]:
    """Least and greatest finite value, or nothing."""
    known = _finite(values)
    return [float(known.min()), float(known.max())] if known.size else []


def _middle(values: np.ndarray) -> float:
    """Half way between the peaks."""
    ends = _ends(values)
    return 0.5 * (ends[0] + ends[1]) if ends else 0.0


def _dot(values: np.ndarray) -> str | None:
    """A marker where a line would not show."""
    return "o" if _finite(values).size < 3 else None


def _seconds(span: float) -> str:
    return f"{span:.2g} s" if math.isfinite(span) else "0 s"


def _degrees(value: float) -> str:
    return f"{value:.0f}°" if abs(value) >= 9.95 else f"{value:.1f}°"


def _view(
    values: np.ndarray, include: Sequence[float] | np.ndarray = (), least: float = 0.0
) -> tuple[float, float, bool]:
    """Limits of an axis with some room, and whether a few far rows were left outside.

    A run that diverges passes through every order of magnitude in its last rows; they would
    press all that came before into one line.
    """
    known = _finite(values)
    wanted = _finite(np.asarray(include, dtype=float))
    if known.size + wanted.size == 0:
        return (0.0, 1.0, False)
    both = np.concatenate([known, wanted])
    low, high = float(both.min()), float(both.max())
    cut = False
    if known.size >= 50:
        inner = np.concatenate([np.percentile(known, [3.0, 97.0]), wanted])
        near, far = float(inner.min()), float(inner.max())
        span = max(far - near, least)
        if span > 0.0 and high - low > OFF_SCALE * span:
            low, high, cut = max(low, near - 0.5 * span), min(high, far + 0.5 * span), True
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    gap = 0.06 * (high - low) or 0.5 * max(abs(high), 1e-3)
    return (low - gap, high + gap, cut)


CUT_NOTE = ", some rows off scale"


def _cut_note(cut: bool) -> str:
    return CUT_NOTE if cut else ""


def _cut_part(ax: Axes) -> str:
    return _cut_note(ax.get_title(loc="left").endswith(CUT_NOTE))


def _time_span(ax: Axes, time: np.ndarray) -> None:
    ends = _ends(time)
    if ends:
        if ends[1] - ends[0] <= 0.0:
            ends = [ends[0] - 0.01, ends[1] + 0.01]
        ax.set_xlim(*ends)


def _to_scale(
    ax: Axes, x: tuple[float, float], y: tuple[float, float], down: bool
) -> int:
    """Fill the panel with both ranges inside, y drawn larger by a round factor; returns it."""
    box = ax.get_window_extent()
    shape = box.height / box.width
    wide, tall = x[1] - x[0], y[1] - y[0]
    fitting = [k for k in STRETCHES if tall * k <= wide * shape]
    stretch = fitting[-1] if fitting else 1
    if fitting:
        tall = wide * shape / stretch
    else:
        wide = tall / shape
    centre_x, centre_y = 0.5 * (x[0] + x[1]), 0.5 * (y[0] + y[1])
    ax.set_xlim(centre_x - 0.5 * wide, centre_x + 0.5 * wide)
    low, high = centre_y - 0.5 * tall, centre_y + 0.5 * tall
    ax.set_ylim(*((high, low) if down else (low, high)))
    ax.set_aspect(stretch, adjustable="box")
    return stretch


def _paths(
    ax: Axes,
    x: np.ndarray,
    y: np.ndarray,
    rod: tuple[np.ndarray, np.ndarray] | None,
    marked: np.ndarray | None,
    stopped: bool,
) -> None:
    """Path of the bait with its ends, and of the rod tip with the line at the end of the run."""
    if rod is not None:
        ax.plot(*rod, color=ROD, linestyle="--", linewidth=1.2, label="rod tip")
    ax.plot(x, y, color=PATH, linewidth=1.3, label="bait", zorder=3)
    if marked is not None and marked.any():
        inside = np.where(marked, y, np.nan)
        ax.plot(
            x, inside, color=PATH, linewidth=5.0, alpha=0.3, label="stationary part", zorder=2.8,
            solid_capstyle="butt",
        )
    known = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if not known.size:
        ax.text(0.5, 0.5, "no finite rows", transform=ax.transAxes, ha="center", va="center")
        return
    first, last = known[0], known[-1]
    if rod is not None and np.isfinite([rod[0][last], rod[1][last]]).all():
        ax.plot(
            [x[last], rod[0][last]], [y[last], rod[1][last]], color="#000000", linewidth=0.8,
            label="line at the end", zorder=2.5,
        )
        ax.plot(rod[0][last], rod[1][last], linestyle="none", marker="D", markersize=5, color=ROD)
    ax.plot(
        x[first], y[first], linestyle="none", marker="o", markersize=7, markerfacecolor="white",
        markeredgecolor=PATH, label="start", zorder=4,
    )
    ax.plot(
        x[last], y[last], linestyle="none", marker="x" if stopped else ">", markersize=8,
        markeredgewidth=2.5 if stopped else 1.0, zorder=4,
        color=STOP if stopped else PATH,
        label="stopped" if stopped else "end",
    )


def _stop_line(ax: Axes, time: np.ndarray, values: np.ndarray) -> None:
    known = np.flatnonzero(np.isfinite(values))
    if known.size:
        ax.axvline(
            float(time[known[-1]]), color=STOP, linewidth=2.0, linestyle=":",
            label="stopped",
        )


def _margin_labels(
    ax: Axes, labels: Sequence[tuple[float, str, str]], notes: Sequence[str]
) -> None:
    """Names of levels to the right of the panel, moved apart where they would touch."""
    low, high = sorted(ax.get_ylim())
    inches = ax.get_window_extent().height / ax.get_figure(root=True).dpi  # type: ignore[union-attr]
    apart = 0.42 / inches  # two lines of text, as a share of the panel
    place = -math.inf
    for value, text, colour in sorted(labels):
        place = max((value - low) / (high - low), place + apart)
        ax.text(
            1.012, place, text, transform=ax.transAxes, ha="left", va="center", fontsize=9.5,
            color=colour,
        )
    if notes:
        ax.text(
            1.012, 1.0, "\n".join(notes), transform=ax.transAxes, ha="left", va="top",
            fontsize=9.5, color=ANGLES["roll"][1],
        )


def _legend(ax: Axes, beside: bool = False, skip: Sequence[str] = ()) -> None:
    """Legend above the panel, clear of the data: in a row of its own, or beside the title."""
    handles, labels = ax.get_legend_handles_labels()
    kept = [(h, text) for h, text in zip(handles, labels, strict=True) if text not in skip]
    if not kept:
        return
    if not beside:
        ax.set_title(ax.get_title(loc="left"), pad=25.0)
    ax.legend(
        [h for h, _ in kept], [text for _, text in kept], ncols=len(kept), borderaxespad=0.0,
        loc="lower right" if beside else "lower left",
        bbox_to_anchor=(1.0, 1.02) if beside else (0.0, 1.02),
        columnspacing=1.2, handlelength=1.6, handletextpad=0.5, borderpad=0.1,
    )


def _fit(text: Text, inches: float) -> None:
    """Make a text smaller until it fits, and end it with dots when it still does not."""
    dpi = text.get_figure(root=True).dpi  # type: ignore[union-attr]

    def wide() -> bool:
        return text.get_window_extent().width / dpi > inches

    while wide() and text.get_fontsize() > 9.0:
        text.set_fontsize(text.get_fontsize() - 0.5)
    whole = text.get_text()
    for end in range(len(whole) - 1, 0, -1):
        if not wide():
            break
        text.set_text(whole[:end].rstrip() + " ...")
