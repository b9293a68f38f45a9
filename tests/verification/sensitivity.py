"""What the assumptions move: ends of the balanced stretch along the tie path."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

import numpy as np
from matplotlib.figure import Figure

import sim

from .suite import BAITS, CONFIGS, OWN, Row, case, picture

STEP_MM = 1.0
HALVINGS = 3  # each end of the stretch is found to an eighth of the step
ORDER = {"tight": -1, "balanced": 0}  # what lies above the balanced stretch; all else lies below


class Assumption(NamedTuple):
    """A coefficient without a published value, and the range in which it may lie."""

    name: str
    key: str  # of the configuration; "hooks" for the drag areas of all hooks
    low: float
    high: float
    why: str
    share: bool = False  # low and high are shares of what the bait has, or of what is computed


ASSUMPTIONS = (
    Assumption(
        "size of the body's side force", "coefficients.side_force_factor", 0.75, 1.25,
        "a quarter less or more; hulls and bodies of revolution disagree by more", True,
    ),
    Assumption(
        "place of the side force", "coefficients.side_force_shift", -0.05, 0.05,
        "a twentieth of the length ahead of where the outline puts it, or behind",
    ),
    Assumption(
        "strength of the bill's wake", "coefficients.wake_offset", 0.06, 0.10,
        "a quarter less or more",
    ),
    Assumption(
        "answer of the wake to the bait", "coefficients.wake_coupling", 0.0, 12.0,
        "none (shipped) to that of a cylinder",
    ),
    Assumption(
        "damping of the wake", "coefficients.wake_damping", 0.15, 0.6, "half and twice a cylinder's"
    ),
    Assumption(
        "ends of the body across the flow", "coefficients.crossflow_end_factor", 0.6, 1.0,
        "a cylinder in steady drift to no loss at all",
    ),
    Assumption(
        "bill's shadow on the nose", "coefficients.bill_shadow", 0.0, 0.8, "none (shipped) to most"
    ),
    Assumption("drag of the hooks", "hooks", 0.5, 1.5, "half less or more", True),
)  # fmt: skip


class Stretch(NamedTuple):
    """Ends of the balanced stretch along the tie path [mm]; NaN where there is none."""

    top: float
    bottom: float


def _varied(bait: str, assumption: Assumption | None, value: float) -> sim.Config:
    """The bait as shipped, but for one assumption."""
    config = sim.load_config(CONFIGS / f"{bait}.toml")
    if assumption is None:
        return config
    if assumption.key == "hooks":
        areas = {
            f"bait.hook.{i}.drag_area_mm2": value * hook.drag_area_mm2
            for i, hook in enumerate(config.bait.hook)
        }
        return sim.with_overrides(config, areas)
    return sim.with_overrides(config, {assumption.key: value})


def _rank(config: sim.Config, path: sim.TiePath, at: float) -> int:
    """Above (-1), in (0) or below (1) the balanced stretch, going by the class of a run there."""
    aft, above = path.at(at)
    tied = {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
    run = sim.simulate(sim.with_overrides(config, tied))
    return ORDER.get(run.motion_class or "", 1)


@cache
def stretch(bait: str, assumption: Assumption | None = None, value: float = 0.0) -> Stretch:
    """The longest stretch without a gap that is balanced."""
    config = _varied(bait, assumption, value)
    path = sim.tie_path(config)
    places = np.arange(math.ceil(path.distance_mm[0]), path.distance_mm[-1], STEP_MM)
    inside = np.array([_rank(config, path, float(at)) == 0 for at in places])
    best: tuple[int, int] | None = None
    start = 0
    for i in range(inside.size + 1):
        if i == inside.size or not inside[i]:
            if i > start and (best is None or i - start > best[1] - best[0]):
                best = (start, i)
            start = i + 1
    if best is None:
        return Stretch(math.nan, math.nan)
    ends = []
    for first, beyond in ((best[0], best[0] - 1), (best[1] - 1, best[1])):
        if not 0 <= beyond < places.size:
            ends.append(float(places[first]))
            continue
        inner, outer = float(places[first]), float(places[beyond])
        for _ in range(HALVINGS):
            middle = 0.5 * (inner + outer)
            if _rank(config, path, middle) == 0:
                inner = middle
            else:
                outer = middle
        ends.append(0.5 * (inner + outer))
    return Stretch(*ends)


def variants() -> Iterator[tuple[Assumption, float]]:
    """Every assumption at both ends of its range, shipped values left out."""
    for assumption in ASSUMPTIONS:
        for value in (assumption.low, assumption.high):
            if value != 0.0:
                yield assumption, value


def label(assumption: Assumption, value: float) -> str:
    """What is changed, in words."""
    if assumption.share:
        return f"{assumption.name}, {100 * (value - 1):+.0f} %"
    if assumption.key.endswith("shift"):
        return f"{assumption.name}, {value:+g} L"
    return f"{assumption.name}, {value:g}"


def shifts(assumption: Assumption) -> dict[str, tuple[float, float]]:
    """Largest movement of top and bottom of the stretch over the range, bait by bait [mm]."""
    found = {}
    for bait in BAITS:
        base = stretch(bait)
        ends = [stretch(bait, *v) for v in variants() if v[0] is assumption]
        found[bait] = (
            # NaN, a stretch that is lost, wins over every number
            float(np.max([abs(e.top - base.top) for e in ends])),
            float(np.max([abs(e.bottom - base.bottom) for e in ends])),
        )
    return found


@case("What the assumptions move", slow=True)
def assumed() -> Iterator[Row]:
    """Coefficients without a published value, one at a time over the range in which they may lie:
    where the balanced stretch begins (top, toward tight) and ends (bottom, toward over-rolling)
    along the tie path, in mm from where the bill leaves the nose, positive out along the bill,
    against the same ends as shipped. Nothing is judged here: the figures say how far a tie point
    can be trusted. They are put into words on the page about assumptions.
    """
    for bait in BAITS:
        base = stretch(bait)
        for assumption, value in variants():
            ends = stretch(bait, assumption, value)
            if math.isnan(ends.top):
                yield Row(
                    f"{bait}: {label(assumption, value)}, balanced stretch", 0.0,
                    base.bottom - base.top, math.inf, "the bait as shipped", OWN, "mm",
                    "absolute", "No balanced stretch is left.",
                )  # fmt: skip
                continue
            for end in ("top", "bottom"):
                yield Row(
                    f"{bait}: {label(assumption, value)}, {end}", getattr(ends, end),
                    getattr(base, end), math.inf, "the bait as shipped", OWN, "mm", "absolute",
                )  # fmt: skip


@picture(
    "assumptions.png", "Balanced stretch along the tie path, one assumption changed at a time."
)
def balanced_stretches() -> Figure:
    figure = Figure(figsize=(11.0, 12.5))
    axes = figure.subplots(3, 2, sharey=True)
    figure.subplots_adjust(left=0.3, right=0.985, top=0.935, bottom=0.045, hspace=0.3, wspace=0.07)
    names = ["as shipped", *(label(*v) for v in variants())]
    for bait, ax in zip(BAITS, axes.flat, strict=False):
        base = stretch(bait)
        rows = [base, *(stretch(bait, *v) for v in variants())]
        ax.axvspan(base.top, base.bottom, color="#009E73", alpha=0.15, linewidth=0)
        for i, ends in enumerate(rows):
            if math.isnan(ends.top):
                ax.text(base.top, i, "none", va="center", color="#D55E00")
                continue
            colour = "#009E73" if i == 0 else "#0072B2"
            ax.barh(i, ends.bottom - ends.top, left=ends.top, height=0.62, color=colour)
        config = sim.load_config(CONFIGS / f"{bait}.toml")
        tie = config.bait.tie
        assert tie is not None
        at, _ = sim.tie_path(config).nearest(tie.from_nose_mm, tie.above_centreline_mm)
        ax.axvline(at, color="#D55E00", linestyle=":", linewidth=1.6)
        ax.axvline(0.0, color="#333333", linewidth=0.8)
        ax.set_title(bait, loc="left", fontweight="bold", fontsize=11)
        ax.set_yticks(range(len(names)), names, fontsize=8.5)
        ax.set_ylim(len(names) - 0.4, -0.6)
        ax.set_xlabel("tie path [mm], 0: bill leaves the nose", fontsize=9)
        ax.grid(axis="x", color="#E0E0E0")
        ax.set_axisbelow(True)
    last = axes.flat[-1]
    last.set_axis_off()
    last.text(
        0.02, 0.9,
        "Bars: the stretch of tie points that is balanced.\n"
        "Shaded: the same as shipped.\n"
        "Dotted: the shipped tie point.\n\n"
        "Left of a bar the bait is tight, right of it\nit over-rolls or spins.",
        transform=last.transAxes, va="top", fontsize=10, linespacing=1.5,
    )  # fmt: skip
    figure.text(0.3, 0.97, "One assumption changed at a time, 1 m/s", fontsize=13)
    return figure
