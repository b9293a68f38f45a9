"""A row of trial holes in one picture: classes, the nose with its holes, yaw, roll and wobble."""

from __future__ import annotations

import math
import os
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib.patheffects
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from scipy.ndimage import label

from sim.bait.tie_path import tie_path
from sim.plots.cells import (
    AS_OUTLINE,
    INK,
    cell_patch,
    cell_points,
    class_handles,
    draw_boundaries,
    draw_letters,
    edges_of,
    style_of,
)
from sim.plots.panels import bait_panel, panel_at, panel_title
from sim.plots.save import save_figure
from sim.plots.style import DPI, FIGURE_INCHES, OKABE_ITO, plot_style
from sim.report.holes import (
    found_rows,
    kinds_of,
    own_hole,
    round_on_the_way,
    worst_over_speeds,
)
from sim.report.map import KINDS, MISSING, run_count
from sim.report.text import name_of
from sim.studies.engine import CLASSES
from sim.studies.holes import (
    SweetSpot,
    hole_places,
    own_tie,
    pitch_of,
    sweet_spot,
    told_holes,
    unbroken,
    widest_range,
)
from sim.studies.speeds import own_speed_index

if TYPE_CHECKING:
    from sim.studies.store import MapResult

SPOT = OKABE_ITO["blue"]
OWN = OKABE_ITO["yellow"]
ROUND = "went round on the way (on the nose: thick rim)"
FINEST = 2.5  # width of cells that have lines between them [points]
SMALLEST = 4  # cells of a region that has a letter
APART = 17.0  # between holes that are drawn on the nose [points]
EVERY = (1, 2, 5, 10, 20, 50, 100)
MARGIN_MM = 5.0
LEFT, RIGHT = (0.95, 9.75), (10.75, 15.85)  # columns [in]
_PART: dict[str, Any] = {"edgecolor": SPOT, "linewidth": 2.6, "linestyle": (0, (4, 2))}
_STAR: dict[str, Any] = {
    "linestyle": "none", "marker": "*", "markersize": 17.0, "markerfacecolor": OWN,
    "markeredgecolor": "black", "markeredgewidth": 1.2,
}  # fmt: skip


def holes_figure(result: MapResult) -> Figure:
    """The picture of a row of trial holes.

    Parameters
    ----------
    result : MapResult    of a study from :func:`sim.studies.holes.holes_study`
    """
    with plot_style():
        return _figure(result)


def save_holes_figure(result: MapResult, file: str | os.PathLike[str]) -> Path:
    """Draw :func:`holes_figure` into a PNG, SVG or PDF file, as ``sim.plots.save.save_figure``."""
    return save_figure(lambda: _figure(result), file)


def _figure(result: MapResult) -> Figure:
    figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
    FigureCanvasAgg(figure)
    spot = sweet_spot(result)
    _header(figure, result, spot)
    cells = panel_at(figure, *LEFT, 5.45, 8.5)
    _cells(cells, result, spot)
    swing = panel_at(figure, *LEFT, 3.15, 4.85)
    _swing(swing, result)
    wobble = panel_at(figure, *LEFT, 1.5, 2.6)
    _wobble(wobble, result)
    edges = edges_of(result.study.axes[0].values)
    for ax in (cells, swing, wobble):
        ax.set_xlim(edges[0], edges[-1])
        _marks(ax, result, spot, named=ax is cells)
    for ax in (cells, swing):
        ax.tick_params(labelbottom=False)
    wobble.set_xlabel("tie point along nose and bill [mm]   (0: bill leaves the body)")
    _nose(panel_at(figure, *RIGHT, 3.75, 8.5), result, spot)
    _answer(figure, result)
    _legend(figure, result, spot)
    return figure


def _header(figure: Figure, result: MapResult, spot: SweetSpot | None) -> None:
    width, height = figure.get_size_inches()
    study, config = result.study, result.study.base
    speeds = study.axes[1].values
    range_ = f"{speeds[0]:.3g} to {speeds[-1]:.3g} m/s"
    if spot is None:
        head = f"{name_of(config)}: no sweet spot from {range_}"
    elif spot.length_mm == 0.0:
        head = f"{name_of(config)}: a sweet spot of one hole, at {spot.first_mm:g} mm"
    else:
        head = (
            f"{name_of(config)}: sweet spot {spot.first_mm:g} to {spot.last_mm:g} mm, balanced"
            f" from {range_}"
        )
    line = 0.0 if config.line is None else config.line.length_m
    at = study.axes[0].values
    rest = (
        f"trial holes every {pitch_of(study):g} mm, run every {at[1] - at[0]:g} mm:"
        f" {run_count(result)} runs, towed, line {line:g} m"
    )
    rest = ", ".join([rest, *(f"{key} = {value}" for key, value in study.fixed.items())])
    rest = textwrap.shorten(rest, 170, placeholder=" ...")
    figure.text(LEFT[0] / width, 1.0 - 0.2 / height, head, va="top", fontsize=17,
                fontweight="bold", parse_math=False)  # fmt: skip
    figure.text(LEFT[0] / width, 1.0 - 0.58 / height, rest, va="top", color="#333333",
                linespacing=1.4, parse_math=False)  # fmt: skip


# ------------------------------------------------------------------------------------------ panels


def _cells(ax: Axes, result: MapResult, spot: SweetSpot | None) -> None:
    """Class over distance and speed; a line runs through cells that went round on the way."""
    kinds = kinds_of(result)
    at, speeds = (np.asarray(axis.values) for axis in result.study.axes)
    edges = [edges_of(at), edges_of(speeds)]
    ax.grid(False)
    ax.set_ylim(edges[1][0], edges[1][-1])
    for kind in range(len(KINDS)):
        inside = kinds == kind
        if kind != MISSING and inside.any():
            ax.add_patch(cell_patch(inside, edges, kind, False))
    ax.set_xlim(edges[0][0], edges[0][-1])
    if cell_points(ax, kinds.shape)[0] > FINEST:  # or there would be little but lines
        draw_boundaries(ax, kinds, edges)
    own = own_tie(result.study.base)
    told = own_speed_index(speeds, result.study.base.retrieve.speed_m_s)
    star = (math.nan, math.nan) if own is None else (own.distance_mm, float(speeds[told]))
    draw_letters(ax, _large(kinds), edges, False, star)
    part = widest_range(result) if spot is None else None
    if part is not None:
        x, half = (part.first_mm, part.last_mm), 0.5 * part.step_mm
        rows = np.flatnonzero((speeds >= part.slowest_m_s) & (speeds <= part.fastest_m_s))
        y = edges[1][rows[0]], edges[1][rows[-1] + 1]
        ax.add_patch(
            Rectangle((x[0] - half, y[0]), x[1] - x[0] + 2.0 * half, y[1] - y[0], fill=False,
                      zorder=4.6, gid="part of the range", **_PART)
        )  # fmt: skip
    lines = []
    for j, low in enumerate(edges[1][:-1]):
        level = low + 0.1 * (edges[1][j + 1] - low)
        for first, last in unbroken(round_on_the_way(result)[:, j]):
            lines.append([(edges[0][first], level), (edges[0][last + 1], level)])
    for colour, width in (("white", 3.6), ("black", 1.8)):
        ax.add_collection(
            LineCollection(lines, colors=colour, linewidths=width, zorder=3.8, gid="round"),
            autolim=False,
        )
    if own is not None:
        ax.plot(*star, zorder=6.0, gid="own place", **_STAR)
    ax.set_yticks(speeds, [f"{v:.3g}" for v in speeds])
    ax.set_ylabel("speed of the retrieve [m/s]")
    panel_title(ax, "Class of the motion at every hole and speed", pad=31.0 if spot else 6.0)


def _large(kinds: np.ndarray) -> np.ndarray:
    """Cells without those of regions too small for a letter that can be read."""
    kept = np.full_like(kinds, MISSING)
    for kind in range(len(KINDS)):
        regions, _ = label(kinds == kind)
        large = np.flatnonzero(np.bincount(regions.ravel())[1:] >= SMALLEST) + 1
        kept[np.isin(regions, large)] = kind
    return kept


def _marks(ax: Axes, result: MapResult, spot: SweetSpot | None, *, named: bool) -> None:
    """The sweet spot and the file's own tie point, through a panel; named above it, or tinted."""
    if spot is not None:
        half = 0.5 * spot.step_mm
        ends = (spot.first_mm - half, spot.last_mm + half)
        for end in ends:
            ax.axvline(end, color=SPOT, linewidth=2.6, zorder=4.5, gid="sweet spot")
        if named:
            box = ax.get_xaxis_transform()
            bar = Rectangle((ends[0], 1.012), ends[1] - ends[0], 0.035, transform=box,
                            facecolor=SPOT, clip_on=False, zorder=5.0)  # fmt: skip
            ax.add_patch(bar)
            ax.annotate("sweet spot", (0.5 * sum(ends), 1.05), xycoords=box, xytext=(0, 1),
                        textcoords="offset points", ha="center", va="bottom", color=SPOT,
                        fontweight="bold", fontsize=10.5, annotation_clip=False)  # fmt: skip
        else:
            ax.axvspan(*ends, facecolor=SPOT, alpha=0.10, linewidth=0.0, zorder=0.6)
    own = own_tie(result.study.base)
    if own is not None:
        line = ax.axvline(own.distance_mm, color=INK, linestyle=":", linewidth=1.8, zorder=4.4)
        line.set_path_effects(
            [matplotlib.patheffects.withStroke(linewidth=3.4, foreground="white")]
        )


def _curves(result: MapResult, name: str) -> tuple[np.ndarray, np.ndarray]:
    """A measure at the own speed along the path, NaN where the run has no class or spins."""
    at, speeds = (np.asarray(axis.values) for axis in result.study.axes)
    told = own_speed_index(speeds, result.study.base.retrieve.speed_m_s)
    kinds = kinds_of(result)[:, told]
    values = np.asarray(result.measures[name][:, told, 0], dtype=float)
    return at, np.where(kinds < CLASSES.index("spinning"), values, math.nan)


def _told_speed(result: MapResult) -> str:
    speeds = result.study.axes[1].values
    own = result.study.base.retrieve.speed_m_s
    return f"{speeds[own_speed_index(speeds, own)]:.3g} m/s"


def _swing(ax: Axes, result: MapResult) -> None:
    limits = result.study.base.limits
    looks = (
        ("yaw_amplitude_deg", "yaw", OKABE_ITO["blue"], "-", limits.tight_yaw_deg, "tight below"),
        ("roll_amplitude_deg", "roll", OKABE_ITO["vermillion"], "--", limits.roll_deg,
         "over-rolling above"),
    )  # fmt: skip
    for name, words, colour, dashes, _, _ in looks:
        at, values = _curves(result, name)
        ax.plot(at, values, color=colour, linestyle=dashes, linewidth=2.0, label=words, zorder=3.0)
    high = max([limits.roll_deg * 1.3, *(v for line in ax.lines for v in _known(line))])
    ax.set_ylim(0.0, min(high * 1.05, 3.0 * limits.roll_deg))
    for _, what, colour, _, limit, words in looks:
        ax.axhline(limit, color=colour, linestyle=(0, (1, 2)), linewidth=1.4, zorder=2.5)
        _limit_label(ax, limit, f"{what}: {words} {limit:g} deg", colour)
    ax.set_ylabel("amplitude [deg]")
    ax.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderaxespad=0.1,
              handlelength=3.0)  # fmt: skip
    panel_title(ax, f"Yaw and roll to each side at {_told_speed(result)}")


def _limit_label(ax: Axes, limit: float, text: str, colour: str) -> None:
    """Name of a limit beside its line, at that end and side at which least of the curves is."""
    box = ax.get_window_extent()
    inches = ax.get_figure(root=True).dpi  # type: ignore[union-attr]
    wide, tall = 0.078 * len(text) * inches / box.width, 0.19 * inches / box.height
    top = ax.get_ylim()[1]
    curves = [line for line in ax.lines if not str(line.get_label()).startswith("_")]
    points = np.vstack([np.column_stack([line.get_xdata(), line.get_ydata()]) for line in curves])
    across = (points[:, 0] - points[:, 0].min()) / max(float(np.ptp(points[:, 0])), 1e-9)
    up = points[:, 1] / top

    def covered(left: bool, above: bool) -> int:
        low = limit / top - (0.0 if above else tall)
        if low < 0.0 or low + tall > 1.0:
            return len(points)
        beside = across <= wide if left else across >= 1.0 - wide
        return int((beside & (up >= low) & (up <= low + tall)).sum())

    places = [(left, above) for above in (True, False) for left in (True, False)]
    left, above = min(places, key=lambda place: covered(*place))
    ax.annotate(text, (0.0 if left else 1.0, limit), xycoords=ax.get_yaxis_transform(),
                xytext=(3 if left else -3, 2 if above else -2), textcoords="offset points",
                ha="left" if left else "right", va="bottom" if above else "top", fontsize=9.5,
                color=colour, zorder=5.0, gid="limit",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
                )  # fmt: skip


def _known(line: Line2D) -> list[float]:
    values = np.asarray(line.get_ydata(), dtype=float)
    return [float(v) for v in values[np.isfinite(values)]]


def _wobble(ax: Axes, result: MapResult) -> None:
    at, values = _curves(result, "wobble_frequency_hz")
    ax.plot(at, values, color=INK, linewidth=2.0)
    known = values[np.isfinite(values)]
    ax.set_ylim(0.0, 1.12 * float(known.max()) if known.size else 1.0)
    ax.set_ylabel("wobble [Hz]")
    panel_title(ax, f"Wobble at {_told_speed(result)}")


def _nose(ax: Axes, result: MapResult, spot: SweetSpot | None) -> None:
    """The nose and bill from the side, with the holes by the worst they do."""
    study = result.study
    bait = study.base.bait
    path, places = tie_path(study.base), hole_places(study)
    _frame(ax, result, places)
    # a smaller picture of the hooks and weights would only hide the holes
    bait_panel(bait.model_copy(update={"ballast": (), "hook": (), "tie": None}), ax=ax)
    for patch in ax.patches:
        if patch.get_label() == "bill":  # whose usual colour is that of a class
            patch.set(facecolor="#EEEEEE", edgecolor="#555555")
    _frame(ax, result, places)
    ax.plot(path.from_nose_mm, path.above_centreline_mm, color=INK, linewidth=1.2, zorder=5.0)
    if spot is not None:
        inside = (path.distance_mm >= spot.first_mm) & (path.distance_mm <= spot.last_mm)
        x = [spot.first_at[0], *path.from_nose_mm[inside], spot.last_at[0]]
        z = [spot.first_at[1], *path.above_centreline_mm[inside], spot.last_at[1]]
        ax.plot(x, z, color=SPOT, linewidth=17.0, alpha=0.45, solid_capstyle="round", zorder=5.2,
                gid="sweet spot")  # fmt: skip
    worst, turned = worst_over_speeds(result), np.asarray(round_on_the_way(result).any(axis=1))
    points = ax.transData.transform(places) * 72.0 / ax.get_figure(root=True).dpi  # type: ignore[union-attr]
    last = np.array([math.inf, math.inf])
    for i in _drawn(result, points):
        kind, (x, z) = int(worst[i]), places[i]
        style = style_of(kind)
        ax.plot(x, z, linestyle="none", marker="o", markersize=13.0, markerfacecolor=style.colour,
                markeredgecolor="black", markeredgewidth=2.4 if turned[i] else 0.9, zorder=6.0,
                gid=f"hole {KINDS[kind]}")  # fmt: skip
        ax.annotate(style.letter, (x, z), ha="center", va="center", fontsize=9.0,
                    fontweight="bold", zorder=6.1, annotation_clip=True,
                    path_effects=AS_OUTLINE)  # fmt: skip
        if math.hypot(*(points[i] - last)) > 2.6 * APART:
            along = points[min(i + 1, len(points) - 1)] - points[max(i - 1, 0)]
            # to the left of the way down the nose, which is away from bait and bill
            aside = np.array([-along[1], along[0]]) / max(math.hypot(*along), 1e-9)
            _number(ax, float(study.axes[0].values[i]), (x, z), 17.0 * aside)
            last = points[i]
    tie = bait.tie
    if tie is not None:
        ax.plot(tie.from_nose_mm, tie.above_centreline_mm, zorder=7.0, gid="own place",
                **(_STAR | {"markersize": 12.0, "clip_on": True}))  # fmt: skip
    panel_title(ax, "Holes by the worst at any speed, to scale")


def _frame(ax: Axes, result: MapResult, places: np.ndarray) -> None:
    """Show all holes, nose to the right, true to scale in the panel as it is."""
    low, high = places.min(axis=0) - MARGIN_MM, places.max(axis=0) + MARGIN_MM
    bill = result.study.base.bait.bill
    if bill is not None:
        high[0] = max(high[0], bill.from_nose_mm + MARGIN_MM)
    box = ax.get_window_extent()
    shape = box.height / box.width
    wide, tall = high - low
    if tall > wide * shape:
        wide = tall / shape
    else:
        tall = wide * shape
    middle = 0.5 * (low + high)
    ax.set_xlim(middle[0] + 0.5 * wide, middle[0] - 0.5 * wide)
    ax.set_ylim(middle[1] - 0.5 * tall, middle[1] + 0.5 * tall)
    ax.set_aspect("equal", adjustable="box")


def _drawn(result: MapResult, points: np.ndarray) -> list[int]:
    """Holes that have room for a letter: every so many at the pitch, the own one kept."""
    told = told_holes(result.study)
    gaps = np.hypot(*np.diff(points[told], axis=0).T)
    least = APART / max(float(np.median(gaps)), 1e-9) if gaps.size else 1.0
    every = next(n for n in EVERY if n >= min(least, EVERY[-1]))
    zero = int(np.abs(result.study.axes[0].values[told]).argmin())  # 0 mm is always one of them
    return [int(i) for n, i in enumerate(told) if (n - zero) % every == 0]


def _number(ax: Axes, distance: float, at: tuple[float, float], aside: np.ndarray) -> None:
    """A distance along the path, beside the hole."""
    ax.annotate(f"{distance:g}", at, xytext=(float(aside[0]), float(aside[1])),
                textcoords="offset points", ha="center", va="center", fontsize=9.5, zorder=5.9,
                annotation_clip=True,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.8},
                )  # fmt: skip


def _answer(figure: Figure, result: MapResult) -> None:
    """What was found, in words, below the nose."""
    width, height = figure.get_size_inches()
    texts: list[str] = []
    for name, text in found_rows(result):
        if name:
            texts.append(f"{name.strip()}  {text}")
        else:
            texts[-1] += f"; {text}"
    lines = [line for text in texts for line in textwrap.wrap(text, 66, subsequent_indent="   ")]
    figure.text((RIGHT[0] - 0.35) / width, 2.95 / height, "\n".join(lines), va="top",
                linespacing=1.45, fontsize=10.5, parse_math=False)  # fmt: skip


# ------------------------------------------------------------------------------------------ legend


def _legend(figure: Figure, result: MapResult, spot: SweetSpot | None) -> None:
    handles = class_handles(kinds_of(result))
    over: list[Artist] = []
    part = widest_range(result)
    if spot is not None:
        over.append(Line2D([], [], color=SPOT, linewidth=5.0, label="sweet spot"))
    elif part is not None:
        words = f"balanced from {part.slowest_m_s:.3g} to {part.fastest_m_s:.3g} m/s"
        if part.slowest_m_s == part.fastest_m_s:
            words = f"balanced at {part.slowest_m_s:.3g} m/s"
        over.append(Rectangle((0, 0), 1, 1, fill=False, label=words, **_PART))
    if own_hole(result) is not None:
        own = own_tie(result.study.base)
        assert own is not None
        over.append(Line2D([], [], label=f"tie point in the file ({own.distance_mm:.2f} mm)",
                           **(_STAR | {"markersize": 13.0})))  # fmt: skip
    if round_on_the_way(result).any():
        over.append(Line2D([], [], color="black", linewidth=1.8, label=ROUND))
    width, height = figure.get_size_inches()
    for handles_, top in ((handles, 0.72), (over, 0.36)):
        if handles_:
            legend = figure.legend(
                handles=handles_, loc="upper left", ncols=len(handles_), borderaxespad=0.0,
                bbox_to_anchor=(LEFT[0] / width, top / height), handlelength=2.6,
                handleheight=1.4, columnspacing=1.6,
            )  # fmt: skip
            figure.add_artist(legend)
