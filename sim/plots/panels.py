"""The panels of a run's picture: each draws what it is given, into given axes or its own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from sim.config.models import Bait, Limits
from sim.plots.outline import side_outline
from sim.plots.style import OKABE_ITO, plot_style

STRETCHES = (1, 2, 5, 10, 20, 50, 100)
OFF_SCALE = 5.0  # a few rows further out than this many ordinary spans do not set the scale
CUT_NOTE = ", part off scale"

ANGLES = {
    "yaw": ("yaw, + nose to starboard", OKABE_ITO["blue"], "-", 1.8),
    "roll": ("roll, + starboard side down", OKABE_ITO["vermillion"], "--", 1.8),
    "pitch": ("pitch, + nose up", "#555555", ":", 1.6),
}
TURNS = "turns, + starboard side down"
PATH = OKABE_ITO["blue"]
ROD = "#555555"
STOP = OKABE_ITO["black"]


def plan_panel(
    along: np.ndarray,
    side: np.ndarray,
    *,
    rod: tuple[np.ndarray, np.ndarray] | None = None,
    marked: np.ndarray | None = None,
    mark: str = "stationary part",
    stopped: bool = False,
    ax: Axes | None = None,
) -> Axes:
    """Path over the water seen from above, starboard drawn downward as it is on a chart.

    Parameters
    ----------
    along, side : ndarray, shape (n,)    distances along the retrieve and to starboard [m]
    rod : pair of ndarray                the same for the rod tip, None without a line
    marked : ndarray of bool, shape (n,) rows drawn broad, the stationary part
    mark : str                           what to call them
    stopped : bool                       the run broke off at its last finite row
    ax : Axes, optional
    """
    ax = _axes(ax)
    include_x = () if rod is None else _finite(rod[0])
    include_y = (0.0,) if rod is None else (0.0, *_ends(rod[1]))
    left, right, cut_x = _view(along, include_x)
    low, high, cut_y = _view(side, include_y, least=0.02)
    seen = (along >= left) & (along <= right) & (side >= low) & (side <= high)
    _paths(ax, along, side, rod, marked, mark, seen, stopped)
    stretch = _to_scale(ax, (left, right), (low, high), STRETCHES)
    ax.invert_yaxis()
    how = "true to scale" if stretch == 1 else f"sideways drawn {stretch}x"
    panel_title(ax, f"Path from above, {how}" + _cut_note(cut_x or cut_y))
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
    mark: str = "stationary part",
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
    marked : ndarray of bool, shape (n,) rows drawn broad, the stationary part
    mark : str                           what to call them
    surface : bool                       draw the surface at depth 0
    stopped : bool                       the run broke off at its last finite row
    ax : Axes, optional
    """
    ax = _axes(ax)
    include_y = [0.0] if surface else []
    if rod is not None:
        include_y += _ends(rod[1])
    left, right, cut_x = _view(across, () if rod is None else _finite(rod[0]))
    low, high, cut_y = _view(depth, include_y, least=0.02)
    seen = (across >= left) & (across <= right) & (depth >= low) & (depth <= high)
    _paths(ax, across, depth, rod, marked, mark, seen, stopped)
    ax.set_xlim(left, right)
    ax.set_ylim(high, low)
    if surface:
        ax.axhline(0.0, color=OKABE_ITO["sky blue"], linewidth=2.0, label="surface", zorder=1.5)
        ax.axhspan(low, 0.0, color="#F4F4F4", zorder=0.5, linewidth=0.0)
    panel_title(ax, "Depth" + _cut_note(cut_x or cut_y))
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
                                   because a class goes by the amplitude; a roll limit more than
                                   four times the swing is only named; the lean limit is drawn once
                                   the mean roll comes past half of it
    ax : Axes, optional
    """
    ax = _axes(ax)
    for key, values in angles.items():
        label, colour, dash, width = ANGLES[key]
        ax.plot(
            time,
            values,
            dash,
            color=colour,
            linewidth=width,
            label=label,
            marker=_dot(values),
            markersize=4,
        )
    levels: list[tuple[float, str, str, Any]] = []
    labels: list[tuple[float, str, str]] = []
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
            text = f"over-rolling past\n±{limit:g}° of roll"
            if swing > limit / 4.0:
                levels += [(middle + limit, "", "roll", "-."), (middle - limit, text, "roll", "-.")]
                needed += [middle + limit, middle - limit]
            else:  # drawn, it would press a small motion flat
                labels.append((math.inf, text + ",\noff scale", ANGLES["roll"][1]))
            if abs(middle) > 0.5 * limits.lean_deg:
                lean = math.copysign(limits.lean_deg, middle)
                text = f"over-rolling past\n{limits.lean_deg:g}° of lean"
                levels.append((lean, text, "roll", (0, (8, 3))))
                needed.append(lean)
    low, high, cut = _view(every, needed, least=1.0)
    ax.set_ylim(low, high)
    for value, _, key, dash in levels:
        ax.axhline(value, color=ANGLES[key][1], linestyle=dash, linewidth=1.1, zorder=1.8)
    labels += [(v, text, ANGLES[key][1]) for v, text, key, _ in levels if text]
    margin_labels(ax, labels)
    _time_span(ax, time)
    panel_title(ax, "Attitude" + _cut_note(cut))
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
        time,
        turns,
        color=colour,
        linewidth=width,
        label=TURNS,
        marker=_dot(turns),
        markersize=4,
    )
    inside = (time >= window[0]) & (time <= window[1]) & np.isfinite(turns)
    if spin_turns is not None and inside.any():
        first, last = turns[inside][0], turns[inside][-1]
        level = first + math.copysign(spin_turns, last - first)
        ax.plot(
            window,
            (level, level),
            linestyle="-.",
            color=colour,
            linewidth=1.1,
            label=f"spinning past {spin_turns:g} turn" + ("" if spin_turns == 1.0 else "s"),
        )
    low, high, cut = _view(turns, (), least=0.1)
    ax.set_ylim(low, high)
    _time_span(ax, time)
    panel_title(ax, "Turns about the track" + _cut_note(cut))
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
        time,
        tension,
        color=OKABE_ITO["black"],
        linewidth=1.0,
        label="tension",
        marker=_dot(tension),
        markersize=4,
    )
    if math.isfinite(mean) and all(map(math.isfinite, window)):
        ax.plot(
            window,
            (mean, mean),
            color=OKABE_ITO["blue"],
            linestyle="--",
            linewidth=2.0,
            label=f"mean {mean:.3g} N",
        )
    low, high, cut = _view(tension, (0.0,), least=0.1)
    ax.set_ylim(0.0 if low > -0.2 * high else low, high)
    _time_span(ax, time)
    peak = float(np.max(_finite(tension), initial=0.0))
    panel_title(ax, "Line tension" + (f" (peak {peak:.3g} N is off scale)" if cut else ""))
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
                corners,
                facecolor=OKABE_ITO["yellow"],
                edgecolor="#333333",
                linewidth=0.8,
                alpha=0.8,
                label="fin or keel" if i == 0 else None,
                zorder=3,
            )
        )
    if parts.bill is not None:
        ax.add_patch(
            Polygon(
                parts.bill,
                facecolor=OKABE_ITO["sky blue"],
                edgecolor=OKABE_ITO["blue"],
                linewidth=0.8,
                label="bill",
                zorder=3,
            )
        )
    for i, (_, centre, radius, _) in enumerate(parts.ballast):
        ax.add_patch(
            Circle(
                (float(centre[0]), float(centre[1])),
                radius,
                facecolor="#777777",
                edgecolor="#333333",
                linewidth=0.8,
                label="ballast" if i == 0 else None,
                zorder=4,
            )
        )
    for i, (_, hanger, mass) in enumerate(parts.hooks):
        ax.plot(
            *np.array([hanger, mass]).T,
            color=OKABE_ITO["reddish purple"],
            marker="o",
            markevery=[1],
            markersize=5,
            label="hook, mass at dot" if i == 0 else None,
            zorder=5,
        )
    if parts.tie is not None:
        ax.plot(
            *parts.tie[:, None],
            linestyle="none",
            marker="o",
            markersize=8,
            markeredgewidth=2.2,
            markerfacecolor="none",
            markeredgecolor=OKABE_ITO["vermillion"],
            label="tie point",
            zorder=6,
        )
    fore, aft, low, high = parts.extent()
    if math.isfinite(fore):
        gap = 0.04 * max(aft - fore, high - low, 1.0)
        _to_scale(ax, (fore - gap, aft + gap), (low - gap, high + gap), (1,))
    ax.invert_xaxis()
    panel_title(ax, "Bait from its starboard side, to scale")
    ax.set_xlabel("from nose tip [mm]")
    ax.set_ylabel("above centreline [mm]")
    return ax


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
    """Half way between the peaks; a last jerk far beyond the swing before it does not count."""
    known = _finite(values)
    if not known.size:
        return 0.0
    low, high = _ends(known)
    near, far = (float(v) for v in np.percentile(known, [5.0, 95.0]))
    if high - low > 2.0 * (far - near) > 0.0:
        low, high = near, far
    return 0.5 * (low + high)


def _dot(values: np.ndarray) -> str | None:
    """A marker where a line would not show."""
    return "o" if _finite(values).size < 3 else None


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


def _cut_note(cut: bool) -> str:
    return CUT_NOTE if cut else ""


def _time_span(ax: Axes, time: np.ndarray) -> None:
    ends = _ends(time)
    if ends:
        if ends[1] - ends[0] <= 0.0:
            ends = [ends[0] - 0.01, ends[1] + 0.01]
        ax.set_xlim(*ends)


def _to_scale(
    ax: Axes, x: tuple[float, float], y: tuple[float, float], allowed: Sequence[int]
) -> int:
    """Fill the panel with both ranges inside, y drawn larger by the greatest allowed factor.

    Done by the limits and not by the axes' own means, so that the panel keeps its place.
    """
    box = ax.get_window_extent()
    shape = box.height / box.width
    wide, tall = x[1] - x[0], y[1] - y[0]
    fitting = [k for k in allowed if tall * k <= wide * shape]
    stretch = fitting[-1] if fitting else 1
    if fitting:
        tall = wide * shape / stretch
    else:
        wide = tall / shape
    centre_x, centre_y = 0.5 * (x[0] + x[1]), 0.5 * (y[0] + y[1])
    ax.set_xlim(centre_x - 0.5 * wide, centre_x + 0.5 * wide)
    ax.set_ylim(centre_y - 0.5 * tall, centre_y + 0.5 * tall)
    ax.set_aspect(stretch, adjustable="box")
    return stretch


def _paths(
    ax: Axes,
    x: np.ndarray,
    y: np.ndarray,
    rod: tuple[np.ndarray, np.ndarray] | None,
    marked: np.ndarray | None,
    mark: str,
    seen: np.ndarray,
    stopped: bool,
) -> None:
    """Path of the bait with its ends, and of the rod tip with the line at the end of the run.

    ``seen`` are the rows inside the panel; the last of them carries the mark of the end.
    """
    if rod is not None:
        ax.plot(*rod, color=ROD, linestyle="--", linewidth=1.2, label="rod tip")
    ax.plot(x, y, color=PATH, linewidth=1.3, label="bait", zorder=3)
    if marked is not None and marked.any():
        inside = np.where(marked, y, np.nan)
        ax.plot(
            x,
            inside,
            color=PATH,
            linewidth=5.0,
            alpha=0.3,
            label=mark,
            zorder=2.8,
            solid_capstyle="butt",
        )
    known = np.flatnonzero(seen)
    if not known.size:
        ax.text(0.5, 0.5, "no finite rows", transform=ax.transAxes, ha="center", va="center")
        return
    first, last = known[0], known[-1]
    if rod is not None and not stopped and np.isfinite([rod[0][last], rod[1][last]]).all():
        ax.plot(
            [x[last], rod[0][last]],
            [y[last], rod[1][last]],
            color="#000000",
            linewidth=0.8,
            label="line at the end",
            zorder=2.5,
        )
        ax.plot(rod[0][last], rod[1][last], linestyle="none", marker="D", markersize=5, color=ROD)
    ax.plot(
        x[first],
        y[first],
        linestyle="none",
        marker="o",
        markersize=7,
        markerfacecolor="white",
        markeredgecolor=PATH,
        label="start",
        zorder=4,
    )
    ax.plot(
        x[last],
        y[last],
        linestyle="none",
        marker="x" if stopped else "o",
        markersize=8,
        markeredgewidth=2.5 if stopped else 1.0,
        zorder=4,
        color=STOP if stopped else PATH,
        label="stopped" if stopped else "end",
    )


def margin_labels(ax: Axes, labels: Sequence[tuple[float, str, str]]) -> None:
    """Names of levels to the right of the panel, moved apart where they would touch."""
    low, high = sorted(ax.get_ylim())
    inches = ax.get_window_extent().height / ax.get_figure(root=True).dpi  # type: ignore[union-attr]
    free = 1.0
    for value, text, colour in sorted(labels, reverse=True):
        tall = 0.17 * (text.count("\n") + 1) / inches
        top = min((value - low) / (high - low) + 0.5 * tall, free)
        ax.text(
            1.012,
            top,
            text,
            transform=ax.transAxes,
            ha="left",
            va="top",
            fontsize=9.5,
            color=colour,
        )
        free = top - tall - 0.04 / inches


def panel_title(ax: Axes, text: str, pad: float = 6.0) -> None:
    """Title at the left, whatever settings the axes were made with."""
    ax.set_title(text, loc="left", pad=pad)


def panel_at(figure: Figure, left: float, right: float, bottom: float, top: float) -> Axes:
    """A panel at a place in inches from the lower left corner of a figure."""
    width, height = figure.get_size_inches()
    return figure.add_axes(
        (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
    )
