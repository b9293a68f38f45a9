"""The picture of a risk: what builds come to, which errors matter, how closely to build."""

from __future__ import annotations

import math
import os
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.legend_handler import HandlerTuple
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from sim.plots.panels import panel_title
from sim.plots.save import save_figure
from sim.plots.style import (
    CLASS_STYLES,
    DPI,
    FIGURE_INCHES,
    NO_CLASS,
    NOT_SETTLED,
    OKABE_ITO,
    RUNS_OFF,
    ClassStyle,
    plot_style,
)
from sim.report.map import percent, short_unit
from sim.report.risk_figures import (
    MATTERS,
    UNCOUNTED,
    at_speeds,
    enough,
    told_designs,
    was_searched,
    what_matters,
)
from sim.report.risk_words import findings, speeds_text, tolerance_text
from sim.report.text import name_of
from sim.studies.builds import ALL, BOTH, DOUBT, ERRORS, SHOP
from sim.studies.risk import (
    OUTCOMES,
    Index,
    Search,
    Share,
    good_somewhere,
    indices,
    searches,
    severity,
    shares,
    worst_outcomes,
)

if TYPE_CHECKING:
    from sim.studies.risk import RiskResult

STYLES: Mapping[str, ClassStyle] = {
    "goes round": CLASS_STYLES["spinning"],
    "over-rolls": CLASS_STYLES["over-rolling"],
    "runs off": RUNS_OFF,
    "failed": NO_CLASS,
    "does not settle": NOT_SETTLED,
    "tight": CLASS_STYLES["tight"],
    "balanced": CLASS_STYLES["balanced"],
}
ROWS = {
    SHOP: "workmanship",
    BOTH: "workmanship and\nuncertain coefficients",
    DOUBT: "perfect builds,\nuncertain coefficients",
}
SHORT_ROWS = {
    SHOP: "workmanship",
    BOTH: "workmanship, coefficients",
    DOUBT: "coefficients alone",
}
LETTER_FROM = 0.035  # share of builds from which a bar has a letter
NUMBER_FROM = 0.09
MOST_TALL = 6  # bars with labels of two lines
MOST_TOLD = 4  # speeds that a heading names one by one
MOST_BARS = 10  # errors with a bar
MOST_POINTS = 3000  # builds in the scatter; the first ones fill it as evenly as all do
NOTHING = "No error makes a difference: all builds do the same."
INK = "#222222"
LEGEND_FROM = 0.8  # share of the height of a panel
WRAP = 165  # letters of a line below the title
LOOKS = (("blue", "o", "-"), ("vermillion", "s", "--"))  # of what was searched


def risk_figure(result: RiskResult) -> Figure:
    """The picture of a risk.

    Parameters
    ----------
    result : RiskResult
    """
    with plot_style():
        return _figure(result)


def save_risk_figure(result: RiskResult, file: str | os.PathLike[str]) -> Path:
    """Draw :func:`risk_figure` into a PNG, SVG or PDF file, as ``sim.plots.save.save_figure``."""
    return save_figure(lambda: _figure(result), file)


def _figure(result: RiskResult) -> Figure:
    figure = Figure(figsize=FIGURE_INCHES, dpi=DPI)
    FigureCanvasAgg(figure)
    _header(figure, result)
    _bars(_panel(figure, 2.45, 8.2, 5.55, 8.35), result)
    ranked = indices(result)
    _matters(_panel(figure, 11.9, 15.7, 5.55, 8.35), ranked)
    _tolerance(_panel(figure, 0.95, 7.2, 1.35, 4.45), result)
    _scatter(_panel(figure, 9.2, 15.7, 1.35, 4.45), result, ranked)
    _legend(figure, result)
    return figure


def _panel(figure: Figure, left: float, right: float, bottom: float, top: float) -> Axes:
    """A panel at a place in inches from the lower left corner."""
    width, height = figure.get_size_inches()
    return figure.add_axes(
        (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
    )


def _header(figure: Figure, result: RiskResult) -> None:
    width, height = figure.get_size_inches()
    study = result.study
    figure.text(
        0.85 / width, 1.0 - 0.2 / height,
        f"{name_of(study.base)}: {study.builds} builds at {_speeds_told(study.speeds)}",
        va="top", fontsize=17, fontweight="bold", parse_math=False,
    )  # fmt: skip
    lines = textwrap.wrap(findings(result)[0], WRAP)
    figure.text(
        0.85 / width, 1.0 - 0.62 / height, "\n".join(lines[:2]), va="top", color="#333333",
        parse_math=False,
    )  # fmt: skip


def _speeds_told(speeds: Sequence[float]) -> str:
    """Speeds, or how many of them there are from where to where."""
    if len(speeds) <= MOST_TOLD:
        return speeds_text(speeds)
    return f"{len(speeds)} speeds from {speeds[0]:.3g} to {speeds[-1]:.3g} m/s"


def _say(ax: Axes, text: str) -> None:
    """What there is to say in place of a panel."""
    ax.set_axis_off()
    ax.text(0.0, 0.9, textwrap.fill(text, 60), transform=ax.transAxes, va="top", parse_math=False)


# ------------------------------------------------------------------------------ what builds come to


def _bars(ax: Axes, result: RiskResult) -> None:
    """Shares of the outcomes: a bar for each design over all speeds, and one for each speed."""
    told, rows = told_designs(result), at_speeds(result)
    bars: list[tuple[float, str, dict[str, Share]]] = []
    place = 0.0
    shown = told if good_somewhere(result) else ()
    count = len(shown) + len(rows)
    labels = SHORT_ROWS if count > MOST_TALL else ROWS
    for design in shown:
        bars.append((place, labels[design], shares(result, design)))
        place += 1.0
    place += 0.4 * bool(bars)
    for at in rows:
        mark = "" if at.counts or not good_somewhere(result) else UNCOUNTED
        text = f"{at.speed:.3g} m/s{mark}"
        bars.append((place, text, at.builds))
        place += 1.0
    points = 72.0 * ax.bbox.height / DPI
    size = min(10.0, 0.95 * 0.78 * points / max(1.0, place))  # within the height of a bar
    for at_, _, found in bars:
        left = 0.0
        for name in OUTCOMES:
            share = found[name].share
            if share == 0.0:
                continue
            style = STYLES[name]
            ax.barh(
                at_, 100.0 * share, left=100.0 * left, height=0.78, color=style.colour,
                edgecolor=INK, linewidth=0.6, hatch=style.hatch or None, gid=f"bar {name}",
            )  # fmt: skip
            if share >= LETTER_FROM:
                text = style.letter
                if share >= NUMBER_FROM:
                    text += f" {percent(share).removesuffix(' %')}"
                _outlined(ax, 100.0 * (left + 0.5 * share), at_, text, size)
            left += share
    ax.set_yticks([at_ for at_, _, _ in bars], [text for _, text, _ in bars])
    ax.tick_params(axis="y", length=0, labelsize=size)
    ax.set_ylim(place - 0.4, -0.6)
    ax.set_xlim(0.0, 100.0)
    ax.grid(axis="y", visible=False)
    uncounted = good_somewhere(result) and any(not at.counts for at in rows)
    beside = f"   ({UNCOUNTED} bad as meant: counts in no other bar)" if uncounted else ""
    ax.set_xlabel(f"builds [%]{beside}")
    counted = [at.speed for at in rows if at.counts]
    head = "What builds come to"
    if told and good_somewhere(result):
        worst = f"at {speeds_text(counted)}" if len(counted) <= MOST_TOLD else "at any speed"
        head += f": at worst {worst}, and at each"
    panel_title(ax, head)


def _outlined(ax: Axes, x: float, y: float, text: str, size: float = 10.0, **more: Any) -> None:
    """Bold text with a white rim; so it is drawn as a path, which keeps its face at any size."""
    look: dict[str, Any] = {
        "ha": "center",
        "va": "center",
        "fontsize": size,
        "fontweight": "bold",
    } | more
    drawn = ax.text(x, y, text, **look)
    drawn.set_path_effects([withStroke(linewidth=0.3 * size, foreground="white")])


# ------------------------------------------------------------------------------------- what matters


def _matters(ax: Axes, ranked: Sequence[Index]) -> None:
    """Total indices with their intervals, the largest on top."""
    told = what_matters(ranked)[:MOST_BARS]
    if not told:
        _say(ax, NOTHING)
        return
    for row, index in enumerate(told):
        value, low, high = (min(1.0, max(0.0, v)) for v in index.total)
        ax.barh(row, value, height=0.62, color=OKABE_ITO["sky blue"], edgecolor=INK, linewidth=0.6)
        if math.isfinite(low) and math.isfinite(high):
            ax.errorbar(
                value, row, xerr=[[max(0.0, value - low)], [max(0.0, high - value)]], color=INK,
                capsize=4.0, linewidth=1.4, gid="interval",
            )  # fmt: skip
    ax.set_yticks(range(len(told)), [textwrap.fill(ERRORS[i.error].label, 34) for i in told])
    ax.tick_params(axis="y", length=0, labelsize=9.0 if len(told) > 6 else 10.0)
    ax.set_ylim(max(len(told), 3) - 0.4, -0.6)
    ax.set_xlim(0.0, 1.02)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel("share of the variation, with its interval [-]")
    rest = len(ranked) - len(told)
    panel_title(ax, "What matters" + (f" ({rest} more below {MATTERS:g})" if rest else ""))


# ------------------------------------------------------------------------------------ the tolerance


def _tolerance(ax: Axes, result: RiskResult) -> None:
    """Share of bad builds against the share of the tolerance that is used."""
    study, found = result.study, searches(result)
    tried = [search for search in found if was_searched(search)]
    shown = tried or list(found[:1])
    if not shown or not good_somewhere(result):
        _say(ax, "No closer tolerance was looked for.")
        return
    for search, (colour, marker, line) in zip(shown, LOOKS, strict=False):
        x = np.array([trial.scale for trial in search.trials])
        value, low, high = (
            100.0 * np.array([getattr(trial.bad, name) for trial in search.trials])
            for name in ("share", "low", "high")
        )
        ax.errorbar(
            x, value, yerr=[value - low, high - value], color=OKABE_ITO[colour], marker=marker,
            linestyle=line, markersize=6.0, capsize=4.0, label=_searched_text(result, search),
            markeredgecolor=INK, markeredgewidth=0.6,
        )  # fmt: skip
        if search.scale is not None and not search.holds and enough(study):
            at = search.scale
            ax.axvline(at, ymax=LEGEND_FROM, color=OKABE_ITO[colour], linewidth=1.0, linestyle=":")
            _outlined(
                ax, at, 0.6, f" {at:.2g}", ha="left", color=OKABE_ITO[colour],
                transform=ax.get_xaxis_transform(),
            )  # fmt: skip
    ax.axhline(100.0 * study.target, color=INK, linewidth=1.2, linestyle=(0, (6, 3)))
    ax.text(
        1.04, 100.0 * study.target, f"wanted: {100.0 * study.target:g} %", ha="right", va="bottom",
        fontsize=10,
    )  # fmt: skip
    ax.set_xlim(-0.04, 1.05)
    top = min(100.0, max(ax.get_ylim()[1], 250.0 * study.target))
    ax.set_ylim(0.0, top / LEGEND_FROM)  # room for the legend
    ax.set_yticks([tick for tick in ax.get_yticks() if tick <= 100.0])
    ax.set_xlabel("share of the tolerance that is used [-]")
    ax.set_ylabel("bad builds [%]")
    ax.legend(loc="upper left")
    unsure = "" if enough(study) else ": too few to tell"
    panel_title(ax, f"How closely to build ({study.few} builds a trial{unsure})")


def _searched_text(result: RiskResult, search: Search) -> str:
    if search.error == ALL:
        return "every error; 1 is the tolerance of each"
    tolerance = tolerance_text(search.error, float(result.study.tolerances[search.error]))
    return f"{ERRORS[search.error].label} alone; 1 is {tolerance}"


# -------------------------------------------------------------------------------- the single builds


def _scatter(ax: Axes, result: RiskResult, ranked: Sequence[Index]) -> None:
    """Builds in the plane of the two worst errors, marked by what they come to."""
    if not ranked:
        _say(ax, "" if result.study.active else "No build errors are drawn.")
        return
    study = result.study
    kinds = worst_outcomes(result, SHOP)[:MOST_POINTS]
    first = ranked[0].error
    x = study.errors[: kinds.size, first]
    second = ranked[1].error if len(ranked) > 1 else None
    if second is not None:
        y = study.errors[: kinds.size, second]
    else:
        y = severity(result, SHOP)[: kinds.size]
    # good ones below bad ones
    for n in reversed(range(len(OUTCOMES))):
        chosen = kinds == n
        if not chosen.any():
            continue
        style = STYLES[OUTCOMES[n]]
        ax.scatter(
            x[chosen], y[chosen], s=_size(kinds.size, style), marker=style.marker,
            gid=f"builds {OUTCOMES[n]}", zorder=3.0 - 0.1 * n, **_mark(style),
        )  # fmt: skip
    _plane(ax, result, first, second)
    more = f" (the first {kinds.size})" if kinds.size < study.builds else ""
    names = "the two errors that matter most" if second is not None else "the error that matters"
    panel_title(ax, f"Each build by {names}{more}; dashed: tolerances")


def _size(count: int, style: ClassStyle) -> float:
    """Area of a mark [points squared]: fewer builds have larger ones."""
    size = min(60.0, max(14.0, 14.0 * math.sqrt(2000.0 / count)))
    return size * (2.0 if style.marker.startswith("$") else 1.0)


def _mark(style: ClassStyle) -> dict[str, Any]:
    if style.marker == "x":
        return {"color": INK, "linewidths": 1.2}
    if style is CLASS_STYLES["balanced"]:  # the good ones lie behind, and hollow
        return {"facecolors": "none", "edgecolors": style.colour, "linewidths": 0.9}
    return {"facecolors": style.colour, "edgecolors": INK, "linewidths": 0.4}


def _plane(ax: Axes, result: RiskResult, first: int, second: int | None) -> None:
    tolerances = result.study.tolerances
    a = float(tolerances[first])
    ax.set_xlabel(_error_text(first))
    ax.set_xlim(-1.12 * a, 1.12 * a)
    look: dict[str, Any] = {"color": INK, "linewidth": 1.4, "linestyle": (0, (6, 3)), "zorder": 3.5}
    if second is None:
        ax.set_ylabel("worst over its limit [-]")
        for limit in (-a, a):
            ax.axvline(limit, **look)
        return
    b = float(tolerances[second])
    ax.set_ylabel(_error_text(second))
    ax.set_ylim(-1.12 * b, 1.12 * b)
    ax.add_patch(Rectangle((-a, -b), 2.0 * a, 2.0 * b, fill=False, gid="tolerances", **look))


def _error_text(error: int) -> str:
    quantity = ERRORS[error]
    side = ", + to starboard" if "to the side" in quantity.label else ""
    if quantity.key == "bill_roll_deg":
        side = ", + starboard edge down"
    return f"{quantity.label}{side} [{short_unit(quantity.unit)}]"


# --------------------------------------------------------------------------------------- the legend


def _legend(figure: Figure, result: RiskResult) -> None:
    """Outcomes that occur: hatch, letter and mark."""
    designs = [*told_designs(result), SHOP]
    seen = {
        name
        for found in [shares(result, d) for d in designs] + [at.builds for at in at_speeds(result)]
        for name in OUTCOMES
        if found[name].hits
    }
    handles: list[Any] = []
    labels: list[str] = []
    for name in OUTCOMES:
        if name not in seen:
            continue
        style = STYLES[name]
        patch = Patch(facecolor=style.colour, edgecolor=INK, linewidth=0.6, hatch=style.hatch)
        mark = Line2D(
            [], [], linestyle="none", marker=style.marker, markersize=7.0, markeredgecolor=INK,
            markerfacecolor=style.colour,
        )  # fmt: skip
        if style is CLASS_STYLES["balanced"]:
            mark.set(markerfacecolor="none", markeredgecolor=style.colour, markeredgewidth=1.2)
        handles.append((patch, mark))
        labels.append(f"{style.letter} {name}")
    figure.legend(
        handles, labels, loc="lower left", bbox_to_anchor=(0.045, 0.005), ncols=len(labels),
        handler_map={tuple: HandlerTuple(ndivide=None, pad=0.6)}, handlelength=4.0,
        handleheight=1.3, columnspacing=2.0,
    )  # fmt: skip
