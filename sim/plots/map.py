"""Maps of class and measures over one axis or two, as cells: classes are not interpolated."""

from __future__ import annotations

import math
import os
import textwrap
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib.collections
import matplotlib.colors
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke, withTickedStroke
from matplotlib.ticker import MaxNLocator
from scipy.interpolate import griddata

from sim.plots.cells import (
    INK,
    cell_patch,
    cell_points,
    draw_boundaries,
    draw_letters,
    edges_of,
    look_of,
    sparse,
    style_of,
)
from sim.plots.panels import panel_title
from sim.plots.save import save_figure
from sim.plots.style import (
    DPI,
    FIGURE_INCHES,
    OKABE_ITO,
    plot_style,
)
from sim.report.map import (
    FAILED,
    KINDS,
    MISSING,
    UNSETTLED,
    cell_kinds,
    dependent,
    own_text,
    percent,
    run_count,
    short_unit,
    worst_kinds,
)
from sim.report.text import name_of
from sim.store import MEASURES
from sim.studies.engine import CLASSES

if TYPE_CHECKING:
    from sim.studies.store import MapResult
    from sim.studies.study import Axis

FREQUENCY, YAW, ROLL = "wobble_frequency_hz", "yaw_amplitude_deg", "roll_amplitude_deg"
LONGEST_HEAD = 112  # letters
WORST = -1  # start number that stands for the worst of all starts
PALER = "paler: runs here and there, cells between them filled in"
OUTLIERS = (4.0, 96.0)  # percentiles within which the values set a scale
CLIFF = 0.75  # of the step between contour lines; across a steeper rise there are none
SHORT = 40.0  # length of a contour line below which it is left out [pixels]
LETTER_EACH = (15, 12)  # a map of at most so many cells has a letter in each
LOW = 2.0  # lower edge of the maps, above labels and legend [in]
OWN = OKABE_ITO["yellow"]
MARKED = "class depends on the start"
LINE_STYLES: tuple[Any, ...] = ("-", "--", ":", "-.")
LINE_COLOURS = ("blue", "vermillion", "bluish green", "reddish purple")
TICKS = " on the side of the ticks"
# Lines where a small motion neither grows nor dies out.
NEUTRAL: dict[str, tuple[str, str, Any]] = {
    "wobble": (f"small wobble grows by itself{TICKS}", OKABE_ITO["blue"], "-"),
    "lean": (f"small lean grows by itself{TICKS}", OKABE_ITO["reddish purple"], "--"),
}
CASING = withStroke(linewidth=4.6, foreground="white")


# ------------------------------------------------------------------------------------ the pictures


def map_figure(result: MapResult, contours: str | None = FREQUENCY) -> Figure:
    """The picture of a map: what one wants to see first.

    Parameters
    ----------
    result : MapResult
    contours : str, optional    measure whose contour lines are drawn over the classes

    Notes
    -----
    Two axes and one start: the classes large, frequency and roll amplitude beside them. Two axes
    and several starts: the classes from each start and the worst of all. One axis: curves.
    """
    with plot_style():
        return _map_figure(result, contours)


def save_map_figure(
    result: MapResult, file: str | os.PathLike[str], contours: str | None = FREQUENCY
) -> Path:
    """Draw :func:`map_figure` into a PNG, SVG or PDF file, as ``sim.plots.save.save_figure``."""
    return save_figure(lambda: _map_figure(result, contours), file)


def _map_figure(result: MapResult, contours: str | None) -> Figure:
    figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
    FigureCanvasAgg(figure)
    _header(figure, result)
    if len(result.study.axes) == 1:
        axis_lines(result, None, figure)
    elif len(result.starts) == 1:
        main = _panel(figure, 0.85, 10.1, LOW, 8.85)
        class_map(result, 0, contours, ax=main)
        _legend(figure, result, contours)
        for measure, bottom in ((FREQUENCY, 5.75), (ROLL, LOW)):
            quantity_map(result, measure, 0, ax=_panel(figure, 11.2, 15.8, bottom, bottom + 3.1))
        figure.axes[1].set_xlabel("")  # the panel below has the same axis
    else:

        def draw(start: int, ax: Axes) -> None:
            class_map(result, start, None if start == WORST else contours, ax=ax)

        _side_by_side(figure, [*range(len(result.starts)), WORST], draw)
        _legend(figure, result, contours)
    return figure


def save_quantity_figure(result: MapResult, measure: str, file: str | os.PathLike[str]) -> Path:
    """Draw :func:`quantity_figure` into a PNG, SVG or PDF file."""
    return save_figure(lambda: _quantity_figure(result, measure), file)


def quantity_figure(result: MapResult, measure: str) -> Figure:
    """One measure over the axes of a map, from each start; over one axis, as curves."""
    with plot_style():
        return _quantity_figure(result, measure)


def _quantity_figure(result: MapResult, measure: str) -> Figure:
    figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
    FigureCanvasAgg(figure)
    _header(figure, result)
    if len(result.study.axes) == 1:
        _axis_lines(result, None, figure, (measure,))
        return figure
    # one scale, so that the starts can be compared
    shown = [_shown_values(result, measure, n) for n in range(len(result.starts))]
    scale = _scale(np.concatenate([v[np.isfinite(v)] for v in shown]))

    def draw(start: int, ax: Axes) -> None:
        quantity_map(result, measure, start, ax=ax, scale=scale)

    _side_by_side(figure, range(len(result.starts)), draw)
    _legend(figure, result, None, measure)
    return figure


def _side_by_side(figure: Figure, starts: Sequence[int], draw: Callable[[int, Axes], None]) -> None:
    """A panel for each start, in as many rows as leave them wide."""
    columns = 1 if len(starts) == 1 else 2 if len(starts) <= 4 else math.ceil(len(starts) / 2)
    rows = math.ceil(len(starts) / columns)
    across, down = (15.8 - 0.85 + 0.75) / columns, (8.85 - LOW + 0.9) / rows
    for i, start in enumerate(starts):
        row, column = divmod(i, columns)
        left, top = 0.85 + column * across, 8.85 - row * down
        ax = _panel(figure, left, left + across - 0.75, top - down + 0.9, top)
        draw(start, ax)
        if i + columns < len(starts):
            ax.set_xlabel("")
        if column:
            ax.set_ylabel("")


def _panel(figure: Figure, left: float, right: float, bottom: float, top: float) -> Axes:
    """A panel at a place in inches from the lower left corner; what is around it needs room too."""
    width, height = figure.get_size_inches()
    return figure.add_axes(
        (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
    )


def _header(figure: Figure, result: MapResult) -> None:
    width, height = figure.get_size_inches()
    head, *rest = map_title(result)
    figure.text(
        0.85 / width, 1.0 - 0.2 / height, head, va="top", fontsize=17, fontweight="bold",
        parse_math=False,
    )  # fmt: skip
    figure.text(
        0.85 / width, 1.0 - 0.55 / height, "\n".join(rest), va="top", color="#333333",
        linespacing=1.4, parse_math=False,
    )  # fmt: skip


def map_title(result: MapResult) -> list[str]:
    """Lines above a picture: the bait and what was swept, what was fixed, how many runs."""
    study, config = result.study, result.study.base
    name = textwrap.shorten(name_of(config), 60, placeholder=" ...")
    head = f"{name}: motion over {' and '.join(a.label for a in study.axes)}"
    if len(head) > LONGEST_HEAD:  # the axes have their labels on
        head = f"{name}: motion over two of its settings"
    fixed = []
    keys = {a.key for a in study.axes} | set(study.fixed)
    if config.line is not None:
        verb = {"tow": "towed", "reel": "reeled in"}[config.retrieve.mode]
        if "retrieve.speed_m_s" not in keys:
            verb += f" at {config.retrieve.speed_m_s:.3g} m/s"
        fixed.append(verb)
        if not any(key.startswith("line.length") for key in keys):
            fixed.append(f"line {config.line.length_m:g} m")
    fixed += [f"{key} = {value}" for key, value in study.fixed.items()]
    runs = f"{run_count(result)} runs"
    filled = int(result.inferred.sum())
    if filled:
        runs += f", {filled} of {result.inferred.size} cells filled in between them"
    if not result.complete:
        runs += ", not complete"
    fixed.append(runs)
    return [head, *textwrap.wrap(", ".join(fixed), 165, max_lines=2, placeholder=" ...")]


# -------------------------------------------------------------------------------------- map panels


def class_map(
    result: MapResult,
    start: int = 0,
    contours: str | None = FREQUENCY,
    *,
    ax: Axes | None = None,
) -> Axes:
    """What each cell came to, over two axes.

    Parameters
    ----------
    result : MapResult          of two axes
    start : int                 number of the start, or ``WORST`` for the worst of all starts
    contours : str, optional    measure whose contour lines are drawn over the classes; none over
                                cells that spin or have no class
    ax : Axes, optional         without one the picture has a title and a legend too

    Notes
    -----
    A cell reaches half-way to its neighbours. Cells that were filled in are paler. Rings mark cells
    whose class depends on the start. Contour lines join cell centres, straight across cells that
    were filled in; there are none where the measure jumps from cell to cell.
    """
    if ax is None:
        return _alone(result, lambda ax: class_map(result, start, contours, ax=ax), contours)
    kinds, pale = _kinds(result, start), sparse(result.inferred)
    edges = [edges_of(axis.values) for axis in result.study.axes]
    _frame(ax, result.study.axes, edges)
    for kind in range(len(KINDS)):
        for filled in (False, True):
            inside = (kinds == kind) & (pale == filled)
            if kind != MISSING and inside.any():
                ax.add_patch(cell_patch(inside, edges, kind, filled))
    few = all(n <= most for n, most in zip(kinds.shape, LETTER_EACH, strict=True))
    if few:
        for axis, at in ((ax.axvline, edges[0]), (ax.axhline, edges[1])):
            for place in at[1:-1]:
                axis(place, color="white", linewidth=0.8, zorder=1.5)
    draw_boundaries(ax, kinds, edges)
    if contours is not None and start != WORST:
        _contours(ax, result, contours, start, kinds)
    _neutral(ax, result)
    marked = dependent(result)
    draw_letters(ax, kinds, edges, few, result.shipped, boxed=bool(marked.any()))
    if marked.any():
        at = np.argwhere(marked)
        x, y = (np.asarray(a.values)[at[:, i]] for i, a in enumerate(result.study.axes))
        wide, high = cell_points(ax, kinds.shape)
        size = min(7.0, max(2.2, 0.4 * min(wide, high)))
        if few:  # beside the letter
            x, y = (
                0.5 * e[at[:, i]] + 0.5 * v
                for i, (e, v) in enumerate(((edges[0], x), (edges[1], y)))
            )
        ax.plot(x, y, label=MARKED, zorder=3.8, markersize=size, **_RING)
    _own(ax, result)
    name = "worst of all starts" if start == WORST else f'start "{result.starts[start]}"'
    panel_title(ax, "Class of the motion" + (f", {name}" if len(result.starts) > 1 else ""))
    return ax


def quantity_map(
    result: MapResult,
    measure: str,
    start: int = 0,
    *,
    ax: Axes | None = None,
    scale: tuple[float, float, str] | None = None,
) -> Axes:
    """A measure over two axes in colours, with the limits between classes as lines.

    Parameters
    ----------
    result : MapResult     of two axes
    measure : str          a key of ``result.measures``
    start : int            number of the start
    ax : Axes, optional
    scale : tuple, optional    ends of the colour scale and where values lie beyond: "neither",
                               "min", "max" or "both"; left out, as the values have it

    Notes
    -----
    Cells without the measure are white, failed ones grey with x, not settled ones light grey. Cells
    that were filled in have no measure: what stands there is interpolated between runs, and the
    title says so.
    """
    if ax is None:
        return _alone(
            result,
            lambda ax: quantity_map(result, measure, start, ax=ax, scale=scale),
            None,
            measure,
        )
    kinds = _kinds(result, start)
    edges = [edges_of(axis.values) for axis in result.study.axes]
    _frame(ax, result.study.axes, edges)
    long_name, unit = _measure(measure)
    values = _shown_values(result, measure, start)
    known = values[np.isfinite(values)]
    if known.size:
        low, high, extend = _scale(known) if scale is None else scale
        mesh = ax.pcolormesh(
            edges[0], edges[1], values.T, cmap="cividis", vmin=low, vmax=high, zorder=1.0,
            rasterized=values.size > 2500,
        )  # fmt: skip
        bar = ax.get_figure().colorbar(  # type: ignore[union-attr]
            mesh, ax=ax, pad=0.02, aspect=22, extend=extend
        )
        bar.set_label(unit or "-")
        bar.outline.set_visible(False)  # type: ignore[operator]
    for kind in (FAILED, UNSETTLED):
        if (kinds == kind).any():
            ax.add_patch(cell_patch(kinds == kind, edges, kind, False))
    draw_boundaries(ax, kinds, edges, casing=True)
    _own(ax, result)
    of = f', start "{result.starts[start]}"' if len(result.starts) > 1 else ""
    filled = ", interpolated between runs" if result.inferred.any() else ""
    panel_title(ax, f"{long_name[:1].upper()}{long_name[1:]}{of}{filled}")
    return ax


def _shown_values(result: MapResult, measure: str, start: int) -> np.ndarray:
    """A measure where there is a class, NaN elsewhere."""
    classed = cell_kinds(result)[..., start] < len(CLASSES)
    return np.where(classed, _between_runs(result, measure, start), math.nan)


def _scale(known: np.ndarray) -> tuple[float, float, str]:
    """Ends of a colour scale, and where values lie beyond: a few far ones do not set it."""
    if not known.size:
        return 0.0, 1.0, "neither"
    low, high = float(known.min()), float(known.max())
    near, far = (float(v) for v in np.percentile(known, OUTLIERS))
    below = near - low > 0.5 * (far - near) > 0.0
    above = high - far > 0.5 * (far - near) > 0.0
    extend = {(True, True): "both", (True, False): "min", (False, True): "max"}
    return (near if below else low, far if above else high,
            extend.get((below, above), "neither"))  # fmt: skip


_RING: dict[str, Any] = {
    "linestyle": "none", "marker": "o", "markerfacecolor": "white", "markeredgecolor": "black",
    "markeredgewidth": 1.0,
}  # fmt: skip


def _alone(
    result: MapResult,
    draw: Callable[[Axes], Axes],
    contours: str | None,
    quantity: str | None = None,
) -> Axes:
    """A panel in a figure of its own, with title and legend."""
    with plot_style():
        figure = Figure(figsize=(11.0, FIGURE_INCHES[1]), dpi=DPI)
        FigureCanvasAgg(figure)
        _header(figure, result)
        ax = draw(_panel(figure, 0.85, 10.6, LOW, 8.85))
        _legend(figure, result, contours, quantity)
        return ax


def _measure(key: str) -> tuple[str, str]:
    found = MEASURES[key]
    return found.long_name, short_unit(found.units)


def _axis_label(axis: Axis, width: int = 70) -> str:
    unit = short_unit(axis.unit)
    text = f"{axis.label} [{unit}]" if unit else axis.label
    return textwrap.fill(text, width)


def _kinds(result: MapResult, start: int) -> np.ndarray:
    return worst_kinds(result) if start == WORST else cell_kinds(result)[..., start]


def _frame(ax: Axes, axes: Sequence[Axis], edges: Sequence[np.ndarray]) -> None:
    ax.grid(False)
    ax.set_xlim(edges[0][0], edges[0][-1])
    ax.set_ylim(edges[1][0], edges[1][-1])
    if axes[1].key.rsplit(".", 1)[-1].startswith("depth"):
        ax.invert_yaxis()  # depth points down
    box, inches = ax.get_position(), ax.get_figure().get_size_inches()  # type: ignore[union-attr]
    width, height = box.width * inches[0], box.height * inches[1]
    ax.set_xlabel(_axis_label(axes[0], max(18, int(11.0 * width))))
    ax.set_ylabel(_axis_label(axes[1], max(18, int(11.0 * height))))


def _between_runs(result: MapResult, measure: str, start: int) -> np.ndarray:
    """A measure of the runs, with cells that were filled in interpolated between runs."""
    values = np.array(result.measures[measure][..., start], dtype=float)
    filled = result.inferred & ~np.isfinite(values)
    known = np.isfinite(values) & ~result.inferred
    if filled.any() and known.sum() > 3 and min(values.shape) > 1:
        values[filled] = griddata(np.argwhere(known), values[known], np.argwhere(filled))
    return values


def _contours(ax: Axes, result: MapResult, measure: str, start: int, kinds: np.ndarray) -> None:
    if min(kinds.shape) < 2:
        return
    values = _between_runs(result, measure, start)
    # of a bait that turns over and over neither frequency nor amplitude is that of a wobble
    values = np.where(kinds < CLASSES.index("spinning"), values, math.nan)
    known = values[np.isfinite(values)]
    if known.size == 0 or known.min() == known.max():
        return
    low, high = np.percentile(known, [2.0, 98.0])
    levels = [v for v in MaxNLocator(8, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
              if known.min() < v < known.max()]  # fmt: skip
    if not levels:
        return
    values = np.where(_cliffs(values, CLIFF * float(np.diff(levels).min(initial=high - low))),
                      math.nan, values)  # fmt: skip
    if not ((values > levels[0]).any() and (values < levels[-1]).any()):
        return
    x, y = (np.asarray(a.values, dtype=float) for a in result.study.axes)
    drawn = ax.contour(
        x, y, np.ma.masked_invalid(values.T), levels, colors="black", linewidths=0.9, zorder=3.0
    )
    drawn.set_paths([_long(ax, path) for path in drawn.get_paths()])
    if not any(np.size(path.vertices) for path in drawn.get_paths()):
        drawn.remove()
        return
    drawn.set_path_effects([withStroke(linewidth=2.2, foreground="white")])
    drawn.set_gid("contours")
    _, unit = _measure(measure)
    texts = ax.clabel(drawn, fmt=lambda v: f"{v:g} {unit}", fontsize=9, inline_spacing=3)
    for text in texts:
        text.set_path_effects([withStroke(linewidth=2.5, foreground="white")])


def _long(ax: Axes, path: Outline) -> Outline:
    """A path without its pieces that are too short on paper to be read as lines."""
    points = np.asarray(path.vertices, dtype=float)
    if path.codes is None:  # an empty one
        return path
    codes = np.asarray(path.codes)
    on_paper = ax.transData.transform(points)
    kept = [np.empty(0, dtype=int)]
    for piece in np.split(np.arange(len(points)), np.flatnonzero(codes == path.MOVETO)[1:]):
        if np.hypot(*np.diff(on_paper[piece], axis=0).T).sum() > SHORT:
            kept.append(piece)
    at = np.concatenate(kept)
    return Outline(points[at], codes[at])


def _cliffs(values: np.ndarray, jump: float) -> np.ndarray:
    """Cells that differ from a neighbour by more than ``jump``: no line has a place between."""
    found = np.zeros(values.shape, dtype=bool)
    for axis in (0, 1):
        there = np.abs(np.diff(values, axis=axis)) > jump
        found |= np.pad(there, [(0, 1) if axis == a else (0, 0) for a in (0, 1)])
        found |= np.pad(there, [(1, 0) if axis == a else (0, 0) for a in (0, 1)])
    return found


def _ticked(**look: Any) -> withTickedStroke:
    """Ticks on the side where growth is above 0: contour lines have the higher side on the left."""
    return withTickedStroke(spacing=9.0, length=0.9, angle=90.0, **look)


def _neutral(ax: Axes, result: MapResult) -> None:
    if result.mode_axes is None or min(map(len, result.mode_axes)) < 2:
        return
    x, y = result.mode_axes
    for name, (_, colour, dashes) in NEUTRAL.items():
        growth = result.growth.get(name)
        if growth is None or not ((growth > 0.0).any() and (growth < 0.0).any()):
            continue
        drawn = ax.contour(
            x, y, np.ma.masked_invalid(growth.T), [0.0], colors=[colour], linewidths=2.0,
            linestyles=[dashes], zorder=3.5,
        )  # fmt: skip
        drawn.set_path_effects([_ticked(linewidth=4.6, foreground="white"), CASING, _ticked()])
        drawn.set_gid(f"neutral {name}")


def _own(ax: Axes, result: MapResult) -> None:
    """The base configuration's own place: a star, or a line where only one axis has one."""
    x, y = result.shipped
    left, right = sorted(ax.get_xlim())
    low, high = sorted(ax.get_ylim())
    across, up = left <= x <= right, low <= y <= high
    if across and up:
        ax.plot(x, y, zorder=6.0, gid="own place", **_STAR)
    elif across and math.isnan(y):
        ax.axvline(x, color=INK, linestyle=":", linewidth=1.6, zorder=3.2, gid="own place")
    elif up and math.isnan(x):
        ax.axhline(y, color=INK, linestyle=":", linewidth=1.6, zorder=3.2, gid="own place")


_STAR: dict[str, Any] = {
    "linestyle": "none", "marker": "*", "markersize": 19.0, "markerfacecolor": OWN,
    "markeredgecolor": "black", "markeredgewidth": 1.3, "clip_on": False,
}  # fmt: skip


def _legend(
    figure: Figure, result: MapResult, contours: str | None, quantity: str | None = None
) -> None:
    """Legend below the panels: classes first, then what is drawn over them."""
    handles: list[Artist] = []
    every = cell_kinds(result)
    shown = [
        k for k in range(0 if quantity is None else len(CLASSES), len(KINDS)) if (every == k).any()
    ]
    if quantity is not None:
        edge: dict[str, Any] = {"color": "black", "linewidth": 1.2}
        handles.append(Line2D([], [], label="where the class changes", **edge))
        runs = (every < len(CLASSES)) & ~result.inferred[..., None]
        if np.isnan(result.measures[quantity][runs]).any():
            white: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": 0.6}
            handles.append(Rectangle((0, 0), 1, 1, label="no value", **white))
    only = len(result.starts) == 1
    for kind in shown:
        if kind == MISSING:
            handles.append(Rectangle((0, 0), 1, 1, facecolor="white", edgecolor=INK,
                                     label="not run yet"))  # fmt: skip
            continue
        words = {FAILED: "failed", UNSETTLED: "not settled"}.get(kind, style_of(kind).words)
        share = f", {percent(float((every == kind).mean()))}" if only else ""
        look = look_of(kind, False) | {"linewidth": 0.6, "antialiased": True, "gid": None}
        handles.append(Rectangle((0, 0), 1, 1, label=f"{style_of(kind).letter}  {words}{share}",
                                 **look))  # fmt: skip
    present = {c.get_gid() for a in figure.axes for c in (*a.collections, *a.patches, *a.lines)}
    over: list[Artist] = []
    if result.inferred.any() and quantity is None:
        over.append(Rectangle((0, 0), 1, 1, facecolor="#DDDDDD", edgecolor="none", label=PALER))
    if dependent(result).any() and quantity is None:
        over.append(Line2D([], [], label=MARKED, markersize=6, **_RING))
    if "own place" in present:
        own = ", ".join(map(own_text, result.study.axes, result.shipped))
        star = len(result.shipped) == 2 and np.isfinite(result.shipped).all()
        look = _STAR | {"markersize": 13} if star else {"color": INK, "linestyle": ":"}
        over.append(Line2D([], [], label=f"as in the file ({own})", **look))
    if contours is not None and "contours" in present:
        long_name, unit = _measure(contours)
        over.append(Line2D([], [], color="black", linewidth=0.9, label=f"{long_name} [{unit}]"))
    for name, (words, colour, dashes) in NEUTRAL.items():
        if len(result.study.axes) == 1 and f"neutral {name}" in present:
            over.append(
                Rectangle((0, 0), 1, 1, label=words.removesuffix(TICKS), **_growing(colour))
            )
        elif f"neutral {name}" in present:
            line = Line2D([], [], color=colour, linestyle=dashes, linewidth=2.0, label=words)
            line.set_path_effects([_ticked()])
            over.append(line)
    width, height = figure.get_size_inches()
    left = 0.85 / width
    first = figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(left, 1.3 / height), ncols=len(handles),
        borderaxespad=0.0, handlelength=2.6, handleheight=1.6, columnspacing=1.6,
    )  # fmt: skip
    first.set_gid("classes")
    if over:
        one_row = sum(len(str(handle.get_label())) + 9 for handle in over) < 165
        second = figure.legend(
            handles=over, loc="upper left", bbox_to_anchor=(left, 0.85 / height),
            ncols=len(over) if one_row else 3, borderaxespad=0.0, handlelength=2.6,
            columnspacing=1.6,
        )  # fmt: skip
        second.set_gid("overlays")


# ------------------------------------------------------------------------------------------ curves


def axis_lines(
    result: MapResult, start: int | None = 0, figure: Figure | None = None
) -> tuple[Axes, ...]:
    """Frequency, yaw and roll amplitude along one axis, with the class below.

    Parameters
    ----------
    result : MapResult          of one axis
    start : int, optional       number of the start; None for all of them and the worst
    figure : Figure, optional   without one there is a title too

    Returns
    -------
    tuple of Axes    frequency, yaw, roll, then a class band for each start shown

    Notes
    -----
    A curve ends where a run has no class. It is straight across cells that were filled in.
    """
    with plot_style():
        if figure is None:
            figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
            FigureCanvasAgg(figure)
            _header(figure, result)
        return _axis_lines(result, start, figure)


def _axis_lines(
    result: MapResult,
    start: int | None,
    figure: Figure,
    measures: Sequence[str] = (FREQUENCY, YAW, ROLL),
) -> tuple[Axes, ...]:
    (axis,) = result.study.axes
    limits = result.study.base.limits
    starts = list(range(len(result.starts))) if start is None else [start]
    bands = [*starts, WORST] if len(starts) > 1 else starts
    edges = edges_of(axis.values)
    x = np.asarray(axis.values, dtype=float)
    left, right, top, bottom = 1.45, 15.8, 8.8, LOW
    tall = 0.42
    under = bottom + len(bands) * (tall + 0.08) + 0.12
    gap = 0.45
    high = (top - under) / len(measures) - gap
    known = {
        YAW: (limits.tight_yaw_deg, "tight below"), ROLL: (limits.roll_deg, "over-rolling above")
    }  # fmt: skip
    panels = []
    for i, measure in enumerate(measures):
        place = top - i * (high + gap)
        ax = _panel(figure, left, right, place - high, place)
        for n in starts:
            _curve(ax, result, measure, n, len(starts) > 1)
        long_name, unit = _measure(measure)
        short = long_name.split()[-1] if measure in (FREQUENCY, YAW, ROLL) else long_name
        ax.set_ylabel(f"{short} [{unit}]" if unit else short)
        ax.set_xlim(edges[0], edges[-1])
        if not any((np.asarray(line.get_ydata()) < 0.0).any() for line in ax.lines):
            ax.set_ylim(0.0, max(1.05 * ax.get_ylim()[1], 1e-3))
        if measure in known:
            limit, words = known[measure]
            _limit(ax, limit, f"{words} {limit:g} {unit}")
        panel_title(ax, f"{long_name[:1].upper()}{long_name[1:]}")
        panels.append(ax)
    if len(starts) > 1:
        panels[0].legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=len(starts),
                         title=None, borderaxespad=0.2)  # fmt: skip
    for i, n in enumerate(bands):
        place = bottom + (len(bands) - i) * (tall + 0.08)
        ax = _panel(figure, left, right, place - tall, place)
        _band(ax, _kinds(result, n), result.inferred, edges, len(bands) > 1 and n == WORST)
        words = "class"
        if len(bands) > 1:
            words = "worst" if n == WORST else result.starts[n]
        ax.set_ylabel(words, rotation=0, ha="right", va="center")
        panels.append(ax)
    marked = dependent(result)
    if marked.any():
        panels[-1].plot(x[marked], np.full(marked.sum(), 0.17), label=MARKED, markersize=5,
                        zorder=5.0, **_RING)  # fmt: skip
    for ax in panels[:-1]:
        ax.tick_params(labelbottom=False)
    panels[-1].tick_params(labelbottom=True)
    panels[-1].set_xlabel(_axis_label(axis, 140))
    _growth_spans(result, panels[: len(measures)])
    _axis_marks(result, panels)
    _legend(figure, result, None)
    return tuple(panels)


def _curve(ax: Axes, result: MapResult, measure: str, start: int, several: bool) -> None:
    x = np.asarray(result.study.axes[0].values, dtype=float)
    run = ~result.inferred
    values = np.where(
        result.motion_class[..., start] >= 0, result.measures[measure][..., start], math.nan
    )
    marks = run.sum() <= 80
    ax.plot(
        x[run], values[run], label=result.starts[start] if several else None,
        color=OKABE_ITO[LINE_COLOURS[start % len(LINE_COLOURS)]],
        linestyle=LINE_STYLES[start % len(LINE_STYLES)] if several else "-",
        marker="os^D"[start % 4] if marks else None, markersize=4, linewidth=1.8, zorder=2.5,
        gid=f"{measure} {result.starts[start]}",
    )  # fmt: skip


def _limit(ax: Axes, value: float, words: str) -> None:
    """A limit as a dashed line; one far above the curves is only named."""
    top = ax.get_ylim()[1]
    if value > 4.0 * top:
        ax.annotate(
            f"{words}, off scale", (0.995, 0.96), xycoords="axes fraction", ha="right", va="top",
            fontsize=10, color=INK,
        )  # fmt: skip
        return
    ax.set_ylim(0.0, max(top, 1.12 * value))
    ax.axhline(value, color=INK, linestyle=(0, (6, 3)), linewidth=1.2, zorder=2.0, gid="limit")
    ax.annotate(
        words, (0.995, value), xycoords=ax.get_yaxis_transform(), xytext=(0, 2),
        textcoords="offset points", ha="right", va="bottom", fontsize=10, color=INK, zorder=5.0,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
    )  # fmt: skip


def _band(
    ax: Axes, kinds: np.ndarray, inferred: np.ndarray, edges: np.ndarray, boxed: bool
) -> None:
    ax.grid(False)
    ax.set_xlim(edges[0], edges[-1])
    ax.set_ylim(0.0, 1.0)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    both = (edges, np.array([0.0, 1.0]))
    for kind in range(len(KINDS)):
        for filled in (False, True):
            inside = (kinds == kind) & (inferred == filled)
            if kind != MISSING and inside.any():
                ax.add_patch(cell_patch(inside[:, None], both, kind, filled))
    draw_boundaries(ax, kinds[:, None], both)
    draw_letters(ax, kinds[:, None], both, kinds.size <= 40, boxed=boxed)


def _axis_marks(result: MapResult, panels: Iterable[Axes]) -> None:
    """The base configuration's own place, through all panels."""
    own = result.shipped[0]
    for ax in panels:
        left, right = sorted(ax.get_xlim())
        if left <= own <= right:
            ax.axvline(own, color=INK, linestyle=":", linewidth=1.6, zorder=2.2, gid="own place")


def _growth_spans(result: MapResult, panels: Iterable[Axes]) -> None:
    """Where a small motion grows by itself, as a shade."""
    if result.mode_axes is None:
        return
    x = np.asarray(result.mode_axes[0], dtype=float)
    for name, (_, colour, _) in NEUTRAL.items():
        if name not in result.growth:
            continue
        values = np.asarray(result.growth[name], dtype=float)
        ends = sorted(
            {*zeros(x, values), *x[np.isfinite(values)][[0, -1]]}
            if np.isfinite(values).any()
            else ()
        )
        for low, high in pairwise(ends):
            if np.interp(0.5 * (low + high), x, values) > 0.0:
                for ax in panels:
                    ax.axvspan(low, high, zorder=0.5, gid=f"neutral {name}", **_growing(colour))


def _growing(colour: str) -> dict[str, Any]:
    red, green, blue = matplotlib.colors.to_rgb(colour)
    return {"facecolor": (red, green, blue, 0.13), "edgecolor": (red, green, blue, 0.9),
            "linewidth": 1.0}  # fmt: skip


def zeros(x: np.ndarray, values: np.ndarray) -> list[float]:
    """Where a curve given by points goes through 0, straight between them; NaN breaks it."""
    found = []
    for i in range(len(x) - 1):
        a, b = float(values[i]), float(values[i + 1])
        if a * b < 0.0 or (a == 0.0 and b != 0.0):
            found.append(float(x[i]) - a * float(x[i + 1] - x[i]) / (b - a))
    return found
