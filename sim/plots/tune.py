"""The picture of tuning: drift and lean against the bend of the eye, and the eye itself."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import withStroke

from sim.bait.frame import MM, from_nose
from sim.bait.plates import plate_axes, plate_outline
from sim.bait.sections import outline_at
from sim.plots.cells import (
    INK,
    cell_patch,
    cell_points,
    class_handles,
    draw_boundaries,
    draw_letters,
    edges_of,
)
from sim.plots.panels import margin_labels, panel_at, panel_title
from sim.plots.save import save_figure
from sim.plots.style import DPI, FIGURE_INCHES, GREY, OKABE_ITO, plot_style
from sim.report.map import KINDS, MISSING, cell_kinds
from sim.report.text import fixed, name_of
from sim.report.tune import degrees, side
from sim.studies.tune import Tuning, knot_shift, tuning

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.studies.store import MapResult

COLOURS = ("blue", "vermillion", "bluish green", "reddish purple", "orange", "sky blue", "black")
DASHES: tuple[Any, ...] = ("-", "--", "-.", ":")
MARKERS = "osD^vP*X"
LEGEND_MOST = 5  # speeds in a legend; more are named at the ends of their curves
BELOW_MOST = 8  # speeds below the title
TICKS = {"strip": 7, "side": 12}  # speeds named beside panels, at most
EDGE_PT = 9.0  # from a letter to the edge of its panel
JUMP = 0.5  # of the height of a panel, beyond which a curve is broken
SIDE_NOTE = "+ to starboard"


def tune_figure(result: MapResult) -> Figure:
    """The picture of a study of kind "tune".

    Parameters
    ----------
    result : MapResult
    """
    with plot_style():
        return _tune_figure(result)


def save_tune_figure(result: MapResult, file: str | os.PathLike[str]) -> Path:
    """Draw :func:`tune_figure` into a PNG, SVG or PDF file, as ``sim.plots.save.save_figure``."""
    return save_figure(lambda: _tune_figure(result), file)


def _tune_figure(result: MapResult) -> Figure:
    figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
    FigureCanvasAgg(figure)
    found, config = tuning(result), result.study.base
    figure.text(0.85 / 16, 0.98, f"{name_of(config)}: {_head(config, found)}", va="top",
                fontsize=17, fontweight="bold", parse_math=False)  # fmt: skip
    figure.text(0.85 / 16, 0.94, _below(config, found), va="top", color="#333333", parse_math=False)
    view = _view(found)
    drift = panel_at(figure, 0.85, 9.4, 6.3, 8.85)
    lean = panel_at(figure, 0.85, 9.4, 3.35, 5.9)
    strip = panel_at(figure, 0.85, 9.4, 1.75, 2.95)
    limits = config.limits
    _curves(drift, found, found.swims.drift, limits.run_off_deg, view)
    panel_title(drift, f"Drift: angle between line and retrieve from above [deg], {SIDE_NOTE}")
    _curves(lean, found, found.swims.lean, limits.lean_deg, view)
    panel_title(lean, "Lean: mean roll [deg], + starboard side down")
    _strip(strip, result, found, view)
    _legends(figure, drift, result, found)
    _eye(panel_at(figure, 11.4, 15.6, 5.6, 8.85), config, found)
    for left, right, values, limit, name in (
        (11.4, 13.35, (found.before.drift, found.after.drift), limits.run_off_deg, "Drift"),
        (13.75, 15.7, (found.before.lean, found.after.lean), limits.lean_deg, "Lean"),
    ):
        ax = panel_at(figure, left, right, 1.75, 4.35)
        _before_after(ax, found, values, limit, name)
        if name == "Lean":
            ax.set_yticklabels([])
        else:
            ax.set_ylabel("retrieve speed [m/s]")
    return figure


def _head(config: Config, found: Tuning) -> str:
    tie = config.bait.tie
    assert tie is not None
    if found.best == found.own:
        return {
            "runs true": "runs true, leave the eye as it is",
            "leave": "no bend of the eye is better",
        }.get(found.verdict, "bending the eye does not cure it")
    aside = abs(knot_shift(tie.eye_mm, found.bend)[0])
    text = f"bend the eye {degrees(abs(found.bend))} {side(found.bend)}"
    text += f" ({fixed(aside, 2, 'mm')} at the knot)"
    return text + (", which does not cure it" if found.verdict == "not cured" else "")


def _below(config: Config, found: Tuning) -> str:
    tie = config.bait.tie
    assert tie is not None
    speeds = ", ".join(f"{v:.3g}" for v in found.speeds[:BELOW_MOST])
    more = " ..." if found.speeds.size > BELOW_MOST else ""
    text = f"eye of {tie.eye_mm:g} mm, towed at {speeds}{more} m/s"
    if found.window is not None:
        low, high = found.window
        text += f"; within the limits at all speeds from {_plus(low)} to {_plus(high)} deg"
    return text


def _plus(value: float) -> str:
    """A number with its sign, which nought has not."""
    text = fixed(value, 1)
    return f"+{text}" if float(text) > 0.0 else text


def _view(found: Tuning) -> tuple[float, float]:
    """Bends shown: what is sound at all speeds and the best bend, with room on either side."""
    shown = [0.0, found.bend]
    good = found.bends[found.swims.sound.all(axis=1)]
    shown += [float(good.min()), float(good.max())] if good.size else list(found.bends[[0, -1]])
    low, high = min(shown), max(shown)
    room = max(4.0, 0.5 * (high - low))
    return max(low - room, float(found.bends[0])), min(high + room, float(found.bends[-1]))


def _look(m: int) -> dict[str, Any]:
    return {
        "color": OKABE_ITO[COLOURS[m % len(COLOURS)]],
        "linestyle": DASHES[m % len(DASHES)],
        "marker": MARKERS[m % len(MARKERS)],
    }


def _curves(
    ax: Axes, found: Tuning, values: np.ndarray, limit: float, view: tuple[float, float]
) -> None:
    """One measure against the bend at each speed, sound runs only, with its limits."""
    seen = (found.bends >= view[0] - 1e-9) & (found.bends <= view[1] + 1e-9)
    bends, shown = found.bends[seen], np.where(found.swims.measured, values, math.nan)[seen]
    most = np.nanmax(np.abs(shown), initial=0.0)
    top = min(max(1.35 * limit, 1.08 * float(most)), 3.0 * limit)
    for m, speed in enumerate(found.speeds):
        jumps = np.flatnonzero(np.abs(np.diff(shown[:, m])) > JUMP * top) + 1
        # from one way of running to another there is no line
        ax.plot(np.insert(bends, jumps, math.nan), np.insert(shown[:, m], jumps, math.nan),
                label=f"{speed:.3g}", markersize=4.0, markevery=max(1, bends.size // 20),
                linewidth=1.7, zorder=3.0, **_look(m))  # fmt: skip
    for sign in (-1.0, 1.0):
        ax.axhline(sign * limit, color=INK, linewidth=1.2, linestyle=(0, (6, 3)), zorder=2.0)
        ax.axhspan(sign * limit, sign * top, color="#F0F0F0", zorder=0.5, linewidth=0.0)
    ax.text(view[0], limit, f" limit {limit:g} deg", va="bottom", ha="left", fontsize=9.5,
            color=INK, zorder=5.0,
            bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none",
                  "pad": 1.0})  # fmt: skip
    ax.axhline(0.0, color=GREY, linewidth=0.8, zorder=1.0)
    _marks(ax, found)
    ax.set_xlim(view)
    ax.set_ylim(-top, top)
    ax.tick_params(labelbottom=False)
    if found.speeds.size > LEGEND_MOST:
        _name_ends(ax, found, bends, shown, top)


def _name_ends(
    ax: Axes, found: Tuning, bends: np.ndarray, shown: np.ndarray, top: float
) -> None:  # fmt: skip
    """Speeds at the ends of their curves, beyond the best bend; in the margin where they go on."""
    start = int(np.abs(bends - found.bend).argmin())
    beside: list[tuple[float, str, str]] = []
    taken: list[np.ndarray] = []
    for m, speed in enumerate(found.speeds):
        last = start
        if not abs(shown[start, m]) <= top:
            continue
        while last + 1 < bends.size and abs(shown[last + 1, m]) <= top and (
            abs(shown[last + 1, m] - shown[last, m]) <= JUMP * top
        ):  # fmt: skip
            last += 1
        text, colour = f"{speed:.3g}", _look(m)["color"]
        if last == bends.size - 1:
            beside.append((float(shown[last, m]), text, colour))
            continue
        while last > start:  # names of curves that end together stand one before the other
            at = ax.transData.transform((bends[last], shown[last, m]))
            if all(np.abs((at - other) / (34.0, 16.0)).max() >= 1.0 for other in taken):
                break
            last -= 1
        at = ax.transData.transform((bends[last], shown[last, m]))
        taken.append(at)
        low = at[1] > ax.transAxes.transform((0.0, 0.85))[1]
        ax.annotate(text, (bends[last], shown[last, m]), xytext=(5, -3 if low else 3),
                    textcoords="offset points", ha="left", va="top" if low else "center",
                    fontsize=9.5, color=colour, fontweight="bold", zorder=5.0, gid="speed",
                    path_effects=[withStroke(linewidth=2.5, foreground="white")])  # fmt: skip
    margin_labels(ax, beside)
    ax.text(1.012, 1.03, "m/s", transform=ax.transAxes, va="bottom", fontsize=9.5)


def _marks(ax: Axes, found: Tuning) -> None:
    """The eye as it is, the bend chosen, and the bends about it that keep within the limits."""
    ax.axvline(0.0, color=INK, linestyle=":", linewidth=1.6, zorder=2.2, gid="as it is")
    if found.best != found.own:
        ax.axvline(found.bend, color=INK, linewidth=2.2, zorder=2.2, gid="chosen")
    if found.window is not None and found.verdict != "runs true":
        ax.axvspan(*found.window, color=OKABE_ITO["bluish green"], alpha=0.18, linewidth=0.0,
                   zorder=0.6, gid="window")  # fmt: skip


def _strip(ax: Axes, result: MapResult, found: Tuning, view: tuple[float, float]) -> None:
    """The class of each run; one that went round on the way is ringed."""
    kinds = cell_kinds(result)[..., 0]
    across = edges_of(found.bends)
    up = np.arange(found.speeds.size + 1.0)
    ax.grid(False)
    seen = (found.bends >= view[0] - 1e-9) & (found.bends <= view[1] + 1e-9)
    first, last = int(np.flatnonzero(seen)[0]), int(np.flatnonzero(seen)[-1]) + 1
    part, edges = kinds[first:last], [across[first : last + 1], up]
    ax.set_xlim(view)
    ax.set_ylim(up[0], up[-1])
    for kind in range(len(KINDS)):
        if (part == kind).any():
            ax.add_patch(cell_patch(part == kind, edges, kind, False))
    draw_boundaries(ax, part, edges)
    edges[0] = np.clip(edges[0], *view)
    per_bend = cell_points(ax, (1, 1))[0] / (view[1] - view[0])  # [points a degree]
    middle = 0.5 * (edges[0][:-1] + edges[0][1:])
    inside = np.minimum(middle - view[0], view[1] - middle) * per_bend >= EDGE_PT
    if found.speeds.size <= BELOW_MOST:
        draw_letters(ax, np.where(inside[:, None], part, MISSING), edges, False)
    i, m = np.nonzero(found.swims.round_ & (kinds != KINDS.index("spinning")) & seen[:, None])
    ax.plot(found.bends[i], m + 0.18, linestyle="none", marker="o", markersize=3.5,
            markerfacecolor="white", markeredgecolor="black", zorder=3.5,
            gid="went round")  # fmt: skip
    _marks(ax, found)
    at = _some(found, "strip")
    ax.set_yticks(at + 0.5, [f"{found.speeds[k]:.3g}" for k in at])
    ax.tick_params(axis="y", length=0)
    ax.set_ylabel("m/s")
    ax.set_xlabel("bend of the eye [deg], + to starboard")
    panel_title(ax, "Class of the motion")


def _some(found: Tuning, where: str) -> np.ndarray:
    """Places of the speeds that have room for a number, the first and the last among them."""
    count = found.speeds.size
    return np.unique(np.linspace(0, count - 1, min(count, TICKS[where])).round().astype(int))


def _legends(figure: Figure, drift: Axes, result: MapResult, found: Tuning) -> None:
    if found.speeds.size <= LEGEND_MOST:
        drift.legend(loc="upper left", bbox_to_anchor=(1.005, 1.02), handlelength=3.0,
                     title="speed [m/s]", borderaxespad=0.0)  # fmt: skip
    kinds = cell_kinds(result)[..., 0]
    cells: list[Any] = [*class_handles(kinds)]
    if (found.swims.round_ & (kinds != KINDS.index("spinning"))).any():
        cells += drift.plot([], [], linestyle="none", marker="o", markerfacecolor="white",
                            markeredgecolor="black", label="went round on the way")  # fmt: skip
    cells += drift.plot([], [], color=INK, linestyle=":", linewidth=1.6, label="eye as it is")
    if found.best != found.own:
        cells += drift.plot([], [], color=INK, linewidth=2.2, label="best bend")
    if found.window is not None and found.verdict != "runs true":
        cells.append(Rectangle((0, 0), 1, 1, color=OKABE_ITO["bluish green"], alpha=0.18,
                               label="within the limits at all speeds"))  # fmt: skip
    figure.legend(handles=cells, loc="upper left", bbox_to_anchor=(0.85 / 16, 0.98 / 10),
                  ncols=4, handlelength=2.4, handleheight=1.4,
                  borderaxespad=0.0, columnspacing=1.6)  # fmt: skip


def _eye(ax: Axes, config: Config, found: Tuning) -> None:
    """The nose from above with the eye as it is and as it is to be, to scale; ahead is up."""
    bait = config.bait
    tie = bait.tie
    assert tie is not None
    eye = tie.eye_mm
    aside, back = knot_shift(eye, found.bend)
    root = (tie.right_mm, -(tie.from_nose_mm + eye))
    half = max(1.8 * eye, 6.0, 0.55 * (bait.bill.width_mm if bait.bill is not None else 0.0))
    if bait.body is not None:
        aft = np.linspace(0.0, bait.body.length_mm, 400)
        width = outline_at(bait.body, aft * MM).half_width / MM
        shape = np.vstack([np.column_stack([width, -aft]), np.column_stack([-width, -aft])[::-1]])
        ax.add_patch(Polygon(shape, facecolor="#EFE6D5", edgecolor="#333333", zorder=1.0,
                             label="body"))  # fmt: skip
    if bait.bill is not None:
        at = from_nose(bait.bill.from_nose_mm, bait.bill.above_centreline_mm, bait.bill.right_mm)
        corners = (at + plate_outline(bait.bill) @ plate_axes(bait.bill, 0.0)[:2]) / MM
        ax.add_patch(Polygon(corners[:, [1, 0]], facecolor=OKABE_ITO["sky blue"], alpha=0.35,
                             edgecolor=OKABE_ITO["blue"], zorder=1.5, label="bill"))  # fmt: skip
    knots = [((tie.right_mm, -tie.from_nose_mm), INK, ":", "eye as it is")]
    if found.best != found.own:
        new = (tie.right_mm + aside, -(tie.from_nose_mm + back))
        knots.append((new, OKABE_ITO["vermillion"], "-", "bent"))
    for knot, colour, dash, words in knots:
        ax.plot(*np.array([root, knot]).T, color=colour, linestyle=dash, linewidth=2.6, zorder=4.0)
        ax.plot(*knot, linestyle="none", marker="o", markersize=9, markerfacecolor="white",
                markeredgecolor=colour, markeredgewidth=2.0, zorder=5.0, label=words)  # fmt: skip
    ax.plot(*root, marker="s", color=INK, markersize=5, linestyle="none", zorder=4.5,
            label="bent here")  # fmt: skip
    middle = -tie.from_nose_mm - 0.5 * eye
    box = ax.get_position()
    tall = box.height * FIGURE_INCHES[1] / (box.width * FIGURE_INCHES[0])
    ax.set_aspect("equal")
    ax.set_xlim(tie.right_mm - half, tie.right_mm + half)
    ax.set_ylim(middle - half * tall, middle + half * tall)
    ax.set_xlabel("to starboard [mm]")
    ax.set_ylabel("ahead of the nose tip [mm]")
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.19), ncols=5, handlelength=1.2,
              columnspacing=0.9, handletextpad=0.4, borderaxespad=0.0, fontsize=9)  # fmt: skip
    panel_title(ax, "The eye from above, to scale; ahead is up")


def _before_after(
    ax: Axes,
    found: Tuning,
    values: tuple[np.ndarray, np.ndarray],
    limit: float,
    name: str,
) -> None:
    """A measure at each speed with the eye as it is and with the best bend."""
    rows = np.arange(found.speeds.size)
    bent = found.best != found.own
    looks = [(found.before, values[0], INK, "white", "as it is")]
    if bent:
        looks.append((found.after, values[1], OKABE_ITO["vermillion"], OKABE_ITO["vermillion"],
                      "bent"))  # fmt: skip
    most = max(limit, *(float(np.abs(v[s.measured]).max(initial=0.0)) for s, v, *_ in looks))
    bad = [~s.measured for s, *_ in looks]
    for swims, value, edge, face, words in looks:
        ok = swims.measured
        ax.plot(value[ok], rows[ok], linestyle="none", marker="o" if edge == INK else "D",
                markersize=8, markerfacecolor=face, markeredgecolor=edge, markeredgewidth=1.6,
                zorder=4.0, label=words)  # fmt: skip
        # beside the values, as there is none: a column each
        ax.plot(np.full(int((~ok).sum()), (1.25 if edge == INK else 1.45) * most), rows[~ok],
                linestyle="none", marker="x", markersize=8, markeredgecolor=edge,
                markeredgewidth=2.0, zorder=4.0, gid="beyond",
                label=f"{words}: goes round or fails" if (~ok).any() else None)  # fmt: skip
    if bent:
        for m in rows[found.before.measured & found.after.measured]:
            ends = [values[0][m], values[1][m]]
            ax.plot(ends, [m, m], color=GREY, linewidth=1.2, zorder=3.0)
    for sign in (-1.0, 1.0):
        ax.axvline(sign * limit, color=INK, linewidth=1.2, linestyle=(0, (6, 3)))
    ax.axvline(0.0, color=GREY, linewidth=0.8)
    beyond = any(one.any() for one in bad)
    if beyond:
        ax.axvline(1.12 * most, color=GREY, linewidth=0.8, linestyle=":")
    ax.set_xlim(-1.15 * most, (1.6 if beyond else 1.15) * most)
    ax.set_ylim(-0.6, rows.size - 0.4)
    few = _some(found, "side")
    ax.set_yticks(few, [f"{found.speeds[k]:.3g}" for k in few])
    ax.set_xlabel(f"{name.lower()} [deg]")
    panel_title(ax, name)
    if name == "Drift":
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.22), ncols=2, borderaxespad=0.0,
                  handletextpad=0.3, columnspacing=1.2, fontsize=9.5)  # fmt: skip
