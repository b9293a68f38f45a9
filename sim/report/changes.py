"""Changes tried about a bait, and sweet spots, in words and in JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sim.report.text import fixed

if TYPE_CHECKING:
    from sim.studies.changes import Changes, Tried
    from sim.studies.holes import SweetSpot

BEST = 5  # changes that are told in words


def digits_of(step: float) -> int:
    """Decimals that tell places at a step apart."""
    return next((n for n in range(4) if abs(round(step, n) - step) < 1e-6), 4)


def place_facts(at: tuple[float, float]) -> dict[str, float]:
    """A place on the side of a bait as a dictionary."""
    return {"from_nose_mm": at[0], "above_centreline_mm": at[1]}


def spot_facts(spot: SweetSpot) -> dict[str, Any]:
    """A sweet spot as a dictionary, see :func:`sim.report.holes.holes_facts`."""
    return {
        "first_mm": spot.first_mm,
        "last_mm": spot.last_mm,
        "length_mm": spot.length_mm,
        "middle_mm": spot.middle_mm,
        "drift_mm": spot.drift_mm,
        "step_mm": spot.step_mm,
        "first": place_facts(spot.first_at),
        "last": place_facts(spot.last_at),
        "middle": place_facts(spot.middle_at),
        "to_top_of_path": spot.top,
        "to_tip_of_path": spot.tip,
        "slowest_m_s": spot.slowest_m_s,
        "fastest_m_s": spot.fastest_m_s,
    }


def changes_facts(changes: Changes) -> dict[str, Any]:
    """What was tried as a dictionary: ``as_is``, ``tried``, ``better`` and ``left_out``."""

    def one(tried: Tried) -> dict[str, Any]:
        return {
            "change": tried.change.label,
            "overrides": dict(tried.change.overrides),
            "sweet_spot": None if tried.spot is None else spot_facts(tried.spot),
            "balanced_runs": tried.balanced,
            "failed_runs": tried.failed,
            "runs": tried.runs,
            "reserve_buoyancy_g": tried.reserve_buoyancy_g,
        }

    return {
        "as_is": one(changes.as_is),
        "tried": [one(t) for t in changes.tried],
        "better": [t.change.label for t in changes.better],
        "left_out": [{"change": t.change.label, "why": t.problem} for t in changes.left_out],
    }


def changes_parts(changes: Changes, has_spot: bool) -> list[RenderableType]:
    """What was tried: the best few, or that nothing helps."""
    as_is, better, count = changes.as_is, changes.better, len(changes.tried)
    aim = "a longer sweet spot" if has_spot else "a sweet spot"
    shown = list(better[:BEST])
    if better:
        gives = "gives" if len(better) == 1 else "give"
        head = f"{len(better)} of {count} changes tried {gives} {aim}"
        head += f", the best {BEST}:" if len(better) > BEST else ":"
    else:
        head = f"None of {count} changes tried gives {aim}"
        more = [] if has_spot else [t for t in changes.tried if t.balanced > as_is.balanced]
        shown = more[:BEST]
        head += "; balanced more often is" if shown else "."
    parts: list[RenderableType] = [Text(head, style="bold")]
    parts.append(Padding(_changes_table([as_is, *shown]), (0, 0, 0, 2)))
    notes = ["one thing changed at a time, a row of holes at the pitch each, at the same speeds"]
    notes += [f"left out, {t.change.label}: {t.problem}" for t in changes.left_out]
    parts.append(Padding(Text("\n".join(notes), style="dim"), (0, 0, 0, 2)))
    return parts


def _changes_table(tried: Sequence[Tried]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
    heads = ("", "sweet spot\nmm", "from\nmm", "to\nmm", "balanced\nruns", "")
    for column, head in enumerate(heads):
        table.add_column(head, justify="right" if 0 < column < 5 else "left")
    before = tried[0].reserve_buoyancy_g
    for one in tried:
        ends = ["none", "", ""]
        if one.spot is not None:
            digits = digits_of(round(one.spot.step_mm, 6))
            ends = [fixed(v, digits) for v in (one.spot.first_mm, one.spot.last_mm)]
            length = fixed(one.spot.length_mm, digits)
            ends.insert(0, length if one.spot.length_mm else "one hole")
        words = []
        if one.reserve_buoyancy_g * before < 0.0:
            words.append("then sinks" if before > 0.0 else "then floats")
        if one.failed:
            words.append(f"{one.failed} run{'s' if one.failed > 1 else ''} failed")
        share = f"{one.balanced} of {one.runs}"
        table.add_row(one.change.label, *ends, share, ", ".join(words))
    return table
