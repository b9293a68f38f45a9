"""The picture of a comparison: a row each, outline to scale, classes over speed, measures."""

from __future__ import annotations

import math
import os
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle

from sim.plots.cells import AS_OUTLINE, INK, class_handles, look_of, style_of
from sim.plots.outline import SideOutline, side_outline
from sim.plots.panels import panel_title
from sim.plots.save import save_figure
from sim.plots.style import DPI, GREY, OKABE_ITO, plot_style
from sim.report.compare import STEADY, own_place, roster_of, told_name, turns_over, went_round
from sim.report.map import MISSING, cell_kinds
from sim.report.text import fixed
from sim.studies.roster import Roster, differences

if TYPE_CHECKING:
    from sim.studies.store import MapResult

WIDTH_IN = 16.0
ROW_IN, LEAST_ROW_IN = 1.35, 0.42  # height of a row: few baits, many baits
ABOVE_IN, BELOW_IN = 1.45, 1.45
BESIDE = 26  # letters of a line of a name beside its bait
MOST_TICKS = 9  # speeds that have a label
PANELS = (
    ("wobble_frequency_hz", "Wobble [Hz]", 2),
    ("yaw_amplitude_deg", "Yaw [deg]", 1),
    ("roll_amplitude_deg", "Roll [deg]", 1),
    ("depth_m", "Depth [m]", 2),
)
RING: dict[str, Any] = {
    "linestyle": "none", "marker": "o", "markersize": 4.5, "markerfacecolor": "white",
    "markeredgecolor": "black",
}  # fmt: skip


def compare_figure(result: MapResult) -> Figure:
    """The picture of a study of kind "compare".

    Parameters
    ----------
    result : MapResult    of a :class:`sim.studies.roster.Roster`
    """
    with plot_style():
        return _compare_figure(result)


def save_compare_figure(result: MapResult, file: str | os.PathLike[str]) -> Path:
    """Draw :func:`compare_figure` into a PNG, SVG or PDF file."""
    return save_figure(lambda: _compare_figure(result), file)


def _compare_figure(result: MapResult) -> Figure:
    study = roster_of(result)
    count = len(study.baits)
    row = max(LEAST_ROW_IN, min(ROW_IN, 8.5 / count))
    high = count * row
    height = high + ABOVE_IN + BELOW_IN
    figure = Figure(figsize=(WIDTH_IN, height), dpi=DPI)
    FigureCanvasAgg(figure)
    figure.text(0.5 / WIDTH_IN, 1.0 - 0.2 / height, f"{count} baits side by side", va="top",
                fontsize=17, fontweight="bold")  # fmt: skip
    figure.text(0.5 / WIDTH_IN, 1.0 - 0.6 / height, _below(study), va="top", color="#333333",
                parse_math=False)  # fmt: skip

    def panel(left: float, right: float) -> Axes:
        ax = figure.add_axes(
            (left / WIDTH_IN, BELOW_IN / height, (right - left) / WIDTH_IN, high / height)
        )
        ax.set_ylim(count - 0.5, -0.5)
        ax.set_yticks([])
        for y in np.arange(count - 1) + 0.5:
            ax.axhline(y, color="#CCCCCC", linewidth=0.7, zorder=0.5)
        return ax

    _outlines(panel(0.5, 5.3), study, row)
    _classes(panel(5.6, 9.0), result, study, row)
    for i, (key, head, digits) in enumerate(PANELS):
        _dots(panel(9.4 + 1.62 * i, 10.85 + 1.62 * i), result, study, key, head, digits)
    figure.legend(handles=_legend(result), loc="upper left", ncols=7,
                  bbox_to_anchor=(0.5 / WIDTH_IN, 0.55 / height), borderaxespad=0.0,
                  handlelength=2.4, handleheight=1.4, columnspacing=1.6)  # fmt: skip
    return figure


def _below(study: Roster) -> str:
    own = sorted({bait.retrieve.speed_m_s for bait in study.baits})
    speeds = study.axes[1].values
    text = f"towed at {speeds[0]:.3g} to {speeds[-1]:.3g} m/s; measures at the own speed of each,"
    text += f" {', '.join(f'{v:.3g}' for v in own)} m/s"
    differ = list(differences(study.baits))
    if differ:
        text += f"; not alike in {', '.join(differ[:3])}{' ...' if differ[3:] else ''}"
    return text


def _outlines(ax: Axes, study: Roster, row: float) -> None:
    """Side views to one scale, nose to the right, as large as the largest allows."""
    parts = [side_outline(bait.bait) for bait in study.baits]
    extents = np.array([p.extent() for p in parts])
    known = np.isfinite(extents).all(axis=1)
    fore, aft, low, high = extents.T
    box = ax.get_position()
    inches = WIDTH_IN * box.width
    name_in = 0.24
    longest = float((aft - fore)[known].max(initial=1.0))
    tallest = float((high - low)[known].max(initial=1.0))
    # inches a mm: both the longest and the tallest must fit below the names
    scale = min(0.96 * inches / longest, max(row - name_in - 0.12, 0.12) / tallest)
    beside = inches - scale * longest > 2.6 and row < 0.75
    if beside:  # short rows have the names on the left
        scale = min((inches - 2.6) / longest, (row - 0.1) / tallest)
    ax.set_xlim(0.0, inches)
    ax.axis("off")
    for n, (name, one) in enumerate(zip(study.names, parts, strict=True)):
        middle = n + (0.0 if beside else 0.5 * name_in / row)
        label = told_name(name)
        if beside:
            lines = textwrap.wrap(label, BESIDE)
            ax.text(0.0, n, "\n".join(lines), va="center", linespacing=1.0, parse_math=False,
                    fontsize=10.5 if len(lines) == 1 else 9.0, fontweight="bold")  # fmt: skip
        else:
            ax.text(0.0, n - 0.46, label, va="top", fontsize=11.5, fontweight="bold",
                    parse_math=False)  # fmt: skip
        if not known[n]:
            continue
        right = inches - 0.02

        def place(
            p: np.ndarray, n: int = n, middle: float = middle, right: float = right
        ) -> np.ndarray:
            x = right - scale * (p[..., 0] - fore[n])
            y = middle - scale * (p[..., 1] - 0.5 * (low[n] + high[n])) / row
            return np.stack([x, y], axis=-1)

        _bait(ax, one, place, scale, row)
    mm = max(v for v in (5, 10, 20, 50, 100) if scale * v <= 2.2 or v == 5)
    y = len(parts) - 0.5 + 0.16 / row
    ax.plot([0.0, scale * mm], [y, y], color=INK, linewidth=2.0, clip_on=False)
    ax.text(scale * mm + 0.08, y, f"{mm} mm", va="center", fontsize=10)
    panel_title(ax, "From the starboard side, to scale", 8.0)


def _bait(ax: Axes, one: SideOutline, place: Any, scale: float, row: float) -> None:
    if one.body is not None:
        ax.add_patch(Polygon(place(one.body), facecolor="#EFE6D5", edgecolor="#333333", zorder=2.0))
    for _, corners in one.plates:
        ax.add_patch(Polygon(place(corners), facecolor=OKABE_ITO["yellow"], alpha=0.8, zorder=3.0,
                             edgecolor="#333333", linewidth=0.8))  # fmt: skip
    if one.bill is not None:
        ax.add_patch(Polygon(place(one.bill), facecolor=OKABE_ITO["sky blue"], zorder=3.0,
                             edgecolor=OKABE_ITO["blue"], linewidth=0.8))  # fmt: skip
    for _, centre, radius, _ in one.ballast:
        turn = np.linspace(0.0, 2.0 * math.pi, 40)
        ring = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        ax.add_patch(Polygon(place(ring), facecolor="#777777", edgecolor="#333333", linewidth=0.8,
                             zorder=4.0))  # fmt: skip
    for _, hanger, mass in one.hooks:
        ax.plot(*place(np.array([hanger, mass])).T, color=OKABE_ITO["reddish purple"], marker="o",
                markevery=[1], markersize=4, zorder=5.0)  # fmt: skip
    if one.tie is not None:
        ax.plot(*place(one.tie), linestyle="none", marker="o", markersize=6.5, zorder=6.0,
                markerfacecolor="none", markeredgewidth=1.8,
                markeredgecolor=OKABE_ITO["vermillion"])  # fmt: skip


def _classes(ax: Axes, result: MapResult, study: Roster, row: float) -> None:
    """A cell for each speed, its letter in it; the bait's own speed is framed."""
    kinds, round_ = cell_kinds(result)[..., 0], went_round(result)
    speeds = study.axes[1].values
    ax.grid(False)
    edge = 0.02 * len(speeds)  # room for the frame of an outermost cell
    ax.set_xlim(-edge, len(speeds) + edge)
    for spine in ax.spines.values():
        spine.set_visible(False)
    size = min(12.0, 3.4 * 72.0 / len(speeds) * 0.7, 40.0 * row)
    for n, m in np.ndindex(kinds.shape):
        kind = int(kinds[n, m])
        if kind == MISSING:
            continue
        look = look_of(kind, False) | {"antialiased": True, "linewidth": 0.6}
        ax.add_patch(Rectangle((m, n - 0.36), 1.0, 0.72, zorder=1.0, **look))
        ax.text(m + 0.5, n, style_of(kind).letter, ha="center", va="center", fontsize=size,
                fontweight="bold", zorder=4.0, path_effects=AS_OUTLINE,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
        if round_[n, m]:
            ax.plot(m + 0.82, n - 0.24, zorder=4.5, gid="went round", **RING)
    for n in range(len(study.baits)):
        m = own_place(study, n)
        ax.add_patch(Rectangle((m, n - 0.36), 1.0, 0.72, fill=False, edgecolor="black",
                               linewidth=2.4, zorder=3.5, gid="own speed"))  # fmt: skip
    at = np.unique(np.linspace(0, len(speeds) - 1, min(len(speeds), MOST_TICKS)).astype(int))
    ax.set_xticks(at + 0.5, [f"{speeds[i]:.3g}" for i in at])
    ax.tick_params(axis="x", length=0)
    ax.set_xlabel("retrieve speed [m/s]")
    panel_title(ax, "Class of the motion", 8.0)


def _dots(ax: Axes, result: MapResult, study: Roster, key: str, head: str, digits: int) -> None:
    """A measure at the own speed of each, that of the first as a line; no dot without meaning."""
    rows = range(len(study.baits))
    values = np.array([result.measures[key][n, own_place(study, n), 0] for n in rows])
    if key in STEADY:
        values[turns_over(result)] = math.nan
    known = np.isfinite(values)
    ax.grid(True, axis="x")
    ax.spines["left"].set_visible(False)
    if known.any():
        low, high = min(0.0, float(values[known].min())), max(0.0, float(values[known].max()))
        span = (high - low) or 1.0
        ax.set_xlim(low - (0.05 * span if low < 0.0 else 0.0), high + 0.12 * span)
    if known[0]:
        ax.axvline(values[0], color=GREY, linestyle="--", linewidth=1.2, zorder=1.0)
    for n in rows:
        if not known[n]:
            ax.text(0.03, n, "-", transform=ax.get_yaxis_transform(), va="center", color=INK)
            continue
        ax.plot([0.0, values[n]], [n, n], color=OKABE_ITO["blue"], linewidth=2.0, zorder=2.0)
        ax.plot(values[n], n, marker="o", markersize=7.5, color=OKABE_ITO["blue"], zorder=3.0)
        left = values[n] > 0.5 * ax.get_xlim()[1]
        ax.annotate(fixed(float(values[n]), digits), (values[n], n), textcoords="offset points",
                    xytext=(-7 if left else 7, 7), ha="right" if left else "left", va="bottom",
                    fontsize=9.5, zorder=4.0)  # fmt: skip
    panel_title(ax, head, 8.0)


def _legend(result: MapResult) -> list[Any]:
    handles: list[Any] = [*class_handles(cell_kinds(result)[..., 0])]
    handles.append(Rectangle((0, 0), 1, 1, fill=False, edgecolor="black", linewidth=2.4,
                             label="own speed"))  # fmt: skip
    if went_round(result).any():
        handles.append(Line2D([], [], label="went round on the way", **RING))
    return handles
