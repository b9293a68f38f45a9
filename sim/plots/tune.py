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

from sim.bait.frame import MM, from_nose
from sim.bait.plates import plate_axes, plate_outline
from sim.bait.sections import outline_at
from sim.plots.cells import INK, cell_patch, draw_boundaries, draw_letters, edges_of, look_of
from sim.plots.cells import style_of as cell_style
from sim.plots.panels import panel_title
from sim.plots.save import save_figure
from sim.plots.style import DPI, FIGURE_INCHES, GREY, OKABE_ITO, plot_style
from sim.report.map import KINDS, cell_kinds
from sim.report.text import fixed, name_of
from sim.report.tune import degrees, side
from sim.studies.tune import Tuning, knot_shift, tuning

if TYPE_CHECKING:
    from sim.config.models import Config
    from sim.studies.store import MapResult

COLOURS = ("blue", "vermillion", "bluish green", "reddish purple", "orange", "sky blue", "black")
DASHES: tuple[Any, ...] = ("-", "--", "-.", ":")
MARKERS = "osD^vP*X"
LEGEND_MOST = 8  # speeds named in the legend
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
    drift = _panel(figure, 0.85, 9.4, 6.3, 8.85)
    lean = _panel(figure, 0.85, 9.4, 3.35, 5.9)
    strip = _panel(figure, 0.85, 9.4, 1.75, 2.95)
    limits = config.limits
    _curves(drift, found, found.swims.drift, limits.run_off_deg, view)
    panel_title(drift, f"Drift: angle between line and retrieve from above [deg], {SIDE_NOTE}")
    _curves(lean, found, found.swims.lean, limits.lean_deg, view)
    panel_title(lean, "Lean: mean roll [deg], + starboard side down")
    _strip(strip, result, found, view)
    _legends(figure, drift, result, found)
    _eye(_panel(figure, 11.4, 15.6, 5.6, 8.85), config, found)
    for left, right, values, limit, name in (
        (11.4, 13.35, (found.before.drift, found.after.drift), limits.run_off_deg, "Drift"),
        (13.75, 15.7, (found.before.lean, found.after.lean), limits.lean_deg, "Lean"),
    ):
        ax = _panel(figure, left, right, 1.75, 4.35)
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
    speeds = ", ".join(f"{v:.3g}" for v in found.speeds[:LEGEND_MOST])
    more = " ..." if found.speeds.size > LEGEND_MOST else ""
    text = f"eye of {tie.eye_mm:g} mm, towed at {speeds}{more} m/s"
    if found.window is not None:
        low, high = found.window
        text += f"; within the limits at all speeds from {low:+.1f} to {high:+.1f} deg"
    return text


def _panel(figure: Figure, left: float, right: float, bottom: float, top: float) -> Axes:
    width, height = figure.get_size_inches()
    return figure.add_axes(
        (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
    )


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
    shown = np.where(found.swims.sound, values, math.nan)
    for m, speed in enumerate(found.speeds):
        ax.plot(found.bends[seen], shown[seen, m], label=f"{speed:.3g} m/s", markersize=4.0,
                markevery=max(1, int(seen.sum()) // 20), linewidth=1.7, zorder=3.0,
                **_look(m))  # fmt: skip
    most = np.nanmax(np.abs(shown[seen]), initial=0.0)
    top = min(max(1.35 * limit, 1.08 * float(most)), 3.0 * limit)
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
    if found.speeds.size <= LEGEND_MOST:
        draw_letters(ax, part, edges, False)
    i, m = np.nonzero(found.swims.round_ & (kinds != KINDS.index("spinning")) & seen[:, None])
    ax.plot(found.bends[i], m + 0.18, linestyle="none", marker="o", markersize=3.5,
            markerfacecolor="white", markeredgecolor="black", zorder=3.5,
            gid="went round")  # fmt: skip
    _marks(ax, found)
    few = found.speeds.size <= 12
    at = np.arange(found.speeds.size) if few else np.array([0, found.speeds.size - 1])
    ax.set_yticks(at + 0.5, [f"{found.speeds[k]:.3g}" for k in at])
    ax.tick_params(axis="y", length=0)
    ax.set_ylabel("m/s")
    ax.set_xlabel("bend of the eye [deg], + to starboard")
    panel_title(ax, "Class of the motion")


def _legends(figure: Figure, drift: Axes, result: MapResult, found: Tuning) -> None:
    handles, labels = drift.get_legend_handles_labels()
    most = LEGEND_MOST
    drift.legend(handles[:most], labels[:most], loc="upper left", bbox_to_anchor=(1.005, 1.02),
                 handlelength=3.0, title="speed", borderaxespad=0.0)  # fmt: skip
    kinds = cell_kinds(result)[..., 0]
    cells: list[Any] = []
    for kind in range(len(KINDS)):
        if (kinds == kind).any():
            style = cell_style(kind)
            words = KINDS[kind] if KINDS[kind] in ("failed", "missing") else style.words
            look = look_of(kind, False) | {"linewidth": 0.6, "antialiased": True, "gid": None}
            cells.append(Rectangle((0, 0), 1, 1, label=f"{style.letter}  {words}", **look))
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
    most = max(limit, *(float(np.abs(v[s.sound]).max(initial=0.0)) for s, v, *_ in looks))
    edge_at = 1.3 * most  # beside the panel's values: there is none
    for swims, value, edge, face, words in looks:
        ok = swims.sound
        ax.plot(value[ok], rows[ok], linestyle="none", marker="o" if edge == INK else "D",
                markersize=8, markerfacecolor=face, markeredgecolor=edge, markeredgewidth=1.6,
                zorder=4.0, label=words)  # fmt: skip
        bad = ~ok
        shift = -0.22 if edge == INK else 0.22
        ax.plot(np.full(int(bad.sum()), edge_at), rows[bad] + shift, linestyle="none", marker="x",
                markersize=9, markeredgecolor=edge, markeredgewidth=2.0, zorder=4.0,
                label=f"{words}: beyond every limit" if bad.any() else None,
                gid="beyond")  # fmt: skip
    if bent:
        for m in rows[found.before.sound & found.after.sound]:
            ends = [values[0][m], values[1][m]]
            ax.plot(ends, [m, m], color=GREY, linewidth=1.2, zorder=3.0)
    for sign in (-1.0, 1.0):
        ax.axvline(sign * limit, color=INK, linewidth=1.2, linestyle=(0, (6, 3)))
    ax.axvline(0.0, color=GREY, linewidth=0.8)
    ax.set_xlim(-1.15 * most, 1.45 * most)
    ax.set_ylim(-0.6, rows.size - 0.4)
    few = rows if rows.size <= 12 else rows[[0, -1]]
    ax.set_yticks(few, [f"{found.speeds[k]:.3g}" for k in few])
    ax.set_xlabel(f"{name.lower()} [deg]")
    panel_title(ax, name)
    if name == "Drift":
        ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.22), ncols=2, borderaxespad=0.0,
                  handletextpad=0.3, columnspacing=1.2, fontsize=9.5)  # fmt: skip
