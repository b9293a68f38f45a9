"""Modes of the steady tow along the tie path, with what the bait does there."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib.transforms
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sim.bait.tie_path import tie_path
from sim.config.models import Config
from sim.plots.panels import bait_panel, panel_title
from sim.plots.save import save_figure
from sim.plots.style import DPI, GREY, OKABE_ITO, class_style, plot_style
from sim.small_motion import Mode, TiePoint

INCHES = (14.0, 9.0)
ROLES = 0.3  # relative jump of a root from point to point that means another root took its name
MARGIN_MM = 6.0
TICKS_MM = 5.0  # marks on the tie path of the bait's own picture


def modes_figure(
    config: Config, path: Sequence[TiePoint], classes: Sequence[str | None] = ()
) -> Figure:
    """Wobble and lean along the tie path.

    Parameters
    ----------
    config : Config
    path : sequence of TiePoint     from :func:`sim.small_motion.modes_along`
    classes : sequence, optional    class of motion of a run at each of them, None without one
    """
    with plot_style():
        return _modes_figure(config, path, classes)


def save_modes_figure(
    config: Config,
    path: Sequence[TiePoint],
    file: str | os.PathLike[str],
    classes: Sequence[str | None] = (),
) -> Path:
    """Draw :func:`modes_figure` into a PNG, SVG or PDF file, as ``sim.plots.save.save_figure``."""
    return save_figure(lambda: _modes_figure(config, path, classes), file)


def _modes_figure(
    config: Config, path: Sequence[TiePoint], classes: Sequence[str | None]
) -> Figure:
    figure = Figure(figsize=INCHES, dpi=DPI)
    grid = figure.add_gridspec(
        4, 2, width_ratios=(1.75, 1.0), height_ratios=(0.16, 1.0, 1.0, 1.0),
        left=0.065, right=0.985, bottom=0.075, top=0.88, hspace=0.32, wspace=0.16,
    )  # fmt: skip
    band = figure.add_subplot(grid[0, 0])
    panels = [figure.add_subplot(grid[i, 0], sharex=band) for i in (1, 2, 3)]
    at = np.array([p.distance_mm for p in path])
    wobble = [None if p.modes is None else p.modes.wobble for p in path]
    lean = [None if p.modes is None else p.modes.lean for p in path]
    _class_band(band, at, classes)
    look = {"color": OKABE_ITO["blue"], "marker": "o", "markersize": 4}
    _joined(panels[0], at, _of(wobble, "frequency_hz"), wobble, **look)
    panels[0].set_ylabel("frequency [Hz]")
    panels[0].set_ylim(bottom=0.0)
    panel_title(panels[0], "Wobble: frequency of the yaw-roll pair")
    growth = _of(wobble, "growth_1_s")
    _joined(panels[1], at, growth, wobble, **look)
    _zero(panels[1], "grows by itself", "dies out")
    panel_title(panels[1], "Wobble: growth of a small one")
    _lean_panel(panels[2], at, lean, wobble)
    panels[2].set_xlabel("tie point along the tie path [mm]   (0: bill leaves the nose)")
    own = math.nan
    tie = config.bait.tie
    if tie is not None:
        own, _ = tie_path(config).nearest(tie.from_nose_mm, tie.above_centreline_mm)
        for ax in panels:
            ax.axvline(own, color=OKABE_ITO["vermillion"], linestyle=":", linewidth=1.6)
        panels[0].annotate(
            "tied here", (own, 0.02), xycoords=("data", "axes fraction"), xytext=(4, 2),
            textcoords="offset points", color=OKABE_ITO["vermillion"], fontsize=10,
        )  # fmt: skip
    for ax in panels[:2]:
        ax.tick_params(labelbottom=False)
    if at.size:
        band.set_xlim(at[0] - 0.5, at[-1] + 0.5)
    _bait(figure.add_subplot(grid[1:3, 1]), config)
    figure.text(
        0.065, 0.955, f"{config.name or 'bait'}: modes of the steady tow along the tie path",
        fontsize=15, fontweight="bold",
    )  # fmt: skip
    line = config.line
    speed = next((p.modes.trim.speed_m_s for p in path if p.modes is not None), 0.0)
    figure.text(
        0.065, 0.925,
        f"{speed:.3g} m/s through the water, line {0.0 if line is None else line.length_m:g} m,"
        " the bill's wake left out of the modes" + (", not of the runs" if classes else ""),
    )  # fmt: skip
    figure.text(
        0.655, 0.105,
        "A wobble that dies out is kept going by the bill's wake alone.\n"
        "A lean nearer to zero comes back more slowly: every error in\n"
        "bill, ballast or eye shows more there.\n"
        "Where a line ends, two motions have changed roles.",
        linespacing=1.5,
    )  # fmt: skip
    return figure


def _of(modes: Sequence[Mode | None], name: str) -> np.ndarray:
    return np.array([math.nan if m is None else getattr(m, name) for m in modes])


def _joined(
    ax: Axes, at: np.ndarray, values: np.ndarray, wobble: Sequence[Mode | None], **look: Any
) -> None:
    """A line along the path, broken where two modes change roles and with them the name."""
    roots = np.array([complex(math.nan) if m is None else m.root for m in wobble])
    apart = np.flatnonzero(np.abs(np.diff(roots)) > ROLES * np.abs(roots[:-1])) + 1
    ax.plot(np.insert(at, apart, math.nan), np.insert(values, apart, math.nan), **look)


def _zero(ax: Axes, above: str, below: str) -> None:
    """Mark where growth turns to decay; the axis always shows it."""
    low, high = ax.get_ylim()
    span = max(high, 0.0) - min(low, 0.0)
    ax.set_ylim(min(low, -0.12 * span), max(high, 0.14 * span))
    ax.axhline(0.0, color="#333333", linewidth=1.2)
    ax.axhspan(0.0, ax.get_ylim()[1], color=OKABE_ITO["orange"], alpha=0.12, linewidth=0.0)
    where = matplotlib.transforms.blended_transform_factory(ax.transAxes, ax.transData)
    for text, side, offset in ((above, "bottom", 2), (below, "top", -2)):
        ax.annotate(
            text, (0.995, 0.0), xycoords=where, xytext=(0, offset), textcoords="offset points",
            ha="right", va=side, fontsize=10, color="#333333", zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.7},
        )  # fmt: skip
    ax.set_ylabel("growth [1/s]")


def _lean_panel(
    ax: Axes, at: np.ndarray, lean: Sequence[Mode | None], wobble: Sequence[Mode | None]
) -> None:
    growth = _of(lean, "growth_1_s")
    swings = np.array([m is not None and m.oscillates for m in lean], dtype=bool)
    _joined(ax, at, growth, wobble, color=OKABE_ITO["reddish purple"], linewidth=1.0)
    for kind, marker, label in (
        (~swings, "s", "comes straight back"),
        (swings, "D", "swings back (met another root)"),
    ):
        if (kind & np.isfinite(growth)).any():
            ax.plot(
                at[kind], growth[kind], linestyle="none", marker=marker, markersize=4.5,
                color=OKABE_ITO["reddish purple"], label=label,
                markerfacecolor="white" if marker == "D" else None,
            )  # fmt: skip
    _zero(ax, "goes over", "comes back")
    if swings.any():
        ax.legend(
            loc="lower right", bbox_to_anchor=(1.0, 1.02), ncols=2, borderaxespad=0.0,
            handletextpad=0.3, columnspacing=1.2,
        )  # fmt: skip
    panel_title(ax, "Lean: the slow root")


def _class_band(ax: Axes, at: np.ndarray, classes: Sequence[str | None]) -> None:
    """Class of motion of a run at each tie point: letter and hatch carry it without colour."""
    ax.set_axis_off()
    if not classes:
        return
    ax.set_ylim(0.0, 1.0)
    width = float(at[1] - at[0]) if at.size > 1 else 1.0
    for x, name in zip(at, classes, strict=True):
        style = class_style(name)
        ax.add_patch(
            Rectangle(
                (x - 0.5 * width, 0.0), width, 1.0, facecolor=style.colour, hatch=style.hatch,
                edgecolor="white", linewidth=0.5,
            )
        )  # fmt: skip
        ax.text(
            x, 0.5, style.letter, ha="center", va="center", fontsize=8.5, fontweight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.75},
        )  # fmt: skip
    seen = dict.fromkeys(classes)
    words = ", ".join(f"{class_style(c).letter} {class_style(c).words}" for c in seen)
    panel_title(ax, f"What a run does there: {words}")


def _bait(ax: Axes, config: Config) -> None:
    """The bait with marks every few mm of its tie path."""
    bait_panel(config.bait, ax=ax)
    path = tie_path(config)
    ax.plot(
        path.from_nose_mm, path.above_centreline_mm, color=OKABE_ITO["black"], linewidth=1.6,
        zorder=5,
    )  # fmt: skip
    first = math.ceil(path.distance_mm[0] / TICKS_MM)
    last = math.floor(path.distance_mm[-1] / TICKS_MM)
    for i in range(first, last + 1):
        x, z = path.at(i * TICKS_MM)
        ax.plot(x, z, color="black", marker="|", markersize=6, zorder=6)
        ax.annotate(
            f"{i * TICKS_MM:g}", (x, z), xytext=(7, 3), textcoords="offset points", fontsize=9,
            zorder=7, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.8},
        )  # fmt: skip
    bill = config.bait.bill
    points = np.column_stack([path.from_nose_mm, path.above_centreline_mm])
    low, high = points.min(axis=0) - MARGIN_MM, points.max(axis=0) + MARGIN_MM
    if bill is not None:
        high[0] = max(high[0], bill.from_nose_mm + MARGIN_MM)
    ax.set_aspect("equal", adjustable="box", anchor="NW")
    ax.set_xlim(high[0] + 0.25 * (high[1] - low[1]), low[0])
    ax.set_ylim(low[1], high[1])
    panel_title(ax, "Tie path [mm]")
    ax.tick_params(colors="#333333")
    for spine in ax.spines.values():
        spine.set_color(GREY)
