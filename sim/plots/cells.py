"""Cells of a map: their bounds, look, letters, and the lines between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import matplotlib.collections
import matplotlib.colors
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import Normal, withStroke
from scipy.ndimage import distance_transform_edt, label, uniform_filter

from sim.plots.style import NO_CLASS, NOT_SETTLED, ClassStyle, class_style
from sim.report.map import FAILED, KINDS, MISSING
from sim.studies.engine import CLASSES

PALE = 0.5  # share of white in the colour of a cell that was filled in
# Between letters of one region, from there to its bounds, and from the star [points].
APART, ROOM, OFF_STAR = 130.0, 16.0, 20.0
INK = "#222222"
AS_OUTLINE = [Normal()]  # or small bold letters are pushed out of shape to fit the pixels


def sparse(inferred: np.ndarray) -> np.ndarray:
    """Cells filled in, and the single runs among them, which would only speckle the picture."""
    around = uniform_filter((~inferred).astype(float), 3, mode="nearest")
    return inferred | (inferred.any() & (around * 3**inferred.ndim < 2.5))


def edges_of(values: np.ndarray) -> np.ndarray:
    """Bounds of cells about values, half-way between neighbours; the ends reach as far out."""
    values = np.asarray(values, dtype=float)
    if values.size == 1:
        half = max(abs(float(values[0])) * 0.05, 0.5)
        return np.array([values[0] - half, values[0] + half])
    middle = 0.5 * (values[:-1] + values[1:])
    return np.concatenate([[2 * values[0] - middle[0]], middle, [2 * values[-1] - middle[-1]]])


def cell_points(ax: Axes, shape: Sequence[int]) -> tuple[float, float]:
    """Width and height of an average cell on paper [points]."""
    box = ax.get_position()
    width, height = ax.get_figure().get_size_inches()  # type: ignore[union-attr]
    return 72.0 * box.width * width / shape[0], 72.0 * box.height * height / shape[1]


def style_of(kind: int) -> ClassStyle:
    if kind < len(CLASSES):
        return class_style(CLASSES[kind])
    return NO_CLASS if kind == FAILED else NOT_SETTLED


def cell_patch(
    inside: np.ndarray, edges: Sequence[np.ndarray], kind: int, filled: bool
) -> PathPatch:
    """All cells of a kind as one patch, so that its hatch runs through; neighbours are joined."""
    x, y = edges
    corners: list[tuple[float, float]] = []
    for j in np.flatnonzero(inside.any(axis=0)):
        row = np.concatenate([[False], inside[:, j], [False]]).astype(np.int8)
        turns = np.diff(row)
        for a, b in zip(np.flatnonzero(turns == 1), np.flatnonzero(turns == -1), strict=True):
            low, high = float(y[j]), float(y[j + 1])
            left, right = float(x[a]), float(x[b])
            corners += [(left, low), (right, low), (right, high), (left, high), (left, low)]
    codes = [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY] * (len(corners) // 5)
    return PathPatch(Outline(corners, codes), zorder=1.0, **look_of(kind, filled))


def look_of(kind: int, filled: bool) -> dict[str, Any]:
    style = style_of(kind)
    white = PALE if filled else 0.0
    mix = [
        tuple((1.0 - white) * c + white for c in matplotlib.colors.to_rgb(colour))
        for colour in (style.colour, INK)
    ]
    return {
        "facecolor": mix[0], "edgecolor": mix[1], "hatch": style.hatch or None, "linewidth": 0.0,
        "antialiased": False, "gid": f"{KINDS[kind]}{' filled in' if filled else ''}",
    }  # fmt: skip


def class_handles(kinds: np.ndarray) -> list[Rectangle]:
    """Entries of a legend for the kinds that there are in a picture, each with its letter."""
    handles = []
    for kind, name in enumerate(KINDS):
        if kind != MISSING and (kinds == kind).any():
            look = look_of(kind, False) | {"linewidth": 0.6, "antialiased": True, "gid": None}
            words = style_of(kind).words if kind < len(CLASSES) else name
            handles.append(
                Rectangle((0, 0), 1, 1, label=f"{style_of(kind).letter}  {words}", **look)
            )
    return handles


def draw_boundaries(
    ax: Axes, kinds: np.ndarray, edges: Sequence[np.ndarray], casing: bool = False
) -> None:
    """Lines between cells of different kinds."""
    x, y = edges
    lines = [[(x[i + 1], y[j]), (x[i + 1], y[j + 1])]
             for i, j in np.argwhere(kinds[1:] != kinds[:-1])]  # fmt: skip
    lines += [[(x[i], y[j + 1]), (x[i + 1], y[j + 1])]
              for i, j in np.argwhere(kinds[:, 1:] != kinds[:, :-1])]  # fmt: skip
    looks = [("black", 1.2, "class boundaries")]
    if casing:
        looks.insert(0, ("white", 2.8, "casing"))
    for colour, width, gid in looks:
        drawn = matplotlib.collections.LineCollection(
            lines, colors=colour, linewidths=width, capstyle="projecting", zorder=2.0, gid=gid
        )
        ax.add_collection(drawn, autolim=False)


def draw_letters(
    ax: Axes,
    kinds: np.ndarray,
    edges: Sequence[np.ndarray],
    each: bool,
    keep_off: Sequence[float] = (),
    boxed: bool = False,
) -> None:
    """A letter in each cell, or one per region as far from its bounds as can be.

    Wide regions have several. A region too small for a letter beside those of its neighbours has
    none, nor has the place of the star. A box hides the rings behind a letter.
    """
    wide, high = cell_points(ax, kinds.shape)
    if each:
        for (i, j), kind in np.ndenumerate(kinds):
            if kind != MISSING:
                _draw_letter(ax, edges, i, j, kind, min(11.0, 0.7 * min(wide, high)), False)
        return
    star = (math.inf, math.inf)
    if len(keep_off) == 2 and np.isfinite(keep_off).all():
        across, up = (
            float(np.interp(v, e, np.arange(e.size))) - 0.5
            for v, e in zip(keep_off, edges, strict=True)
        )
        star = (across, up)
    places: list[tuple[float, int, int, int]] = []
    for kind in range(len(KINDS)):
        if kind == MISSING:
            continue
        regions, _ = label(kinds == kind)
        # how far it is to a cell of another kind, or over the edge of the map
        room = distance_transform_edt(np.pad(kinds == kind, 1), sampling=(wide, high))[1:-1, 1:-1]
        inside = np.argwhere(regions > 0)
        taken: dict[int, list[tuple[int, int]]] = {}
        for index in np.argsort(-room[regions > 0], kind="stable"):
            i, j = (int(v) for v in inside[index])
            if math.hypot(wide * (i - star[0]), high * (j - star[1])) < OFF_STAR:
                continue
            others = taken.setdefault(int(regions[i, j]), [])
            if others and (
                room[i, j] < ROOM
                or any(math.hypot(wide * (i - a), high * (j - b)) < APART for a, b in others)
            ):
                continue
            others.append((i, j))
            places.append((float(room[i, j]), i, j, kind))
    drawn: list[tuple[int, int, float]] = []
    for depth, i, j, kind in sorted(places, key=lambda p: -p[0]):
        size = min(14.0, max(7.0, 1.7 * (depth - 0.5 * min(wide, high))))
        if all(
            math.hypot(wide * (i - a), high * (j - b)) >= 0.6 * (size + other)
            for a, b, other in drawn
        ):
            drawn.append((i, j, size))
            _draw_letter(ax, edges, i, j, kind, size, boxed)


def _draw_letter(
    ax: Axes, edges: Sequence[np.ndarray], i: int, j: int, kind: int, size: float, boxed: bool
) -> None:
    text = ax.text(
        0.5 * (edges[0][i] + edges[0][i + 1]), 0.5 * (edges[1][j] + edges[1][j + 1]),
        style_of(kind).letter, ha="center", va="center", fontsize=size, fontweight="bold",
        zorder=4.0, gid="letter",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0} if boxed else None,
    )  # fmt: skip
    text.set_path_effects([withStroke(linewidth=max(2.0, 0.3 * size), foreground="white")])
